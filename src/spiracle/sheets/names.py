"""Names as printed, and the small phrases every sheet shares: figures with their unit, times of day, lists of words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal
from functools import lru_cache

from spiracle.quantity import Quantity, Unit, figure, reading
from spiracle.refusals import Refusal

_PRINTED = {"Cel": "°C", "cmH2O": "cmH₂O", "day": "d"}


@dataclass(frozen=True, slots=True)
class Names:
    """What ids are called on a page. An id that is not listed is shown as it stands, never hidden."""

    drugs: Mapping[str, str] = field(default_factory=dict)
    hands: Mapping[str, str] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    conditions: Mapping[str, str] = field(default_factory=dict)
    orders: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, str] = field(default_factory=dict)
    zone: tzinfo = UTC

    def clock(self, at: datetime) -> str:
        """A time of day as the clock on the hospital's wall shows it."""
        return f"{at.astimezone(self.zone):%H:%M}"

    def day_clock(self, at: datetime) -> str:
        """With the day of the week."""
        return f"{at.astimezone(self.zone):%a %H:%M}"

    def drug(self, id_: str) -> str:
        return self.drugs.get(id_) or plain(id_)

    def hand(self, id_: str) -> str:
        """Initials, as on every entry."""
        return self.hands.get(id_, id_)

    def person(self, id_: str) -> str:
        return self.people.get(id_, id_)

    def condition(self, id_: str) -> str:
        return self.conditions.get(id_) or plain(id_)

    def order(self, id_: str) -> str:
        return self.orders.get(id_, id_)

    def line(self, id_: str) -> str:
        """A line of a list in its own words."""
        return self.lines.get(id_) or plain(id_)


def plain(id_: str) -> str:
    """An id read as words: hyphens and low lines are spaces."""
    return id_.replace("_", " ").replace("-", " ")


def capital(text: str) -> str:
    """The first letter large, the rest as it stands (str.capitalize would spoil "SpO₂" and "mL")."""
    return text[:1].upper() + text[1:]


@lru_cache(maxsize=256)
def unit_text(symbol: str) -> str:
    """A unit as printed: °C for Cel, cmH₂O with its small figure; mcg stays mcg.

    >>> unit_text("Cel"), unit_text("cmH2O"), unit_text("mcg/kg/min")
    ('°C', 'cmH₂O', 'mcg/kg/min')
    """
    return "/".join(_PRINTED.get(part, part) for part in symbol.split("/"))


def with_unit(value: Decimal, symbol: str) -> str:
    return f"{figure(value)} {unit_text(symbol)}".strip()


def ml(value: Decimal) -> str:
    return f"{figure(value)} mL"


def shown_kg(kg: Decimal) -> Decimal:
    """A weight as printed: to the gram under 10 kg, to ten grams from there. Sums always take the exact one.

    >>> figure(shown_kg(Decimal("5.624545388"))), figure(shown_kg(Decimal("24.6"))), figure(shown_kg(Decimal("12.3456")))
    ('5.625', '24.6', '12.35')
    """
    step = Decimal("0.001") if kg < 10 else Decimal("0.01")
    return kg if kg == kg.quantize(step) else kg.quantize(step)


def kg_text(kg: Decimal) -> str:
    return f"{figure(shown_kg(kg))} kg"


def quantity_text(value: Quantity, significant: int = 0) -> str:
    return f"{figure(value.value, significant)} {unit_text(str(value.unit))}"


def convert(value: Decimal, symbol: str, into: str) -> Decimal | None:
    """The number in another unit, or None where the two measure different things or a unit is not known."""
    if symbol == into:
        return value
    try:
        return Quantity.of(value, symbol).number(into)
    except Refusal:
        return None


@lru_cache(maxsize=4096)
def observed(value: Decimal, places: int) -> str:
    """A reading with its usual number of decimals, or with more where more were seen: nothing seen is rounded away.

    >>> observed(Decimal("98.0"), 0), observed(Decimal("37"), 1), observed(Decimal("36.25"), 1)
    ('98', '37.0', '36.25')
    """
    exponent = value.normalize().as_tuple().exponent
    own = -exponent if isinstance(exponent, int) and exponent < 0 else 0
    return reading(value, max(places, own))


def minutes_text(span: timedelta) -> str:
    """A duration in words: "7 min", "3 h 20 min", "2 d 4 h".

    >>> minutes_text(timedelta(minutes=7)), minutes_text(timedelta(minutes=200)), minutes_text(timedelta(hours=52))
    ('7 min', '3 h 20 min', '2 d 4 h')
    """
    total = int(span.total_seconds() // 60)
    if total < 60:
        return f"{total} min"
    if total < 48 * 60:
        return f"{total // 60} h {total % 60} min" if total % 60 else f"{total // 60} h"
    days, hours = divmod(total // 60, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"


def joined(parts: Iterable[str | None], by: str = ", ") -> str:
    """The parts that say something, joined."""
    return by.join(p for p in parts if p)


def per_kg(unit: str) -> Unit | None:
    """The unit of an amount, per kg, where the symbol is known."""
    try:
        return Quantity.of(1, f"{unit}/kg").unit
    except Refusal:
        return None


def where(side: str, site: str) -> str:
    """Side and site of a block or a push, the side said once.

    >>> where("left", "upper jaw"), where("left", "left flank"), where("", "neck")
    ('left upper jaw', 'left flank', 'neck')
    """
    return site if side and site.lower().startswith(side.lower()) else joined((side, site), " ")
