"""Quantity: one decimal number with one unit. Unlike units never add, compare or convert."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from functools import lru_cache

from spiracle.quantity.units import Unit, unit
from spiracle.refusals import OutOfRange, UnlikeUnits

_NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit; arithmetic keeps both. Decimals, so 0.1 mL is exactly 0.1 mL.

    >>> str(Quantity.of("0.2", "mg/kg") * Quantity.of("8.4", "kg"))
    '1.68 mg'
    """

    value: Decimal
    unit: Unit

    def __post_init__(self) -> None:
        if not self.value.is_finite():
            raise OutOfRange("number", f"{self.value} is not a number.", "Give a finite number.")

    @staticmethod
    def of(value: Decimal | int | str, symbol: str | Unit) -> Quantity:
        return Quantity(Decimal(value), symbol if isinstance(symbol, Unit) else unit(symbol))

    def _like(self, other: Quantity) -> Decimal:
        """`other`'s number in this unit."""
        if other.unit.parts == self.unit.parts:
            return other.value
        ratio = _ratio(other.unit.parts, self.unit.parts)
        if ratio is None:
            raise UnlikeUnits("unit", f"{other} and {self} are unlike.", f"Give both in {self.unit}.")
        return other.value * ratio[0] / ratio[1]

    def to(self, symbol: str | Unit) -> Quantity:
        target = symbol if isinstance(symbol, Unit) else unit(symbol)
        if target.parts == self.unit.parts:
            return self
        return Quantity(Quantity(_NOTHING, target)._like(self), target)

    def number(self, symbol: str | Unit) -> Decimal:
        """The bare number in a named unit: the only way out of a quantity."""
        return self.to(symbol).value

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(self.value + self._like(other), self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        return Quantity(self.value - self._like(other), self.unit)

    def __mul__(self, other: Quantity | Decimal | int) -> Quantity:
        if isinstance(other, Quantity):
            other = _meet(self, other)
            return Quantity(self.value * other.value, self.unit.times(other.unit))
        return Quantity(self.value * other, self.unit)

    def __truediv__(self, other: Quantity | Decimal | int) -> Quantity:
        if isinstance(other, Quantity):
            other = _meet(self, other)
            return Quantity(self.value / other.value, self.unit.times(other.unit, -1))
        return Quantity(self.value / other, self.unit)

    def __lt__(self, other: Quantity) -> bool:
        return self.value < self._like(other)

    def __le__(self, other: Quantity) -> bool:
        return self.value <= self._like(other)

    def __gt__(self, other: Quantity) -> bool:
        return self.value > self._like(other)

    def __ge__(self, other: Quantity) -> bool:
        return self.value >= self._like(other)

    def equals(self, other: Quantity) -> bool:
        """Same amount, whatever the unit (1 g equals 1000 mg); unlike units are refused, not unequal."""
        return self.value == self._like(other)

    def __str__(self) -> str:
        from spiracle.quantity.writing import figure

        symbol = str(self.unit)
        return f"{figure(self.value)} {symbol}".strip()


@lru_cache(maxsize=4096)
def _ratio(of: tuple[tuple[str, int], ...], to_: tuple[tuple[str, int], ...]) -> tuple[Decimal, Decimal] | None:
    """Above and below the line between two units, kept apart so that nothing is rounded before the number is; None: unlike."""
    one, other = Unit(of), Unit(to_)
    if one.dimension != other.dimension:
        return None
    (above, below), (mine_above, mine_below) = one.factor, other.factor
    return above * mine_below, below * mine_above


def _meet(left: Quantity, right: Quantity) -> Quantity:
    """`right` written in `left`'s symbols where both measure the same thing, so that mg * (mL/g) is mL."""
    target = _met(left.unit.parts, right.unit.parts)
    return right if target is None else right.to(target)


@lru_cache(maxsize=4096)
def _met(left: tuple[tuple[str, int], ...], right: tuple[tuple[str, int], ...]) -> Unit | None:
    """The unit to write the right one in; None where it stays as it is."""
    from spiracle.quantity.units import SYMBOLS

    mine = {SYMBOLS[s][0]: s for s, _ in left}
    parts = tuple((mine.get(SYMBOLS[s][0], s), e) for s, e in right)
    return None if parts == right else Unit(parts)


def down_to(value: Decimal, step: Decimal) -> Decimal:
    """The greatest whole number of steps not above `value`: rounding toward less, exactly.

    >>> down_to(Decimal("0.168"), Decimal("0.01"))
    Decimal('0.16')
    """
    return (value / step).to_integral_value(rounding=ROUND_FLOOR) * step


def nearest(value: Decimal, step: Decimal) -> Decimal:
    """The nearest whole number of steps; for readings and settings, never for a dose."""
    return (value / step).to_integral_value(rounding=ROUND_HALF_EVEN) * step
