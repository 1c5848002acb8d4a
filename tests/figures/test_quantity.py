"""Units held against an independent units library (pint) and against printed definitions; reading and printing of numbers."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spiracle.quantity import Quantity, down_to, figure, read, read_age_days, reading, unit
from spiracle.quantity.units import SYMBOLS, Base
from spiracle.refusals import NotAQuantity, OutOfRange, Refusal, Unknown, UnlikeUnits

PINT = pint.UnitRegistry()
PINT_NAMES = {
    "kg": "kilogram", "lb": "pound", "g": "gram", "mg": "milligram", "mcg": "microgram", "ng": "nanogram", "mL": "milliliter",
    "L": "liter", "dL": "deciliter", "s": "second", "min": "minute", "h": "hour", "day": "day", "mm": "millimeter",
    "cm": "centimeter", "m": "meter", "Pa": "pascal", "kPa": "kilopascal", "MPa": "megapascal", "bar": "bar", "psi": "psi",
    "mmHg": "mmHg", "cmH2O": "cmH2O",
}  # fmt: skip
LIKE = [(a, b) for a in PINT_NAMES for b in PINT_NAMES if a != b and SYMBOLS[a][0] is SYMBOLS[b][0]]


@pytest.mark.parametrize(("a", "b"), LIKE)
def test_every_factor_agrees_with_an_independent_units_library(a: str, b: str) -> None:
    """U1: pint's definitions file is the second opinion on each factor (its mmHg and cmH2O differ in the 7th digit)."""
    theirs = PINT.Quantity(1, PINT_NAMES[a]).to(PINT_NAMES[b]).magnitude
    assert float(Quantity.of(1, a).number(b)) == pytest.approx(theirs, rel=3e-5 if "cmH2O" in (a, b) else 1e-6)


COMPOUND = [
    ("mcg/kg/min", "mg/kg/h"),
    ("mg/kg/h", "mcg/kg/min"),
    ("mL/h", "L/min"),
    ("mg/mL", "mcg/mL"),
    ("mL/kg/h", "mL/kg/min"),
]


@given(st.sampled_from(COMPOUND), st.decimals(min_value="0.001", max_value=5000, places=3))
def test_rates_agree_with_an_independent_units_library(pair: tuple[str, str], value: Decimal) -> None:
    """U3: per minute and per hour, through pint."""
    a, b = pair
    long = {
        "mcg": "microgram",
        "mg": "milligram",
        "kg": "kilogram",
        "min": "minute",
        "h": "hour",
        "mL": "milliliter",
        "L": "liter",
    }

    def theirs(symbol: str) -> str:
        return "/".join(long[p] for p in symbol.split("/"))

    expected = PINT.Quantity(float(value), theirs(a)).to(theirs(b)).magnitude
    assert float(Quantity.of(value, a).number(b)) == pytest.approx(expected, rel=1e-9)


def test_definitions_as_printed() -> None:
    """NIST SP 811 (2008), appendix B.8: pound, mmHg, psi, cmH2O as conventional factors. Values known by heart, from memory
    of that table; pint above is the read second opinion."""
    assert Quantity.of(1, "lb").number("kg") == Decimal("0.45359237")
    assert Quantity.of(1, "mmHg").number("Pa") == Decimal("133.322387415")
    assert Quantity.of(1, "cmH2O").number("Pa") == Decimal("98.0665")


def test_carbon_dioxide_in_kilopascal() -> None:
    """U17: 5.0 kPa is 37.5 mmHg (1 kPa = 7.50062 mmHg, SI definition)."""
    assert reading(read("5.0 kPa", "etco2", "pressure").number("mmHg"), 1) == "37.5"


def test_fahrenheit_is_converted_once() -> None:
    """U18: 100.4 °F is 38.0 °C, by definition of the scale."""
    assert reading(read("100.4 °F", "temperature", "temperature").number("Cel"), 1) == "38.0"


@given(st.sampled_from(sorted(SYMBOLS)), st.sampled_from(sorted(SYMBOLS)))
def test_unlike_units_never_add(a: str, b: str) -> None:
    """U1, U2: mg with kg, mL with mg, Fr with mm: refused, whatever the values."""
    left, right = Quantity.of(1, a), Quantity.of(1, b)
    if SYMBOLS[a][0] is SYMBOLS[b][0]:
        assert (left + right).value > 0
    else:
        with pytest.raises(UnlikeUnits):
            _ = left + right


def test_a_dose_per_kg_is_not_a_dose() -> None:
    """U2: 0.2 mg/kg cannot stand where a total is wanted, nor the reverse."""
    with pytest.raises(UnlikeUnits):
        Quantity.of("0.2", "mg/kg").to("mg")
    with pytest.raises(UnlikeUnits):
        _ = Quantity.of("0.2", "mg") <= Quantity.of("0.2", "mg/kg")


@given(
    st.decimals(min_value="0.0001", max_value=100000, places=4),
    st.sampled_from([("mg", "mcg"), ("g", "ng"), ("kg", "lb"), ("L", "mL")]),
)
def test_there_and_back_is_the_same(value: Decimal, pair: tuple[str, str]) -> None:
    """U1: a thousand and more conversions come back as they were."""
    a, b = pair
    back = Quantity.of(value, a).to(b).number(a)
    assert abs(back - value) <= value * Decimal("1e-24")


@pytest.mark.parametrize("text", ["5", "5.0", "", "abc", "1,5 kg", "-3 kg", "+3 kg", ".5 kg", "nan kg", "inf kg", "1e3 kg", "3 mL",
                                  "5 Fr", "3 kg 200", "3 stone", "3  ", "kg", "１３ kg", "3 Kg"])  # fmt: skip
def test_what_is_not_a_weight_is_refused_with_what_would_be(text: str) -> None:
    """U4, U12: one sentence naming the field and an accepted form."""
    with pytest.raises(NotAQuantity) as caught:
        read(text, "weight", "weight")
    assert caught.value.field == "weight"
    assert "8.4 kg" in caught.value.sentence or "0.5 kg" in caught.value.sentence or "0.5" in caught.value.accepts


@pytest.mark.parametrize("value", [5, 5.0, None, True, ["5 kg"]])
def test_a_bare_value_is_refused(value: object) -> None:
    with pytest.raises(NotAQuantity):
        read(value, "weight", "weight")


def test_french_gauge_is_never_a_tube_size() -> None:
    """U16."""
    with pytest.raises(NotAQuantity, match="French"):
        read("5 Fr", "tube", "diameter")


@given(st.text(max_size=30))
def test_reading_never_breaks_and_never_guesses(text: str) -> None:
    """U4: any text is one quantity or a named refusal."""
    try:
        found = read(text, "dose", "dose")
    except Refusal:
        return
    assert found.value.is_finite()
    assert found.value >= 0


@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-Infinity", "sNaN"])
def test_no_quantity_is_made_of_what_is_not_a_number(bad: str) -> None:
    """U12."""
    with pytest.raises(OutOfRange):
        Quantity(Decimal(bad), unit("mg"))


@given(
    st.decimals(min_value=0, max_value=1000, places=6),
    st.sampled_from([Decimal("0.01"), Decimal("0.1"), Decimal("0.2"), Decimal(1)]),
)
def test_rounding_down_is_down_and_on_a_mark(value: Decimal, step: Decimal) -> None:
    """U11."""
    got = down_to(value, step)
    assert got <= value < got + step
    assert got % step == 0


@given(st.decimals(min_value="0.0001", max_value=99999, places=4))
def test_a_printed_dose_has_a_leading_zero_and_no_trailing_one(value: Decimal) -> None:
    """U4: the figure's text reads back as the same number."""
    text = figure(value)
    assert not text.startswith(".")
    assert "." not in text or not text.endswith("0")
    assert Decimal(text.replace(",", "")) == value


@pytest.mark.parametrize(("text", "days"), [("4 y", "1461"), ("6 mo", "182.625"), ("9 wk", "63"), ("3 d", "3")])
def test_ages(text: str, days: str) -> None:
    """A year is 365.25 days (Julian year), a month its twelfth: definition."""
    assert read_age_days(text) == Decimal(days)


def test_an_unknown_unit_names_the_known_ones() -> None:
    with pytest.raises(Unknown, match="mcg"):
        unit("grain")


def test_french_stays_apart_from_millimetres() -> None:
    assert SYMBOLS["Fr"][0] is Base.GAUGE
    with pytest.raises(UnlikeUnits):
        Quantity.of(12, "Fr").to("mm")


def test_a_rate_at_its_limit_is_at_it_whatever_the_time_base() -> None:
    """U3: 1.2 mg/kg/h is exactly 20 mcg/kg/min (1.2 x 1000 / 60), not a shade over it."""
    assert Quantity.of("1.2", "mg/kg/h").equals(Quantity.of(20, "mcg/kg/min"))
    assert Quantity.of("1.2", "mg/kg/h") <= Quantity.of(20, "mcg/kg/min")
