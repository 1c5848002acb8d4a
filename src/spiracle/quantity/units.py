"""Units of the trade. A unit is a product of named symbols; the animal's mass and the drug's mass never cancel.

`kg` and `lb` are the animal's body mass; `mg`, `mcg`, `ng` and `g` are drug mass: so mg/kg is a dose, not a pure number,
and a per-kg dose cannot be taken for a total. Factors are exact decimals: 0.45359237 kg per pound and 133.322387415 Pa
per mmHg, 98.0665 Pa per cmH2O, 6894.757293168 Pa per psi (NIST SP 811, appendix B: conventional factors; the tests hold
every factor against an independent units library).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache

from spiracle.refusals import Unknown, UnlikeUnits


class Base(StrEnum):
    """What a symbol measures; unlike bases never add."""

    BODY = "body mass"
    DRUG = "drug mass"
    ACTIVITY = "units of activity"
    CHARGE = "milliequivalents"
    SUBSTANCE = "amount of substance"
    VOLUME = "volume"
    TIME = "time"
    LENGTH = "length"
    GAUGE = "French gauge"
    PRESSURE = "pressure"
    TEMPERATURE = "temperature"
    FRACTION = "fraction"
    ENERGY = "energy"
    ANIMAL = "animal"
    AREA = "body surface"
    COUNT = "count"


_D = Decimal
SYMBOLS: dict[str, tuple[Base, Decimal]] = {
    "kg": (Base.BODY, _D(1)),
    "lb": (Base.BODY, _D("0.45359237")),
    "g": (Base.DRUG, _D(1_000_000)),
    "mg": (Base.DRUG, _D(1000)),
    "mcg": (Base.DRUG, _D(1)),
    "ng": (Base.DRUG, _D("0.001")),
    "IU": (Base.ACTIVITY, _D(1)),
    "mIU": (Base.ACTIVITY, _D("0.001")),
    "mEq": (Base.CHARGE, _D(1)),
    "mmol": (Base.SUBSTANCE, _D(1)),
    "mL": (Base.VOLUME, _D(1)),
    "L": (Base.VOLUME, _D(1000)),
    "dL": (Base.VOLUME, _D(100)),
    "s": (Base.TIME, _D(1)),
    "min": (Base.TIME, _D(60)),
    "h": (Base.TIME, _D(3600)),
    "day": (Base.TIME, _D(86400)),
    "mm": (Base.LENGTH, _D(1)),
    "cm": (Base.LENGTH, _D(10)),
    "m": (Base.LENGTH, _D(1000)),
    "Fr": (Base.GAUGE, _D(1)),
    "Pa": (Base.PRESSURE, _D(1)),
    "kPa": (Base.PRESSURE, _D(1000)),
    "MPa": (Base.PRESSURE, _D(1_000_000)),
    "bar": (Base.PRESSURE, _D(100_000)),
    "mbar": (Base.PRESSURE, _D(100)),
    "psi": (Base.PRESSURE, _D("6894.757293168")),
    "mmHg": (Base.PRESSURE, _D("133.322387415")),
    "cmH2O": (Base.PRESSURE, _D("98.0665")),
    "Cel": (Base.TEMPERATURE, _D(1)),
    "%": (Base.FRACTION, _D(1)),
    "J": (Base.ENERGY, _D(1)),
    "animal": (Base.ANIMAL, _D(1)),
    "m2": (Base.AREA, _D(1)),
    "puff": (Base.COUNT, _D(1)),
    "site": (Base.COUNT, _D(1)),
    "breath": (Base.COUNT, _D(1)),
    "drop": (Base.COUNT, _D(1)),
}
# Ways people write the same symbol. Only exact, unambiguous spellings; "Mg", "MG" and "u" stay refused.
SPELLINGS = {
    "ug": "mcg", "µg": "mcg", "μg": "mcg", "U": "IU", "mU": "mIU", "ml": "mL", "ML": "mL", "l": "L", "kgs": "kg",
    "hr": "h", "hour": "h", "minute": "min", "sec": "s", "lbs": "lb", "°C": "Cel", "degC": "Cel", "C": "Cel",
    "cmH₂O": "cmH2O", "m²": "m2", "d": "day",
}  # fmt: skip
UCUM = {"mcg": "ug", "IU": "[iU]", "mIU": "m[iU]", "mEq": "meq", "day": "d", "lb": "[lb_av]", "mmHg": "mm[Hg]",
        "cmH2O": "cm[H2O]", "psi": "[psi]", "Fr": "[Ch]", "animal": "{animal}", "puff": "{puff}", "site": "{site}",
        "breath": "{breath}", "drop": "[drp]"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Unit:
    """A product of symbols with whole exponents, in reading order: mg/kg/min is (mg,1)(kg,-1)(min,-1)."""

    parts: tuple[tuple[str, int], ...]

    @property
    def dimension(self) -> frozenset[tuple[Base, int]]:
        return _dimension(self.parts)

    @property
    def factor(self) -> tuple[Decimal, Decimal]:
        """Above and below the line, kept apart: a sixtieth has no exact decimal, sixty has."""
        return _factor(self.parts)

    def __str__(self) -> str:
        return _words(self.parts)

    @property
    def ucum(self) -> str:
        """The same unit in UCUM's case-sensitive codes, for exports."""
        return _ucum(self.parts)

    def times(self, other: Unit, sign: int = 1) -> Unit:
        """The product (sign 1) or quotient (sign -1); like bases in unlike symbols are refused, so convert first."""
        made = _product(self.parts, other.parts, sign)
        if made is None:
            raise UnlikeUnits(
                "unit", f"{self} with {other} mixes two symbols of one kind.", "Convert one of them first."
            )
        return made


NUMBER = Unit(())


@lru_cache(maxsize=4096)
def _product(one: tuple[tuple[str, int], ...], other: tuple[tuple[str, int], ...], sign: int) -> Unit | None:
    exponents = dict(one)
    for symbol, exponent in other:
        exponents[symbol] = exponents.get(symbol, 0) + sign * exponent
    left = tuple((s, e) for s, e in exponents.items() if e)
    bases = [SYMBOLS[s][0] for s, _ in left]
    return Unit(left) if len(bases) == len(set(bases)) else None


@lru_cache(maxsize=512)
def _ucum(parts: tuple[tuple[str, int], ...]) -> str:
    top = [UCUM.get(s, s) for s, e in parts for _ in range(e) if e > 0]
    bottom = [UCUM.get(s, s) for s, e in parts for _ in range(-e) if e < 0]
    return ".".join(top) + "".join(f"/{s}" for s in bottom)


@lru_cache(maxsize=512)
def _words(parts: tuple[tuple[str, int], ...]) -> str:
    top = [s for s, e in parts for _ in range(e) if e > 0]
    bottom = [s for s, e in parts for _ in range(-e) if e < 0]
    return "·".join(top) + "".join(f"/{s}" for s in bottom)


@lru_cache(maxsize=512)
def _dimension(parts: tuple[tuple[str, int], ...]) -> frozenset[tuple[Base, int]]:
    return frozenset((SYMBOLS[s][0], e) for s, e in parts)


@lru_cache(maxsize=512)
def _factor(parts: tuple[tuple[str, int], ...]) -> tuple[Decimal, Decimal]:
    above, below = Decimal(1), Decimal(1)
    for symbol, exponent in parts:
        if exponent > 0:
            above *= SYMBOLS[symbol][1] ** exponent
        else:
            below *= SYMBOLS[symbol][1] ** -exponent
    return above, below


@lru_cache(maxsize=512)
def unit(text: str) -> Unit:
    """Read a unit: symbols joined by "/", the first above the line. A leading "/" or "1/" is per.

    >>> str(unit("ug/kg/min")), unit("mg/kg").dimension == unit("mcg/kg").dimension
    ('mcg/kg/min', True)
    """
    body = text.strip().removeprefix("1/") if text.strip().startswith("1/") else text.strip()
    pieces = [p.strip() for p in (body.split("/") if not text.strip().startswith("1/") else ["", *body.split("/")])]
    parts: dict[str, int] = {}
    for place, piece in enumerate(pieces):
        if piece == "" and place == 0 and len(pieces) > 1:
            continue
        symbol = SPELLINGS.get(piece, piece)
        if symbol not in SYMBOLS:
            raise Unknown(
                "unit", f"{text!r} is not a unit Spiracle knows.", "Known symbols: " + ", ".join(SYMBOLS) + "."
            )
        parts[symbol] = parts.get(symbol, 0) + (1 if place == 0 else -1)
    return Unit(tuple((s, e) for s, e in parts.items() if e))
