"""The hospital's named protocols: written by one, approved by another, frozen for the cases that started from them.

That two people see an order before it is given, and that a plan once approved is not changed under those who use it, is
common practice of medication safety (ISMP, Guidelines for Standard Order Sets, 2010, from memory: standing orders are
reviewed by more than one person, dated and versioned). The stops a line is held to come from the dose tables.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledger_book import METHADONE, PROPOFOL, START, Ledger, in_use, line, patient

from small_house import Telling, d, house
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.fold import fold
from spiracle.case.ledger import OF_THE_HOUSE
from spiracle.case.protocols import protocols
from spiracle.refusals import Contradiction, Missing, NotAllowed, OutOfRange, OverLimit, Refusal, Unknown, UnlikeUnits
from spiracle.sheets.protocols import offers

# ---- where an entry belongs


def test_the_ledger_takes_the_houses_entries_and_a_case_only_the_patients() -> None:
    ledger = Ledger()
    ledger.write()
    ledger.refused(NotAllowed, "case", ev.CaseOpened, species="dog")
    ledger.refused(NotAllowed, "case", ev.Weighed, weight_kg=d("10"), method="scale")
    ledger.refused(NotAllowed, "case", ev.NoteWritten, text="a word")
    ledger.refused(NotAllowed, "case", ev.ProtocolStarted, **START)
    t = Telling()
    t.refused(
        NotAllowed, "case", ev.ProtocolWritten, protocol="p", version=1, title="P", species="dog", lines=(METHADONE,)
    )
    t.refused(NotAllowed, "case", ev.ProtocolApproved, protocol="p", version=1)
    t.refused(NotAllowed, "case", ev.ProtocolRetired, protocol="p", reason="old")
    assert {ev.ProtocolWritten, ev.ProtocolApproved, ev.ProtocolRetired} <= set(OF_THE_HOUSE)


def test_an_entry_for_the_ledger_is_not_decided_on_a_patients_log() -> None:
    t = Telling()
    event = Ledger().made(ev.ProtocolWritten, **START, species="dog", lines=(METHADONE,))
    with pytest.raises(Contradiction):
        decide(t.case, event, t.facts, t.now)


# ---- writing


def test_a_version_is_the_next_one() -> None:
    """D31: a version is never written over, and two tablets that write at once do not make two of one number."""
    ledger = Ledger()
    ledger.wrong(Contradiction, "version", version=2)
    ledger.wrong(Contradiction, "version", version=0)
    ledger.write()
    ledger.wrong(Contradiction, "version", version=1)
    said = ledger.wrong(Contradiction, "version", version=3)
    assert "2" in said.accepts


def test_a_number_is_not_used_twice_even_after_a_strike() -> None:
    """D31: what was read aloud as version 1 is never another version 1."""
    ledger = Ledger()
    wrong = ledger.write()
    ledger.tell(ev.EntryStruck, target=wrong, reason="wrong dose")
    assert ledger.known.versions == ()
    ledger.wrong(Contradiction, "version", version=1)
    ledger.write(version=2)
    assert [v.written.version for v in ledger.known.versions] == [2]


def test_the_same_content_again_is_no_version() -> None:
    ledger = in_use()
    ledger.wrong(Contradiction, "version", version=2, lines=(METHADONE, PROPOFOL))
    ledger.write(version=2, lines=(METHADONE, PROPOFOL), note="a word more")


def test_a_protocol_keeps_its_species_and_has_an_id_and_a_name() -> None:
    ledger = in_use()
    ledger.wrong(Contradiction, "species", version=2, species="cat")
    ledger.wrong(Unknown, "protocol", protocol="Dog plain")
    ledger.wrong(Unknown, "protocol", protocol="dog plain 3")
    ledger.wrong(Missing, "title", protocol="other", title=" ")
    ledger.wrong(Missing, "lines", protocol="other", lines=())


def test_conditions_are_those_of_the_list_and_do_not_cross() -> None:
    ledger = Ledger()
    ledger.wrong(Unknown, "conditions", conditions=("tired",))
    ledger.wrong(Unknown, "unless", unless=("tired",))
    ledger.wrong(Contradiction, "conditions", conditions=("pregnant",), unless=("pregnant",))


@pytest.mark.parametrize(
    ("name", "field", "bad"),
    [
        (Unknown, "drug", line("methadon-x")),
        (Unknown, "purpose", line(purpose="to make it sleepy")),
        (Unknown, "route", line(route="by the ear")),
        (UnlikeUnits, "dose", line(unit="IU/kg")),
        (UnlikeUnits, "dose", line(dose="5", unit="mg/m2")),
        (OutOfRange, "dose", line(dose="0")),
        (Contradiction, "dose", line(dose="0.4-0.2")),
        (OverLimit, "dose", line(dose="1.2")),  # the table's hard stop for methadone by muscle in a dog is 1 mg/kg
        (OverLimit, "dose", line(dose="200")),  # mg for mcg
        (OverLimit, "dose", line("propofol", "20-40", purpose="induction", route="IV")),
        (Unknown, "row", line(row="no-such-row")),
    ],
)  # fmt: skip
def test_a_line_that_could_not_be_ordered_is_refused_by_its_place(
    name: type[Refusal], field: str, bad: ev.ProtocolLine
) -> None:
    """U1, U4: what is wrong in a protocol is wrong in every plan made from it, so it is refused when it is written."""
    ledger = Ledger()
    with pytest.raises(Refusal) as turned:
        ledger.write(lines=(PROPOFOL, bad))
    assert (type(turned.value), turned.value.field) == (name, f"line 2, {house().drugs.name(bad.drug)}, {field}"), (
        turned.value.sentence
    )
    assert not ledger.entries


def test_a_way_in_which_a_drug_is_never_given_is_no_line() -> None:
    """The tables' own "never" rows, whole and by route, each written with its own route and purpose."""
    facts = house()
    never = [r for r in facts.drugs.figures("never") if not r.conditions]
    assert {("lidocaine", "cat"), ("pethidine", "dog")} <= {(r.drug, r.species) for r in never}
    for row in never:
        purpose = "analgesia" if row.purposes[0] == "any" else row.purposes[0]
        route = "PO" if row.routes[0] == "any" else row.routes[0]
        with pytest.raises(Refusal) as turned:
            Ledger().write(
                species=row.species, lines=(line(row.drug, "0.001", row.unit, purpose=purpose, route=route),)
            )
        assert turned.value.field.startswith(f"line 1, {facts.drugs.name(row.drug)}"), turned.value.sentence
    kept = next(r for r in facts.drugs.all_rows() if r.pick == "never" and r.species == "dog")
    with pytest.raises(Refusal):
        Ledger().write(lines=(ev.ProtocolLine(drug=kept.drug, purpose=kept.purposes[0], route=kept.routes[0], row=kept.id,
                                              low=kept.low.value, high=kept.high.value, unit=str(kept.unit)),))  # fmt: skip


def test_a_total_is_tried_in_a_small_animal() -> None:
    """U2: 5 mg of methadone is a dose for a large dog and ten times too much for a small one: it is no line as it stands."""
    with pytest.raises(OverLimit) as turned:
        Ledger().write(lines=(line(dose="5", unit="mg"),))
    assert "in an animal of 1 kg" in turned.value.says and "per kg" in turned.value.accepts


def test_one_drug_twice_for_one_purpose_is_asked_about() -> None:
    ledger = Ledger()
    with pytest.raises(Contradiction) as turned:
        ledger.write(lines=(METHADONE, line(dose="0.3")))
    assert turned.value.field == "line 2, methadone, drug"
    ledger.write(lines=(METHADONE, line(dose="0.3", optional=True)))


def test_a_limit_of_a_protocol_is_a_reading_with_a_number() -> None:
    ledger = Ledger()
    ledger.wrong(Missing, "limit", limits=(ev.ProtocolLimit(reading="map"),))
    ledger.wrong(Contradiction, "limit", limits=(ev.ProtocolLimit(reading="map", below=d("90"), above=d("60")),))
    with pytest.raises(Refusal):
        ledger.write(limits=(ev.ProtocolLimit(reading="mood", below=d("1")),))
    ledger.write(limits=(ev.ProtocolLimit(reading="map", below=d("60"), action="call"),))


# ---- two people


def test_who_wrote_it_does_not_approve_it() -> None:
    """U30: two people, and the second is a veterinarian with their own hand."""
    ledger = Ledger()
    ledger.write(by="vet")
    ledger.refused(NotAllowed, "hand", ev.ProtocolApproved, protocol="dog-plain", version=1, by="vet")
    ledger.refused(NotAllowed, "hand", ev.ProtocolApproved, protocol="dog-plain", version=1, by="tec")
    ledger.refused(NotAllowed, "hand", ev.ProtocolApproved, protocol="dog-plain", version=1, by="stu")
    assert ledger.known.versions[0].state == "waiting"
    patient(ledger).refused(Contradiction, "version", ev.ProtocolStarted, **START)


def test_only_the_latest_version_that_waits_is_approved() -> None:
    """U30, D31: nobody approves what was not read: neither an older version nor one already decided."""
    ledger = Ledger()
    ledger.refused(Unknown, "version", ev.ProtocolApproved, protocol="dog-plain", version=1, by="vet")
    ledger.write()
    ledger.write(version=2, lines=(METHADONE,))
    ledger.refused(Contradiction, "version", ev.ProtocolApproved, protocol="dog-plain", version=1, by="vet")
    ledger.approve(2)
    ledger.refused(Contradiction, "version", ev.ProtocolApproved, protocol="dog-plain", version=2, by="vet")
    ledger.refused(Contradiction, "version", ev.ProtocolApproved, protocol="dog-plain", version=1, by="vet")
    assert [v.state for v in ledger.known.versions] == ["replaced", "in use"]


def test_a_version_that_waits_does_not_shut_out_the_one_in_use() -> None:
    ledger = in_use()
    ledger.write(version=2, lines=(METHADONE,))
    assert [v.state for v in ledger.known.versions] == ["in use", "waiting"]
    patient(ledger).tell(ev.ProtocolStarted, **START)
    ledger.approve(2)
    said = patient(ledger).refused(Contradiction, "version", ev.ProtocolStarted, **START)
    assert "2" in said.accepts


def test_an_approved_version_is_not_struck() -> None:
    """D31: cases may rest on it; it is retired or replaced, and stays readable."""
    ledger = Ledger()
    first = ledger.write()
    ledger.approve()
    ledger.refused(NotAllowed, "target", ev.EntryStruck, target=first, reason="wrong")


def test_an_approval_is_taken_back_by_a_veterinarian_alone() -> None:
    """U30: without it the version waits again, and nothing starts from it."""
    ledger = Ledger()
    ledger.write()
    approval = ledger.approve()
    ledger.refused(NotAllowed, "hand", ev.EntryStruck, target=approval, reason="wrong", by="stu")
    ledger.tell(ev.EntryStruck, target=approval, reason="approved too soon", by="vet")
    assert ledger.known.versions[0].state == "waiting"


def test_retired_is_not_offered_and_not_written_again() -> None:
    ledger = in_use()
    ledger.refused(NotAllowed, "hand", ev.ProtocolRetired, protocol="dog-plain", reason="old", by="tec")
    ledger.refused(Missing, "reason", ev.ProtocolRetired, protocol="dog-plain", reason=" ", by="vet")
    ledger.refused(Unknown, "protocol", ev.ProtocolRetired, protocol="dog-other", reason="old", by="vet")
    ledger.tell(ev.ProtocolRetired, protocol="dog-plain", reason="no longer done here", by="vet")
    ledger.refused(Contradiction, "protocol", ev.ProtocolRetired, protocol="dog-plain", reason="old", by="vet")
    ledger.wrong(NotAllowed, "protocol", version=2, note="again")
    patient(ledger).refused(Contradiction, "version", ev.ProtocolStarted, **START)
    assert offers(Telling().case, ledger.case, house(), ledger.now).offers == ()


@settings(max_examples=40, deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_list_is_the_same_in_any_order_of_arrival(shuffle: random.Random) -> None:
    """U30: two tablets that were away and send later end with one list."""
    ledger = Ledger()
    ledger.write()
    ledger.at(1).approve()
    ledger.at(2).write(version=2, lines=(METHADONE,))
    ledger.at(3).approve(2)
    ledger.at(4).write(version=3, note="more")
    ledger.tell(
        ev.ProtocolWritten, protocol="cat-plain", version=1, title="Plain cat", species="cat", lines=(METHADONE,)
    )
    arrived = list(ledger.entries)
    shuffle.shuffle(arrived)
    assert protocols(fold(arrived)).versions == ledger.known.versions
