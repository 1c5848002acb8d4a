"""Body weight: what is refused, what is asked again, how long it holds, and the lean weight of a fat animal."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.patient.breeds import Breed
from spiracle.quantity import Quantity, figure, nearest, unit
from spiracle.refusals import AskAgain, NotOneOf, OutOfRange
from spiracle.source import Input, Mark, Seen, Worked, Working

METHODS = ("scale", "estimated", "owner", "earlier visit")
LB_PER_KG = Quantity.of(1, "kg").number("lb")
FIELD = "weight"


class Row(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of the rows of this page: each cites and says how it was seen."""

    source: tuple[str, ...]
    seen: Seen
    note: str = ""

    @property
    def memory(self) -> bool:
        return not self.seen.published


class WeightRules(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    change_percent: Decimal
    typed_twice_under_kg: Decimal
    fresh_hours: int
    fresh_hours_small: int
    small_under_kg: Decimal
    young_under_days: Decimal
    adult_from_days: Decimal
    near_percent: Decimal


class LeanRule(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    id: str
    percent_per_point: Decimal
    percent_per_point_high: Decimal


class Bound(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a species can weigh and still be an animal our figures were made for."""

    species: Literal["dog", "cat"]
    low: Decimal
    high: Decimal


class Typical(Row, frozen=True, kw_only=True, forbid_unknown_fields=True):
    species: Literal["dog", "cat"]
    kg_low: Decimal
    kg_high: Decimal


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight as it was had. `at` None: nobody said when."""

    kg: Decimal
    method: str
    at: datetime | None = None
    confirmed: bool = False

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise NotOneOf(FIELD, f"{self.method!r} is not a way of weighing.", "Say " + ", ".join(METHODS) + ".")

    @property
    def quantity(self) -> Quantity:
        return Quantity(self.kg, unit("kg"))

    @property
    def estimated(self) -> bool:
        """Everything but a scale is an estimate; every figure made from it says so."""
        return self.method != "scale"


@dataclass(frozen=True, slots=True)
class Expected:
    """The span a weight is expected in, and whose word that is."""

    low: Decimal
    high: Decimal
    words: str

    def holds(self, kg: Decimal) -> bool:
        return self.low <= kg <= self.high


@dataclass(frozen=True, slots=True)
class Entry:
    """One weight to be judged, with everything that is known beside it."""

    kg: Decimal
    bound: Bound
    breed: Breed | None
    typical: Typical | None
    age_days: Decimal | None
    last: Weight | None
    method: str
    confirmed: bool
    typed_once: bool


def kilograms(kg: Decimal) -> str:
    return f"{figure(kg)} kg"


def likely_slip(kg: Decimal, span: Expected) -> tuple[str, Decimal] | None:
    """The one slip that would explain a surprising weight: pounds for kilograms, a point misplaced, digits swapped.

    >>> likely_slip(Decimal(18), Expected(Decimal("1.6"), Decimal("2.2"), "last"))[1]
    Decimal('1.8')
    """
    tries = [
        ("That looks like pounds entered as kilograms", nearest(kg / LB_PER_KG, Decimal("0.01"))),
        ("That looks like kilograms converted as if they were pounds", nearest(kg * LB_PER_KG, Decimal("0.01"))),
        ("That looks ten times too much", kg / 10),
        ("That looks ten times too little", kg * 10),
    ]
    swapped = _swapped(kg)
    if swapped is not None:
        tries.append(("That looks like two digits swapped", swapped))
    fits = [(says, value) for says, value in tries if span.holds(value)]
    if len(fits) > 1:  # the nearest to the middle of what is expected explains it best; a tie explains nothing
        middle = (span.low + span.high) / 2
        fits.sort(key=lambda f: abs(f[1] - middle))
    return fits[0] if fits else None


def _swapped(kg: Decimal) -> Decimal | None:
    """The weight with its two significant digits exchanged: 4.2 for 2.4."""
    digits = [d for d in kg.normalize().as_tuple().digits]
    if len(digits) != 2 or digits[0] == digits[1]:
        return None
    exponent = kg.normalize().as_tuple().exponent
    return Decimal((0, (digits[1], digits[0]), exponent if isinstance(exponent, int) else 0))


def _expectations(entry: Entry, rules: WeightRules) -> tuple[Expected, ...]:
    found: list[Expected] = []
    if entry.last is not None and entry.method != "estimated":
        share = rules.near_percent / 100
        found.append(Expected(entry.last.kg * (1 - share), entry.last.kg * (1 + share),
                              f"the last weight, {kilograms(entry.last.kg)}"))  # fmt: skip
    span: Breed | Typical | None = entry.breed or entry.typical
    if span is not None:
        growing = entry.age_days is not None and entry.age_days < rules.adult_from_days
        low = entry.bound.low if growing else span.kg_low
        name = entry.breed.name if entry.breed else f"an adult {entry.bound.species}"
        found.append(Expected(low, span.kg_high, f"{name}, usually {figure(span.kg_low)} to {kilograms(span.kg_high)}"))
    return tuple(found)


def check(entry: Entry, rules: WeightRules) -> None:
    """Refuses what cannot be, and asks again about what surprises. The order: bounds, slips, change, breed, the tiny."""
    bound, kg = entry.bound, entry.kg
    if not kg.is_finite() or kg <= 0:
        raise OutOfRange(FIELD, f"{kg} is not a weight.", "Give the weight in kg, g or lb.")
    spans = _expectations(entry, rules)
    if not bound.low <= kg <= bound.high:
        slips = [s for s in (likely_slip(kg, span) for span in spans) if s]
        use = kilograms(slips[0][1]) if slips else None
        raise OutOfRange(FIELD, f"{kilograms(kg)} is outside what a {bound.species} can weigh here.",
                         f"Give {figure(bound.low)} to {kilograms(bound.high)}.", use)  # fmt: skip
    if entry.confirmed:
        return
    if spans and not spans[0].holds(kg):
        slip = likely_slip(kg, spans[0])
        if slip:
            raise AskAgain(FIELD, f"{slip[0]}: {kilograms(kg)} against {spans[0].words}.",
                           f"Enter it again if it is right, or use {kilograms(slip[1])}.", kilograms(slip[1]))  # fmt: skip
    _ask_about_change(entry, rules)
    for span in spans:
        if not span.holds(kg):
            raise AskAgain(
                FIELD, f"{kilograms(kg)} is not expected from {span.words}.", "Enter it again if it is right."
            )
    if entry.typed_once and entry.method != "estimated" and kg < rules.typed_twice_under_kg:
        raise AskAgain(FIELD, f"Under {kilograms(rules.typed_twice_under_kg)} a slip of the point is a tenfold dose.",
                       f"Enter {kilograms(kg)} a second time.", kilograms(kg))  # fmt: skip


def _ask_about_change(entry: Entry, rules: WeightRules) -> None:
    if entry.last is None or entry.method == "estimated":
        return
    change = (entry.kg - entry.last.kg) / entry.last.kg * 100
    if abs(change) > rules.change_percent:
        way = "more" if change > 0 else "less"
        when = f" of {entry.last.at:%d %b %Y}" if entry.last.at else ""
        raise AskAgain(FIELD, f"{kilograms(entry.kg)} is {figure(nearest(abs(change), Decimal(1)))} % {way} than the "
                       f"{kilograms(entry.last.kg)}{when}.", "Enter it again if it is right.")  # fmt: skip


def good_for(kg: Decimal, age_days: Decimal | None, rules: WeightRules) -> timedelta:
    """How long a weight holds: a day, half a day for the small and the young."""
    young = age_days is not None and age_days < rules.young_under_days
    small = kg < rules.small_under_kg
    return timedelta(hours=rules.fresh_hours_small if small or young else rules.fresh_hours)


def stale(weight: Weight, now: datetime, limit: timedelta) -> str:
    """Why a weight no longer holds, or nothing. A weight from the future is as useless as an old one."""
    if weight.at is None:
        return "Nobody said when this weight was taken. Weigh again."
    if weight.at - now > timedelta(minutes=5):
        return "This weight carries a time that is still to come. Weigh again."
    age = now - weight.at
    if age <= limit:
        return ""
    hours = int(age.total_seconds() // 3600)
    return f"Weighed {hours} h ago; a weight holds {int(limit.total_seconds() // 3600)} h here. Weigh again."


def lean_weight(kg: Decimal, score: int, rule: LeanRule) -> Worked[Quantity] | None:
    """The weight the animal would have at a body condition of 5: a tenth of the scale's weight off for each point above.

    kg: weight on the scale; score: 1 to 9. None at 5 and below: nothing is taken off, and nothing is put on. Wide in
    one animal. Source: the row `lean-weight`; its page works 40 kg at 8 of 9 to 28 kg (and to 22 at 15 % a point).
    """
    if score <= 5:
        return None
    share = (score - 5) * rule.percent_per_point / 100
    lean = nearest(kg * (1 - share), Decimal("0.01"))
    lowest = nearest(kg * (1 - (score - 5) * rule.percent_per_point_high / 100), Decimal("0.01"))
    says = (
        f"{kilograms(kg)} less {figure(share * 100)} %: {figure(rule.percent_per_point)} % for each point over 5 of 9"
    )
    working = Working(
        says=says,
        inputs=(Input("weight", kilograms(kg), Mark.TYPED), Input("body condition", f"{score} of 9", Mark.TYPED)),
        held=(f"as little as {kilograms(lowest)} at {figure(rule.percent_per_point_high)} % a point",),
        sources=rule.source,
        memory=rule.memory,
        estimated=True,
    )
    return Worked(Quantity(lean, unit("kg")), working)
