"""Reading the file of a prediction, and the animals and models it may not be for: each fault is one sentence that names its field.

The cases are our own reading of the rules for input (no default, no guess, no ignored key); no outside figure is needed.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from served import facts
from spiracle import refusals
from spiracle.case.facts import Facts
from spiracle.doors.predict_file import read_predict_file
from spiracle.refusals import Refusal
from spiracle.sheets.predict_request import GivenModel
from spiracle.sheets.predicted import predict

__all__ = ["facts"]

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("predict-*.toml"))
GIVEN = """
[patient]
species = "cat"
weight = "4.2 kg"
[model]
v1 = "0.40 L/kg"
clearance = "20 mL/kg/min"
k12 = "0.11 1/min"
k21 = "0.05 1/min"
ke0 = "0.3 1/min"
[[bolus]]
at = "0 min"
dose = "4 mg/kg"
[[infusion]]
from = "2 min"
to = "62 min"
rate = "0.3 mg/kg/min"
[output]
until = "120 min"
every = "10 s"
"""
AT = 'at = "0 min"'
DOSE = 'dose = "4 mg/kg"'
RATE = 'rate = "0.3 mg/kg/min"'
STOP = 'to = "62 min"'
V1, OUT = 'v1 = "0.40 L/kg"', 'clearance = "20 mL/kg/min"'
K12, K21, KE0 = 'k12 = "0.11 1/min"', 'k21 = "0.05 1/min"', 'ke0 = "0.3 1/min"'
EVERY = 'every = "10 s"'
SECOND = '[[infusion]]\nfrom = "61 min"\nto = "90 min"\nrate = "0.1 mg/kg/min"\n[output]'

# what is changed in GIVEN, the refusal's name, the field it names, and a word its sentence must hold
FAULTS = [
    ('species = "cat"', "", "Missing", "species", "no default"),
    ('species = "cat"', 'species = "human"', "NotOneOf", "species", "dog or cat"),
    ('species = "cat"', 'species = "Cat"', "NotOneOf", "species", "dog or cat"),
    ('weight = "4.2 kg"', "", "Missing", "weight", "kg"),
    ('weight = "4.2 kg"', 'weight = "4.2"', "NotAQuantity", "weight", "no unit"),
    ('weight = "4.2 kg"', 'weight = "4,2 kg"', "NotAQuantity", "weight", "comma"),
    ('weight = "4.2 kg"', 'weight = "0 kg"', "OutOfRange", "weight", "nothing"),
    ('weight = "4.2 kg"', 'wieght = "4.2 kg"', "Unknown", "patient, wieght", "Did you mean weight?"),
    (V1, "", "Missing", "model, v1", "L/kg"),
    (V1, 'v1 = "0 L/kg"', "OutOfRange", "model, v1", "nothing"),
    (V1, 'v1 = "0.40 L"', "NotAQuantity", "model, v1", "does not measure"),
    (V1, "v1 = 0.40", "NotAQuantity", "model, v1", "without a unit"),
    (OUT, "", "Missing", "model, clearance", "no way out"),
    (OUT, 'clearance = "20 mL/min"', "NotAQuantity", "model, clearance", "does not measure"),
    (OUT, OUT + '\nk10 = "0.05 1/min"', "Contradiction", "model, k10", "two ways out"),
    (OUT, OUT + '\nvmax = "1 mg/kg/min"\nkm = "2 mg/L"', "Contradiction", "model, vmax", "two ways out"),
    (OUT, 'vmax = "1 mg/kg/min"', "Missing", "model, km", "stands alone"),
    (OUT, 'km = "1 mg/L"', "Missing", "model, vmax", "stands alone"),
    (OUT, 'vmax = "1 mg/min"\nkm = "2 mg/L"', "NotOneOf", "model, vmax", "per kilogram"),
    (OUT, 'vmax = "1 mg/kg/min"\nkm = "2 mg/L"\nspread = "20 %"', "Contradiction", "model, spread", "saturates"),
    (K21, "", "Missing", "model, k21", "k12 stands alone"),
    (K12, "", "Missing", "model, k12", "k21 stands alone"),
    (K12, 'k12 = "0.11 min"', "NotAQuantity", "model, k12", "does not measure"),
    (K12 + "\n" + K21, 'v2 = "1 L/kg"', "Missing", "model, cl2", "v2 stands alone"),
    (K12 + "\n" + K21, 'k13 = "0.1 1/min"\nk31 = "0.1 1/min"', "Missing", "model, k12", "third compartment"),
    (KE0, KE0 + '\nv2 = "1 L/kg"\ncl2 = "9 mL/kg/min"', "Contradiction", "model, v2", "two ways"),
    (KE0, 'keo = "0.3 1/min"', "Unknown", "model, keo", "Did you mean ke0?"),
    (KE0, 'ke0 = "0 1/min"', "OutOfRange", "model, ke0", "nothing"),
    (KE0, 'spread = "900 %"', "OutOfRange", "model, spread", "30 %"),
    (KE0, 'id = "midazolam-cat"', "Contradiction", "model, v1", "beside an id"),
    (AT, 'at = "-5 min"', "OutOfRange", "bolus 1, at", "before the case"),
    (AT, "", "Missing", "bolus 1, at", "0 min"),
    (AT, 'at = "500 h"', "OutOfRange", "bolus 1, at", "longer than a case"),
    (DOSE, 'dose = "0 mg/kg"', "OutOfRange", "bolus 1, dose", "nothing"),
    (DOSE, 'dose = "-4 mg/kg"', "OutOfRange", "bolus 1, dose", "less than nothing"),
    (DOSE, 'dose = "4 IU/kg"', "NotAQuantity", "bolus 1, dose", "4 mg/kg or 16 mg"),
    (DOSE, 'dose = "4 mL"', "NotAQuantity", "bolus 1, dose", "4 mg/kg or 16 mg"),
    (DOSE, DOSE + '\nover = "0 s"', "OutOfRange", "bolus 1, over", "nothing"),
    (DOSE, DOSE + '\nover = "100000 h"', "OutOfRange", "bolus 1, over", "end after a case does"),
    (AT + "\n" + DOSE, 'at = "100 h"\n' + DOSE + '\nover = "69 h"', "OutOfRange", "bolus 1, over", "in by 168 h"),
    (DOSE, DOSE + '\nduring = "60 s"', "Unknown", "bolus 1, during", "Known here"),
    (RATE, 'rate = "0 mg/kg/min"', "OutOfRange", "infusion 1, rate", "nothing"),
    (RATE, 'rate = "-0.3 mg/kg/min"', "OutOfRange", "infusion 1, rate", "less than nothing"),
    (RATE, 'rate = "0.3 mg/kg"', "NotAQuantity", "infusion 1, rate", "12 mg/h"),
    (STOP, 'to = "2 min"', "Contradiction", "infusion 1, to", "not after its beginning"),
    (STOP, 'to = "1 min"', "Contradiction", "infusion 1, to", "not after its beginning"),
    ("[output]", SECOND, "Contradiction", "infusion 2, from", "before infusion 1 stops"),
    (EVERY, "", "Missing", "output, every", "10 s"),
    (EVERY, 'every = "0 s"', "OutOfRange", "output, every", "nothing"),
    (EVERY, 'every = "-1 s"', "OutOfRange", "output, every", "less than nothing"),
    (EVERY, 'every = "0.05 s"', "OutOfRange", "output, every", "100,000"),
    (EVERY, 'every = "3 h"', "Contradiction", "output, every", "longer than until"),
    (EVERY, EVERY + '\nnow = "3 h"', "Contradiction", "output, now", "after until"),
    (EVERY, EVERY + '\nfall_to = ["2"]', "NotAQuantity", "output, fall_to 1", "no unit"),
    (EVERY, EVERY + '\nfall_to = "2 mg/L"', "NotOneOf", "output, fall_to", "not a list"),
    (EVERY, EVERY + '\nfall_to = ["0 mg/L"]', "OutOfRange", "output, fall_to 1", "nothing"),
    ('until = "120 min"', 'until = "0 min"', "OutOfRange", "output, until", "nothing"),
    ("[output]", "[colour]\nred = 1\n[output]", "Unknown", "file, colour", "not a key"),
    (EVERY, EVERY + f'\nfall_to = {["2 mg/L"] * 21}', "OutOfRange", "output, fall_to", "20 at most"),
    (AT, "at = " + "[" * 5000 + "]" * 5000, "Refusal", "prediction file", "brackets within brackets"),
    (DOSE, "dose = " + "9" * 5000, "OutOfRange", "prediction file", "too long"),
    (DOSE, "dose = 1e99999999999999999999", "OutOfRange", "prediction file", "too long"),
    ("[output]", "[output", "Refusal", "prediction file", "not TOML"),
]  # fmt: skip

# an id in place of the parameters, and what it is refused as
IDS = [
    ("propofol-dog-approx", "Contradiction", "model for the dog"),
    ("propofol", "Unknown", "propofol-cat-approx-A"),
    ("propofol-cat", "Unknown", "So begin: propofol-cat-approx-A, propofol-cat-approx-B"),
    ("Propofol-cat", "Unknown", "propofol-cat-approx-B"),
    ("fentanyl-cats", "Unknown", "fentanyl-cat-weak"),
    ("propofol-cat-aprox-A", "Unknown", "Near it: propofol-cat-approx-A"),
    ("no such thing", "Unknown", "model"),
    ("marsh-human", "NotOneOf", "no model of humans"),
    ("atropine", "Missing", "no model of atropine"),
    ("", "Missing", "empty"),
]


@pytest.mark.parametrize(("old", "new", "kind", "field", "word"), FAULTS, ids=lambda v: str(v)[:40])
def test_a_fault_is_refused_by_name(old: str, new: str, kind: str, field: str, word: str) -> None:
    assert old in GIVEN
    with pytest.raises(Refusal) as said:
        read_predict_file(GIVEN.replace(old, new, 1))
    assert (said.value.name, said.value.field) == (kind, field)
    assert isinstance(said.value, getattr(refusals, kind)) and word in said.value.sentence


@pytest.mark.parametrize("part", ["patient", "model", "output"])
def test_a_part_that_is_not_there_is_missing(part: str) -> None:
    head, _, tail = GIVEN.partition(f"[{part}]")
    rest = tail[tail.index("\n[") :] if "\n[" in tail else ""
    with pytest.raises(refusals.Missing, match=f"^{part}: "):
        read_predict_file(head + rest)


def test_a_file_that_gives_nothing_is_missing_its_doses() -> None:
    head, tail = GIVEN.partition("[[bolus]]")[0], GIVEN[GIVEN.index("[output]") :]
    with pytest.raises(refusals.Missing, match=r"nothing is given"):
        read_predict_file(head + tail)


def many(boluses: int, infusions: int, text: str = GIVEN) -> str:
    """The same file with so many of each, a tenth of a minute apart."""
    doses = "".join(f'[[bolus]]\nat = "{n / 10:g} min"\ndose = "0.001 mg/kg"\n' for n in range(boluses))
    runs = "".join(
        f'[[infusion]]\nfrom = "{n / 10:g} min"\nto = "{(n + 1) / 10:g} min"\nrate = "0.001 mg/kg/min"\n'
        for n in range(infusions)
    )
    return text.partition("[[bolus]]")[0] + doses + runs + text[text.index("[output]") :]


def test_more_doses_than_a_case_holds_are_refused_and_just_as_many_are_not() -> None:
    """1,000 boluses and infusions together: a bound of our own, for each of them is carried through every animal."""
    assert len(read_predict_file(many(600, 400)).boluses) == 600
    with pytest.raises(refusals.OutOfRange, match=r"^bolus: 1,001 .*1,000 at most"):
        read_predict_file(many(601, 400))


def test_where_elimination_saturates_fewer_doses_are_worked_out(facts: Facts) -> None:
    """200: a bound of our own, for between any two of them the curve is followed step by step."""
    full = many(0, 201, GIVEN.replace(OUT, 'vmax = "1 mg/kg/min"\nkm = "2 mg/L"'))
    with pytest.raises(refusals.OutOfRange, match=r"^bolus: 201 .*200 at most"):
        predict(read_predict_file(full), facts)
    assert predict(read_predict_file(many(0, 201)), facts).plasma.values


def test_a_byte_order_mark_is_no_part_of_the_file() -> None:
    """U+FEFF at the start of a text in UTF-8, as some editors write it (RFC 3629, section 6: from memory)."""
    assert read_predict_file("\ufeff" + GIVEN) == read_predict_file(GIVEN)
    with pytest.raises(Refusal, match="not TOML"):
        read_predict_file(GIVEN.replace("[model]", "\ufeff[model]"))


def with_id(id_: str, weight: str = "4.2 kg") -> str:
    start, stop = GIVEN.index("v1 ="), GIVEN.index("[[bolus]]")
    return f'{GIVEN[:start]}id = "{id_}"\n{GIVEN[stop:]}'.replace("4.2 kg", weight)


@pytest.mark.parametrize(("id_", "kind", "word"), IDS)
def test_a_model_that_cannot_be_used_is_refused_by_name(id_: str, kind: str, word: str, facts: Facts) -> None:
    with pytest.raises(Refusal) as said:
        predict(read_predict_file(with_id(id_)), facts)
    assert (said.value.name, said.value.field) == (kind, "model, id")
    assert word in said.value.sentence


def test_a_partial_row_says_what_it_lacks(facts: Facts) -> None:
    partial = [m for m in facts.kinetics.models if m.quality == "partial" and m.species == "cat"]
    assert partial
    for row in partial:
        with pytest.raises(refusals.Missing) as said:
            predict(read_predict_file(with_id(row.id)), facts)
        assert said.value.field == "model, id" and row.lacks in said.value.sentence


def test_an_animal_smaller_than_those_of_the_model_is_out_of_its_range(facts: Facts) -> None:
    """A weight that a cat can have and no cat of the study had."""
    with pytest.raises(refusals.OutOfRange, match=r"^weight: "):
        predict(read_predict_file(with_id("midazolam-cat", "1.9 kg")), facts)


def test_a_weight_no_cat_has_is_refused_or_asked_about(facts: Facts) -> None:
    with pytest.raises(Refusal, match=r"^weight"):
        predict(read_predict_file(GIVEN.replace("4.2 kg", "420 kg")), facts)


def test_a_surprising_weight_is_asked_about_and_one_key_says_that_it_is_right(facts: Facts) -> None:
    text = GIVEN.replace("4.2 kg", "14 kg")
    with pytest.raises(refusals.AskAgain, match="weight_confirmed = true"):
        predict(read_predict_file(text), facts)
    sure = text.replace('species = "cat"', 'species = "cat"\nweight_confirmed = true')
    assert predict(read_predict_file(sure), facts).plasma.values


def test_a_slip_of_the_unit_that_makes_a_dose_of_grams_per_kilogram_is_refused(facts: Facts) -> None:
    with pytest.raises(refusals.OutOfRange, match=r"^dose: .*units and points"):
        predict(read_predict_file(GIVEN.replace(DOSE, 'dose = "4 g/kg"')), facts)


@pytest.mark.parametrize(
    ("dose", "told"),
    [("7 mg/kg", ""), ("12 mg/kg", ""), ("40 mg/kg", "13 mg/kg"), ("60 mg/kg", "43 mg/kg"), ("1900 mg/kg", "43 mg/kg")],
)
def test_more_than_is_published_to_be_given_carries_a_caution(dose: str, told: str, facts: Facts) -> None:
    """Propofol in the dog: 7 mg/kg to induce and 0.6 mg/kg/min are the highest of the dose rows (their sources beside them), together
    43 mg/kg in an hour and 13 in ten minutes. Ten times the usual 6 mg/kg is a slip of the point."""
    text = with_id("propofol-dog-approx", "10 kg").replace('species = "cat"', 'species = "dog"')
    made = predict(read_predict_file(many(1, 0, text).replace("0.001 mg/kg", dose)), facts)
    assert made.plasma.values
    assert any(f"{told} are the highest" in c for c in made.cautions) is bool(told)
    assert len(made.cautions) == (5 if told else 4), "the standing ones stay"


def test_ten_times_a_dose_or_a_wrong_unit_of_a_rate_carries_a_caution(facts: Facts) -> None:
    """40 mg/kg of propofol in a cat (label of the United States: 8.0 to 13.2 mg/kg without premedication); fentanyl by the mg, not the
    mcg, each hour."""
    made = predict(
        read_predict_file(many(1, 0, with_id("propofol-cat-approx-A")).replace("0.001 mg/kg", "40 mg/kg")), facts
    )
    assert "40 mg/kg within 10 min" in made.cautions[0]
    runs = (
        many(0, 1, with_id("fentanyl-cat-weak")).replace("0.001 mg/kg/min", "10 mg/kg/h").replace("0.1 min", "60 min")
    )
    assert "10 mg/kg within an hour" in predict(read_predict_file(runs), facts).cautions[0]


def test_a_peak_in_the_minutes_a_model_does_not_tell_of_is_left_out_and_said(facts: Facts) -> None:
    """The row of fentanyl in dogs under isoflurane: not for the first 5 min (an arterial peak was missed by 46 %)."""
    text = with_id("fentanyl-dog-iso-approx", "10 kg").replace('species = "cat"', 'species = "dog"')
    made = predict(read_predict_file(many(1, 0, text).replace("0.001 mg/kg", "5 mcg/kg")), facts)
    assert made.peaks == () and any("first 5 min after a dose" in n for n in made.notes)
    late = many(0, 1, text).replace("0.001 mg/kg/min", "5 mcg/kg/h").replace("0.1 min", "60 min")
    slow = predict(read_predict_file(late), facts)
    assert [p.at_min for p in slow.peaks] == [60.0] and not any("No peak" in n for n in slow.notes)


@pytest.mark.parametrize(
    ("old", "bare", "told"),
    [
        ('weight = "4.2 kg"', "weight = 4.2", '"4.2 kg"'),
        (DOSE, "dose = 4", '"4 mg/kg"'),
        (EVERY, "every = 10.5", '"10.5 min"'),
    ],
)
def test_a_bare_number_is_shown_as_written_with_what_it_lacks(old: str, bare: str, told: str) -> None:
    with pytest.raises(refusals.NotAQuantity) as said:
        read_predict_file(GIVEN.replace(old, bare))
    assert told in said.value.sentence and "Decimal" not in said.value.sentence


def test_infusions_may_touch_and_a_slow_dose_may_run_beside_one() -> None:
    text = GIVEN.replace("[output]", SECOND.replace("61 min", "62 min")).replace(DOSE, DOSE + '\nover = "5 min"')
    made = read_predict_file(text)
    assert [str(i.start) for i in made.infusions] == ["2 min", "62 min"]
    assert str(made.boluses[0].over) == "5 min"


def test_parameters_of_the_file_keep_the_very_words_in_which_they_were_written() -> None:
    made = read_predict_file(GIVEN)
    assert isinstance(made.model, GivenModel)
    assert [p.written for p in made.model.parameters][:3] == ["0.40 L/kg", "20 mL/kg/min", "0.11 1/min"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_an_example_is_read_and_worked_out(path: Path, facts: Facts) -> None:
    made = predict(read_predict_file(path.read_text("utf-8"), path.name), facts)
    assert len(EXAMPLES) == 3
    assert made.plasma.values and len(made.plasma.values) == len(made.times.values)
