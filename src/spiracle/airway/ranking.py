"""Which tubes of the shelf fit and seal, by chance; and the three to lay out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from math import erf, sqrt
from typing import Literal

from spiracle.airway.bore import od_for_trachea_mm
from spiracle.airway.estimating import Combined, Evidence
from spiracle.airway.measured import PREVIOUS, Measured
from spiracle.airway.sizing import Role, Tube
from spiracle.airway.tables import AirwayTables, SealRow
from spiracle.quantity import figure, printed_size, reading
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
    """Nothing larger comes first, and nothing is laid out that is as wide outside as the measured bore."""

    id_mm: float
    od_mm: float | None
    bore_mm: float | None
    says: str

    def lets_in(self, tube: Tube) -> bool:
        """Whether the tube goes into the trachea at all, where one was measured."""
        return self.bore_mm is None or float(tube.od_mm) < self.bore_mm


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
    """Bore of the usual tube that is as wide outside as this one [mm]: what has to pass is the outside.

    Straight between two usual tubes; beyond their ends by the usual ratio of outside to inside.
    """
    if tube.od_memory:
        return float(tube.id_mm)
    od, usual = float(tube.od_mm), [(float(t.od_mm), float(t.id_mm)) for t in facts.tubes]
    for (low_od, low), (high_od, high) in pairwise(usual):
        if low_od <= od <= high_od:
            return low + (high - low) * (od - low_od) / (high_od - low_od)
    end_od, end = usual[0] if od < usual[0][0] else usual[-1]
    return end + (od - end_od) / facts.setting("od-per-id").number


def ceiling(facts: AirwayTables, species: str, brachycephalic: bool, measured: Measured, found: Evidence) -> Ceiling:
    """What the first choice may not exceed.

    In cats what weight asks for; in short noses and where the trachea was measured the combined size, and 70 % of that trachea
    outside; the tube that served before, or one step under the one that was tight, in a
    full-grown animal. Where two ways disagree, the smaller of them. In other dogs half a step over the combined size: the nearest
    tube. A measured trachea and a grown animal's tube hold even where they are too far from weight to be weighed with it.
    """
    step = facts.setting("one-size").number
    size = found.combined.id_mm
    bores = [float(b.number("mm")) for b in (measured.tracheal_diameter, measured.ultrasound_diameter) if b is not None]
    strict = species == "cat" or brachycephalic or bool(bores)
    most, says = (size, "the size all estimates give together") if strict else (size + step / 2, "the nearest size")
    if species == "cat" and found.by_weight.id_mm <= most:
        most, says = found.by_weight.id_mm, "what a cat's weight asks for"
    lesser = _lesser_of_two(found)
    if lesser is not None and lesser < most:
        most, says = lesser, "the smaller of two that disagree"
    last = found.named(PREVIOUS)
    if last is not None and last.binds and last.id_mm <= most:
        most, says = last.id_mm, _as_last_time(str(measured.previous_outcome))
    share = facts.setting("trachea-fraction")
    od = od_for_trachea_mm(min(bores), share.number / 100) if bores else None
    if od is not None:
        says += f", and {share.value} % of the measured trachea outside"
    return Ceiling(id_mm=most, od_mm=od, bore_mm=min(bores) if bores else None, says=says)


def _lesser_of_two(found: Evidence) -> float | None:
    """The smallest size [mm] of those that disagree. Of what was left out beside weight only what is of this very trachea speaks."""
    sizes = [e.id_mm for pair in found.apart for e in pair]
    if found.left_out:
        sizes += [found.by_weight.id_mm, *(e.id_mm for e in found.left_out if e.binds)]
    return min(sizes, default=None)


def _as_last_time(outcome: str) -> str:
    return "the tube that served before" if outcome == "served" else "one step under the tube that was tight"


def most_mm(facts: AirwayTables, most: Ceiling) -> float:
    """The ceiling as a bore [mm]: the smaller of its own and that of the widest usual tube it lets through."""
    if most.od_mm is None:
        return most.id_mm
    return min(most.id_mm, most.od_mm / facts.setting("od-per-id").number)


def _under(facts: AirwayTables, tube: Tube, most: Ceiling) -> bool:
    """A tube with a thicker wall than such tubes have, or of a size that is not usual, is held to its outside, not its number."""
    usual = next((t for t in facts.tubes if t.id_mm == tube.id_mm), None)
    thick = not tube.od_memory and (usual is None or tube.od_mm > usual.od_mm + usual.od_within_mm)
    size = size_that_counts_mm(facts, tube) if thick else float(tube.id_mm)
    return size <= most.id_mm + HAIR_MM and (most.od_mm is None or float(tube.od_mm) <= most.od_mm + HAIR_MM)


def rank(
    facts: AirwayTables, species: str, combined: Combined, most: Ceiling, tubes: tuple[Tube, ...]
) -> tuple[Ranked, ...]:
    """The shelf, best first: those that may come first by their chance, then the larger ones by theirs; the smaller of a tie.

    Where none has a chance worth the name the nearest leads, and where every tube is larger than it should be, the narrowest.
    """

    def order(
        row: tuple[Tube, Chance, bool],
    ) -> tuple[float, float, Decimal, Decimal]:  # of two as wide, the wider bore
        tube, chance, _ = row
        seal = facts.seal(species, tube.cuffed)
        middle = size_that_counts_mm(facts, tube) + float(seal.below_mm - seal.above_mm) / 2
        return -round(chance.fits, 9), round(abs(middle - combined.id_mm), 6), tube.od_mm, -tube.id_mm

    rows = []
    for tube in tubes:
        chance = fit_chance(size_that_counts_mm(facts, tube), combined, facts.seal(species, tube.cuffed))
        rows.append((tube, chance, _under(facts, tube, most)))
    allowed = sorted((r for r in rows if r[2]), key=order)
    larger = sorted((r for r in rows if not r[2]), key=order)
    if not allowed and larger:
        larger.sort(key=lambda r: (r[0].od_mm, -r[0].id_mm))
    ordered = [*allowed, *larger]
    return tuple(_ranked(facts, species, combined, most, row, at == 0) for at, row in enumerate(ordered))


def _ranked(
    facts: AirwayTables, species: str, combined: Combined, most: Ceiling, row: tuple[Tube, Chance, bool], leads: bool
) -> Ranked:
    tube, chance, under = row
    place: Place = "first" if leads else "may be first" if under else "too large to be first"
    why = f"{tube.id_text}, {printed_size(tube.od_mm)} mm outside: {chance.says}."
    if not most.lets_in(tube):
        why = f"{why[:-1]}; does not go into a trachea of {_bore(most.bore_mm)} mm."
    elif not under:
        why = f"{why[:-1]}; larger than {most.says}."
    seal = facts.seal(species, tube.cuffed)
    held = (f"fits from {seal.below_mm} mm below to {seal.above_mm} mm above the best size (ours, from memory)",)
    return Ranked(tube=tube, chance=chance, place=place, why=why,
                  working=Working(f"{combined.text}, normal law: {chance.says}", held=held, sources=combined.working.sources,
                                  memory=True, estimated=True))  # fmt: skip


def three(
    facts: AirwayTables, species: str, most: Ceiling, found: Evidence, ranked: tuple[Ranked, ...], brachycephalic: bool
) -> tuple[tuple[Tube, ...], tuple[str, ...]]:
    """The best of the ranking with the next narrower and the next wider in stock, and what is to be said about them.

    Neighbours are judged by their outside, which is what has to pass; nothing is laid out that does not go into a measured trachea.
    Refused by name where the best is more likely than not too large, or would be by its ceiling.
    """
    best = ranked[0] if ranked else None
    if best is None or not _may_lead(facts, species, best, most):
        raise _none_fits(facts, species, most, best)
    first = best.tube
    cautions = []
    if not _under(facts, first, most):
        cautions.append(
            f"The smallest tube in stock is larger than the ID {_tenths(most_mm(facts, most))} mm aimed at: never force it."
        )
    if found.combined.id_mm - float(first.id_mm) > found.within_mm:
        cautions.append(
            f"{first.id_text} is more than {found.within_mm:.2f} mm smaller than the size expected: it will leak."
        )
    narrower = sorted((r.tube for r in ranked if r.tube.od_mm < first.od_mm), key=_down, reverse=True)
    wider = [r.tube for r in ranked if r.tube.od_mm > first.od_mm and r.tube.id_mm >= first.id_mm]
    wider_in = [t for t in wider if most.lets_in(t)]
    picked = [_as(first, "first choice")]
    if narrower:
        picked.insert(0, _as(narrower[0], "one smaller"))
    else:
        cautions.append("No smaller tube is in stock: have a mask and plan B at hand.")
    if wider_in:
        picked.append(_as(min(wider_in, key=lambda t: (t.od_mm, -t.id_mm, not t.cuffed)), "one larger"))
    elif wider:
        cautions.append(f"Nothing larger is laid out: no other tube goes into a trachea of {_bore(most.bore_mm)} mm.")
    else:
        cautions.append(f"No larger tube for a {species} is in stock.")
    if brachycephalic and species == "dog" and len(narrower) > 1:
        cautions.append(f"Keep {narrower[1].id_text} within reach too: the spread is wider below.")
    return tuple(picked), tuple(cautions)


def _down(tube: Tube) -> tuple[Decimal, Decimal, bool]:
    """Of two as wide outside, the wider bore; then the one with a cuff."""
    return tube.od_mm, tube.id_mm, tube.cuffed


def _may_lead(facts: AirwayTables, species: str, best: Ranked, most: Ceiling) -> bool:
    """Not if it is as wide as the trachea, or more likely than not too large by all that is weighed or by its ceiling."""
    likely = best.chance.too_large <= best.chance.fits + best.chance.too_small
    above = float(facts.seal(species, best.tube.cuffed).above_mm)
    over = size_that_counts_mm(facts, best.tube) - most_mm(facts, most)
    return most.lets_in(best.tube) and likely and over <= above + HAIR_MM


def _none_fits(facts: AirwayTables, species: str, most: Ceiling, best: Ranked | None) -> Missing:
    """Which size to fetch: the largest usual one that may come first."""
    least, needed = facts.reach(species).id_low_mm, most_mm(facts, most)
    whose = species if most.bore_mm is None else f"{species} with a trachea of {_bore(most.bore_mm)} mm"
    says = f"none fits: about ID {_tenths(needed)} mm is needed for this {whose}"
    if best is not None:
        says += f", and the narrowest is {best.tube.id_text}, {printed_size(best.tube.od_mm)} mm outside"
    made = [t for t in facts.tubes if least <= t.id_mm <= needed + HAIR_MM
            and (most.od_mm is None or float(t.od_mm) <= most.od_mm + HAIR_MM)]  # fmt: skip
    if not made:
        return Missing("tubes in stock", f"{says}.",
                       f"No tube is made for a {species} under ID {printed_size(least)} mm: measure again.")  # fmt: skip
    fetch = f"Fetch ID {printed_size(made[-1].id_mm)} mm, about {printed_size(made[-1].od_mm)} mm outside, and the sizes around it."
    return Missing("tubes in stock", f"{says}.", fetch)


def _as(tube: Tube, role: Role) -> Tube:
    return replace(tube, role=role)


def _tenths(mm: float) -> str:
    return reading(Decimal(str(round(mm, 4))), 1)


def _bore(mm: float | None) -> str:
    return "" if mm is None else figure(Decimal(str(mm)))


def _percent(share: float) -> str:
    """Whole hundredths; never a certainty.

    >>> _percent(0.999), _percent(0.003), _percent(0.5)
    ('over 99 %', 'under 1 %', '50 %')
    """
    if share >= 0.995:
        return "over 99 %"
    return "under 1 %" if share < 0.005 else f"{share * 100:.0f} %"
