"""Every conversion the quantity room can do, held against an independent units library, pair by pair.

The library is pint (hgrecco/pint), with fractions for numbers, so that what is exact here must be exact there. Pint has one
mass; an animal's mass and a drug's are two kinds here, so its kilogram and pound are given a kind of their own, with pint's
own pound to the kilogram. International units, milliequivalents and things that are counted have no size in pint; they are
declared there as kinds of their own.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import product
from typing import Any

import pint
import pytest

from spiracle.quantity import Quantity, read, unit
from spiracle.quantity.units import SPELLINGS, SYMBOLS
from spiracle.refusals import NotAQuantity, Refusal, Unknown, UnlikeUnits

UNITS: Any = pint.UnitRegistry(non_int_type=Fraction, case_sensitive=True)
POUND = UNITS.Quantity(Fraction(1), "pound").to("kilogram").magnitude
for line in ("bodykilo = [body]", f"bodypound = {POUND.numerator} / {POUND.denominator} * bodykilo", "iunit = [activity]",
             "milliiunit = iunit / 1000", "milliequivalent = [charge_amount]", "beast = [beast]", "gauge = [gauge]",
             "parthundred = [part]", "skin = [skin]", "counted = [counted]"):  # fmt: skip
    UNITS.define(line)
NAMES = {
    "kg": "bodykilo", "lb": "bodypound", "g": "gram", "mg": "milligram", "mcg": "microgram", "ng": "nanogram", "IU": "iunit",
    "mIU": "milliiunit", "mEq": "milliequivalent", "mmol": "millimole", "mL": "milliliter", "L": "liter", "dL": "deciliter",
    "s": "second", "min": "minute", "h": "hour", "day": "day", "mm": "millimeter", "cm": "centimeter", "m": "meter",
    "Fr": "gauge", "Pa": "pascal", "kPa": "kilopascal", "MPa": "megapascal", "bar": "bar", "mbar": "millibar", "psi": "psi", "mmHg": "mmHg",
    "cmH2O": "cmH2O", "Cel": "kelvin", "%": "parthundred", "J": "joule", "animal": "beast", "m2": "skin", "puff": "counted",
    "site": "counted", "breath": "counted", "drop": "counted",
}  # fmt: skip
# Where the library rounds or takes another density than the conventional factor of NIST SP 811, how far it may be off.
ROUNDED = {"psi": Fraction(1, 10**12), "mmHg": Fraction(1, 10**6), "cmH2O": Fraction(3, 10**5)}
DIGITS = Fraction(1, 10**26)  # what 28 digits of a decimal keep of a third


def theirs(symbol: str) -> Any:
    """The unit in the library's names: "mg/kg/min" is milligram / bodykilo / minute."""
    top, *under = symbol.split("/")
    found = UNITS.parse_units(NAMES[top])
    for part in under:
        found = found / UNITS.parse_units(NAMES[part])
    return found


def off(a: str, b: str) -> Fraction:
    parts = {*a.split("/"), *b.split("/")}
    return max([DIGITS, *(ROUNDED[p] for p in parts if p in ROUNDED)])


def agrees(value: str, a: str, b: str) -> None:
    """Ours and theirs, of one number from one unit to the other."""
    want = Fraction(UNITS.Quantity(Fraction(value), theirs(a)).to(theirs(b)).magnitude)
    assert abs(Fraction(Quantity.of(value, a).number(b)) - want) <= off(a, b) * want, (value, a, b)


def test_every_symbol_of_the_room_has_its_meaning_in_the_library() -> None:
    """A unit added to the room without a second opinion fails here."""
    assert set(NAMES) == set(SYMBOLS)


@pytest.mark.parametrize(("a", "b"), list(product(SYMBOLS, SYMBOLS)), ids=lambda s: s)
def test_every_pair_of_symbols(a: str, b: str) -> None:
    """U1: what the library converts is converted to the same number, and what it cannot is refused; all pairs, both ways."""
    if theirs(a).dimensionality == theirs(b).dimensionality:
        agrees("1", a, b)
        agrees("0.3", a, b)
        return
    with pytest.raises(UnlikeUnits):
        Quantity.of(1, a).number(b)


TOPS = (("g", "mg", "mcg", "ng"), ("IU", "mIU"), ("mEq",), ("mmol",), ("mL", "L", "dL"), ("J",), ("puff",))
TIMES = ("s", "min", "h", "day")
BODIES = ("kg", "lb")
FAMILIES = [
    *([f"{t}/{b}" for t in tops for b in BODIES] for tops in TOPS),
    *([f"{t}/{b}/{time}" for t in tops for b in BODIES for time in TIMES] for tops in TOPS),
    *([f"{t}/{time}" for t in tops for time in TIMES] for tops in TOPS),
    *([f"{t}/animal" for t in tops] for tops in TOPS),
    *([f"{t}/animal/{time}" for t in tops for time in TIMES] for tops in TOPS),
    *([f"{t}/m2" for t in tops] for tops in TOPS),
    *([f"{t}/site" for t in tops] for tops in TOPS),
    *([f"{t}/{v}" for t in tops for v in ("mL", "L", "dL")] for tops in TOPS[:4]),
]
COMPOUND = {a: [b for b in family if b != a] for family in FAMILIES for a in family}


@pytest.mark.parametrize("a", COMPOUND)
def test_every_pair_of_doses_rates_and_strengths(a: str) -> None:
    """U1, U3: mcg/kg/min to mg/lb/h and every other pair of one kind, exactly."""
    for b in COMPOUND[a]:
        agrees("1", a, b)
        agrees("0.07", a, b)


def test_there_are_as_many_pairs_as_the_units_make() -> None:
    """Every like pair of every family, so that none falls out of the list in silence."""
    pairs = sum(len(others) for others in COMPOUND.values())
    assert pairs == sum(len(f) * (len(f) - 1) for f in FAMILIES)
    assert pairs >= 2500


def test_doses_of_unlike_kinds_never_convert() -> None:
    """U2: per kg, per animal, per site and per square metre, with and without time, of every kind of amount."""
    kinds = [f[0] for f in FAMILIES]
    for a, b in product(kinds, kinds):
        if theirs(a).dimensionality != theirs(b).dimensionality:
            with pytest.raises(UnlikeUnits):
                Quantity.of(1, a).number(b)


MASSES = [t for tops in TOPS[:3] for t in tops]


@pytest.mark.parametrize(
    ("top", "per", "body"), [(t, p, b) for t in MASSES for p in BODIES for b in BODIES], ids=lambda s: s
)
def test_dose_times_weight_over_strength(top: str, per: str, body: str) -> None:
    """U1, U2: mL = dose × weight ÷ strength, for every unit a dose, a weight and a vial can be written in."""
    dose, kg = ("0.7", f"{top}/{per}"), ("13.2", body)
    for vial_top in next(tops for tops in TOPS if top in tops):
        for vial_per in ("mL", "L", "dL"):
            vial = ("2.5", f"{vial_top}/{vial_per}")
            ours = (Quantity.of(*dose) * Quantity.of(*kg) / Quantity.of(*vial)).number("mL")
            sides = [UNITS.Quantity(Fraction(v), theirs(u)) for v, u in (dose, kg, vial)]
            want = Fraction((sides[0] * sides[1] / sides[2]).to("milliliter").magnitude)
            assert abs(Fraction(ours) - want) <= want / 10**24


@pytest.mark.parametrize(("said", "meant"), SPELLINGS.items())
def test_another_spelling_is_the_same_unit(said: str, meant: str) -> None:
    """U1: no spelling has a size of its own; the Greek letter and "ug" are micrograms."""
    assert unit(said) == unit(meant)


@pytest.mark.parametrize(
    "said", ["Mg", "MG", "Kg", "KG", "u", "cc", "gr", "grain", "mcL", "ML/kg/H", "mgkg", "mg per kg", "gtt"]
)
def test_a_spelling_that_could_mean_two_things_is_no_unit(said: str) -> None:
    """U1: "Mg" is a thousand kilograms to the library and magnesium to a chemist; "u" may be micro or units."""
    with pytest.raises(Unknown):
        unit(said)


@pytest.mark.parametrize(
    ("said", "name"), [("850 g", "gram"), ("8.4 kg", "kilogram"), ("18.5 lb", "pound"), ("18.5 lbs", "pound")]
)
def test_a_weight_at_the_door(said: str, name: str) -> None:
    """U5: an animal's weight in each unit a scale shows, against pint's own mass."""
    want = Fraction(UNITS.Quantity(Fraction(said.split(maxsplit=1)[0]), name).to("kilogram").magnitude)
    assert Fraction(read(said, "weight", "weight").number("kg")) == want


@pytest.mark.parametrize("degrees", ["86", "98.6", "99", "100.4", "107"])
def test_a_temperature_at_the_door(degrees: str) -> None:
    """U18: Fahrenheit to Celsius, against pint's offset scales, to 24 digits."""
    want = UNITS.Quantity(Fraction(degrees), "degF").to("degC").magnitude
    ours = read(f"{degrees} °F", "temperature", "temperature").number("Cel")
    assert float(ours) == pytest.approx(float(want), abs=1e-9)
    assert Quantity.of(37, "Cel").number("Cel") == Decimal(37)


@pytest.mark.parametrize(
    ("per_cent", "printed"), [("2", "20"), ("5", "50"), ("0.5", "5"), ("50", "500"), ("7.2", "72")]
)
def test_a_per_cent_vial_at_the_door(per_cent: str, printed: str) -> None:
    """U9: grams in 100 mL; 2 % is 20 mg/mL and 5 % is 50 mg/mL (Mathematics and calculations for the veterinary anesthetist,
    chapter excerpt at veteriankey.com), the rest by pint's gram and millilitre."""
    want = (UNITS.Quantity(Fraction(per_cent), "gram") / UNITS.Quantity(100, "milliliter")).to("milligram/milliliter")
    ours = read(f"{per_cent} %", "strength", "concentration").number("mg/mL")
    assert Fraction(ours) == Fraction(want.magnitude) == Fraction(printed)


def test_a_unit_of_another_kind_is_refused_at_the_door() -> None:
    """U1, U2: what the library would convert, because to it all mass is one, is not a weight or a dose here."""
    for text, kind in (("8400000 mg", "weight"), ("0.2 kg", "dose"), ("5 mL", "weight"), ("10 mg", "concentration")):
        with pytest.raises(NotAQuantity) as caught:
            read(text, "field", kind)
        assert isinstance(caught.value, Refusal) and caught.value.field == "field"
