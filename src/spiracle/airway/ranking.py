"""Which tubes of the shelf fit and seal, by chance; and the three to lay out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from math import erf, sqrt
from typing import Literal

from spiracle.airway.bore import od_for_trachea_mm
from spiracle.airway.estimating import WEIGHT, Combined, Evidence
from spiracle.airway.measured import PREVIOUS, Measured
from spiracle.airway.sizing import Role, Tube
from spiracle.airway.tables import AirwayTables, SealRow
from spiracle.quantity import reading
from spiracle.refusals import Missing
from spiracle.source import Working

HAIR_MM = 1e-6  # what arithmetic in floats may lose of a size

Place = Literal["first", "may be first", "too large to be first"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """How likely a tube is too small to seal, fits and seals, or is too large; together one."""

    too_small: float
    fits: float
    too_large: float

    @property
    def says(self) -> str:
        """In hundredths. They are worked from spreads that are partly from memory, and rank sizes; they promise nothing."""
        return f"fits and seals {_percent(self.fits)}, too small {_percent(self.too_small)}, too large {_percent(self.too_large)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A tube of the shelf with its chance and one line of why."""

    tube: Tube
    chance: Chance
    place: Place
    why: str
    working: Working


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceiling:
    """Nothing larger comes first. `strict` where the smaller side is the safe one: cats, short noses, a measured trachea."""

    id_mm: float
    od_mm: float | None
    strict: bool
    says: str


def normal_share_below(x: float, mean: float, sd: float) -> float:
    """Share of a normal law below x.

    >>> round(normal_share_below(1.96, 0, 1), 3)
    0.975
    """
    return (1 + erf((x - mean) / (sd * sqrt(2)))) / 2


def fit_chance(size_mm: float, combined: Combined, seal: SealRow) -> Chance:
    """How a tube of this size [mm] fares when the best size follows the combined estimate.

    It fits and seals when it lies within the row's reach below and above the best size.
    """
    mean, sd = combined.id_mm, combined.sd_mm
    too_large = normal_share_below(size_mm - float(seal.above_mm), mean, sd)
    too_small = normal_share_below(2 * mean - size_mm - float(seal.below_mm), mean, sd)
    return Chance(too_small=too_small, fits=max(0.0, 1 - too_small - too_large), too_large=too_large)


def size_that_counts_mm(facts: AirwayTables, tube: Tube) -> float:
    """Bore of the usual tube that is as wide outside as this one [mm]: what has to pass is the outside."""
    if tube.od_memory:
        return float(tube.id_mm)
    return float(tube.id_mm) + (float(tube.od_mm) - _usual_od_mm(facts, tube)) / facts.setting("od-per-id").number


def _usual_od_mm(facts: AirwayTables, tube: Tube) -> float:
    row = next((t for t in facts.tubes if t.id_mm == tube.id_mm), None)
    return float(row.od_mm) if row else float(tube.id_mm) * facts.setting("od-per-id").number


def ceiling(facts: AirwayTables, species: str, brachycephalic: bool, measured: Measured, found: Evidence) -> Ceiling:
    """What the first choice may not exceed.

    In cats what weight asks for; in short noses and where the trachea was measured the combined size, and 70 % of that trachea
    outside; the tube that served before, or one step under the one that was tight, in a
    full-grown animal. In other dogs half a step over the combined size: the nearest tube.
    """
    step = facts.setting("one-size").number
    size = found.combined.id_mm
    bores = [float(b.number("mm")) for b in (measured.tracheal_diameter, measured.ultrasound_diameter) if b is not None]
    strict = species == "cat" or brachycephalic or bool(bores)
    most, says = (size, "the size all estimates give together") if strict else (size + step / 2, "the nearest size")
    weight = found.named(WEIGHT)
    if species == "cat" and weight is not None and weight.id_mm <= most:
        most, says = weight.id_mm, "what a cat's weight asks for"
    last = found.named(PREVIOUS)
    grown, outcome = measured.previous_full_grown is True, measured.previous_outcome
    if last is not None and grown and outcome in {"served", "tight"} and last.id_mm < most:
        most, says = last.id_mm, _as_last_time(str(outcome))
    share = facts.setting("trachea-fraction")
    od = od_for_trachea_mm(min(bores), share.number / 100) if bores else None
    if od is not None:
        says += f", and {share.value} % of the measured trachea outside"
    return Ceiling(id_mm=most, od_mm=od, strict=strict, says=says)


def _as_last_time(outcome: str) -> str:
    return "the tube that served before" if outcome == "served" else "one step under the tube that was tight"


def most_mm(facts: AirwayTables, most: Ceiling) -> float:
    """The ceiling as a bore [mm]: the smaller of its own and that of the widest usual tube it lets through."""
    if most.od_mm is None:
        return most.id_mm
    return min(most.id_mm, most.od_mm / facts.setting("od-per-id").number)


def _under(facts: AirwayTables, tube: Tube, most: Ceiling) -> bool:
    """A tube of the right bore with a thicker wall than such tubes have is held to its outside, not to its number."""
    usual = next((t for t in facts.tubes if t.id_mm == tube.id_mm), None)
    thick = usual is not None and not tube.od_memory and tube.od_mm > usual.od_mm + usual.od_within_mm
    size = size_that_counts_mm(facts, tube) if thick else float(tube.id_mm)
    return size <= most.id_mm + HAIR_MM and (most.od_mm is None or float(tube.od_mm) <= most.od_mm + HAIR_MM)


def rank(
    facts: AirwayTables, species: str, combined: Combined, most: Ceiling, tubes: tuple[Tube, ...]
) -> tuple[Ranked, ...]:
    """The shelf, best first: those that may come first by their chance, then the larger ones by theirs; the smaller of a tie.

    Where every tube is larger than it should be, the smallest leads.
    """
    rows = []
    for tube in tubes:
        chance = fit_chance(size_that_counts_mm(facts, tube), combined, facts.seal(species, tube.cuffed))
        rows.append((tube, chance, _under(facts, tube, most)))
    allowed = sorted((r for r in rows if r[2]), key=lambda r: (-round(r[1].fits, 9), r[0].id_mm, r[0].od_mm))
    larger = sorted((r for r in rows if not r[2]), key=lambda r: (-round(r[1].fits, 9), r[0].id_mm, r[0].od_mm))
    if not allowed and larger:
        larger.sort(key=lambda r: (r[0].id_mm, r[0].od_mm))
    ordered = [*allowed, *larger]
    return tuple(_ranked(facts, species, combined, most, row, at == 0) for at, row in enumerate(ordered))


def _ranked(
    facts: AirwayTables, species: str, combined: Combined, most: Ceiling, row: tuple[Tube, Chance, bool], leads: bool
) -> Ranked:
    tube, chance, under = row
    place: Place = "first" if leads else "may be first" if under else "too large to be first"
    od = f", {reading(tube.od_mm, 1)} mm outside"
    why = f"{tube.id_text}{od}: {chance.says}."
    if not under:
        why = f"{why[:-1]}; larger than {most.says}."
    seal = facts.seal(species, tube.cuffed)
    held = (f"fits from {seal.below_mm} mm below to {seal.above_mm} mm above the best size (ours, from memory)",)
    return Ranked(tube=tube, chance=chance, place=place, why=why,
                  working=Working(f"{combined.text}, normal law: {chance.says}", held=held, sources=combined.working.sources,
                                  memory=True, estimated=True))  # fmt: skip


def three(
    facts: AirwayTables,
    species: str,
    most: Ceiling,
    combined: Combined,
    ranked: tuple[Ranked, ...],
    brachycephalic: bool,
) -> tuple[tuple[Tube, ...], tuple[str, ...]]:
    """The best of the ranking with the next bore down and up in stock, smallest first, and what is to be said about them.

    A shelf whose smallest tube lies above the ceiling by more than a size is refused, and so is an empty one.
    """
    half = facts.setting("size-half-width")
    room = facts.setting("one-size").number if most.strict else half.number
    limit = most_mm(facts, most)
    first = ranked[0] if ranked else None
    if first is None or float(first.tube.id_mm) - limit > room:
        raise Missing("tubes in stock", f"none fits: about ID {_tenths(limit)} mm is needed for this {species}.",
                      "List the tubes on the shelf, or fetch the sizes around it.")  # fmt: skip
    at = first.tube.id_mm
    cautions = []
    if not _under(facts, first.tube, most):
        cautions.append(
            f"The smallest tube in stock is larger than the ID {_tenths(limit)} mm aimed at: never force it."
        )
    if combined.id_mm - float(at) > half.number:
        cautions.append(f"The nearest tube in stock is more than {half.value} mm smaller than expected: it will leak.")
    smaller = [r for r in ranked if r.tube.id_mm < at]
    larger = [r for r in ranked if r.tube.id_mm > at]
    picked = [_as(first.tube, "first choice")]
    bores = sorted({r.tube.id_mm for r in smaller})
    if bores:
        picked.insert(0, _as(_best_of(smaller, bores[-1]), "one smaller"))
    else:
        cautions.append("No smaller tube is in stock: have a mask and plan B at hand.")
    if larger:
        picked.append(_as(_best_of(larger, min(r.tube.id_mm for r in larger)), "one larger"))
    else:
        cautions.append(f"No larger tube for a {species} is in stock.")
    if brachycephalic and species == "dog" and len(bores) > 1:
        cautions.append(f"Keep ID {reading(bores[-2], 1)} mm within reach too: the spread is wider below.")
    return tuple(picked), tuple(cautions)


def _best_of(ranked: list[Ranked], id_mm: Decimal) -> Tube:
    """The narrowest outside of one bore: as a step down it is the surer, as a step up the kinder."""
    return min((r.tube for r in ranked if r.tube.id_mm == id_mm), key=lambda t: t.od_mm)


def _as(tube: Tube, role: Role) -> Tube:
    return replace(tube, role=role)


def _tenths(mm: float) -> str:
    return reading(Decimal(str(round(mm, 4))), 1)


def _percent(share: float) -> str:
    """Whole hundredths; never a certainty.

    >>> _percent(0.999), _percent(0.003), _percent(0.5)
    ('over 99 %', 'under 1 %', '50 %')
    """
    if share >= 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else f"{share * 100:.0f} %"
