"""Doses worked and printed elsewhere (label charts, a guideline's table, teaching examples), through the whole way to a syringe.

Each figure names where it was printed. Rates and drops printed elsewhere stand in `infusions.toml`; label figures that are a
formula alone in the table of checks. Pages were read as stored excerpts.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from shelf import formulary, ready, weighing
from spiracle.doors.tables import load_facts
from spiracle.drugs import LocalDose, amount_of, local_budget, rate_ml_h, reverse
from spiracle.drugs.bags import Wanted, mix
from spiracle.drugs.drops import drops
from spiracle.quantity import Quantity
from spiracle.refusals import OverLimit

FACTS = load_facts()
NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
TENTH, HALF = Decimal("0.1"), Decimal("0.05")

# ---- charts of mL by weight

# Alfaxalone 10 mg/mL, the maker's chart for premedicated animals (2006; pdfhall.com, "Dosage chart dogs & cats"): kg and mL,
# dogs up to 2 mg/kg, cats up to 5 mg/kg. The chart rounds half a tenth upward.
ALFAXALONE = {
    "dog": ("2 mg/kg", {"1": "0.2", "2": "0.4", "3": "0.6", "4": "0.8", "5": "1", "6": "1.2", "7": "1.4", "8": "1.6", "9": "1.8",
                        "10": "2", "12.5": "2.5", "15": "3", "20": "4", "25": "5", "30": "6", "35": "7", "40": "8", "45": "9",
                        "50": "10"}),
    "cat": ("5 mg/kg", {"1": "0.5", "1.5": "0.8", "2": "1", "2.5": "1.3", "3": "1.5", "3.5": "1.8", "4": "2", "4.5": "2.3",
                        "5": "2.5", "5.5": "2.8", "6": "3", "6.5": "3.3", "7": "3.5", "7.5": "3.8", "8": "4", "8.5": "4.3",
                        "9": "4.5", "9.5": "4.8", "10": "5"}),
}  # fmt: skip


@pytest.mark.parametrize(("species", "kg"), [(s, kg) for s, (_, chart) in ALFAXALONE.items() for kg in chart])
def test_the_makers_chart_of_alfaxalone(species: str, kg: str) -> None:
    """U11: the chart's volume to its tenth; what is drawn is at or under it, where the chart itself rounds up."""
    dose, chart = ALFAXALONE[species]
    made = ready("alfaxalone", species, "induction", "IV", dose, kg, strength="10 mg/mL", conditions=("premedicated",))
    assert made.refusal is None and made.volume is not None and made.drawn is not None
    printed = Decimal(chart[kg])
    assert abs(made.volume.number("mL") - printed) <= HALF
    assert made.drawn.number("mL") <= made.volume.number("mL") <= printed


# Dexmedetomidine 0.5 mg/mL in cats, 40 mcg/kg by muscle: the label's chart of bands (us_dexmed_cat_chart; also docslib.org,
# "Feline dosing chart"): from, to, mL.
BANDS = (("1", "2", "0.1"), ("2.1", "3", "0.2"), ("3.1", "4", "0.3"), ("4.1", "6", "0.4"), ("6.1", "7", "0.5"),
         ("7.1", "8", "0.6"), ("8.1", "10", "0.7"))  # fmt: skip


@pytest.mark.parametrize(("low", "high", "ml"), BANDS)
def test_the_label_bands_of_dexmedetomidine_in_cats(low: str, high: str, ml: str) -> None:
    """U30: each band holds the weight at which its volume is 40 mcg/kg, and its ends are 25 to 50; none is prepared here
    without a veterinarian's word, because the dose is four times what is usual."""
    vial = Quantity.of("0.5", "mg/mL")
    exact = (Quantity.of(ml, "mL") * vial).number("mcg") / 40
    assert Decimal(low) <= exact <= Decimal(high)
    assert (amount_of(Quantity.of(40, "mcg/kg"), exact) / vial).number("mL") == Decimal(ml)
    for end in (low, high):
        per_kg = (Quantity.of(ml, "mL") * vial / Quantity.of(end, "kg")).number("mcg/kg")
        assert 25 <= per_kg <= 50
    made = ready(
        "dexmedetomidine", "cat", "premedication", "IM", "40 mcg/kg", str(exact), strength="0.5 mg/mL", confirmed=True
    )
    assert isinstance(made.refusal, OverLimit) and made.drawn is None


# ---- a guideline's table

# Merck Veterinary Manual, "Drugs and defibrillation used in cardiopulmonary resuscitation" (after the resuscitation guideline of
# 2024): mL per kg of the printed strength. Atropine 0.1 mL/kg of 0.4 to 0.54 mg/mL.
ARREST = {
    "dog": {"epinephrine": ("0.01", "1 mg/mL"), "vasopressin": ("0.04", "20 IU/mL"), "atropine": ("0.1", "0.4 mg/mL"),
            "lidocaine": ("0.1", "20 mg/mL"), "esmolol": ("0.05", "10 mg/mL"), "sodium_bicarbonate": ("1", "1 mEq/mL")},
    "cat": {"epinephrine": ("0.01", "1 mg/mL"), "vasopressin": ("0.04", "20 IU/mL"), "atropine": ("0.1", "0.4 mg/mL"),
            "amiodarone": ("0.1", "50 mg/mL")},
}  # fmt: skip
WEIGHTS = {"dog": ("2.5", "5", "10", "20", "40", "60"), "cat": ("1.5", "3", "4", "6")}


@pytest.mark.parametrize(
    ("species", "drug", "kg"), [(s, d, kg) for s, table in ARREST.items() for d in table for kg in WEIGHTS[s]]
)
def test_the_arrest_table_in_ml(species: str, drug: str, kg: str) -> None:
    """U26: from the sheet of this weight, in mL of the table's own vial; what is pushed is never more, diluted or not."""
    per_kg, strength = ARREST[species][drug]
    sheet = FACTS.emergency.plan(species, Decimal(kg), strengths={drug: (strength,)})
    item = next(i for i in sheet.group("arrest") if i.drug == drug and "trachea" not in i.id and i.vial == strength)
    number, symbol = strength.split(" ")
    exact = item.amount.value / Quantity.of(number, symbol)
    assert exact.number("mL") == Decimal(per_kg) * Decimal(kg)
    assert item.volume is not None
    assert item.delivered <= item.amount.value


@pytest.mark.parametrize("kg", ["5", "20", "40"])
def test_the_energy_of_a_shock(kg: str) -> None:
    """The same table: 4 to 6 J/kg outside monophasic, 2 to 4 biphasic; inside 0.5 to 1 and 0.2 to 0.4."""
    printed = {"external monophasic": ("4", "6"), "external biphasic": ("2", "4"), "internal monophasic": ("0.5", "1"),
               "internal biphasic": ("0.2", "0.4")}  # fmt: skip
    shocks = {s.mode.lower(): s for s in FACTS.emergency.plan("dog", Decimal(kg)).shocks}
    for mode, (low, high) in printed.items():
        shock = next(s for name, s in shocks.items() if all(word in name for word in mode.split()))
        joules = shock.first.value.number("J") / Decimal(kg)
        assert Decimal(low) * Decimal("0.9") <= joules <= Decimal(high) * Decimal("1.1"), (mode, joules)


# ---- one dose, one volume

SINGLES = [
    # (drug, species, purpose, route, dose, kg, vial, mL, off by, where it was printed)
    ("carprofen", "dog", "analgesia", "SC", "4.4 mg/kg", "25", "50 mg/mL", "2.2", "0",
     "21 CFR 522.304, 2 mg/lb (4.4 mg/kg) of 50 mg/mL; product computed"),
    ("robenacoxib", "dog", "analgesia", "SC", "2 mg/kg", "10", "20 mg/mL", "1", "0",
     "21 CFR 522.2075, 2 mg/kg of 20 mg/mL; product computed"),
    ("lidocaine", "dog", "arrhythmia", "IV", "2 mg/kg", "5.9", "20 mg/mL", "0.6", "0.05",
     "quizwizapp.com, vet 292: 2 % lidocaine, 13 lb beagle, 2 mg/kg: 0.6 mL"),
    ("acepromazine", "dog", "premedication", "IM", "0.2 mg", "10", "10 mg/mL", "0.02", "0",
     "quizwizapp.com, vet 292: 0.02 mL of 10 mg/mL is 0.2 mg"),
    ("bupivacaine", "cat", "local block", "infiltration", "2 mg/kg", "5", "5 mg/mL", "2", "0",
     "veteriankey.com, Regional and local anesthesia: a 5 kg cat, 10 mg, 2 mL of 0.5 %"),
    ("bupivacaine", "cat", "local block", "infiltration", "2 mg", "4.6", "5 mg/mL", "0.4", "0",
     "veteriankey.com, Local anesthesia: a 4.6 kg cat, 0.4 mL, 2 mg"),
    ("medetomidine", "dog", "premedication", "IM", "10 mcg/kg", "10", "1 mg/mL", "0.1", "0",
     "Medetomidine 1 mg/mL, UK datasheet: 10 mcg/kg is 0.1 mL per 10 kg"),
    ("buprenorphine", "cat", "analgesia", "SC", "0.24 mg/kg", "4.5", "1.8 mg/mL", "0.6", "0",
     "21 CFR 522.230, 0.24 mg/kg of 1.8 mg/mL; product computed"),
    ("meloxicam", "cat", "anti-inflammatory", "SC", "0.2 mg/kg", "5", "2 mg/mL", "0.5", "0",
     "Meloxicam 2 mg/mL for cats, UK datasheet: 0.1 mL/kg"),
    ("propofol", "dog", "induction", "IV", "4.5 mg/kg", "20", "10 mg/mL", "9", "0",
     "Propofol 10 mg/mL, UK datasheet: dog with premedication 0.45 mL/kg"),
    ("propofol", "cat", "induction", "IV", "6 mg/kg", "4", "10 mg/mL", "2.4", "0",
     "Propofol 10 mg/mL, UK datasheet: cat with premedication 0.6 mL/kg"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("drug", "species", "purpose", "route", "dose", "kg", "vial", "ml", "off", "source"),
    SINGLES,
    ids=lambda v: v[:24].replace(" ", "-"),
)
def test_a_printed_dose_is_the_printed_volume(
    drug: str, species: str, purpose: str, route: str, dose: str, kg: str, vial: str, ml: str, off: str, source: str
) -> None:
    """U1, U2, U11: from the order to the mL of this vial; what a syringe then shows holds no more than the order."""
    made = ready(drug, species, purpose, route, dose, kg, strength=vial, confirmed=True)
    assert made.refusal is None, (made.refusal, source)
    assert made.amount is not None and made.delivered is not None
    number, symbol = vial.split(" ")
    exact = (made.amount / Quantity.of(number, symbol)).number("mL")
    assert abs(exact - Decimal(ml)) <= Decimal(off), source
    assert made.delivered <= made.amount


PAIRS = [  # per lb and per kg as printed beside each other: 21 CFR, the section named; each rounds to the last digit printed
    ("0.91", "2", "522.2075 robenacoxib by injection"),
    ("0.45", "1", "520.2075 robenacoxib by mouth in cats"),
    ("2", "4.4", "522.304 carprofen once daily"),
    ("1", "2.2", "522.304 carprofen twice daily"),
]


@pytest.mark.parametrize(("per_lb", "per_kg", "source"), PAIRS)
def test_a_label_dose_per_pound_is_its_dose_per_kilogram(per_lb: str, per_kg: str, source: str) -> None:
    """U2: within half of the last digit of the printed figure per lb, carried to kg."""
    half = Decimal(1).scaleb(int(Decimal(per_lb).as_tuple().exponent)) / 2
    ours = Quantity.of(per_lb, "mg/lb").number("mg/kg")
    last = Decimal(1).scaleb(int(Decimal(per_kg).as_tuple().exponent)) / 2
    assert abs(ours - Decimal(per_kg)) <= last + half / Decimal("0.45359237"), source


def test_fifty_pounds() -> None:
    """50 lb are 22.7 kg: Mathematics and calculations for the veterinary anesthetist (veteriankey.com)."""
    assert round(Quantity.of(50, "lb").number("kg"), 1) == Decimal("22.7")


# ---- what undoes it


@pytest.mark.parametrize(
    ("species", "agonist", "mcg_per_kg", "ml_per_kg"),
    [
        ("dog", "medetomidine", 40, "0.04"),
        ("dog", "dexmedetomidine", 20, "0.04"),
        ("cat", "dexmedetomidine", 40, "0.04"),
    ],
)
def test_the_datasheet_examples_of_atipamezole(species: str, agonist: str, mcg_per_kg: int, ml_per_kg: str) -> None:
    """U26: atipamezole 5 mg/mL, UK datasheet (vetisearch.co.uk): medetomidine 0.04 mL/kg, 40 mcg/kg, is undone by 0.04 mL/kg,
    200 mcg/kg; so is dexmedetomidine 20 mcg/kg in dogs; in cats five times 40 mcg/kg."""
    kg = Decimal(4)
    found = reverse(agonist, Quantity.of(mcg_per_kg * kg, "mcg"), Decimal(20), species, weighing(kg), formulary())
    assert found.high is not None and not found.over_stop
    assert found.high.number("mcg") == 200 * kg
    assert (found.high / Quantity.of(5, "mg/mL")).number("mL") == Decimal(ml_per_kg) * kg


# ---- bags and rates


def test_three_drugs_in_half_a_litre() -> None:
    """U3: zeropainphilosophy.com, "One bag analgesia": 500 mL at 1 mL/kg/h holds morphine 60 mg, 6 mL of 10 mg/mL, lidocaine
    500 mg, 25 mL of 20 mg/mL, ketamine 60 mg, 0.6 mL of 100 mg/mL, after 31 mL are taken out. (Its 31.6 mL are under the
    tenth of the bag above which fluid is taken out here, so the share is set to hold it.)"""
    kg = Decimal(20)
    wanted = [
        Wanted("morphine", "morphine", Quantity.of("0.12", "mg/kg/h"), Quantity.of(10, "mg/mL")),
        Wanted("lidocaine", "lidocaine", Quantity.of(1, "mg/kg/h"), Quantity.of(20, "mg/mL")),
        Wanted("ketamine", "ketamine", Quantity.of("0.12", "mg/kg/h"), Quantity.of(100, "mg/mL")),
    ]
    bag = mix(
        wanted,
        Quantity.of(20, "mL/h"),
        Quantity.of(500, "mL"),
        kg,
        formulary().barrels,
        formulary().fineness,
        Decimal(5),
    )
    assert bag.remove is not None and bag.remove.number("mL") == 31
    printed = {"morphine": ("6", "60"), "lidocaine": ("25", "500"), "ketamine": ("0.6", "60")}
    for part in bag.parts:
        ml, mg = (Decimal(x) for x in printed[part.wanted.drug])
        assert abs(part.volume.number("mL") - ml) <= part.barrel.mark.number("mL"), part
        assert abs(part.amount.number("mg") - mg) <= part.barrel.mark.number("mL") * part.wanted.vial.value
        assert part.gives <= part.wanted.dose


def test_metoclopramide_in_a_litre() -> None:
    """U3: atdove.org, "Medical math, constant rate infusion": 17 kg, 1 mg/kg/day, 65 mL/h, 5 mg/mL: 10.8 mg, 2.16 mL in a litre,
    worked there with 0.7 mg/h for 0.708; exactly 10.9 mg and 2.18 mL."""
    wanted = [Wanted("metoclopramide", "metoclopramide", Quantity.of(1, "mg/kg/day"), Quantity.of(5, "mg/mL"))]
    bag = mix(wanted, Quantity.of(65, "mL/h"), Quantity.of(1000, "mL"), Decimal(17), formulary().barrels, formulary().fineness,
              Decimal(10))  # fmt: skip
    (part,) = bag.parts
    assert abs(part.volume.number("mL") - Decimal("2.16")) <= TENTH
    assert abs(part.amount.number("mg") - Decimal("10.8")) <= TENTH * 5
    assert part.gives <= part.wanted.dose
    assert abs(bag.hours - Decimal("15.4")) < TENTH


@pytest.mark.parametrize(
    ("dose", "strength", "ml_h", "off", "source"),
    [
        ("8 mg/h", "0.5 mg/mL", "16", "0", "slideplayer.com, BCTC: morphine 8 mg/h of 25 mg in 50 mL: 16 mL/h"),
        ("3 mcg/min", "0.032 mg/mL", "5.6", "0.05", "the same: norepinephrine 3 mcg/min of 8 mg in 250 mL: 5.6 mL/h"),
        ("18 IU/kg/h", "100 IU/mL", "12.6", "0", "scribd.com, need-to-know formulas: 18 units/kg/h in 70 kg of 100 units/mL: 12.6 mL/h"),
    ],
)  # fmt: skip
def test_a_printed_rate(dose: str, strength: str, ml_h: str, off: str, source: str) -> None:
    """U3: teaching examples of a pump's rate; the last for 70 kg."""
    number, symbol = dose.split(" ")
    vial, per = strength.split(" ")
    ours = rate_ml_h(Quantity.of(number, symbol), weighing("70"), Quantity.of(vial, per))
    assert abs(ours.number("mL/h") - Decimal(ml_h)) <= Decimal(off), source


@pytest.mark.parametrize(("ml_h", "per_ml", "per_min"), [("90", 20, 30), ("20", 60, 20), ("100", 15, 25)])
def test_printed_drops(ml_h: str, per_ml: int, per_min: int) -> None:
    """90 mL/h of a 20 drop set and 100 mL/h of a 15 drop set: scribd.com, need-to-know formulas; 20 mL/h of a 60 drop set:
    quizwizapp.com, vet 292."""
    found = drops(Quantity.of(ml_h, "mL/h"), per_ml)
    assert found.per_min == per_min and found.rate.number("mL/h") == Decimal(ml_h)


# ---- a ceiling


def test_a_ceiling_printed_as_an_amount() -> None:
    """U24: veteriankey.com, "Regional and local anesthesia": 2 mg/kg of bupivacaine at most, a 5 kg cat could take 10 mg: there
    the ceiling here is full, and a tenth of a millilitre more is over it."""
    dose = LocalDose(
        drug="bupivacaine", amount=Quantity.of(10, "mg"), at=NOW, route="infiltration", purpose="local block"
    )
    full = local_budget([dose], weighing("5"), "cat", formulary(), NOW)
    assert full.percent == 100
    more = LocalDose(
        drug="bupivacaine", amount=Quantity.of("0.5", "mg"), at=NOW, route="infiltration", purpose="local block"
    )
    assert local_budget([dose, more], weighing("5"), "cat", formulary(), NOW).percent > 100
