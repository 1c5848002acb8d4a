"""The tables of inhaled agents: solubility, the animal's groups, MAC as each study has it, and what lowers it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, get_args

import msgspec

from spiracle.refusals import BadTable, Missing, NotOneOf, OutOfRange, Unknown
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import ActedOn, R, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts, read_stated

Species = Literal["dog", "cat"]
Part = Literal["blood", "vessel-rich", "muscle", "fat"]
GROUPS: tuple[Part, ...] = ("vessel-rich", "muscle", "fat")
Number = Decimal | int


class SpanRow(ActedOn, frozen=True, kw_only=True):
    """What an animal of the species can weigh [kg]."""

    species: Species
    weight_low_kg: Number
    weight_high_kg: Number


class GroupRow(ActedOn, frozen=True, kw_only=True):
    """A tissue group of the person of `human-weight`: volume [L] and share of cardiac output [%]."""

    name: str
    litres: Number
    flow_percent: Number


class AgentRow(ActedOn, frozen=True, kw_only=True):
    """An agent and the last mark of its dial [%]."""

    name: str
    dial_high: Number


class SolubilityRow(ActedOn, frozen=True, kw_only=True):
    """A human partition coefficient: blood over gas, or tissue over blood; `sd` where it was printed."""

    agent: str
    part: Part
    value: Number
    sd: Number | None = None


class MacStudyRow(ActedOn, frozen=True, kw_only=True):
    """MAC of one study [% end-tidal], or a review's mean with the span of its studies' means."""

    species: Species
    agent: str
    kind: Literal["study", "review", "textbook"]
    mac: Number
    sd: Number | None = None
    animals: int | None = None
    mean_low: Number | None = None
    mean_high: Number | None = None


class MacRow(ActedOn, frozen=True, kw_only=True):
    """Which of the studies' figures is shown as usual: the review's mean, the median, the only one, or none."""

    species: Species
    agent: str
    usual: Literal["review", "median", "only", "none"]


class ColdRow(ActedOn, frozen=True, kw_only=True):
    """How much of MAC goes with each °C of cold [%]."""

    agent: str
    low: Number
    usual: Number
    high: Number


class SparingRow(ActedOn, frozen=True, kw_only=True):
    """One published point: at a rate or a plasma level, so many per cent of MAC were taken away."""

    species: Species
    drug: str
    agent: str
    per: Literal["rate", "plasma"]
    unit: str
    at: Number
    percent: Number
    sd: Number | None = None
    low: Number | None = None
    high: Number | None = None
    study_rate: bool = False
    never: str = ""


class CurveRow(ActedOn, frozen=True, kw_only=True):
    """A published curve MAC = mac - taken x C / (half + C), C in `unit`, with its standard errors and the highest C tested."""

    species: Species
    drug: str
    agent: str
    unit: str
    mac: Number
    taken: Number
    taken_se: Number
    half: Number
    half_se: Number
    animals: int
    tested_to: Number


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    setting: tuple[Setting, ...] = ()
    span: tuple[SpanRow, ...] = ()
    group: tuple[GroupRow, ...] = ()
    agent: tuple[AgentRow, ...] = ()
    solubility: tuple[SolubilityRow, ...] = ()
    mac_study: tuple[MacStudyRow, ...] = ()
    mac: tuple[MacRow, ...] = ()
    cold: tuple[ColdRow, ...] = ()
    sparing: tuple[SparingRow, ...] = ()
    curve: tuple[CurveRow, ...] = ()


SETTINGS = frozenset({
    "human-weight", "human-output", "human-ventilation", "flow-exponent", "frc-dog", "frc-cat", "spread-frc",
    "spread-output", "spread-ventilation", "spread-volume", "spread-fat", "spread-solubility", "waking-isoflurane",
    "mac-temperature-low", "mac-temperature-high", "mac-coldest", "mac-spread-low", "mac-spread-high", "sparing-spread",
})  # fmt: skip


@dataclass(
    frozen=True, slots=True, eq=False
)  # one set of tables is itself alone, so that what follows from it may be kept
class GasTables:
    """Everything known and set about inhaled agents in the body. A gap does not load."""

    stated: Facts
    settings: Mapping[str, Setting]
    spans: tuple[SpanRow, ...]
    groups: tuple[GroupRow, ...]
    agents: tuple[AgentRow, ...]
    solubilities: tuple[SolubilityRow, ...]
    studies: tuple[MacStudyRow, ...]
    macs: tuple[MacRow, ...]
    colds: tuple[ColdRow, ...]
    sparings: tuple[SparingRow, ...]
    curves: tuple[CurveRow, ...]

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> GasTables:
        """From the tables whose name starts with kinetics-gas; others are passed over."""
        own = {n: t for n, t in files.items() if n.startswith("kinetics-gas")}
        if "kinetics-gas" not in own:
            raise BadTable("kinetics-gas", "is not among the tables.")
        stated = read_stated(own, "-facts", sources)
        plain = [read_table(t, _File, n) for n, t in sorted(own.items()) if not n.endswith("-facts")]

        def all_of(pick: str, shape: type[R]) -> tuple[R, ...]:
            rows: list[R] = [row for file in plain for row in getattr(file, pick)]
            return checked_rows(rows, stated, sources)

        found = cls(
            stated=stated,
            settings=settings_of(all_of("setting", Setting), SETTINGS, "inhaled agents"),
            spans=all_of("span", SpanRow),
            groups=tuple(sorted(all_of("group", GroupRow), key=lambda g: GROUPS.index(g.name))),
            agents=all_of("agent", AgentRow),
            solubilities=all_of("solubility", SolubilityRow),
            studies=all_of("mac_study", MacStudyRow),
            macs=all_of("mac", MacRow),
            colds=all_of("cold", ColdRow),
            sparings=all_of("sparing", SparingRow),
            curves=all_of("curve", CurveRow),
        )
        found._whole()
        return found

    def _whole(self) -> None:
        """Every agent has its four coefficients, its cold and a MAC for either species; every group is there once."""
        if tuple(g.name for g in self.groups) != GROUPS or sum(g.flow_percent for g in self.groups) != 100:
            raise BadTable("tissue groups", "are not the three whose flows make 100 %.")
        for agent in self.agents:
            for part in get_args(Part):
                self.solubility(agent.name, part)
            self.cold(agent.name)
            for species in get_args(Species):
                if not self.mac_studies(species, agent.name):
                    raise BadTable(f"MAC of {agent.name}, {species}", "has no study.")
                self.mac_row(species, agent.name)

    def setting(self, id_: str) -> Setting:
        return self.settings[id_]

    def number(self, id_: str) -> float:
        return self.settings[id_].number

    def weight(self, species: str | None, weight_kg: float | None) -> float:
        """The weight, held against what the species can weigh. Refuses a missing or unknown species, and a missing weight."""
        if not species:
            raise Missing("species", "was not given, and none is assumed.", "Say dog or cat.")
        row = next((s for s in self.spans if s.species == species), None)
        if row is None:
            raise Unknown("species", f"{species!r} is not a species Spiracle knows.", "Say dog or cat.")
        if weight_kg is None:
            raise Missing("weight", "was not given, and none is assumed.", "Give it in kg.")
        low, high = float(row.weight_low_kg), float(row.weight_high_kg)
        if not low <= weight_kg <= high:
            raise OutOfRange("weight", f"{weight_kg:g} kg cannot be a {species}.", f"Give {low:g} to {high:g} kg.")
        return weight_kg

    def agent(self, name: str) -> AgentRow:
        """An agent whose solubility is known; any other is refused, never taken for one of these."""
        for row in self.agents:
            if row.name == name.strip().casefold():
                return row
        raise Unknown("agent", f"{name!r} has no solubility here, so nothing is predicted.",
                      "Known: " + ", ".join(a.name for a in self.agents) + ".")  # fmt: skip

    def solubility(self, agent: str, part: Part) -> SolubilityRow:
        for row in self.solubilities:
            if row.agent == agent and row.part == part:
                return row
        raise BadTable(f"solubility of {agent}, {part}", "has no row.")

    def mac_studies(self, species: str, agent: str) -> tuple[MacStudyRow, ...]:
        return tuple(s for s in self.studies if (s.species, s.agent) == (species, agent))

    def mac_row(self, species: str, agent: str) -> MacRow:
        if species not in get_args(Species):
            raise NotOneOf("species", f"{species!r} has no MAC here.", "Say dog or cat.")
        self.agent(agent)
        for row in self.macs:
            if (row.species, row.agent) == (species, agent.strip().casefold()):
                return row
        raise BadTable(f"MAC of {agent}, {species}", "has no row.")

    def cold(self, agent: str) -> ColdRow:
        for row in self.colds:
            if row.agent == agent:
                return row
        raise BadTable(f"cold and {agent}", "has no row.")

    def drugs_that_spare(self, species: str) -> tuple[str, ...]:
        """Drugs with a published effect on MAC in the species, each once."""
        rows: tuple[SparingRow | CurveRow, ...] = (*self.sparings, *self.curves)
        return tuple(dict.fromkeys(r.drug for r in rows if r.species == species))
