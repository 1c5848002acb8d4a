"""What is wrong with an order or a vial is said at the drugs room by its own name, in one sentence, beside its field."""

from __future__ import annotations

from decimal import Decimal

import pytest

from shelf import formulary, ready
from spiracle.drugs import Prepared, Stock
from spiracle.refusals import (
    AskAgain,
    Contradiction,
    Missing,
    NotAQuantity,
    OverLimit,
    Refusal,
    Unknown,
    UnlikeUnits,
)

OWN = "the shelf of this test"


def shelf(drug: str, *texts: str) -> Stock:
    """Spiracle's stock with one drug as this shelf holds it."""
    return formulary().stock().over({drug: texts}, (), OWN)


def refused(made: Prepared, kind: type[Refusal], field: str, *says: str) -> None:
    found = made.refusal
    assert type(found) is kind and found.field == field, found
    assert made.volume is None and made.drawn is None
    for words in says:
        assert words in found.sentence, found.sentence
    assert "\n" not in found.sentence and found.says.strip() and found.sentence.endswith((".", "?"))


def asked(made: Prepared, *says: str) -> None:
    """A dose far under its band is a question beside the dose, with no volume until it is answered; the order is not lost."""
    assert made.judgement is not None and made.judgement.asks and made.judgement.under
    refused(made, AskAgain, "dose", *says)


# ---- species


def test_a_species_without_a_row() -> None:
    """U14: desmopressin stands here for dogs only."""
    refused(ready("desmopressin", "cat", "bleeding", "SC", "1 mcg/kg", "4"), Unknown, "drug", "no row for a cat")


def test_a_drug_that_is_never_given_to_the_species() -> None:
    """U14: paracetamol in a cat, at any dose."""
    refused(
        ready("acetaminophen", "cat", "analgesia", "IV", "10 mg/kg", "4"), OverLimit, "drug", "never given to a cat"
    )


def test_a_species_that_is_not_known() -> None:
    refused(ready("methadone", "rabbit", "premedication", "IM", "0.3 mg/kg", "4"), Unknown, "species", "dog or cat")


# ---- the vial


def test_a_strength_that_is_not_stocked() -> None:
    """U9: asked about, with what is listed, each once."""
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "13", strength="20 mg/mL")
    refused(made, AskAgain, "strength", "20 mg/mL of methadone is not stocked", "Listed: 10 mg/mL.")


def test_no_strength_on_the_shelf() -> None:
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "13", stock=shelf("methadone"))
    refused(made, Missing, "strength", "no strength of methadone is stocked")


def test_two_strengths_on_the_shelf() -> None:
    """U9: no volume until the vial in the hand is said."""
    made = ready(
        "methadone", "dog", "premedication", "IM", "0.3 mg/kg", "13", stock=shelf("methadone", "10 mg/mL", "5 mg/mL")
    )
    refused(made, Missing, "strength", "two strengths are stocked", "10 mg/mL or 5 mg/mL")


def test_two_forms_of_one_strength_on_the_shelf() -> None:
    """U9, U14: the mL are the same, the ceiling is not: plain propofol or the one with benzyl alcohol."""
    both = shelf("propofol", "10 mg/mL", "10 mg/mL with benzyl alcohol")
    made = ready("propofol", "dog", "induction", "IV", "3 mg/kg", "13", stock=both)
    refused(made, Missing, "strength", "two forms of propofol are stocked", "10 mg/mL or 10 mg/mL with benzyl alcohol")
    for vial in ("10 mg/mL", "10 mg/mL with benzyl alcohol"):
        picked = ready("propofol", "dog", "induction", "IV", "3 mg/kg", "13", stock=both, strength=vial)
        assert picked.refusal is None and picked.strength is not None and picked.strength.printed == vial
    assert ready("propofol", "dog", "induction", "IV", "3 mg/kg", "13").refusal is None, "a list is not a shelf"


def test_a_form_that_is_not_run_as_an_infusion() -> None:
    """U9, U14: propofol with benzyl alcohol by rate (UK datasheet: not for prolonged infusion); the plain form runs."""
    rate = ("propofol", "dog", "maintenance", "IV", "0.3 mg/kg/min", "13")
    refused(
        ready(*rate, strength="10 mg/mL with benzyl alcohol"),
        OverLimit,
        "strength",
        "not given as an infusion",
        "24 mg/kg",
    )
    assert ready(*rate, strength="10 mg/mL").refusal is None
    word = {"over_hard_by": "vet", "reason": "no other vial in the house"}
    assert ready(*rate, strength="10 mg/mL with benzyl alcohol", **word).refusal is None


def test_morphine_with_a_preservative_never_goes_into_the_epidural_space() -> None:
    """U14: the preservative-free drug has an entry of its own."""
    made = ready("morphine", "dog", "epidural", "epidural", "0.1 mg/kg", "13")
    refused(made, Unknown, "purpose", "preserved vials harm the cord")


def test_a_vial_for_larger_animals() -> None:
    """U9: atropine 15 mg/mL is 37.5 times the weakest ordinary vial (label, as listed)."""
    made = ready("atropine", "dog", "anticholinergic", "IM", "0.02 mg/kg", "13", strength="15 mg/mL")
    refused(made, OverLimit, "strength", "not a vial for dogs and cats", "37.5 times")


def test_a_dose_of_one_product_from_another_vial() -> None:
    """U9: 0.24 mg/kg of buprenorphine belongs to the 1.8 mg/mL product (21 CFR 522.230)."""
    row = "buprenorphine-cat-analgesia-1-8-mg-ml-product-only-sc"
    made = ready("buprenorphine", "cat", "analgesia", "SC", "0.24 mg/kg", "4", row=row, strength="0.3 mg/mL")
    refused(made, Contradiction, "strength", "belongs to the 1.8 mg/mL product")


def test_a_dose_in_units_from_a_vial_in_milligrams() -> None:
    made = ready("insulin", "cat", "hyperkalaemia", "IV", "0.2 IU/kg", "4", strength="10 mg/mL", confirmed=True)
    refused(made, UnlikeUnits, "strength", "ordered in", "marked in mg")


# ---- slips of a dose


@pytest.mark.parametrize("dose", ["3 mg/kg", "5 mg/kg", "2 mg/kg"])
def test_ten_times_the_dose(dose: str) -> None:
    """U4: methadone 0.2 to 0.5 mg/kg."""
    made = ready("methadone", "dog", "premedication", "IM", dose, "13")
    refused(made, AskAgain, "dose", "ten times the usual", "a point slipped?", "usual is 0.2 to 0.5 mg/kg")


def test_a_tenth_of_the_dose() -> None:
    """U4: an animal in pain is a harm too; it is asked, and the order stands."""
    asked(
        ready("methadone", "dog", "premedication", "IM", "0.03 mg/kg", "13"), "a tenth of the usual", "a point slipped?"
    )


def test_a_tenth_is_taken_on_a_veterinarians_word() -> None:
    """U4: a low dose may be meant; then it is prepared as ordered."""
    made = ready("methadone", "dog", "premedication", "IM", "0.03 mg/kg", "13", over_hard_by="vet", reason="frail")
    assert made.refusal is None and made.delivered is not None and made.delivered.number("mg") <= Decimal("0.39")


def test_less_than_a_tenth_of_the_dose() -> None:
    """U4: no plain factor explains it; it is asked all the same."""
    asked(ready("methadone", "dog", "premedication", "IM", "0.012 mg/kg", "13"), "less than a tenth of the usual")


def test_a_low_dose_that_is_published_is_not_asked_about() -> None:
    """A dose inside the row is only unusual: acepromazine is read from 0.005 mg/kg, a quarter of what is usual here."""
    made = ready("acepromazine", "dog", "premedication", "IM", "0.005 mg/kg", "30", strength="10 mg/mL")
    assert made.judgement is not None and not made.judgement.under


def test_tenfold_and_over_the_stop_are_named_together() -> None:
    """U4: methadone 3 mg/kg is ten times 0.3 and over the 1 mg/kg stop: one sentence says both, and a confirmation alone
    does not pass the stop."""
    made = ready("methadone", "dog", "premedication", "IM", "3 mg/kg", "13")
    refused(made, AskAgain, "dose", "ten times the usual, and over the hard stop of 1 mg/kg: a point slipped?")
    again = ready("methadone", "dog", "premedication", "IM", "3 mg/kg", "13", confirmed=True)
    refused(again, OverLimit, "dose", "over the hard stop of 1 mg/kg")


def test_a_range_is_named_as_it_was_ordered() -> None:
    """U4: "2 to 4 mg/kg" written as 20 to 40: the question names the range, not its top alone."""
    made = ready("propofol", "dog", "induction", "IV", "20 to 40 mg/kg", "12", strength="10 mg/mL")
    refused(made, AskAgain, "dose", "20 to 40 mg/kg is ", "usual is ")


def test_a_slip_at_the_lower_end_of_a_range() -> None:
    """U4: 0.2 to 4 for 2 to 4 mg/kg: the top is usual, and the slip is told all the same."""
    made = ready("propofol", "dog", "induction", "IV", "0.2 to 4 mg/kg", "12", strength="10 mg/mL",
                 conditions=("premedicated",))  # fmt: skip
    asked(made, "0.2 to 4 mg/kg begins at a tenth of the usual or less")


def test_a_lock_step_typo() -> None:
    """U4: 3 for 0.3, the figure of the row beside it: ketamine loading 0.25 to 0.5, induction 2 to 5 mg/kg."""
    made = ready("ketamine", "dog", "loading", "IV", "3 mg/kg", "13")
    refused(made, AskAgain, "dose", "ten times the usual", "0.25 to 0.5 mg/kg")


def test_milligrams_for_micrograms() -> None:
    """U1: dexmedetomidine is ordered in micrograms."""
    made = ready("dexmedetomidine", "dog", "premedication", "IM", "5 mg/kg", "13")
    refused(made, AskAgain, "dose", "a thousand times the usual", "mg written for mcg?")


def test_micrograms_for_milligrams() -> None:
    """U1."""
    asked(ready("methadone", "dog", "premedication", "IM", "0.3 mcg/kg", "13"), "a thousandth", "mcg written for mg?")


def test_the_total_as_a_dose_per_kg() -> None:
    """U3: 7.5 mg for a 25 kg dog written as 7.5 mg/kg."""
    made = ready("methadone", "dog", "premedication", "IM", "7.5 mg/kg", "25")
    refused(made, AskAgain, "dose", "the total for 25 kg written as a dose per kg")


def test_a_dose_per_kg_as_the_total() -> None:
    """U3: 0.3 mg for the whole dog."""
    asked(ready("methadone", "dog", "premedication", "IM", "0.3 mg", "13"), "a dose per kg written as a total")


def test_per_minute_for_per_hour() -> None:
    """U2: fentanyl 2 to 5 mcg/kg/h."""
    made = ready("fentanyl", "dog", "analgesia", "IV", "5 mcg/kg/min", "13", strength="50 mcg/mL")
    refused(made, AskAgain, "dose", "sixty times the usual", "per minute written for per hour?")


def test_per_hour_for_per_minute() -> None:
    """U2: ketamine 2 to 5 mcg/kg/min."""
    made = ready("ketamine", "dog", "analgesia", "IV", "5 mcg/kg/h", "13", conditions=("awake",))
    asked(made, "a sixtieth of the usual", "per hour written for per minute?")


def test_units_for_milliunits() -> None:
    """U1: vasopressin runs in thousandths of a unit."""
    made = ready("vasopressin", "dog", "blood pressure", "IV", "1 IU/kg/min", "13")
    refused(made, AskAgain, "dose", "a thousand times the usual")


def test_a_dose_by_body_surface() -> None:
    """A label in mcg/m2 is not an order: per kg it differs with every weight."""
    made = ready("dexmedetomidine", "dog", "sedation", "IM", "500 mcg/m2", "13")
    refused(made, UnlikeUnits, "dose", "is written in mcg/kg")


def test_a_volume_for_a_mass_and_a_mass_for_units() -> None:
    refused(
        ready("methadone", "dog", "premedication", "IM", "0.3 mL/kg", "13"), UnlikeUnits, "dose", "written in mg/kg"
    )
    refused(ready("insulin", "cat", "hyperkalaemia", "IV", "0.2 mg/kg", "4"), UnlikeUnits, "dose", "written in IU/kg")


# ---- how a figure is written


@pytest.mark.parametrize(
    ("dose", "says"),
    [
        ("0.3", "has no unit"),
        ("0,3 mg/kg", "comma"),
        (".3 mg/kg", "starts with a point"),
        ("0.5-0.2 mg/kg", "runs backwards"),
    ],
)
def test_a_figure_that_can_be_misread(dose: str, says: str) -> None:
    """U4: written figures as the safe-medication lists ask (common practice): a zero before the point, a unit, no comma."""
    with pytest.raises(NotAQuantity, match=says) as caught:
        ready("methadone", "dog", "premedication", "IM", dose, "13")
    assert caught.value.field == "dose" and caught.value.accepts


# ---- names


@pytest.mark.parametrize(
    ("said", "asks"),
    [("calcium", "calcium gluconate 10 % or calcium chloride 10 %"), ("glucose", "50 %"), ("dextrose", "50 %"),
     ("esketamine", "racemic"), ("levomethadone", "twice as strong"), ("sufentanil", "not fentanyl"), ("hyoscine", "two substances"),
     ("long-acting insulin", "Only regular"), ("alpha-2 agonist", "dexmedetomidine")],
)  # fmt: skip
def test_a_word_that_is_no_one_drug(said: str, asks: str) -> None:
    """U13: a word that means several drugs, or another substance elsewhere, finds none and says which there are."""
    with pytest.raises(Contradiction) as caught:
        formulary().drug(said)
    assert caught.value.field == "drug" and asks in caught.value.sentence


def test_a_name_nobody_knows_is_answered_with_the_nearest() -> None:
    with pytest.raises(Unknown, match="Nearest: methadone"):
        formulary().drug("methadon")
