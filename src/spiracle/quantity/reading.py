"""Reading quantities at the door: one number, one unit, nothing guessed.

Refused by name: a bare number, a comma, a missing leading zero, an exponent, a sign, NaN, a unit of another kind.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from spiracle.quantity.amount import Quantity
from spiracle.quantity.units import Base, Unit, unit
from spiracle.refusals import NotAQuantity, Unknown

_NUMBER = re.compile(r"\d{1,9}(?:\.\d{1,9})?", re.ASCII)
_SPLIT = re.compile(r"^\s*([+\-−]?[\d.,']*(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


@dataclass(frozen=True, slots=True)
class Kind:
    """What a field may hold: which units, and two examples for the sentence of a refusal."""

    name: str
    units: tuple[str, ...]
    example: str

    def admits(self, symbol: Unit) -> bool:
        return any(unit(u).dimension == symbol.dimension for u in self.units)


DOSE_TOPS = ("mg", "mIU", "mEq", "mL", "mmol", "J")
KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind("weight", ("kg",), "8.4 kg, 850 g or 18.5 lb"),
        Kind("dose", tuple(f"{t}{per}{time}" for t in (*DOSE_TOPS, "puff") for per in ("/kg", "/animal", "/m2", "/site")
                           for time in ("", "/min")) + DOSE_TOPS, "0.2 mg/kg or 5 mcg/kg/min"),
        Kind("amount", DOSE_TOPS, "1.5 mg, 40 mcg, 2 IU or 3 mEq"),
        Kind("concentration", ("mg/mL", "IU/mL", "mEq/mL", "mmol/mL"), "10 mg/mL or 20 IU/mL"),
        Kind("volume", ("mL",), "0.5 mL"),
        Kind("volume per weight", ("mL/kg",), "5 mL/kg"),
        Kind("flow", ("mL/min", "mL/kg/min"), "2 L/min or 42 mL/h"),
        Kind("length", ("mm",), "19 cm or 95 mm"),
        Kind("diameter", ("mm",), "5.5 mm"),
        Kind("pressure", ("mmHg",), "25 cmH2O, 18 mmHg or 5 kPa"),
        Kind("temperature", ("Cel",), "37.2 °C or 99 °F"),
        Kind("duration", ("min",), "90 min or 1.5 h"),
        Kind("fraction", ("%",), "21 %"),
        Kind("rate", ("/min",), "12 /min"),
        Kind("drug amount", ("mg/kg", "mg"), "4 mg/kg or 16 mg"),
        Kind("drug rate", ("mg/kg/min", "mg/min"), "0.3 mg/kg/min, 5 mcg/kg/h or 12 mg/h"),
        Kind("clearance", ("mL/kg/min",), "20 mL/kg/min or 1.2 L/kg/h"),
        Kind("rate constant", ("/min",), "0.11 1/min or 2.1 1/h"),
        Kind("level", ("mg/L",), "2 mg/L or 5 ng/mL"),
    )
}  # fmt: skip


def read(text: object, field: str, kind: str) -> Quantity:
    """One quantity of the named kind, or a refusal that names the field and what would be accepted.

    >>> str(read("0.3 mg/kg", "order 1, dose", "dose")), str(read("850 g", "weight", "weight"))
    ('0.3 mg/kg', '0.85 kg')
    """
    want = KINDS[kind]
    number, symbol = _parts(text, field, want)
    if kind == "weight":
        return _weight(number, symbol, field, want)
    if kind == "temperature" and symbol in {"°F", "F", "degF"}:
        return Quantity((number - 32) * 5 / 9, unit("Cel"))
    if kind == "concentration" and symbol == "%":  # grams in 100 mL, by definition of a per cent solution
        return Quantity(number * 10, unit("mg/mL"))
    try:
        known = unit(symbol)
    except Unknown as refusal:
        raise NotAQuantity(field, f"{symbol!r} is not a unit of {kind}.", f"Write it like {want.example}.") from refusal
    if any(base is Base.GAUGE for base, _ in known.dimension) and not want.admits(known):
        raise NotAQuantity(field, "French gauge (Fr) is an outside measure of catheters, never a tracheal tube size.",
                           f"Write millimetres, like {want.example}.")  # fmt: skip
    if not want.admits(known):
        raise NotAQuantity(field, f"{symbol} does not measure a {kind}.", f"Write it like {want.example}.")
    return Quantity(number, known)


def _parts(text: object, field: str, want: Kind) -> tuple[Decimal, str]:
    like = f"Write it like {want.example}."
    if isinstance(text, bool) or not isinstance(text, str):
        raise NotAQuantity(field, f"{text!r} is a bare value without a unit.", like)
    found = _SPLIT.match(text)
    digits, symbol = (found.group(1), found.group(2)) if found else ("", text)
    if "," in digits:
        raise NotAQuantity(field, f"{text!r} has a comma, which is a decimal point to some and thousands to others.",
                           f"Write a point and no thousands mark, like {want.example}.")  # fmt: skip
    if digits[:1] in {"-", "−", "+"}:
        raise NotAQuantity(field, f"{text!r} has a sign.", f"Write a positive number, like {want.example}.")
    if digits.startswith("."):
        raise NotAQuantity(field, f"{text!r} starts with a point, which is easily lost.", f"Write 0{digits}.")
    if not _NUMBER.fullmatch(digits):
        raise NotAQuantity(field, f"{text!r} is not one plain number with a unit.", like)
    if not symbol:
        raise NotAQuantity(field, f"{text!r} has no unit.", like)
    return Decimal(digits), symbol


def _weight(number: Decimal, symbol: str, field: str, want: Kind) -> Quantity:
    if symbol == "g":
        return Quantity(number / 1000, unit("kg"))
    if symbol in {"kg", "kgs"}:
        return Quantity(number, unit("kg"))
    if symbol in {"lb", "lbs"}:
        return Quantity(number, unit("lb")).to("kg")
    raise NotAQuantity(field, f"{symbol!r} is not a unit of body weight.", f"Write it like {want.example}.")


def read_age_days(text: object, field: str = "age") -> Decimal:
    """An age in days from "4 y", "6 mo", "9 wk" or "3 d"; a year is 365.25 days, a month a twelfth of it.

    >>> read_age_days("4 y")
    Decimal('1461.00')
    """
    found = re.fullmatch(
        r"\s*(\d{1,3}(?:\.\d{1,2})?)\s*(y|years?|mo|months?|wk|w|weeks?|d|days?)\s*", str(text), re.ASCII
    )
    if not isinstance(text, str) or not found:
        raise NotAQuantity(field, f"{text!r} is not an age.", "Write it like 4 y, 6 mo, 9 wk or 3 d.")
    days = {"y": Decimal("365.25"), "m": Decimal("365.25") / 12, "w": Decimal(7), "d": Decimal(1)}[found.group(2)[0]]
    return Decimal(found.group(1)) * days
