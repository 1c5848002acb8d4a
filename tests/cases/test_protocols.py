"""The hospital's named protocols: written by one, approved by another, frozen for the cases that started from them.

That two people see an order before it is given, and that a plan once approved is not changed under those who use it, is
common practice of medication safety (ISMP, Guidelines for Standard Order Sets, 2010, from memory: standing orders are
reviewed by more than one person, dated and versioned). The stops a line is held to come from the dose tables.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from small_house import Telling, d, house
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.fold import Case, fold
from spiracle.case.ledger import LEDGER, OF_THE_HOUSE
from spiracle.case.protocols import Protocols, changes, protocols
from spiracle.drugs import judge
from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, NotAllowed, OutOfRange, OverLimit, Refusal, Unknown, UnlikeUnits
from spiracle.sheets.case_view import case_view
from spiracle.sheets.protocols import draft, offers, protocols_sheet
from spiracle.source import Zone


def line(drug: str = "methadone", dose: str = "0.2", unit: str = "mg/kg", **more: Any) -> ev.ProtocolLine:
    low, _, high = dose.partition("-")
    told = {"purpose": "premedication", "route": "IM", **more}
    return ev.ProtocolLine(drug=drug, low=d(low), high=d(high or low), unit=unit, **told)


METHADONE, PROPOFOL = line(), line("propofol", "2-4", purpose="induction", route="IV")


class Ledger(Telling):
    """The hospital's ledger, told entry by entry: nobody opens it."""

    def __init__(self) -> None:
        self.facts, self.id, self.now, self.entries = house(), LEDGER, house_time(), []

    def write(self, version: int = 1, **more: Any) -> str:
        fields = {
            "protocol": "dog-plain",
            "title": "Plain dog",
            "species": "dog",
            "lines": (METHADONE, PROPOFOL),
            **more,
        }
        return self.tell(ev.ProtocolWritten, version=version, **fields)

    def wrong(self, name: type[Refusal], field: str, /, version: int = 1, **more: Any) -> Refusal:
        fields = {"protocol": "dog-plain", "title": "Plain dog", "species": "dog", "lines": (METHADONE,), **more}
        return self.refused(name, field, ev.ProtocolWritten, version=version, **fields)

    def approve(self, version: int = 1, by: str = "vet", **more: Any) -> str:
        return self.tell(ev.ProtocolApproved, protocol="dog-plain", version=version, by=by, **more)

    @property
    def known(self) -> Protocols:
        return protocols(self.case)


def house_time() -> Any:
    from small_house import NINE

    return NINE


def in_use(**more: Any) -> Ledger:
    ledger = Ledger()
    ledger.write(**more)
    ledger.approve()
    return ledger


def patient(ledger: Ledger, species: str = "dog", kg: str = "10", **more: Any) -> Telling:
    """A case decided as the door decides it: with the ledger's protocols laid into the facts."""
    t = Telling(species, kg, **more)
    t.facts = replace(t.facts, protocols=ledger.known)
    return t


START = {"protocol": "dog-plain", "version": 1, "title": "Plain dog"}
ORDER = {"order": "o1", "drug": "methadone", "purpose": "premedication", "route": "IM", "low": d("0.2"), "high": d("0.2"),
         "unit": "mg/kg", "ordered_by": "vet", "protocol": "dog-plain 1"}  # fmt: skip

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
    """U13: what is wrong in a protocol is wrong in every plan made from it, so it is refused when it is written."""
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


# ---- starting a plan


def test_a_start_names_the_version_in_use_of_this_species() -> None:
    ledger = in_use()
    t = patient(ledger)
    t.refused(Unknown, "protocol", ev.ProtocolStarted, protocol="dog-other", version=1, title="Other")
    t.refused(Unknown, "protocol", ev.ProtocolStarted, protocol="dog-plain", version=2, title="Plain dog")
    t.refused(Contradiction, "title", ev.ProtocolStarted, protocol="dog-plain", version=1, title="Another")
    t.refused(Unknown, "left out", ev.ProtocolStarted, **START, left_out=("ketamine",))
    patient(ledger, "cat", "4").refused(Contradiction, "species", ev.ProtocolStarted, **START)
    t.tell(ev.ProtocolStarted, **START, left_out=("propofol",))
    t.refused(Contradiction, "protocol", ev.ProtocolStarted, **START)
    Telling().refused(Unknown, "protocol", ev.ProtocolStarted, **START)


def test_a_protocol_is_held_to_its_conditions() -> None:
    """U13: a protocol for healthy animals is not started for a sick one, but on a veterinarian's word with a reason."""
    ledger = in_use(unless=("heart-disease",))
    t = patient(ledger)
    t.tell(ev.HistoryTaken, conditions=("heart-disease",))
    said = t.refused(NotAllowed, "protocol", ev.ProtocolStarted, **START)
    assert "heart" in said.says.casefold()
    t.refused(NotAllowed, "said by", ev.ProtocolStarted, **START, said_by="two", reason="fine today")
    t.refused(Missing, "reason", ev.ProtocolStarted, **START, said_by="vet")
    t.tell(ev.ProtocolStarted, **START, said_by="vet", reason="murmur is old and small")
    shown = offers(t.case, ledger.case, t.facts, t.now).offers[0]
    assert "heart" in shown.why_not.casefold() and shown.why_not.endswith(".")


def test_a_protocol_for_a_condition_is_for_animals_that_have_it() -> None:
    ledger = in_use(conditions=("pregnant",))
    t = patient(ledger)
    t.refused(NotAllowed, "protocol", ev.ProtocolStarted, **START)
    t.tell(ev.HistoryTaken, conditions=("pregnant",))
    t.tell(ev.ProtocolStarted, **START)


def test_an_order_says_what_the_line_says_or_does_not_name_it() -> None:
    """D31: an order that carries the protocol's name carries its dose; a changed one is an order of its own."""
    ledger = in_use()
    t = patient(ledger)
    t.refused(Unknown, "protocol", ev.DrugOrdered, **ORDER)
    t.tell(ev.ProtocolStarted, **START)
    for change in ({"low": d("0.3"), "high": d("0.3")}, {"route": "IV"}, {"drug": "fentanyl", "unit": "mcg/kg"},
                   {"protocol": "dog-plain 2"}, {"protocol": "Plain dog"}):  # fmt: skip
        with pytest.raises((Contradiction, Unknown)) as turned:
            t.tell(ev.DrugOrdered, **{**ORDER, **change})
        assert turned.value.field == "protocol", turned.value.sentence
    t.tell(ev.DrugOrdered, **ORDER)
    t.tell(ev.DrugOrdered, **{**ORDER, "order": "o2", "low": d("0.3"), "high": d("0.3"), "protocol": ""})


def test_a_version_is_frozen_for_the_case_that_started_from_it() -> None:
    """D31: replaced, or retired, it still carries the orders of the cases that started from it."""
    ledger = in_use()
    t = patient(ledger)
    t.tell(ev.ProtocolStarted, **START)
    ledger.write(version=2, lines=(line(dose="0.3"), PROPOFOL))
    ledger.approve(2)
    ledger.tell(ev.ProtocolRetired, protocol="dog-plain", reason="old", by="vet")
    t.facts = replace(t.facts, protocols=ledger.known)
    t.tell(ev.DrugOrdered, **ORDER)
    with pytest.raises(Contradiction):
        t.tell(ev.DrugOrdered, **{**ORDER, "order": "o2", "low": d("0.3"), "high": d("0.3")})


def test_the_record_and_the_plan_say_which_version_was_used() -> None:
    """U13, D31: on the plan, on each line, and in the record's own words, also when the ledger has moved on."""
    ledger = in_use()
    t = patient(ledger)
    t.tell(ev.ProtocolStarted, **START, left_out=("propofol",))
    t.tell(ev.DrugOrdered, **ORDER)
    t.order("o9", "propofol", "induction", "IV", "2", "4")
    view = case_view(t.case, len(t.entries), house(), t.now)
    assert (view.plan.protocol, view.record.protocol) == ("Plain dog, version 1", "Plain dog, version 1")
    assert {x.order: x.protocol for x in view.plan.lines} == {"o1": "Plain dog, version 1", "o9": ""}
    words = [x.text for x in view.record.log]
    assert "Plan started from Plain dog, version 1; left out: Propofol" in words


@settings(max_examples=60, deadline=None)
@given(
    kg=st.decimals("0.5", "95", places=2),
    drug=st.sampled_from([("methadone", "premedication", "IM", "0.2"), ("propofol", "induction", "IV", "4"),
                          ("acepromazine", "premedication", "IM", "0.03"), ("midazolam", "premedication", "IM", "0.3"),
                          ("lidocaine", "local block", "infiltration", "4"), ("meloxicam", "NSAID", "SC", "0.2")]),
)  # fmt: skip
def test_no_line_once_ordered_is_over_a_stop_at_any_weight(kg: Decimal, drug: tuple[str, str, str, str]) -> None:
    """U13: what a cap per animal stops only in a large dog is stopped where it is ordered, not silently cut."""
    name, purpose, route, dose = drug
    ledger = in_use(lines=(line(name, dose, purpose=purpose, route=route),))
    t = patient(ledger, weighed=False)
    t.entries.append(ev.Entry(2, t.now, t.made(ev.Weighed, weight_kg=kg, method="scale", confirmed=True)))
    t.tell(ev.ProtocolStarted, **START)
    try:
        t.tell(
            ev.DrugOrdered,
            **{**ORDER, "drug": name, "purpose": purpose, "route": route, "low": d(dose), "high": d(dose)},
        )
    except Refusal as refusal:
        assert refusal.field.split(",")[-1].strip() in {"dose", "weight", "caution", "drug"}, refusal.sentence
        return
    asked = OrderedDose(drug=name, species="dog", purpose=purpose, route=route, low=Quantity.of(dose, "mg/kg"),
                        high=Quantity.of(dose, "mg/kg"))  # fmt: skip
    judged = judge(asked, house().drugs.choose(asked, DosingWeight(kg)), DosingWeight(kg))
    assert judged.zone is not Zone.FORBIDDEN


# ---- what the pages get


def test_a_line_is_worked_by_the_same_code_as_the_plan() -> None:
    """The offer's volume is the plan's volume once ordered: 0.2 mg/kg for 10 kg is 2 mg, in 0.2 mL of 10 mg/mL."""
    ledger = in_use()
    t = patient(ledger)
    offer = offers(t.case, ledger.case, t.facts, t.now).offers[0]
    shown = offer.lines[0]
    assert shown.line.volume is not None and (shown.line.volume.text, shown.line.volume_ml) == ("0.2", 0.2)
    t.tell(ev.ProtocolStarted, **{**offer.start, "version": 1})
    for n, each in enumerate(offer.lines):
        fields = {k: d(str(v)) if isinstance(v, float) else v for k, v in each.order.items()}
        t.tell(ev.DrugOrdered, order=f"o{n}", ordered_by="vet", **fields)
    planned = {x.drug: x for x in case_view(t.case, 9, house(), t.now).plan.lines}
    for each in offer.lines:
        assert planned[each.line.drug].volume_ml == each.line.volume_ml
        assert planned[each.line.drug].barrel == each.line.barrel


def test_without_a_weight_a_protocol_shows_orders_and_no_volume() -> None:
    ledger = in_use()
    t = patient(ledger, weighed=False)
    offer = offers(t.case, ledger.case, t.facts, t.now).offers[0]
    assert [(x.line.volume, x.line.refusal is not None, x.line.order_text) for x in offer.lines] == [
        (None, True, "0.2 mg/kg"), (None, True, "2 to 4 mg/kg")]  # fmt: skip


def test_the_list_says_what_a_version_changes() -> None:
    ledger = in_use()
    ledger.write(
        version=2, lines=(line(dose="0.3"),), limits=(ev.ProtocolLimit(reading="map", below=d("60"), action="call"),)
    )
    sheet = protocols_sheet(ledger.case, 3, house())
    assert [(p.version, p.state) for p in sheet.protocols] == [(2, "waiting"), (1, "in use")]
    said = " | ".join(sheet.protocols[0].changes)
    assert (
        "0.2 mg/kg is now 0.3 mg/kg" in said
        and "left out: Propofol" in said
        and "limit added: map below 60: call" in said
    )
    assert (sheet.ledger, sheet.protocols[1].changes, sheet.protocols[1].approved_by) == (LEDGER, (), "VE")


def test_every_difference_of_two_versions_is_said() -> None:
    """D31: an approver reads what changed; a change that is not said would be approved unread."""
    base = Ledger().made(ev.ProtocolWritten, **START, species="dog", lines=(METHADONE, PROPOFOL))
    changed: dict[str, Any] = {
        "lines": [(line(dose="0.3"), PROPOFOL), (PROPOFOL, METHADONE), (METHADONE,), (METHADONE, PROPOFOL, line("fentanyl", "3", "mcg/kg")),
                  (line(unit="mcg/kg"), PROPOFOL), (line(when="later"), PROPOFOL), (line(optional=True), PROPOFOL),
                  (line(row="x"), PROPOFOL), (line(note="x"), PROPOFOL), (line(route="IV"), PROPOFOL)],
        "limits": [(ev.ProtocolLimit(reading="map", below=d("60")),)], "conditions": [("pregnant",)], "unless": [("shock",)],
        "title": ["Another"], "note": ["A note"],
    }  # fmt: skip
    for field, values in changed.items():
        for value in values:
            other = Ledger().made(
                ev.ProtocolWritten, **{**START, "species": "dog", "lines": (METHADONE, PROPOFOL), field: value}
            )
            assert changes(base, other) and changes(other, base), (field, value)
    assert changes(base, base) == ()


def test_a_plan_is_kept_as_a_protocol() -> None:
    """The ready fields are let in as they stand, once they have a name."""
    ledger = Ledger()
    t = Telling()
    t.order("o1")
    t.order("o2", "propofol", "induction", "IV", "2", "4")
    t.tell(ev.LimitOrdered, reading="map", below=d("60"), action="call", ordered_by="vet")
    made = draft(t.case, ledger.case)
    assert (made.protocol, made.version, made.title, made.species) == ("", 1, "", "dog")
    fields = {"lines": tuple(ev.ProtocolLine(**{**_fields(x), "low": d(str(x.low)), "high": d(str(x.high))}) for x in made.lines),
              "limits": tuple(ev.ProtocolLimit(reading=x.reading, below=d(str(x.below)), action=x.action)
                              for x in made.limits)}  # fmt: skip
    ledger.write(**fields)
    ledger.approve()
    t.facts = replace(t.facts, protocols=ledger.known)
    t.tell(ev.ProtocolStarted, **START)
    again = draft(t.case, ledger.case)
    assert (again.protocol, again.version, again.title) == ("dog-plain", 2, "Plain dog")
    with pytest.raises(Unknown):
        draft(t.case, ledger.case, "dog-other")


def _fields(shape: Any) -> dict[str, Any]:
    return {name: getattr(shape, name) for name in shape.__struct_fields__}


def test_nothing_of_a_protocol_is_lost_between_writing_and_ordering() -> None:
    """U13: the order's fields are the line's fields, figure for figure, for awkward figures too."""
    for low, high in itertools.pairwise(("0.1", "0.123456789", "0.2", "0.3")):
        ledger = in_use(lines=(line(dose=f"{low}-{high}"),))
        t = patient(ledger)
        offer = offers(t.case, ledger.case, t.facts, t.now).offers[0]
        told = offer.lines[0].order
        assert (d(str(told["low"])), d(str(told["high"]))) == (d(low), d(high))


def test_an_empty_ledger_gives_an_empty_list() -> None:
    assert protocols_sheet(Case(), 0, house()).protocols == ()
