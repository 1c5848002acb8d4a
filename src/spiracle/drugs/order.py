"""An ordered dose: who, what, how much; and where it lies between the usual band and the hard stop."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
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
    """What the veterinarian ordered. `conditions` name the animal and the moment: awake, Boxer, ventilated ..."""

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

    @staticmethod
    def of(
        drug: str, species: str, purpose: str, route: str, dose: str, *, row: str = "", strength: str = "",
        conditions: tuple[str, ...] = (), emergency: bool = False, confirmed: bool = False, over_hard_by: str = "",
        reason: str = "", barrel: str = "",
    ) -> OrderedDose:  # fmt: skip
        """An order with its dose read from text: "0.2 mg/kg" or "2 to 4 mg/kg"."""
        low, high = read_dose(dose)
        return OrderedDose(
            drug=drug, species=species, purpose=purpose, route=route, low=low, high=high, row=row, strength=strength,
            conditions=conditions, emergency=emergency, confirmed=confirmed, over_hard_by=over_hard_by, reason=reason,
            barrel=barrel,
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
    """Where a dose lies. `asks`: to be asked about before it is prepared. `slip`: the likely slip, named."""

    zone: Zone
    guardrail: Guardrail
    slip: str = ""
    asks: bool = False
    words: tuple[str, ...] = ()
    per_row: Quantity | None = None


def judge(order: OrderedDose, row: DoseRow, weight: DosingWeight) -> Judgement:
    """The ordered top dose against the row's usual band and stops, for this animal."""
    return judge_dose(order.high, row, weight)


def judge_dose(dose: Quantity, row: DoseRow, weight: DosingWeight) -> Judgement:
    if any(s == "m2" for s, _ in dose.unit.parts):
        raise UnlikeUnits("dose", f"{dose} is a dose by body surface.", "Order it per kg.")
    same_measure(dose, row)
    at = in_unit(dose, row.unit, weight.kg)
    rail = row.guardrail(weight.kg)
    slip = _slip(dose, at, row, rail, weight.kg)
    over_published = at > row.high and at > rail.usual_high
    words = [_held(rail), *(s.words for s in row.stops)]
    if row.facts.usual_cap is not None:
        words.append(f"usual at most {figure(row.facts.usual_cap.at)} {row.facts.usual_cap.unit}")
    return Judgement(rail.zone(at), rail, slip, bool(slip) or over_published, tuple(dict.fromkeys(words)), at)


def _held(rail: Guardrail) -> str:
    """The band in words, a cap per animal shortened to what a person reads."""
    low, high, unit_ = rail.usual_low, rail.usual_high, rail.usual_high.unit
    band = figure(low.value, 4) if low.equals(high) else f"{figure(low.value, 4)} to {figure(high.value, 4)}"
    stop = (
        "no published hard stop" if rail.hard_high is None else f"hard stop {figure(rail.hard_high.value, 4)} {unit_}"
    )
    return f"usual {band} {unit_}, {stop}"


def _slip(dose: Quantity, at: Quantity, row: DoseRow, rail: Guardrail, kg: Decimal) -> str:
    """The slip a dose far off its band looks like, or nothing. Units first: they explain more than a point does."""
    low, high = rail.usual_low.value, rail.usual_high.value
    x = at.value
    if low <= x <= high or high == 0:
        return ""

    def inside(v: Decimal) -> bool:
        return low <= v <= high

    usual = f"usual is {row.usual_text}"
    if inside(x / _THOUSAND):
        return f"{dose} is a thousand times the usual: mg written for mcg? ({usual})"
    if inside(x * _THOUSAND):
        return f"{dose} is a thousandth of the usual: mcg written for mg? ({usual})"
    if row.infusion and inside(x / _HOUR):
        return f"{dose} is sixty times the usual: per minute written for per hour? ({usual})"
    if row.infusion and inside(x * _HOUR):
        return f"{dose} is a sixtieth of the usual: per hour written for per minute? ({usual})"
    if inside(x / TENFOLD) and x > _TWICE * high:
        return f"{dose} is ten times the usual: a point slipped? ({usual})"
    written = _written(dose, x, inside, kg, usual)
    if written:
        return written
    if x >= _FAR * high:
        return f"{dose} is {figure(x / high, 2)} times the usual top: a point slipped? ({usual})"
    return f"{dose} is a tenth of the usual: a point slipped? ({usual})" if inside(x * TENFOLD) else ""


def _written(dose: Quantity, x: Decimal, inside: Callable[[Decimal], bool], kg: Decimal, usual: str) -> str:
    parts = dict(dose.unit.parts)
    if parts.get("kg") == -1 and inside(x / kg) and x > 0 and kg > _TWICE:
        return f"{dose} looks like the total for {figure(kg)} kg written as a dose per kg ({usual})"
    if "kg" not in parts and "animal" not in parts and inside(x * kg) and kg > _TWICE:
        return f"{dose} looks like a dose per kg written as a total ({usual})"
    return ""


def far_over(judged: Judgement, row: DoseRow) -> bool:
    """Whether a dose that looks like a slip is also over what was ever published here: then it is asked about first.

    A dose inside the published range is only unusual, whatever it looks like.
    """
    at = judged.per_row
    return at is not None and bool(judged.slip) and at > judged.guardrail.usual_high and at > row.high


def allow(order: OrderedDose, row: DoseRow, judged: Judgement) -> None:
    """Refuse a dose far over the usual until it is confirmed, then one over its hard stop until it is overridden.

    Emergency rows and orders are never blocked: they warn.
    """
    if row.emergency or order.emergency:
        return
    if far_over(judged, row) and not order.confirmed and not order.overridden:
        raise AskAgain("dose", f"{judged.slip}.", "Correct it, or confirm that it is meant.")
    if judged.zone is Zone.FORBIDDEN and not order.overridden:
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
