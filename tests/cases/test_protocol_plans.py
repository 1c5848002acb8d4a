"""A plan that starts from a protocol: which version, for which animal, worked by the same code, and named in the record."""

from __future__ import annotations

import itertools
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledger_book import METHADONE, ORDER, PROPOFOL, START, Ledger, in_use, line, patient

from small_house import Telling, d, house
from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.ledger import LEDGER
from spiracle.case.protocols import changes
from spiracle.drugs import judge
from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.quantity import Quantity
from spiracle.refusals import Contradiction, Missing, NotAllowed, Refusal, Unknown
from spiracle.sheets.case_view import case_view
from spiracle.sheets.protocols import draft, offers, protocols_sheet
from spiracle.source import Zone

# ---- starting a plan


def test_a_start_names_the_version_in_use_of_this_species() -> None:
    """U13: a protocol is written for one species, and starts nothing for the other."""
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
    """U14: a protocol for healthy animals is not started for a sick one, but on a veterinarian's word with a reason."""
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


def test_a_condition_found_after_the_start_is_told_on_the_plan() -> None:
    """U14: the protocol was right when the plan began; what was found since stands on the plan before it is signed."""
    ledger = in_use(unless=("heart-disease",))
    t = patient(ledger)
    t.tell(ev.ProtocolStarted, **START)
    assert not [f for f in case_view(t.case, 9, t.facts, t.now).plan.cautions if f.title.startswith("Plain dog")]
    t.at(1).tell(ev.HistoryTaken, conditions=("heart-disease",))
    told = next(f for f in case_view(t.case, 9, t.facts, t.now).plan.cautions if f.title == "Plain dog, version 1")
    assert told.severity == "avoid" and told.changes.startswith("Is not for an animal with: ")


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
    """D31: on the plan, on each line, and in the record's own words, also when the ledger has moved on."""
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
    assert next(w for w in words if w.startswith("Ordered: Methadone")).endswith("from protocol dog-plain 1")


@settings(max_examples=60, deadline=None)
@given(
    kg=st.decimals("0.5", "95", places=2),
    drug=st.sampled_from([("methadone", "premedication", "IM", "0.2"), ("propofol", "induction", "IV", "4"),
                          ("acepromazine", "premedication", "IM", "0.03"), ("midazolam", "premedication", "IM", "0.3"),
                          ("lidocaine", "local block", "infiltration", "4"), ("meloxicam", "NSAID", "SC", "0.2")]),
)  # fmt: skip
def test_no_line_once_ordered_is_over_a_stop_at_any_weight(kg: Decimal, drug: tuple[str, str, str, str]) -> None:
    """U4, U11: what a cap per animal stops only in a large dog is stopped where it is ordered, not silently cut."""
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
    """U11: the offer's volume is the plan's volume once ordered: 0.2 mg/kg for 10 kg is 2 mg, in 0.2 mL of 10 mg/mL."""
    ledger = in_use()
    t = patient(ledger)
    offer = offers(t.case, ledger.case, t.facts, t.now).offers[0]
    shown = offer.lines[0]
    assert shown.line.volume is not None and (shown.line.volume.text, shown.line.volume_ml) == ("0.2", 0.2)
    t.tell(ev.ProtocolStarted, **{**offer.start, "version": 1})
    for each in offer.lines:
        fields = {k: d(str(v)) if isinstance(v, float) else v for k, v in each.order.items()}
        t.tell(ev.DrugOrdered, ordered_by="vet", **fields)
    assert [x.drug for x in case_view(t.case, 9, house(), t.now).plan.lines] == [x.line.drug for x in offer.lines]
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


def test_an_approver_sees_what_is_off_the_usual() -> None:
    """U30: a tenth of the usual dose is let in, as nothing forbids it, and is not approved unread."""
    ledger = Ledger()
    ledger.write(lines=(line(dose="0.02"), PROPOFOL))
    first, second = protocols_sheet(ledger.case, 1, house()).protocols[0].lines
    assert first.note.startswith("off the usual: 0.2 to 0.5 mg/kg") and second.note == ""


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
    """U12: the order's fields are the line's fields, figure for figure, for awkward figures too."""
    for low, high in itertools.pairwise(("0.1", "0.123456789", "0.2", "0.3")):
        ledger = in_use(lines=(line(dose=f"{low}-{high}"),))
        t = patient(ledger)
        offer = offers(t.case, ledger.case, t.facts, t.now).offers[0]
        told = offer.lines[0].order
        assert (d(str(told["low"])), d(str(told["high"]))) == (d(low), d(high))


def test_an_empty_ledger_gives_an_empty_list() -> None:
    assert protocols_sheet(Case(), 0, house()).protocols == ()
