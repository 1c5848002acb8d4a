"""One case read as one induction, and many as what a hospital tells of itself. Every sum can be done in the head."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import msgspec
import pytest

from casebook import Book, at, d
from spiracle.audit import Induction, Key, Left
from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.doors.tables import load_facts
from spiracle.sheets.induction_of import induction_of, key_now, lasts_minutes
from spiracle.sheets.inductions import Own, here, inductions_sheet, own_inductions
from spiracle.source import Seen
from spiracle.source.stated import Span, Stated
from teasel import teasel


@pytest.fixture(scope="module")
def facts() -> Facts:
    return load_facts()


def begun(case: str = "c-1", kind: str = "dog", kg: str | None = "10", asa: str = "II", **more: Any) -> Book:
    """Opened and graded at eight, weighed at two past; nothing given."""
    b = Book(case)
    b.tell(0, ev.CaseOpened, species=kind, **more)
    if kg is not None:
        b.tell(2, ev.Weighed, weight_kg=d(kg), method="scale")
    if asa:
        b.tell(3, ev.AsaAssigned, asa=asa)
    return b


def give(
    b: Book, minutes: float, drug: str, mg: str, purpose: str = "induction", route: str = "IV", **more: Any
) -> str:
    return b.tell(minutes, ev.DrugGiven, **{"drug": drug, "amount": d(mg), "unit": "mg", "route": route,
                                            "purpose": purpose, **more})  # fmt: skip


def tube(b: Book, minutes: float, attempt: str = "a-1", size: str = "8") -> None:
    """In at that minute, and proven by a trace of six breaths half a minute later."""
    b.tell(minutes - 0.5, ev.AttemptBegan, attempt=attempt, tube_id_mm=d(size))
    b.tell(minutes, ev.AttemptEnded, attempt=attempt, outcome="in")
    b.tell(minutes + 0.4, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(minutes + 0.5, ev.AirwayProven, method="CO2")


def usual(case: str = "c-1", mg: str = "20", **more: Any) -> Book:
    """Methadone at 30, propofol at 60 and 61, the tube in at 62: 40 mg of 10 kg are 4 mg/kg, if `mg` is 20."""
    b = begun(case, **more)
    give(b, 30, "methadone", "2", "premedication", "IM")
    give(b, 60, "propofol", mg)
    give(b, 61, "propofol", mg)
    tube(b, 62)
    return b


def found(b: Book, facts: Facts) -> Induction:
    one = induction_of(b.fold(), facts)
    assert isinstance(one, Induction), one
    return one


def reason(b: Book, facts: Facts) -> str:
    one = induction_of(b.fold(), facts)
    assert isinstance(one, Left), one
    return one.reason


# ---- one case


def test_two_pushes_and_a_tube(facts: Facts) -> None:
    one = found(usual(), facts)
    assert one.key == Key("dog", "propofol", ("opioid",))
    assert (one.asa, one.mg_per_kg, one.minutes, one.pushes, one.day) == (
        "II",
        Decimal(4),
        Decimal(2),
        2,
        at(60).date(),
    )


def test_a_whole_case_told_by_hand(facts: Facts) -> None:
    """Three pushes of 2 mg for 4 kg are 1.5 mg/kg; the first try failed, the tube went in three minutes after the first push."""
    one = found(teasel(), facts)
    assert one.key == Key("cat", "alfaxalone", ("opioid",))
    assert (one.asa, one.mg_per_kg, one.minutes, one.pushes) == ("II", Decimal("1.5"), Decimal(3), 3)


def test_what_is_given_after_the_tube_does_not_count(facts: Facts) -> None:
    b = usual()
    give(b, 64, "propofol", "10")
    assert found(b, facts).mg_per_kg == 4


def test_a_struck_push_is_not_in_it_and_a_struck_case_has_none(facts: Facts) -> None:
    b = usual()
    wrong = give(b, 61.5, "propofol", "50")
    assert found(b, facts).mg_per_kg == 9
    b.tell(63, ev.EntryStruck, target=wrong, reason="wrong key")
    assert (found(b, facts).mg_per_kg, found(b, facts).pushes) == (4, 2)
    for line in b.entries[:]:
        if isinstance(line.event, ev.DrugGiven) and line.event.drug == "propofol" and line.event.id != wrong:
            b.tell(64, ev.EntryStruck, target=line.event.id, reason="not given")
    assert reason(b, facts) == "no induction agent before the tube"


def test_the_weight_is_the_one_in_use_at_the_first_push(facts: Facts) -> None:
    b = usual()
    b.tell(90, ev.Weighed, weight_kg=d("20"), method="scale")
    assert found(b, facts).mg_per_kg == 4
    b.tell(50, ev.DosingWeightSet, weight_kg=d("8"), reason="lean")
    assert found(b, facts).mg_per_kg == 5


def test_the_first_tube_that_was_proven_ends_it(facts: Facts) -> None:
    """One in the gullet came out again; what was given until the next one counts."""
    b = begun()
    give(b, 60, "propofol", "20")
    b.tell(60.5, ev.AttemptBegan, attempt="a-0", tube_id_mm=d("8"))
    b.tell(61, ev.AttemptEnded, attempt="a-0", outcome="in")
    b.tell(61.5, ev.TubeWithdrawn, reason="wrong place")
    give(b, 62, "propofol", "10")
    tube(b, 63)
    give(b, 70, "propofol", "10")
    tube(b, 71, "a-2", "7")
    one = found(b, facts)
    assert (one.mg_per_kg, one.minutes, one.pushes) == (3, 3, 2)


def test_an_amount_in_another_unit_of_mass_is_the_same_amount(facts: Facts) -> None:
    b = usual(mg="20")
    give(b, 61.5, "propofol", "10000", unit="mcg")
    assert found(b, facts).mg_per_kg == 5


def test_the_purpose_of_the_order_counts_where_the_push_says_none(facts: Facts) -> None:
    b = begun()
    b.tell(10, ev.DrugOrdered, order="o-1", drug="propofol", purpose="induction (premedicated)", route="IV", low=d("1"), high=d("4"),
           unit="mg/kg")  # fmt: skip
    give(b, 60, "propofol", "30", "", order="o-1")
    tube(b, 61)
    assert found(b, facts).mg_per_kg == 3


# ---- premedication and what is given beside


@pytest.mark.parametrize(
    ("drugs", "kinds"),
    [
        ((), ()),
        (("butorphanol",), ("opioid",)),
        (("dexmedetomidine", "methadone"), ("opioid", "alpha-2 agonist")),
        (("acepromazine", "midazolam"), ("acepromazine", "benzodiazepine")),
        (("ketamine",), ("another sedative",)),
        (("atropine", "maropitant", "carprofen"), ()),
    ],
)
def test_what_went_in_before_the_first_push(facts: Facts, drugs: tuple[str, ...], kinds: tuple[str, ...]) -> None:
    b = begun()
    for n, drug in enumerate(drugs):
        give(b, 30 + n, drug, "1", "premedication", "IM")
    give(b, 60, "propofol", "30")
    tube(b, 61)
    assert found(b, facts).key.premedication == kinds


def test_what_the_tables_say_has_worn_off_is_not_premedication(facts: Facts) -> None:
    """Pethidine IM in the dog lasts 45 to 120 min (the row's own source): given 130 min before, it is none, 110 min before it is one."""
    assert lasts_minutes("pethidine", "dog", "IM", facts) == 120
    for minutes, kinds in ((-70, ()), (-50, ("opioid",))):
        b = begun()
        give(b, minutes, "pethidine", "30", "premedication", "IM")
        give(b, 60, "propofol", "30")
        tube(b, 61)
        assert found(b, facts).key.premedication == kinds


def test_what_was_given_on_the_ward_counts_by_its_own_time(facts: Facts) -> None:
    """Methadone IM in the dog lasts 240 min; how long midazolam lasts the tables do not say, and nobody gave it for this."""
    for drug, given_at, kinds in (("methadone", at(-60), ("opioid",)), ("methadone", at(-300), ())):
        b = begun()
        b.tell(1, ev.GivenBefore, drug=drug, amount=d("2"), unit="mg", route="IM", given_at=given_at)
        give(b, 60, "propofol", "30")
        tube(b, 61)
        assert found(b, facts).key.premedication == kinds
    b = begun()
    b.tell(1, ev.GivenBefore, drug="midazolam", amount=d("2"), unit="mg", route="IM", given_at=at(-60))
    give(b, 60, "propofol", "30")
    tube(b, 61)
    assert lasts_minutes("midazolam", "dog", "IM", facts) is None
    assert reason(b, facts) == "given before the case, and the tables do not say how long it lasts"


def test_a_second_agent_makes_it_a_group_of_its_own(facts: Facts) -> None:
    b = begun()
    give(b, 59, "midazolam", "2", "co-induction")
    give(b, 60, "propofol", "20")
    tube(b, 61)
    assert found(b, facts).key == Key("dog", "propofol", (), ("midazolam",))
    assert (found(b, facts).minutes, found(b, facts).mg_per_kg) == (1, 2)


def test_an_opioid_between_the_first_push_and_the_tube_is_given_beside(facts: Facts) -> None:
    b = begun()
    give(b, 60, "propofol", "20")
    give(b, 60.5, "fentanyl", "0.02", "analgesia")
    give(b, 61, "propofol", "10")
    tube(b, 62)
    assert found(b, facts).key == Key("dog", "propofol", (), ("fentanyl",))


# ---- left out, with its reason


def changed(change: Callable[[Book], object], **more: Any) -> Book:
    b = usual(**more)
    change(b)
    return b


LEFT: list[tuple[str, Callable[[], Book]]] = [
    ("no weight at the first push", lambda: usual(kg=None)),
    ("no weight at the first push",
     lambda: changed(lambda b: b.tell(70, ev.Weighed, weight_kg=d("10"), method="scale"), kg=None)),
    ("the weight was estimated",
     lambda: changed(lambda b: b.tell(4, ev.Weighed, weight_kg=d("10"), method="estimated"))),
    ("emergency", lambda: changed(lambda b: b.tell(10, ev.AsaAssigned, asa="II", emergency=True))),
    ("emergency", lambda: changed(lambda b: give(b, 61.2, "propofol", "5", emergency=True))),
    ("emergency", lambda: changed(lambda b: b.tell(61.5, ev.ArrestBegan))),
    ("the agent was given for another purpose too", lambda: changed(lambda b: give(b, 40, "propofol", "10", "sedation"))),
    ("the agent was given for another purpose too", lambda: changed(lambda b: give(b, 61.5, "propofol", "10", ""))),
    ("an amount cannot be read", lambda: changed(lambda b: give(b, 61.5, "propofol", "1", unit="mL"))),
    ("an amount cannot be read", lambda: changed(lambda b: give(b, 61.5, "propofol", "1", unit="mg/kg"))),
    ("an amount cannot be read", lambda: changed(lambda b: give(b, 61.5, "propofol", "1", unit="drops"))),
    ("an amount cannot be read", lambda: changed(lambda b: give(b, 61.5, "sleeping draught", "1"))),
    ("an anaesthetic also ran as an infusion before the tube",
     lambda: changed(lambda b: b.tell(60.5, ev.InfusionStarted, infusion="i-1", drug="propofol", rate_ml_h=d("10"),
                                      concentration="10 mg/mL"))),
    ("an inhaled anaesthetic was on before the tube",
     lambda: changed(lambda b: b.tell(61.5, ev.VaporiserSet, agent="sevoflurane", percent=d("3")))),
    ("not given by the vein", lambda: changed(lambda b: give(b, 59, "ketamine", "50", route="IM"))),
    ("not given by the vein", lambda: changed(lambda b: give(b, 61.2, "propofol", "5", route="IM"))),
    ("not given by the vein", lambda: changed(lambda b: give(b, 59, "midazolam", "2", "co-induction", "IM"))),
    ("not given by the vein", lambda: changed(lambda b: give(b, 61.2, "propofol", "5", route="by the eye"))),
    ("more than 30 min between two pushes", lambda: changed(lambda b: give(b, 29.5, "propofol", "20"))),
    ("more than 30 min between two pushes", lambda: changed(lambda b: give(b, 29.5, "alfaxalone", "20"))),
    ("the premedication was reversed before induction",
     lambda: changed(lambda b: give(b, 50, "naloxone", "0.1", "reversal", "IM"))),
]  # fmt: skip


@pytest.mark.parametrize(("why", "told"), LEFT)
def test_what_cannot_be_compared_is_left_out_and_says_why(facts: Facts, why: str, told: Callable[[], Book]) -> None:
    assert reason(told(), facts) == why


def test_half_an_hour_between_two_pushes_and_a_needle_in_the_bone_still_count(facts: Facts) -> None:
    """The bound of 30 min is our own. What goes into the bone goes into the vein: common practice."""
    assert found(changed(lambda b: give(b, 30, "propofol", "20")), facts).minutes == 32
    assert found(changed(lambda b: give(b, 61.5, "propofol", "10", route="IO")), facts).mg_per_kg == 5


def test_an_induction_begun_abandoned_and_begun_again_is_not_one_dose(facts: Facts) -> None:
    b = begun()
    give(b, 60, "propofol", "20")
    give(b, 240, "propofol", "20")
    tube(b, 242)
    assert reason(b, facts) == "more than 30 min between two pushes"


def test_an_emergency_case_is_left_out(facts: Facts) -> None:
    b = Book()
    b.tell(0, ev.CaseOpened, species="dog", kind="emergency")
    b.tell(1, ev.Weighed, weight_kg=d("10"), method="scale")
    give(b, 2, "propofol", "40")
    tube(b, 3)
    assert reason(b, facts) == "emergency"


def test_a_tube_that_never_went_in_or_was_never_proven(facts: Facts) -> None:
    b = begun()
    give(b, 60, "propofol", "40")
    b.tell(61, ev.AttemptBegan, attempt="a-1", tube_id_mm=d("8"))
    assert reason(b, facts) == "no tube was placed"
    b.tell(61.5, ev.AttemptEnded, attempt="a-1", outcome="in")
    assert reason(b, facts) == "the tube was never proven"
    trace = b.tell(62, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(62.2, ev.AirwayProven, method="CO2")
    assert found(b, facts).mg_per_kg == 4
    b.tell(70, ev.EntryStruck, target=trace, reason="another animal's")
    assert reason(b, facts) == "the tube was never proven"


def test_a_case_without_induction_or_tube_is_no_induction(facts: Facts) -> None:
    b = begun()
    give(b, 30, "methadone", "2", "premedication", "IM")
    assert induction_of(b.fold(), facts) is None
    assert induction_of(Book().fold(), facts) is None


# ---- many cases


def a_ward_of(n: int, asa: str = "II") -> list[Book]:
    """Doses of 2, 2.2, 2.4 ... mg/kg, one animal each."""
    return [usual(f"c-{asa}-{i}", mg=str(10 + i), asa=asa) for i in range(n)]


def test_nine_dogs_and_their_interval(facts: Facts) -> None:
    """9 doses from 2 to 3.6 by 0.2: the middle is 2.8, the second from either end 2.2 and 3.4 (96.1 % by the printed table)."""
    own = own_inductions((b.fold() for b in a_ward_of(9)), facts)
    (group,) = inductions_sheet(own, facts).groups
    assert (group.title, group.n) == ("Dog, propofol, after opioid", 9)
    whole, band, single = group.parts
    assert [p.asa for p in group.parts] == ["all", "I-II", "II"]
    assert whole.median is not None and whole.interval is not None and whole.next_range is not None
    assert (whole.median.text, whole.interval.low.text, whole.interval.high.text) == ("2.8", "2.2", "3.4")
    assert whole.says == "median 2.8 mg/kg, 96 % interval 2.2 to 3.4, 9 animals"
    assert (whole.next_range.low.text, whole.next_range.high.text) == ("2", "3.6")
    assert "80 %" in whole.next_range.says and "no order" in whole.next_range.says
    assert whole.next_range.low.predicted and not whole.median.predicted
    assert whole.spread is None, "nine have no tenth part"
    assert whole.minutes is not None and whole.minutes.text == "2"
    assert (band.n, single.n) == (9, 9)


def test_few_stand_for_themselves(facts: Facts) -> None:
    own = own_inductions((b.fold() for b in (*a_ward_of(7), *a_ward_of(2, "IV"))), facts)
    (group,) = inductions_sheet(own, facts).groups
    by = {p.asa: p for p in group.parts}
    assert set(by) == {"all", "I-II", "II", "IV-V"}, "a class of two stands in its band alone"
    assert by["IV-V"].few and [x.text for x in by["IV-V"].doses] == ["2", "2.2"]
    assert by["IV-V"].median is None and by["IV-V"].interval is None and "too few to say" in by["IV-V"].says
    assert not by["I-II"].few and by["I-II"].doses == ()


def test_those_left_out_are_counted_by_reason(facts: Facts) -> None:
    books = [
        *a_ward_of(2),
        usual("c-a", kg=None),
        usual("c-b", kg=None),
        changed(lambda b: b.tell(61.5, ev.ArrestBegan)),
    ]
    sheet = inductions_sheet(own_inductions((b.fold() for b in books), facts), facts)
    assert (sheet.counted, sheet.left_out) == (2, 3)
    assert [(x.reason, x.n) for x in sheet.left] == [("no weight at the first push", 2), ("emergency", 1)]


def test_practice_cases_count_only_where_there_are_no_others(facts: Facts) -> None:
    practice, real = usual("c-p", practice=True), usual("c-r")
    alone = own_inductions([practice.fold()], facts)
    assert alone.practice and len(alone.found) == 1
    assert any("Practice" in s for s in inductions_sheet(alone, facts).says)
    both = own_inductions([practice.fold(), real.fold()], facts)
    assert not both.practice and len(both.found) == 1
    assert [x.reason for x in both.left] == ["a practice case"]


def test_days_asked_for_count_both_ends(facts: Facts) -> None:
    own = own_inductions((b.fold() for b in a_ward_of(2)), facts)
    day = at(0).date()
    assert len(own.between(day, day).found) == 2
    assert own.between(day.replace(day=day.day + 1), None).found == ()
    assert own.between(None, day.replace(day=day.day - 1)).found == ()


def test_no_name_of_an_animal_or_a_hand_is_in_it(facts: Facts) -> None:
    books = [usual("c-secret-1", name="Bramblewick", number="N-4711")]
    books[0].tell(1, ev.OwnerNamed, name="A. Marsh")
    said = msgspec.json.encode(inductions_sheet(own_inductions((b.fold() for b in books), facts), facts)).decode()
    assert "propofol" in said
    assert not [w for w in ("Bramblewick", "N-4711", "Marsh", "rowan", "c-secret") if w in said]


def test_published_doses_stand_beside_with_their_source(facts: Facts) -> None:
    """21 CFR 522.2005 and the UK label: 5.5 to 7 mg/kg in the unpremedicated dog."""
    (group,) = inductions_sheet(own_inductions([usual().fold()], facts), facts).groups
    label = next(p for p in group.published if "no premedication" in p.says)
    assert (label.low.text, label.high.text, label.low.unit) == ("5.5", "7", "mg/kg")
    assert any("522.2005" in c.citation for c in label.cited)


def test_stated_doses_of_the_same_agent_and_species_stand_beside_too(facts: Facts) -> None:
    """Watkins 1987, Vet Rec 120:326: 5.95 mg/kg on average without premedication in the dog. An open end is no figure."""

    def row(id_: str, agent: str, species: Any, low: str | None, high: str | None, unit: str = "mg/kg") -> Stated:
        span = Span(species=species, low=None if low is None else d(low), high=None if high is None else d(high))
        return Stated(id=id_, topic=f"induction dose of {agent}", says="without premedication 5.95 on average", unit=unit,
                      spans=(span,), species=(species,), source=("noah_alfaxalone",), seen=Seen.ABSTRACT)  # fmt: skip

    rows = (row("a", "propofol", "dog", "5.95", "5.95"), row("b", "propofol", "cat", "8", "8"),
            row("c", "alfaxalone", "dog", "2", "3"), row("d", "propofol", "dog", None, "7"),
            row("e", "propofol", "dog", "1", "2", "mL/kg"))  # fmt: skip
    own = own_inductions([usual().fold()], facts)
    plain = inductions_sheet(own, facts).groups[0].published
    beside = inductions_sheet(own, facts, stated=rows).groups[0].published
    assert beside[: len(plain)] == plain
    assert [(p.low.text, p.high.text, p.says) for p in beside[len(plain) :]] == [
        ("5.95", "5.95", "without premedication 5.95 on average")
    ]


# ---- for the animal on the table


def test_what_was_given_here_to_animals_like_this_one(facts: Facts) -> None:
    own = own_inductions((b.fold() for b in a_ward_of(9)), facts)
    b = begun("c-now")
    give(b, 30, "methadone", "2", "premedication", "IM")
    like = here(own, b.fold(), facts, "propofol", at(60))
    assert like is not None and like.words == "here: median 2.8 mg/kg (n 9, ASA I-II); what was given, no order"
    other = here(own, b.fold(), facts, "alfaxalone", at(60))
    assert other is not None and other.words == "here: n 0, too few to say"


def test_an_animal_of_another_band_is_told_of_all(facts: Facts) -> None:
    own = own_inductions((b.fold() for b in a_ward_of(9)), facts)
    like = own.here(Key("dog", "propofol", ("opioid",)), "IV")
    assert (like.asa, like.summary.n) == ("all", 9)


def test_the_group_of_a_case_is_the_same_before_and_after(facts: Facts) -> None:
    """What is looked up at the first push is where the case itself is counted afterwards."""
    b = begun()
    give(b, 30, "dexmedetomidine", "0.03", "premedication", "IM")
    give(b, 31, "methadone", "2", "premedication", "IM")
    before = key_now(b.fold(), facts, "propofol", at(60))
    give(b, 60, "propofol", "10")
    during = key_now(b.fold(), facts, "propofol", at(60.2))
    tube(b, 61)
    assert before == during == found(b, facts).key


def test_nothing_is_told_of_nobody(facts: Facts) -> None:
    assert key_now(Book().fold(), facts, "propofol", at(0)) is None
    sheet = inductions_sheet(Own((), ()), facts)
    assert (sheet.counted, sheet.left_out, sheet.groups, sheet.first_day) == (0, 0, (), "")
