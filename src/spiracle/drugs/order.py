"""An ordered dose: who, what, how much; and where it lies between the usual band and the hard stop."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from spiracle.drugs.rows import DoseRow, amount_of, in_unit, same_measure
from spiracle.quantity import Quantity, figure, read, unit
from spiracle.refusals import AskAgain, NotAQuantity, OutOfRange, OverLimit, UnlikeUnits
from spiracle.source import Guardrail, Zone

_RANGE = re.compile(r"^\s*(\S+?)\s*(?:-|–|to)\s*(\S+)\s+(.+)$")
TENFOLD = Decimal(10)
_THOUSAND = Decimal(1000)
_HOUR = Decimal(60)
_FAR = Decimal(8)
_TWICE = Decimal(2)
_POINT = "a point slipped"


@dataclass(frozen=True, slots=True)
class DosingWeight:
    """The weight that doses are worked from. `estimated`: nobody has weighed the animal. `chosen`: no scale's, but a
    veterinarian's other basis, like a lean weight."""

    kg: Decimal
    estimated: bool = False
    basis: str = "body weight"
    at: str = ""
    chosen: bool = False

    def __post_init__(self) -> None:
        if not self.kg.is_finite() or self.kg <= 0:
            raise OutOfRange("weight", f"{self.kg} kg is not a weight.", "Give a weight above 0 kg.")

    @property
    def quantity(self) -> Quantity:
        return Quantity(self.kg, unit("kg"))


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedDose:
    """What the veterinarian ordered. `conditions` name the animal and the moment: awake, Boxer, ventilated ... `urgent`: there is
    trouble, and an emergency row asks nothing."""

    drug: str
    species: str
    purpose: str
    route: str
    low: Quantity
    high: Quantity
    row: str = ""
    strength: str = ""
    conditions: tuple[str, ...] = ()
    barrel: str = ""
    emergency: bool = False
    over_hard_by: str = ""
    reason: str = ""
    confirmed: bool = False
    urgent: bool = False

    @staticmethod
    def of(
        drug: str, species: str, purpose: str, route: str, dose: str, *, row: str = "", strength: str = "",
        conditions: tuple[str, ...] = (), emergency: bool = False, confirmed: bool = False, over_hard_by: str = "",
        reason: str = "", barrel: str = "", urgent: bool = False,
    ) -> OrderedDose:  # fmt: skip
        """An order with its dose read from text: "0.2 mg/kg" or "2 to 4 mg/kg"."""
        low, high = read_dose(dose)
        return OrderedDose(
            drug=drug, species=species, purpose=purpose, route=route, low=low, high=high, row=row, strength=strength,
            conditions=conditions, emergency=emergency, confirmed=confirmed, over_hard_by=over_hard_by, reason=reason,
            barrel=barrel, urgent=urgent,
        )  # fmt: skip

    @property
    def overridden(self) -> bool:
        """Whether a named veterinarian has said so, with a reason."""
        return bool(self.over_hard_by.strip() and self.reason.strip())

    @property
    def dose_text(self) -> str:
        if self.low.equals(self.high):
            return str(self.high)
        return f"{figure(self.low.value)} to {self.high}"


def read_dose(text: str, field: str = "dose") -> tuple[Quantity, Quantity]:
    """A dose or a range of doses.

    >>> [str(q) for q in read_dose("2-4 mg/kg")]
    ['2 mg/kg', '4 mg/kg']
    """
    found = _RANGE.match(text) if isinstance(text, str) else None
    if not found:
        single = read(text, field, "dose")
        return single, single
    low, high = (read(f"{n} {found.group(3)}", field, "dose") for n in found.group(1, 2))
    if low > high:
        raise NotAQuantity(field, f"{text!r} runs backwards.", "Write the lower figure first.")
    return low, high


@dataclass(frozen=True, slots=True)
class Judgement:
    """Where a dose lies. `asks`: to be asked about before it is prepared. `slip`: the likely slip, named, and the hard stop it
    is over if it is. `under`: the slip is toward too little."""

    zone: Zone
    guardrail: Guardrail
    slip: str = ""
    asks: bool = False
    words: tuple[str, ...] = ()
    per_row: Quantity | None = None
    under: bool = False


def judge(order: OrderedDose, row: DoseRow, weight: DosingWeight) -> Judgement:
    """The ordered top dose against the row's usual band and stops, for this animal; the lower end of a range for a slip."""
    judged = judge_dose(order.high, row, weight, order.dose_text)
    if judged.slip or order.low.equals(order.high):
        return judged
    low, rail = in_unit(order.low, row.unit, weight.kg), judged.guardrail
    if not 0 < low.value * TENFOLD <= min(rail.usual_low.value, row.low.value):
        return judged
    slip = f"{order.dose_text} begins at a tenth of the usual or less: a point slipped? (usual is {row.usual_text})"
    return replace(judged, slip=slip, asks=True, under=True)


def judge_dose(dose: Quantity, row: DoseRow, weight: DosingWeight, said: str = "") -> Judgement:
    """One dose against the row. `said`: the order in the veterinarian's words, where it is a range."""
    if any(s == "m2" for s, _ in dose.unit.parts):
        raise UnlikeUnits("dose", f"{dose} is a dose by body surface.", "Order it per kg.")
    same_measure(dose, row)
    at = in_unit(dose, row.unit, weight.kg)
    rail = row.guardrail(weight.kg)
    zone = rail.zone(at)
    slip = _slip(dose, at, row, rail, weight.kg)
    over_published = at > row.high and at > rail.usual_high
    words = [_held(rail), *(s.words for s in row.stops)]
    if row.facts.usual_cap is not None:
        words.append(f"usual at most {figure(row.facts.usual_cap.at)} {row.facts.usual_cap.unit}")
    told = (
        "" if slip is None else slip.words(said or str(dose), row, rail.hard_high if zone is Zone.FORBIDDEN else None)
    )
    under = slip is not None and at < rail.usual_low and at < row.low
    return Judgement(zone, rail, told, bool(told) or over_published, tuple(dict.fromkeys(words)), at, under)


def _held(rail: Guardrail) -> str:
    """The band in words, a cap per animal shortened to what a person reads."""
    low, high, unit_ = rail.usual_low, rail.usual_high, rail.usual_high.unit
    band = figure(low.value, 4) if low.equals(high) else f"{figure(low.value, 4)} to {figure(high.value, 4)}"
    stop = (
        "no published hard stop" if rail.hard_high is None else f"hard stop {figure(rail.hard_high.value, 4)} {unit_}"
    )
    return f"usual {band} {unit_}, {stop}"


@dataclass(frozen=True, slots=True)
class _Slip:
    """What a dose far off its band looks like, and what was probably meant."""

    looks: str
    guess: str = ""

    def words(self, said: str, row: DoseRow, over: Quantity | None) -> str:
        """One sentence: the dose, what it looks like, the stop it is over, the guess, the usual band."""
        stop = "" if over is None else f", and over the hard stop of {_short(over)}"
        guess = f": {self.guess}?" if self.guess else ""
        return f"{said} {self.looks}{stop}{guess} (usual is {row.usual_text})"


def _slip(dose: Quantity, at: Quantity, row: DoseRow, rail: Guardrail, kg: Decimal) -> _Slip | None:
    """The slip a dose far off its band looks like, or nothing. Units first: they explain more than a point does."""
    low, high = rail.usual_low.value, rail.usual_high.value
    x = at.value
    if low <= x <= high or high == 0:
        return None

    def inside(v: Decimal) -> bool:
        return low <= v <= high

    tries = (
        (inside(x / _THOUSAND), _Slip("is a thousand times the usual", "mg written for mcg")),
        (inside(x * _THOUSAND), _Slip("is a thousandth of the usual", "mcg written for mg")),
        (row.infusion and inside(x / _HOUR), _Slip("is sixty times the usual", "per minute written for per hour")),
        (row.infusion and inside(x * _HOUR), _Slip("is a sixtieth of the usual", "per hour written for per minute")),
        (inside(x / TENFOLD) and x > _TWICE * high, _Slip("is ten times the usual", _POINT)),
    )
    plain = next((slip for fits, slip in tries if fits), None) or _written(dose, x, inside, kg)
    if plain is not None:
        return plain
    if x >= _FAR * high:
        return _Slip(f"is {figure(x / high, 2)} times the usual top", _POINT)
    if inside(x * TENFOLD):
        return _Slip("is a tenth of the usual", _POINT)
    return _Slip("is less than a tenth of the usual", _POINT) if 0 < x * TENFOLD <= low else None


def _written(dose: Quantity, x: Decimal, inside: Callable[[Decimal], bool], kg: Decimal) -> _Slip | None:
    parts = dict(dose.unit.parts)
    if parts.get("kg") == -1 and inside(x / kg) and x > 0 and kg > _TWICE:
        return _Slip(f"looks like the total for {figure(kg)} kg written as a dose per kg")
    if "kg" not in parts and "animal" not in parts and inside(x * kg) and kg > _TWICE:
        return _Slip("looks like a dose per kg written as a total")
    return None


def far_over(judged: Judgement, row: DoseRow) -> bool:
    """Whether a dose that looks like a slip is also over what was ever published here: then it is asked about first.

    A dose inside the published range is only unusual, whatever it looks like.
    """
    at = judged.per_row
    return at is not None and bool(judged.slip) and at > judged.guardrail.usual_high and at > row.high


def allow(order: OrderedDose, row: DoseRow, judged: Judgement) -> None:
    """Refuse a dose far over or far under the usual until it is confirmed, then one over its hard stop until it is overridden.

    Emergency rows and orders are never blocked: they warn. While nothing is wrong yet, a slip in one is asked about.
    """
    if order.emergency or (row.emergency and order.urgent):
        return
    forbidden = judged.zone is Zone.FORBIDDEN
    if row.emergency:
        if (far_over(judged, row) or judged.under or forbidden) and not order.confirmed and not order.overridden:
            off = (
                judged.slip
                or f"{order.dose_text} of {row.name} is over the stop of {_short(judged.guardrail.hard_high)}"
            )
            raise AskAgain(
                "dose", f"{off}.", "Correct it, or a named veterinarian says with a reason that it is meant."
            )
        return
    if (far_over(judged, row) or judged.under) and not order.confirmed and not order.overridden:
        raise AskAgain(
            "dose", f"{judged.slip}.", "Correct it, or a named veterinarian says with a reason that it is meant."
        )
    if forbidden and not order.overridden:
        hard = judged.guardrail.hard_high
        raise OverLimit(
            "dose", f"{order.dose_text} of {row.name} is over the hard stop of {_short(hard)}.",
            "Order less, or a named veterinarian says so with a reason.",
        )  # fmt: skip


def _short(value: Quantity | None) -> str:
    return "" if value is None else f"{figure(value.value, 4)} {value.unit}"


def ordered_amount(order: OrderedDose, weight: DosingWeight) -> Quantity:
    """The top of the order as an amount for this animal (for an infusion: per its own time)."""
    return amount_of(order.high, weight.kg)
