"""Where no curve may be drawn: each refusal by name, the sums all the same. And what is said where one may: no order, no reading.

Limits of the sets (grown, from 3 kg, healthy, no sighthound) are the rows of kinetics.toml; the animals are invented.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from pypdf import PdfReader

from casebook import Book, at, d
from level_case import animal, induce_level, induced_with, pump, pushed, running, seen
from spiracle.case import events as ev
from spiracle.doors.cli import main
from spiracle.doors.log_store import open_store
from spiracle.doors.pdf import record_pdf
from spiracle.doors.tables import load_facts
from spiracle.sheets.shapes import CaseView, Inhaled, Level, MacNow, WorkingShape
from teasel import seen_at

CURVE = (
    "low",
    "middle",
    "high",
    "now_text",
    "peak_text",
    "next",
    "marks",
    "falls",
    "plateau_text",
    "half_text",
    "working",
    "begin_at",
)


def no_curve(level: Level) -> str:
    assert not any(getattr(level, name) for name in CURVE)
    assert level.none.startswith("No estimate") and level.sums
    return level.none


# ---- the animal


@pytest.mark.parametrize(("told", "says"), [
    ({"age": ""}, "The age is not entered."),
    ({"age": "some"}, "The age is not entered."),
    ({"age": "5 mo"}, "the animals of this set were grown"),
    ({"asa": ""}, "The physical status is not entered."),
    ({"asa": "III"}, "the animals of this set were healthy"),
    ({"asa": "V"}, "the animals of this set were healthy"),
    ({"kg": "2.9"}, "less than the animals of this set weighed"),
    ({"kg": "25", "breed": "greyhound"}, "No set was measured in sighthounds."),
    ({"kg": "12", "breed": "whippet"}, "No set was measured in sighthounds."),
    ({"conditions": ("kidney-disease",)}, "kidney disease stands on the list"),
    ({"conditions": ("portosystemic-shunt",)}, "stands on the list"),
    ({"conditions": ("heart-failure",)}, "heart failure stands on the list"),
])  # fmt: skip
def test_an_animal_that_the_set_was_not_measured_in_has_no_curve(told: dict[str, Any], says: str) -> None:
    """D4: a set of healthy adults does not stand for the sick, the young, the tiny or the sighthound: the reason stands there."""
    b = induced_with(animal(**told))
    pushed(b, 60, "15")
    words = no_curve(induce_level(b, 61))
    assert words.startswith("No estimate. ") and says in words
    assert induce_level(b, 61).sums.startswith("15 mg = ")
    assert no_curve(running(b, 61, "propofol")) == words


@pytest.mark.parametrize(
    ("age", "kg", "says"), [("4 mo", "3.5", "grown"), ("9 wk", "3.2", "grown"), ("4 y", "2.5", "weighed")]
)
def test_a_kitten_and_a_tiny_cat_have_no_curve(age: str, kg: str, says: str) -> None:
    """D4: alfaxalone and propofol alike."""
    for drug in ("propofol", "alfaxalone"):
        b = induced_with(animal("cat", kg, age=age), drug, high="8")
        pushed(b, 60, "5", drug)
        assert says in no_curve(induce_level(b, 61))


def test_without_a_weight_there_is_nothing_to_push_and_no_curve() -> None:
    """D4: no keys, no curve, and the milligrams alone."""
    b = induced_with(animal(kg=""))
    pushed(b, 60, "15")
    assert seen(b, 61).induce.agents == ()
    level = running(b, 61, "propofol")
    assert "The weight is not entered." in no_curve(level) and level.sums == "15 mg in 1 push since 09:00:00"


def test_an_animal_that_leaves_the_set_in_mid_case_loses_its_curve() -> None:
    """D4: a status raised during the case takes the curve away."""
    b = induced_with(animal())
    pushed(b, 60, "15")
    assert induce_level(b, 61).middle
    b.tell(62, ev.AsaAssigned, asa="IV", assigned_by="ilse")
    assert "healthy" in no_curve(induce_level(b, 63))


def test_an_estimated_weight_is_said_beside_the_curve() -> None:
    b = induced_with(animal(method="estimated"))
    pushed(b, 60, "15")
    assert induce_level(b, 61).cautions[0] == "The weight is estimated: every level moves with it."


# ---- the drug and the entry


@pytest.mark.parametrize(("fields", "words"), [
    ({"route": "IM"}, "15 mg IM at 09:01"), ({"route": "SC"}, "15 mg SC at 09:01"), ({"unit": "IU"}, "15 IU at 09:01"),
    ({"unit": "mL"}, "15 mL at 09:01"),
])  # fmt: skip
def test_one_dose_that_cannot_be_followed_takes_the_curve(fields: dict[str, str], words: str) -> None:
    """D4: the same drug by another way or in another measure: the whole curve goes, for what is in the body is not known."""
    b = induced_with(animal())
    pushed(b, 60, "15")
    pushed(b, 61, "15", **fields)
    level = running(b, 62, "propofol")
    assert no_curve(level) == f"No estimate. A model of the vein cannot follow {words}."
    assert level.sums == f"15 mg = 1.5 mg/kg in 1 push since 09:00:00; {words}"


@pytest.mark.parametrize(("strength", "route"), [("", "IV"), ("100 IU/mL", "IV"), ("10 mg/mL", "SC")])
def test_a_pump_that_cannot_be_followed_takes_the_curve(strength: str, route: str) -> None:
    """D4: a drug that runs from a pump of unknown strength stands in the list with the reason."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    pump(b, 60, "30", "propofol", strength, route=route)
    level = running(b, 65, "propofol")
    assert "A model of the vein cannot follow " in no_curve(level)


@pytest.mark.parametrize(("drug", "species", "says"), [
    ("etomidate", "dog", "No set of constants is known for etomidate."),
    ("methadone", "dog", "Methadone in the dog is known only in part: "),
    ("methadone", "cat", "Methadone in the cat is known only in part: "),
    ("hydromorphone", "dog", "Hydromorphone in the dog is known only in part: "),
    ("remifentanil", "cat", "Remifentanil in the cat is known only in part: "),
    ("butorphanol", "dog", "The sets of butorphanol are for the cat, not for the dog."),
    ("midazolam", "dog", "Midazolam in the dog is known only in part: "),
    ("ketamine", "cat", "Ketamine in the cat is known only in part: "),
])  # fmt: skip
def test_a_drug_without_a_whole_set_in_this_species_has_its_sums_alone(drug: str, species: str, says: str) -> None:
    """D4: no set, a partial set, or the other species' alone: nothing is carried over."""
    b = animal(species, "5")
    b.tell(58, ev.TimeMarked, mark="induction")
    pushed(b, 60, "1", drug, order="", syringe="", purpose="")
    level = running(b, 61, drug)
    assert (
        no_curve(level).startswith(f"No estimate. {says}") and level.sums == "1 mg = 0.2 mg/kg in 1 push since 09:00:00"
    )


def test_a_set_made_awake_is_not_used_under_gas() -> None:
    """D4: ketamine in the dog was measured awake."""
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    pushed(b, 60, "5", "ketamine", order="", syringe="", purpose="")
    assert running(b, 61, "ketamine").middle
    b.tell(62, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    assert "No set of ketamine in the dog was made for an animal under isoflurane." in no_curve(
        running(b, 63, "ketamine")
    )


def alfaxalone(*minutes: float) -> Book:
    """2 mg/kg a push in a cat of 4 kg."""
    b = induced_with(animal("cat", "4"), "alfaxalone", high="20", ml="8")
    for m in minutes:
        pushed(b, m, "8", "alfaxalone")
    return b


def test_past_the_total_that_a_set_was_measured_at_there_is_no_curve() -> None:
    """D4: alfaxalone in the cat, up to 8 mg/kg within 60 min (row alfaxalone-cat-approx; clearance falls with dose)."""
    assert induce_level(alfaxalone(60, 61, 62, 63), 64).middle
    words = no_curve(induce_level(alfaxalone(60, 61, 62, 63, 64), 65))
    assert "10 mg/kg within 60 min is past this set" in words and "up to 8 mg/kg" in words


def test_what_was_past_the_set_once_is_not_followed_again_when_an_hour_has_gone_by() -> None:
    """D4: the level that 10 mg/kg left behind is not known by waiting."""
    for minute in (65, 100, 124, 180):
        no_curve(running(alfaxalone(60, 61, 62, 63, 64), minute, "alfaxalone"))
    assert running(alfaxalone(60, 80, 100, 120.5, 140.5), 150, "alfaxalone").middle, "never over 8 mg/kg in any 60 min"


def test_a_next_push_that_would_leave_the_set_is_not_foretold() -> None:
    """D4: 8 mg/kg are in; the curve of those stands, one more is not drawn."""
    level = induce_level(alfaxalone(60, 61, 62, 63), 64)
    assert level.middle and level.next is None
    assert induce_level(alfaxalone(60), 61).next is not None, "5 mg/kg more would bring it to 7"


# ---- what is said beside a curve


ORDERS = re.compile(
    r"\b(give|inject|administer|push now|bolus|repeat|redose|top up|turn (up|down|off|on)|increase|decrease|reduce|raise|lower the|"
    r"stop the|start the|intubate|extubate|wait|you should|must|recommend\w*|advis\w+|is safe|safe to)\b", re.IGNORECASE)  # fmt: skip


def texts(shape: Any, but: tuple[str, ...] = ("citation",)) -> Iterator[str]:
    """Every text of a shape, its sources' titles and its working's words left out."""
    if isinstance(shape, str):
        yield shape
    elif isinstance(shape, msgspec.Struct):
        for name in shape.__struct_fields__:
            if name not in but:
                yield from texts(getattr(shape, name), but)
    elif isinstance(shape, tuple | list):
        for one in shape:
            yield from texts(one, but)


def a_whole_case() -> Book:
    """A dog induced with propofol, kept on isoflurane with fentanyl and lidocaine; every card has something to say."""
    b = induced_with(animal())
    b.tell(51, ev.MachineAssigned, machine="Machine 2", circuit="circle", bag_ml=2000)
    for minutes in (60, 61):
        pushed(b, minutes, "15")
    b.tell(62, ev.TubePlaced, id_mm=d("8"), cuffed=True)
    b.tell(62, ev.GasSet, oxygen_l_min=d("2"))
    b.tell(62, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    b.tell(62, ev.ReadingTaken, reading="respiratory_rate", value=d("12"), unit="/min", source="device")
    b.tell(63, ev.ReadingTaken, reading="temperature", value=d("36.5"), unit="Cel", source="device")
    pump(b, 63, "1", "fentanyl", "50 mcg/mL", "i-1")
    pump(b, 63, "1.5", "lidocaine", "20 mg/mL", "i-2")
    b.tell(70, ev.ReadingTaken, reading="agent_et", value=d("1.3"), unit="%", source="device")
    return b


def cards(view: CaseView) -> list[Level | Inhaled | MacNow]:
    found: list[Level | Inhaled | MacNow | None] = [*(a.level for a in view.induce.agents), *view.maintain.levels,
                                                    view.maintain.inhaled, view.maintain.mac]  # fmt: skip
    return [x for x in found if x is not None]


@pytest.mark.parametrize("minute", [60, 60.5, 61.5, 66, 75, 120])
def test_no_card_gives_an_order(minute: float) -> None:
    """D4: a level, the gas and the MAC tell and never order; "gives no order" and "orders nothing" are the only such words."""
    for card in cards(seen(a_whole_case(), minute)):
        for text in texts(card):
            plain = text.replace("gives no order", "").replace("orders nothing", "")
            assert not ORDERS.search(plain), text


@pytest.mark.parametrize("told", [{"age": ""}, {"asa": ""}, {"kg": ""}, {"asa": "IV"}, {"kg": "2.5"}])
def test_no_refusal_reads_as_an_order(told: dict[str, Any]) -> None:
    """D4: what is lacking is asked for as an entry, in no word that could be taken for a dose."""
    b = induced_with(animal(**told))
    pushed(b, 60, "15")
    b.tell(61, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    found = cards(seen(b, 62))
    assert found and all(not ORDERS.search(text) for card in found for text in texts(card))


def test_every_curve_says_that_it_is_a_prediction_of_a_population() -> None:
    """D4, D5: in words, with the set's animals and quality, wherever there is a curve."""
    found = cards(seen(a_whole_case(), 75))
    drawn = [x for x in found if isinstance(x, Level) and x.middle]
    assert {x.drug for x in drawn} >= {"propofol", "fentanyl"}
    for level in drawn:
        assert "prediction for a population" in level.says and "not a measurement" in level.says
        assert level.population and level.quality in {"full", "derived", "approximate", "weak"}
        assert level.now_text.startswith("≈ ") and level.working is not None and level.working.estimated
    (gas,) = [x for x in found if isinstance(x, Inhaled)]
    assert gas.middle and "population prediction, not a measurement" in gas.says and gas.now_text.startswith("≈ ")
    (mac,) = [x for x in found if isinstance(x, MacNow)]
    assert "no measurement of this animal" in mac.says


# ---- never a reading, never in the record


PLAIN = ("citation", "name", "drug", "agent", "unit", "sums", "measured", "quality", "mark")


def predicted_words(view: CaseView) -> set[str]:
    """What only a prediction says: its spans, and its own words."""
    return {t for card in cards(view) if not isinstance(card, MacNow) for t in texts(card, PLAIN) if len(t) > 12}


def test_no_prediction_stands_in_the_ribbon_or_on_the_chart() -> None:
    """D5: cells hold what was measured or typed; without a reading the cell of the end-tidal agent is empty, whatever is foretold."""
    b = a_whole_case()
    b.entries = [e for e in b.entries if getattr(e.event, "reading", "") != "agent_et"]
    view = seen(b, 75)
    assert view.maintain.inhaled is not None and view.maintain.inhaled.middle
    cell = next(v for v in view.maintain.ribbon if v.reading == "agent_et")
    assert cell.value is None
    assert {v.value.mark for v in view.maintain.ribbon if v.value is not None} <= {"measured", "typed"}
    shown = set(texts(view.maintain.ribbon)) | set(texts(view.maintain.chart))
    assert not shown & predicted_words(view)


def test_no_prediction_stands_in_the_record() -> None:
    """D5: lines, sums and elements of the record hold what happened."""
    view = seen(a_whole_case(), 75)
    words = predicted_words(view)
    assert len(words) > 20
    assert not set(texts(view.record)) & words and not set(texts(view.recover)) & words


def printed_record(view: CaseView) -> str:
    pages = PdfReader(io.BytesIO(record_pdf(view, load_facts(), "a4", at(75)))).pages
    return " ".join(" ".join(p.extract_text() for p in pages).split())


def test_no_prediction_stands_in_the_printed_record() -> None:
    """D5: the PDF tells what happened; no level that a model made, not even as the working of a figure."""
    view = seen(a_whole_case(), 75)
    printed = printed_record(view)
    assert "Propofol" in printed and "15 mg" in printed, "what was given is there"
    assert not re.search(
        r"predicted (brain|blood) level|predicted end-tidal|animals of the set|the model's animals", printed
    )


def test_no_prediction_leaves_with_the_exported_case(tmp_path: Path) -> None:
    """D5: JSON and CSV hold the entries alone, though the screens of the same case show curves."""
    database, out = f"sqlite:///{tmp_path / 'case.db'}", tmp_path / "case.txt"
    b = a_whole_case()
    store = open_store(database)
    try:
        store.append(b.case, [e.event for e in b.entries], 0)
    finally:
        store.close()
    words = predicted_words(seen(b, 75))
    for form in ("json", "csv"):
        assert main(["record", b.case, "--format", form, "--database", database, "--output", str(out)]) == 0
        text = out.read_text("utf-8")
        assert text.count("DrugGiven") == 2 and text.count("VaporiserSet") == 1
        assert not [w for w in words if w in text or json.dumps(w)[1:-1] in text]
        assert "mcg/mL" not in text.replace("50 mcg/mL", "") and "≈" not in text


def test_a_case_without_a_drug_by_the_vein_or_gas_has_no_card() -> None:
    view = seen_at(40)
    assert (view.maintain.levels, view.maintain.inhaled, view.maintain.mac) == ((), None, None)


def test_a_case_that_has_ended_has_no_card() -> None:
    b = a_whole_case()
    b.tell(130, ev.Extubated, signs=("swallow",))
    b.tell(140, ev.TimeMarked, mark="recovery end")
    view = seen(b, 141)
    assert (view.maintain.levels, view.maintain.inhaled, view.maintain.mac) == ((), None, None)


def test_the_working_of_a_level_names_its_constants_its_doses_and_its_sources() -> None:
    b = induced_with(animal())
    pushed(b, 60, "15")
    working = induce_level(b, 61).working
    assert isinstance(working, WorkingShape)
    assert "2,048 animals of the set propofol-dog-approx (V1 0.91 L/kg, clearance 0.0344 L/kg/min" in working.says
    assert [(i.name, i.text) for i in working.inputs] == [("weight", "10 kg"), ("push 1", "15 mg at 09:00:00")]
    assert working.cited and len(working.held) == 3
