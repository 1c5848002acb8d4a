"""The airway's tables: what is known, and the settings, tubes, parts and signs that Spiracle acts on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.refusals import Unknown
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import ActedOn, R, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts, read_stated

Species = Literal["dog", "cat"]


class TubeRow(ActedOn, frozen=True, kw_only=True):
    """A size that shelves usually hold."""

    id_mm: Decimal
    od_mm: Decimal
    od_within_mm: Decimal
    cuffed: bool
    length_mm: Decimal | int | None = None


class SizeRow(ActedOn, frozen=True, kw_only=True):
    """One step from weight to inside diameter."""

    species: Species
    kg: Decimal
    mm: Decimal
    low_mm: Decimal
    high_mm: Decimal


class Reach(ActedOn, frozen=True, kw_only=True):
    """The bounds of the possible in one species; outside them an input is refused."""

    species: Species
    id_low_mm: Decimal
    id_high_mm: Decimal
    weight_low_kg: Decimal | int
    weight_high_kg: Decimal | int
    trachea_low_mm: Decimal | int
    trachea_high_mm: Decimal | int
    depth_low_cm: Decimal | int
    depth_high_cm: Decimal | int
    depth_low_per_root: Decimal | int
    depth_high_per_root: Decimal | int
    septum_low_mm: Decimal | int
    septum_high_mm: Decimal | int


class SealRow(ActedOn, frozen=True, kw_only=True):
    """How far below and above the best size a tube still fits and seals [mm of inside diameter]."""

    species: Species
    cuffed: bool
    below_mm: Decimal
    above_mm: Decimal


class NarrowRow(ActedOn, frozen=True, kw_only=True):
    """A published cut-off of the trachea's lumen over the thoracic inlet, at or under which it was called narrow."""

    species: Species
    at_most: Decimal


class BenchRow(ActedOn, frozen=True, kw_only=True):
    """Pressure lost on the bench [Pa]: the whole tube with its joint, and the joint alone."""

    id_mm: Decimal
    tube_pa: Decimal
    joint_pa: Decimal


Kind = Literal["sensor", "connector", "filter", "elbow"]


class KindRow(ActedOn, frozen=True, kw_only=True):
    """Words by which a part between tube and Y-piece is known for what it is."""

    kind: Kind
    words: tuple[str, ...]


class PartRow(ActedOn, frozen=True, kw_only=True):
    """A part between tube and Y-piece and the gas it holds."""

    name: str
    ml: Decimal | int
    ml_low: Decimal | int
    ml_high: Decimal | int
    from_kg: Decimal | int
    below_kg: Decimal | int
    usual: bool
    kind: Kind


class CuffRow(ActedOn, frozen=True, kw_only=True):
    """Cuff pressure and leak pressure of a species [cmH2O], and the air a cuff may take [mL] where it is known."""

    species: Species
    low: int
    high: int
    leak_low: int
    leak_high: int
    leak_memory: bool
    air_usual_ml: Decimal | int | None = None
    air_hard_ml: Decimal | int | None = None


class WordRow(ActedOn, frozen=True, kw_only=True):
    species: Literal["dog", "cat", "any"]
    says: str


class TryRow(ActedOn, frozen=True, kw_only=True):
    """What is done after a failed attempt, counted."""

    after: int
    says: str


class ProofRow(ActedOn, frozen=True, kw_only=True):
    """A sign at the tube. `proof` proves alone; two `sign`s and a second person prove together; a `hint` never proves;
    `secure` keeps a proven tube safe. The id is the sign's name in the log."""

    label: str
    expected: str
    part: Literal["proof", "sign", "hint", "secure"]

    @property
    def sign(self) -> str:
        return self.id


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    setting: tuple[Setting, ...] = ()
    cuff: tuple[CuffRow, ...] = ()
    word: tuple[WordRow, ...] = ()
    tries: tuple[TryRow, ...] = msgspec.field(default=(), name="try")
    proof: tuple[ProofRow, ...] = ()
    tube: tuple[TubeRow, ...] = ()
    size: tuple[SizeRow, ...] = ()
    reach: tuple[Reach, ...] = ()
    part: tuple[PartRow, ...] = ()
    seal: tuple[SealRow, ...] = ()
    narrow: tuple[NarrowRow, ...] = ()
    bench: tuple[BenchRow, ...] = ()
    kind: tuple[KindRow, ...] = ()


SETTINGS = frozenset({
    "apart-sds", "ask-too-large", "attempt-seconds", "attempt-spo2", "attempts", "back-sd", "back-shortfall", "bench-flow",
    "brachycephalic-shift", "breaths-needed", "cat-trachea-length", "cat-trachea-length-sd", "cuff-recheck", "cut-step",
    "dead-space-caution", "dead-space-stop", "gas-density", "gas-viscosity", "grown-months", "hit-half-width",
    "larynx-wait", "od-per-id", "one-size", "palpation-hits", "picks-small-from", "previous-sd", "quiet-flow",
    "septum-hits", "side-hole-margin", "slip-sds", "span-sds", "stylet-setback", "tidal", "trachea-fraction",
    "trachea-fraction-high", "trachea-length-sd", "trachea-length-shortfall", "trachea-wall", "weight-sd-brachycephalic",
    "weight-sd-cat", "weight-sd-dog",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class AirwayTables:
    """Everything known and set about tubes. Read once; a missing setting or a row without its facts does not load."""

    stated: Facts
    settings: Mapping[str, Setting]
    cuffs: tuple[CuffRow, ...]
    words: tuple[WordRow, ...]
    tries: tuple[TryRow, ...]
    proofs: tuple[ProofRow, ...]
    tubes: tuple[TubeRow, ...]
    sizes: tuple[SizeRow, ...]
    reaches: tuple[Reach, ...]
    parts: tuple[PartRow, ...]
    seals: tuple[SealRow, ...]
    narrows: tuple[NarrowRow, ...]
    benches: tuple[BenchRow, ...]
    kinds: tuple[KindRow, ...]

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> AirwayTables:
        stated = read_stated(files, "-facts", sources)
        plain = [read_table(t, _File, n) for n, t in sorted(files.items()) if not n.endswith("-facts")]

        def all_of(pick: str, shape: type[R]) -> tuple[R, ...]:
            rows: list[R] = [row for file in plain for row in getattr(file, pick)]
            return checked_rows(rows, stated, sources)

        settings = settings_of(all_of("setting", Setting), SETTINGS, "airway")
        return cls(
            stated=stated,
            settings=settings,
            cuffs=all_of("cuff", CuffRow),
            words=all_of("word", WordRow),
            tries=tuple(sorted(all_of("tries", TryRow), key=lambda t: t.after)),
            proofs=all_of("proof", ProofRow),
            tubes=tuple(sorted(all_of("tube", TubeRow), key=lambda t: t.id_mm)),
            sizes=tuple(sorted(all_of("size", SizeRow), key=lambda s: s.kg)),
            reaches=all_of("reach", Reach),
            parts=all_of("part", PartRow),
            seals=all_of("seal", SealRow),
            narrows=tuple(sorted(all_of("narrow", NarrowRow), key=lambda n: n.at_most)),
            benches=all_of("bench", BenchRow),
            kinds=all_of("kind", KindRow),
        )

    def setting(self, id_: str) -> Setting:
        return self.settings[id_]

    def reach(self, species: str) -> Reach:
        """The bounds of a species; there is no default species."""
        for row in self.reaches:
            if row.species == species:
                return row
        raise Unknown("species", f"{species!r} is not a species Spiracle knows.", "Say dog or cat.")

    def cuff(self, species: str) -> CuffRow:
        self.reach(species)
        return next(row for row in self.cuffs if row.species == species)

    def seal(self, species: str, cuffed: bool) -> SealRow:
        self.reach(species)
        return next(row for row in self.seals if row.species == species and row.cuffed == cuffed)
