"""What a hostile reader found on the pages and prints: each of it told by hand, and what must stand there instead."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.tables import load_facts
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, NotAQuantity, NotOneOf, OutOfRange, Unknown
from spiracle.sheets.case_view import case_view
from spiracle.sheets.emergency_sheet import emergency_sheet
from spiracle.sheets.plan import check, plan
from spiracle.sheets.plan_work import work_out
from spiracle.sheets.shapes import Advice
from spiracle.source import Mark
from teasel import cell, seen_at, teasel


def bramble(species: str = "dog", kg: str = "20", **opened: object) -> Book:
    """Bramble, an invented dog: asleep and intubated, with no limit ordered by anybody."""
    b = Book("c-bramble", by="rowan")
    b.tell(0, ev.CaseOpened, species=species, name="Bramble", **opened)
    b.tell(1, ev.Weighed, weight_kg=d(kg), method="scale")
    b.tell(2, ev.AllergiesAsked)
    b.tell(5, ev.TimeMarked, mark="induction")
    b.tell(6, ev.AttemptBegan, attempt="a-1", tube_id_mm=d("8"))
    b.tell(6.5, ev.AttemptEnded, attempt="a-1", outcome="in")
    b.tell(6.6, ev.TubePlaced, id_mm=d("8"), cuffed=True, attempt="a-1")
    b.tell(7, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(7.1, ev.ProofNoted, sign="left chest")
    b.tell(7.2, ev.ProofNoted, sign="right chest")
    return b


def proven(b: Book) -> Book:
    b.tell(8, ev.AirwayProven, method="CO₂ on six breaths", second_person="ilse")
    return b


def read(b: Book, minutes: float, reading: str, value: str, unit: str = "", **more: object) -> str:
    units = {"heart_rate": "/min", "respiratory_rate": "/min", "spo2": "%", "etco2": "mmHg", "temperature": "Cel"}
    return b.tell(minutes, ev.ReadingTaken, reading=reading, value=d(value), unit=unit or units[reading], **more)


def said(b: Book, minutes: float) -> dict[str, Advice]:
    return {a.id: a for a in seen_at(minutes, b).advice}


# ---- limits that nobody ordered


@pytest.mark.parametrize(
    ("reading", "value", "priority", "title"),
    [
        # 20 kg is a medium dog. Usual limits of circulation.toml: SpO2 95 (grave 90), rate 70 to 160, CO2 35 to 45
        # (grave over 55), T 36.7 to 38.3 °C (grave under 34), breaths 8 to 16 a minute.
        ("spo2", "50", "medium", "Oxygen saturation 50, under 95 %."),
        ("spo2", "93", "low", "Oxygen saturation 93, under 95 %."),
        ("heart_rate", "20", "medium", "Heart rate 20, under 70 /min."),
        ("temperature", "30.0", "medium", "Temperature 30.0, under 36.7 °C."),
        ("temperature", "36.0", "low", "Temperature 36.0, under 36.7 °C."),
        ("etco2", "60", "medium", "End-tidal CO₂ 60, over 45 mmHg."),
        ("respiratory_rate", "4", "low", "Breaths 4, under 8 /min."),
    ],
)
def test_a_usual_limit_speaks_where_none_was_ordered_and_marks_its_cell(
    reading: str, value: str, priority: str, title: str
) -> None:
    """C1, A15: "Usual limit, not ordered", the number marked in the ribbon."""
    b = proven(bramble())
    read(b, 20, reading, value)
    view = seen_at(21, b)
    (line,) = view.advice
    assert (line.id, line.priority, line.title) == (f"limit {reading}", priority, title)
    assert line.body.startswith("Usual limit") and "not ordered" in line.body
    assert cell(view, reading).priority == priority


def test_an_emergency_in_two_touches_is_watched_too() -> None:
    """C1, D6: no order, no name, a tube in: a mean pressure of 40 is said and marked."""
    b = Book("c-e", by="rowan")
    b.tell(0, ev.CaseOpened, species="dog", kind="emergency")
    b.tell(0.5, ev.Weighed, weight_kg=d("20"), method="estimated")
    b.tell(1, ev.TubePlaced, id_mm=d("8"), cuffed=True)
    read(b, 1.1, "etco2", "40")
    b.tell(4, ev.PressureTaken, sap=d("60"), map=d("40"), dap=d("30"), method="oscillometric", source="device")
    view = seen_at(5, b)
    lines = [a for a in view.advice if a.id.startswith("limit")]
    assert [(a.id, a.priority, a.title) for a in lines] == [
        ("limit map", "medium", "Mean pressure 40, under 60 mmHg.")]  # fmt: skip
    assert cell(view, "map").priority == "medium"


def test_a_systolic_alone_is_held_too_and_marks_the_pressure() -> None:
    """C1: a Doppler gives no mean; 70 is under the usual 90, and under the graver 80."""
    b = proven(bramble())
    b.tell(20, ev.PressureTaken, sap=d("70"), method="Doppler", source="hand")
    view = seen_at(21, b)
    assert [(a.id, a.priority) for a in view.advice] == [("limit sap", "medium")]
    assert cell(view, "map").priority == "medium"


def test_the_order_wins_over_the_usual_limit() -> None:
    """C1: one line per condition; a limit ordered laxer than the usual one silences it."""
    b = proven(bramble())
    b.tell(9, ev.LimitOrdered, reading="spo2", below=d("90"), action="oxygen up", ordered_by="ilse")
    read(b, 20, "spo2", "92")
    assert seen_at(21, b).advice == ()
    read(b, 22, "spo2", "89")
    (line,) = seen_at(23, b).advice
    assert (line.title, line.body) == ("Oxygen saturation 89, under 90 %.", "Order by ilse, 08:09: oxygen up.")


def test_usual_limits_are_of_an_animal_asleep_and_not_of_an_arrest() -> None:
    """D6: awake, extubated or in arrest nothing is held against the limits of anaesthesia."""
    b = proven(bramble())
    read(b, 20, "heart_rate", "20")
    b.tell(21, ev.ArrestBegan, leader="ilse")
    assert "limit heart_rate" not in said(b, 22)
    awake = bramble()
    awake.tell(19, ev.Extubated, signs=())
    read(awake, 20, "heart_rate", "65")
    assert "limit heart_rate" not in said(awake, 21)


def test_oxygen_set_to_nothing_with_a_tube_in_is_said() -> None:
    """C1, A15: the flow last set is 0 L/min."""
    b = proven(bramble())
    b.tell(10, ev.GasSet, oxygen_l_min=d("1"))
    assert seen_at(11, b).advice == ()
    b.tell(12, ev.GasSet, oxygen_l_min=d("0"))
    assert [(a.id, a.priority, a.since) for a in seen_at(13, b).advice] == [("oxygen off", "medium", at(12))]


# ---- CO2 that was there and is gone


def test_co2_that_is_gone_is_high_again_after_the_airway_was_proven() -> None:
    """A15, C1: the last value counts, not that there ever was one."""
    b = proven(bramble())
    read(b, 20, "etco2", "40")
    read(b, 40, "etco2", "0")
    read(b, 41, "etco2", "0")
    read(b, 41, "respiratory_rate", "0")
    view = seen_at(42, b)
    assert [(a.id, a.priority, a.since) for a in view.advice] == [("no co2", "high", at(40))]
    assert cell(view, "etco2").priority == "high"
    read(b, 43, "etco2", "38")
    read(b, 43, "respiratory_rate", "10")
    assert seen_at(44, b).advice == ()


def test_co2_that_is_gone_is_high_before_the_airway_is_proven_too() -> None:
    """A15: an earlier value of 40 silences nothing."""
    b = bramble()
    read(b, 8, "etco2", "40")
    read(b, 9, "etco2", "0")
    assert seen_at(10, b).advice[0].id == "no co2"


def test_a_zero_that_is_an_artefact_or_of_an_earlier_tube_says_nothing() -> None:
    """C2, A15: only what may be acted on, since this tube went in."""
    b = proven(bramble())
    doubtful = read(b, 20, "etco2", "0")
    b.tell(21, ev.ArtefactMarked, target=doubtful)
    assert seen_at(22, b).advice == ()
    early = Book("c-2", by="rowan")
    early.entries = [e for e in proven(bramble()).entries if e.event.happened_at < at(6)]
    read(early, 5.5, "etco2", "0")
    assert "no co2" not in said(early, 5.8)


def test_no_breaths_is_high() -> None:
    """C1: a respiratory rate of 0 with a tube in."""
    b = proven(bramble())
    read(b, 20, "etco2", "40")
    read(b, 21, "respiratory_rate", "0")
    view = seen_at(22, b)
    assert [(a.id, a.priority) for a in view.advice] == [("no breaths", "high")]
    assert cell(view, "respiratory_rate").priority == "high"


def test_the_known_case_stays_quiet() -> None:
    """D6: few and calm: nothing more in front of a whole, healthy case."""
    assert [a.id for a in seen_at(108, teasel()).advice] == []


# ---- the clock on the wall


def test_words_hold_the_time_of_the_hospital_and_never_utc(tmp_path: Path) -> None:
    """D37, U7: Denver is six hours behind UTC in March (from the 8th), so 08:20 UTC is 02:20 on the wall there."""
    own = tmp_path / "h.toml"
    own.write_text('name = "A house in Colorado"\nzone = "America/Denver"\n', "utf-8")
    b = proven(bramble())
    b.tell(9, ev.LimitOrdered, reading="spo2", below=d("90"), ordered_by="ilse")
    b.tell(9, ev.FastingNoted, food_at=at(-600))
    wrong = read(b, 20, "heart_rate", "200")
    b.tell(21, ev.EntryStruck, target=wrong, reason="another animal")
    read(b, 22, "heart_rate", "90")
    read(b, 50, "heart_rate", "90")
    read(b, 50, "spo2", "80")
    b.tell(51, ev.GapExplained, element="F1 02:22", reason="moved to the table")
    view = case_view(b.fold(), len(b.entries), load_facts(own), at(52))
    words = [line.text for line in view.record.log]
    assert "Struck: HR 200 /min (02:20); another animal" in words
    assert any(w.startswith("Food last Wed 16:00") for w in words)
    assert [(g.title, g.explained) for g in view.record.gaps if g.phase == "maintain" and "rate" in g.title] == [
        ("no rate 02:22 to 02:50", "moved to the table")]  # fmt: skip
    assert view.advice[0].body.startswith("Order by ilse, 02:09")


def test_a_zone_that_is_none_is_refused_by_name(tmp_path: Path) -> None:
    """U7: never taken as UTC."""
    own = tmp_path / "h.toml"
    own.write_text('name = "Nowhere"\nzone = "Mars/Olympus"\n', "utf-8")
    with pytest.raises(Unknown, match="zone"):
        load_facts(own)


def test_a_pack_that_was_not_counted_out_is_high_once_the_tube_is_out() -> None:
    """C1: two in, one out."""
    b = bramble()
    b.tell(8, ev.TimeMarked, mark="packs in", detail="2")
    b.tell(20, ev.TimeMarked, mark="packs out", detail="1")
    b.tell(21, ev.Extubated, signs=())
    assert [(a.id, a.priority) for a in seen_at(22, b).advice] == [("pack", "high")]


# ---- plan, weights and the emergency sheet


def test_a_plan_file_is_held_like_the_log() -> None:
    """U7: a dash, a sex that is none, 300 years and a cat's breed of a dog are refused by name."""
    head = '[patient]\nspecies = "dog"\nweight = "8 kg"\n'
    for line, refusal, says in (
        ('sex = "banana"', NotOneOf, "sex"),
        ('age = "300 y"', OutOfRange, "age"),
        ('breed = "Persian"', Contradiction, "breed"),
    ):
        with pytest.raises(refusal, match=says):
            check(read_plan_file(head + line + "\n").request, load_facts())
    with pytest.raises(NotAQuantity, match="2 to 4 mg/kg"):
        read_plan_file(head + '[[order]]\ndrug = "propofol"\ndose = "2-4 mg/kg"\n')


def test_a_hard_stop_and_a_strength_from_memory_are_marked_where_they_stand() -> None:
    """D11: "[from memory]" in the words is a mark on the figure too."""
    text = '[patient]\nspecies = "cat"\nweight = "0.6 kg"\n[[order]]\ndrug = "{}"\npurpose = "premedication"\nroute = "IM"\n'
    made = plan(read_plan_file(text.format("buprenorphine") + 'dose = "0.02 mg/kg"\n').request, load_facts(), at(0))
    (part,) = made.drugs
    assert part.limits is not None and part.limits.hard is not None
    stop = next(w for w in part.limits.also if w.startswith("hard stop"))
    assert part.limits.hard.memory and "from memory" in stop
    if part.dilution is not None:
        assert part.dilution.concentration.memory is part.dilution.memory


def test_a_dosing_weight_is_typed_and_a_lean_one_is_estimated() -> None:
    """D12: no scale showed it."""
    text = ('[patient]\nspecies = "dog"\nweight = "40 kg"\ndosing_weight = "25 kg"\ndosing_reason = "lean weight"\n'
            '[[order]]\ndrug = "methadone"\npurpose = "premedication"\nroute = "IM"\ndose = "0.3 mg/kg"\n')  # fmt: skip
    work = work_out(read_plan_file(text).request, load_facts())
    (weight,) = [i for i in work.orders[0].made.working.inputs if "weight" in i.name]
    assert (weight.text, weight.mark, weight.note) == ("25 kg", Mark.TYPED, "lean weight, estimated")


@pytest.mark.parametrize(("kg", "shown"), [("5.624545388", "5.625 kg"), ("24.6", "24.6 kg"), ("12.34567", "12.35 kg")])
def test_a_weight_is_printed_to_the_gram_or_to_ten(kg: str, shown: str) -> None:
    """U7: never nine decimals."""
    b = bramble(kg=kg)
    view = seen_at(20, b)
    assert view.collar.weight is not None and f"{view.collar.weight.text} {view.collar.weight.unit}" == shown
    assert view.emergency is not None and view.emergency.weight.text == shown.removesuffix(" kg")
    assert any(shown in line.text for line in view.record.log if line.kind == "Weighed")


@pytest.mark.parametrize("kg", ["0.6", "1.4", "4"])
def test_one_drug_has_one_dilution_on_an_emergency_sheet(kg: str) -> None:
    """D37: a syringe of 1 in 10 taken for one of 1 in 100 is ten times the dose. All of a drug's lines hold one strength."""
    plan_ = load_facts().emergency.plan("cat", d(kg), estimated=False, on_board=(), strengths={})
    strengths = {(i.drug, i.strength) for i in plan_.items}
    assert len(strengths) == len({i.drug for i in plan_.items})
    lines = [i for i in plan_.items if i.drug == "epinephrine"]
    assert len(lines) == 3  # by vein, by the trachea, by muscle
    vein = next(i for i in lines if i.route == "IV or IO")
    assert vein.volume is not None and vein.volume.value.number("mL") >= d("0.1")


def test_a_strength_nobody_told_asks_to_read_the_vial() -> None:
    """D37: atropine is sold in several strengths; one that stands on the hospital's shelf is not asked about."""
    facts = load_facts()
    unsure = emergency_sheet("dog", Quantity.of(20, "kg"), "scale", facts, None, at(0), strengths={})
    sure = emergency_sheet("dog", Quantity.of(20, "kg"), "scale", facts, None, at(0), strengths={"atropine": ("0.4 mg/mL",)})  # fmt: skip
    notes = [next(x.note for x in sheet.drugs if x.drug == "atropine") for sheet in (unsure, sure)]
    assert ["Check the vial: worked for 0.4 mg/mL" in n for n in notes] == [True, False]


def test_an_order_of_the_acting_veterinarian_has_a_name(tmp_path: Path) -> None:
    """D6, D37: nobody need name himself in his own order; the paper still says whose it is."""
    own = tmp_path / "h.toml"
    ilse = '[[people]]\nid = "ilse"\ninitials = "IL"\nname = "Ilse N."\nrole = "veterinarian"\n'
    own.write_text('name = "A house"\n' + ilse, "utf-8")
    b = proven(bramble())
    b.tell(9, ev.DrugOrdered, order="o-1", drug="methadone", purpose="analgesia", route="IM", low=d("0.2"), high=d("0.2"),
           unit="mg/kg", by="ilse")  # fmt: skip
    b.tell(9, ev.DrugOrdered, order="o-2", drug="ketamine", purpose="analgesia", route="IM", low=d("0.5"), high=d("0.5"),
           unit="mg/kg")  # fmt: skip
    view = case_view(b.fold(), len(b.entries), load_facts(own), at(10))
    assert {x.order: x.ordered_by for x in view.plan.lines} == {"o-1": "IL", "o-2": ""}


def test_of_cautions_that_say_the_same_the_narrowest_stays() -> None:
    """D6: under 16 weeks is also under 4 and under 5 months; it is said once."""
    flags = load_facts().patient.flags(("age-under-16-weeks", "age-under-4-months", "age-under-5-months"))
    assert [f.condition for f in flags] == ["age-under-16-weeks"]
