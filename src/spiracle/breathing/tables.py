"""The tables of breathing system, ventilation, oxygen and check lists."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.refusals import BadTable, NotOneOf, Unknown
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import ActedOn, R, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts, read_stated

Species = Literal["dog", "cat"]
Phase = Literal["induction", "maintenance", "recovery"]
ListName = Literal["machine", "patient", "sign-in", "time-out", "recovery"]
LISTS: tuple[ListName, ...] = ("machine", "patient", "sign-in", "time-out", "recovery")
PHASES: tuple[Phase, ...] = ("induction", "maintenance", "recovery")


class LeakRow(ActedOn, frozen=True, kw_only=True):
    """A published leak limit [mL/min] at a test pressure [cmH2O]."""

    says: str
    at: int
    most: int


class VentilatorRow(ActedOn, frozen=True, kw_only=True):
    """Tidal volume [mL/kg], rate [/min] and peak pressure [cmH2O] of a species under a ventilator."""

    species: Species
    tidal_low: int
    tidal_high: int
    rate_low: int
    rate_high: int
    peak_low: int
    peak_usual: int
    peak_hard: int
    peak_memory: bool


class WeightSpan(ActedOn, frozen=True, kw_only=True):
    """What an animal of the species can weigh; outside it nothing is worked out."""

    species: Species
    weight_low_kg: Decimal | int
    weight_high_kg: Decimal | int


class CircuitRow(ActedOn, frozen=True, kw_only=True):
    """A breathing system, where it is taken first, and its gas volume if it rebreathes."""

    name: str
    also: tuple[str, ...]
    rebreathing: bool
    from_kg: Decimal | int
    below_kg: Decimal | int
    rank: int
    ventilate: bool
    volume_low_l: Decimal | int | None = None
    volume_high_l: Decimal | int | None = None

    def is_called(self, name: str) -> bool:
        wanted = name.strip().casefold()
        return wanted in {self.id.casefold(), self.name.casefold(), *(a.casefold() for a in self.also)}


class FreshGasRow(ActedOn, frozen=True, kw_only=True):
    """Fresh gas of one phase [mL/kg/min] with its floor [L/min]."""

    circuits: tuple[str, ...]
    species: tuple[Species, ...]
    phase: Phase
    start: int
    low: int
    high: int
    floor_l_min: Decimal | int
    says: str


class BagRow(ActedOn, frozen=True, kw_only=True):
    ml: int


class AgentRow(ActedOn, frozen=True, kw_only=True):
    """A volatile liquid: molar mass [g/mol], density [g/mL], and the taught mL/h per L/min and per cent."""

    name: str
    molar_g: Decimal | int
    density_g_ml: Decimal | int
    taught_ml: Decimal | int


class WasteRow(ActedOn, frozen=True, kw_only=True):
    """A limit of waste gas in the room [ppm]; `nitrous` is for when nitrous oxide is used too."""

    says: str
    ppm: Decimal | int
    nitrous: bool


class OpinionRow(ActedOn, frozen=True, kw_only=True):
    """What one source has for fresh gas [mL/kg/min]; without ends where no figure could be read."""

    circuits: tuple[str, ...]
    species: tuple[Species, ...]
    phase: Phase
    low: Decimal | int | None = None
    high: Decimal | int | None = None
    measured: bool
    says: str


class ListRow(ActedOn, frozen=True, kw_only=True):
    """One line of a list that is read aloud. The id is `list.line`."""

    list: ListName
    place: int
    says: str
    detail: str = ""

    @property
    def line(self) -> str:
        return self.id.partition(".")[2]


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    setting: tuple[Setting, ...] = ()
    leak: tuple[LeakRow, ...] = ()
    ventilator: tuple[VentilatorRow, ...] = ()
    span: tuple[WeightSpan, ...] = ()
    circuit: tuple[CircuitRow, ...] = ()
    fresh_gas: tuple[FreshGasRow, ...] = ()
    bag: tuple[BagRow, ...] = ()
    line: tuple[ListRow, ...] = ()
    agent: tuple[AgentRow, ...] = ()
    waste: tuple[WasteRow, ...] = ()
    opinion: tuple[OpinionRow, ...] = ()


SETTINGS = frozenset({
    "cylinder-full-high", "cylinder-full-low", "cylinder-litres-high", "cylinder-litres-low", "side-stream-ask",
    "bag-need", "band-high", "band-low", "band-turn", "cat-flow-ask", "flow-step", "leak-pressure-high",
    "leak-pressure-low", "minute-volume", "overfill", "oxygen-reserve", "mixture-oxygen-ask", "dial-isoflurane",
    "dial-sevoflurane", "dial-desflurane",
    "atmosphere", "drop-seconds-low", "drop-seconds-high", "circle-litres-low", "circle-litres-high", "give-hoses-low",
    "give-bag-low", "gauge-step",
    "drive-share", "reading-off", "oxygen-short", "water-litres-high", "concentrator-percent-ask", "gauge-unit-ask",
    "tidal-start-dog", "tidal-start-cat", "tidal-hard", "inspiration", "expiration-least", "peep", "peep-high",
    "compliance-dog", "compliance-cat", "compliance-low", "compliance-high", "alarm-pressure", "alarm-volume",
    "alarm-apnoea", "own-dead-space", "paco2-example", "paco2-low", "paco2-high",
    "wash-in-measured", "molar-volume", "molar-volume-room", "low-flow-floor",
    "valve-peak-rise", "valve-base-rise", "valve-flow-fall", "watch-window", "fio2-low", "agent-wait", "agent-share",
    "agent-off-left", "agent-off-wait", "breath-unseen", "deep-window", "deep-fall", "deep-co2-same",
    "peep-read-ask", "peep-read-high", "lost-share", "co2-settles",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class BreathingTables:
    """Everything known and set about the breathing system. A gap in the tables does not load."""

    stated: Facts
    settings: Mapping[str, Setting]
    leaks: tuple[LeakRow, ...]
    ventilators: tuple[VentilatorRow, ...]
    spans: tuple[WeightSpan, ...]
    circuits: tuple[CircuitRow, ...]
    fresh_gas: tuple[FreshGasRow, ...]
    bags: tuple[BagRow, ...]
    lines: tuple[ListRow, ...]
    agents: tuple[AgentRow, ...]
    wastes: tuple[WasteRow, ...]
    opinions: tuple[OpinionRow, ...]

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> BreathingTables:
        stated = read_stated(files, "-facts", sources)
        plain = [read_table(t, _File, n) for n, t in sorted(files.items()) if not n.endswith("-facts")]

        def all_of(pick: str, shape: type[R]) -> tuple[R, ...]:
            rows: list[R] = [row for file in plain for row in getattr(file, pick)]
            return checked_rows(rows, stated, sources)

        settings = settings_of(all_of("setting", Setting), SETTINGS, "breathing")
        found = cls(
            stated=stated,
            settings=settings,
            leaks=all_of("leak", LeakRow),
            ventilators=all_of("ventilator", VentilatorRow),
            spans=all_of("span", WeightSpan),
            circuits=tuple(sorted(all_of("circuit", CircuitRow), key=lambda c: c.rank)),
            fresh_gas=all_of("fresh_gas", FreshGasRow),
            bags=tuple(sorted(all_of("bag", BagRow), key=lambda b: b.ml)),
            lines=tuple(sorted(all_of("line", ListRow), key=lambda x: (LISTS.index(x.list), x.place))),
            agents=all_of("agent", AgentRow),
            wastes=all_of("waste", WasteRow),
            opinions=all_of("opinion", OpinionRow),
        )
        found._whole()
        return found

    def _whole(self) -> None:
        """Every system has gas for every species and phase; machine and patient lists end at the relief valve."""
        for circuit in self.circuits:
            for species in ("dog", "cat"):
                for phase in PHASES:
                    self.gas(circuit.id, species, phase)
        known = {circuit.id for circuit in self.circuits}
        for opinion in self.opinions:
            if not known.issuperset(opinion.circuits):
                raise BadTable(f"row {opinion.id}", "speaks of a system that is not listed.")
        for name in ("machine", "patient"):
            if self.check_list(name)[-1].line != "valve-open":
                raise BadTable(f"list {name}", "does not end at the relief valve.", "Put valve-open last.")

    def setting(self, id_: str) -> Setting:
        return self.settings[id_]

    def last_mark(self, agent: str) -> Decimal | None:
        """The last mark of a vaporiser's dial [%], or None for an agent that the tables do not know."""
        found = self.settings.get(f"dial-{agent}")
        return None if found is None else Decimal(found.value)

    def agent(self, name: str) -> AgentRow:
        """A volatile agent whose liquid is known; any other is refused, never taken for one of these."""
        for row in self.agents:
            if row.name == name.strip().casefold():
                return row
        raise Unknown("agent", f"{name!r} is not a liquid whose density Spiracle holds.",
                      "Known: " + ", ".join(a.name for a in self.agents) + ".")  # fmt: skip

    def span(self, species: str) -> WeightSpan:
        for row in self.spans:
            if row.species == species:
                return row
        raise Unknown("species", f"{species!r} is not a species Spiracle knows.", "Say dog or cat.")

    def ventilator(self, species: str) -> VentilatorRow:
        self.span(species)
        return next(row for row in self.ventilators if row.species == species)

    def circuit(self, name: str) -> CircuitRow:
        """A breathing system by id, name or another name of the trade."""
        for row in self.circuits:
            if row.is_called(name):
                return row
        raise Unknown("breathing system", f"{name!r} is not a system Spiracle knows.",
                      "Known: " + ", ".join(c.name for c in self.circuits) + ".")  # fmt: skip

    def gas(self, circuit: str, species: str, phase: str) -> FreshGasRow:
        for row in self.fresh_gas:
            if circuit in row.circuits and species in row.species and row.phase == phase:
                return row
        raise BadTable(f"fresh gas {circuit}, {species}, {phase}", "has no row.")

    def check_list(self, name: str) -> tuple[ListRow, ...]:
        if name not in LISTS:
            raise NotOneOf("list", f"{name!r} is not a list.", "Known: " + ", ".join(LISTS) + ".")
        return tuple(row for row in self.lines if row.list == name)
