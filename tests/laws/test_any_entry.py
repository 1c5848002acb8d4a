"""Whatever is sent, it is let in or refused by name; and what was let in can always be shown and printed."""

from __future__ import annotations

import typing
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cache
from types import UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import msgspec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from small_house import NINE, Telling
from spiracle.breathing import lists
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.standing import orders, weight_in_use
from spiracle.refusals import Refusal
from spiracle.sheets.board import board
from spiracle.sheets.case_view import case_view
from spiracle.sheets.levels import FAILED

# Words that occur in a case, so that what is made up often fits; and some that never do.
WORDS = [
    "", "o1", "o2", "s1", "f1", "a1", "t1", "tec", "two", "vet", "stu", "methadone", "propofol", "lidocaine", "bupivacaine",
    "fentanyl", "ephedrine", "isotonic_crystalloid", "epinephrine", "atipamezole", "IM", "IV", "infiltration", "premedication",
    "induction", "analgesia", "local block", "10 mg/mL", "20 mg/mL", "5 mg/mL", "0.05 mg/mL", "1 mL", "3 mL", "mg", "mcg", "mg/kg",
    "mcg/kg/h", "mL", "/min", "%", "mmHg", "Cel", "map", "heart_rate", "spo2", "M1", "Room 1", "isoflurane", "saline", "137 bar",
    "95 bar", "hypotension", "2", "4 y", "9 wk", "2028-03", "beagle", "Persian", "female neutered", "A4", "F9", "II", "calm",
    "left", "warm air", "Glasgow", "10 µg ≥ ₂", "x" * 150,
]  # fmt: skip
FITTING: dict[str, list[str]] = {  # what a field usually holds, so that many entries are let in
    "order": ["o1", "o2", "o3", ""], "drug": ["methadone", "propofol", "isotonic_crystalloid"], "syringe": ["s1", "s2", "s3"],
    "infusion": ["f1", "f2"], "attempt": ["a1", "a2", "a3"], "trouble": ["t1", "t2"], "unit": ["mg", "mg/kg", "/min", "%", "Cel"],
    "purpose": ["premedication", "induction", "analgesia"], "route": ["IM", "IV"], "machine": ["M1"], "agent": ["isoflurane"],
    "concentration": ["10 mg/mL"], "vial_concentration": ["10 mg/mL"], "barrel": ["1 mL", "3 mL", ""], "row": [""],
    "said_by": ["", "vet"], "ordered_by": ["vet"], "assigned_by": ["vet"], "signed_by": ["vet"], "to": ["two", "vet"],
    "read_back_by": ["two", ""], "over_hard_by": [""], "seen_by": ["two", ""], "witness": ["two"], "second_person": ["two"],
    "giver": ["", "two"], "operator": ["tec", ""], "watcher": ["two"], "person": ["two", "vet"], "spoken_by": ["tec"],
    "leader": ["vet"], "element": ["F9", "A4"], "reading": ["map", "heart_rate"], "room": ["Room 1"], "expires": ["2028-03", ""],
    "full_pressure": ["137 bar"], "gauge": ["95 bar"], "dose_unit": ["", "mcg/kg/h"], "asa": ["II", ""], "diluent": ["saline", ""],
    "reason": ["said so"], "conditions": [], "test": ["PCV"], "fluid": ["isotonic_crystalloid"], "sex": ["female neutered", ""],
}  # fmt: skip
NUMBERS = [Decimal(x) for x in ("0", "0.01", "0.05", "0.1", "0.2", "0.5", "1", "1.5", "2", "4.2", "5", "9", "10", "12", "20", "24",
                                "37.5", "40", "65", "90", "98", "120", "250", "1000")]  # fmt: skip


@cache
def hints(kind: type[ev.Event]) -> dict[str, Any]:
    told = get_type_hints(kind)
    return {
        name: told[name] for name in kind.__struct_fields__ if name not in {"id", "case", "happened_at", "recorded_at"}
    }


def fitting(name: str, of: Any, ids: list[str]) -> st.SearchStrategy[Any]:
    """Mostly what the field usually holds, at times anything of its type."""
    if name in {"target", "line"}:
        return st.sampled_from([*ids, "nothing"])
    if of is str and name in FITTING:
        return st.one_of(st.sampled_from(FITTING[name]), st.sampled_from(FITTING[name]), value(of, ids))
    if name == "conditions":
        return st.lists(st.sampled_from(["renal-disease", "brachycephalic"]), max_size=2).map(tuple)
    return value(of, ids)


def value(of: Any, ids: list[str]) -> st.SearchStrategy[Any]:
    origin, inside = get_origin(of), get_args(of)
    if origin is Literal:
        return st.sampled_from(inside)
    if origin in (typing.Union, UnionType):
        return st.one_of([value(x, ids) for x in inside])
    if origin is tuple:
        inner = value(inside[0], ids) if inside[-1] is Ellipsis else st.tuples(*(value(x, ids) for x in inside))
        return st.lists(inner, max_size=3).map(tuple) if inside[-1] is Ellipsis else inner
    if isinstance(of, type) and issubclass(of, msgspec.Struct):
        parts = {f: fitting(f, t, ids) for f, t in get_type_hints(of).items() if f in of.__struct_fields__}
        return st.builds(of, **parts)
    plain: dict[Any, st.SearchStrategy[Any]] = {
        str: st.sampled_from(WORDS + ids),
        Decimal: st.sampled_from(NUMBERS),
        int: st.integers(0, 200),
        bool: st.booleans(),
        type(None): st.none(),
        datetime: st.integers(-3000, 3000).map(lambda m: NINE + timedelta(minutes=m)),
    }
    return plain[of]


def adding_up(t: Telling, kind: type[ev.Event], ml: str) -> dict[str, Any]:
    """The figures of an entry whose arithmetic holds: three fields that agree are seldom hit by chance."""
    if kind is ev.SyringeDrawn:
        return {"volume_ml": Decimal(ml), "drug_volume_ml": Decimal(ml), "diluent_volume_ml": Decimal(0), "order": "o1",
                "drug": "methadone", "concentration": "10 mg/mL", "vial_concentration": "10 mg/mL"}  # fmt: skip
    if kind is ev.DrugGiven:
        return t.push(ml, str(Decimal(ml) * 10), concentration="10 mg/mL")
    if kind is ev.DrugOrdered:
        return {"low": Decimal(ml), "high": Decimal(ml), "unit": "mg/kg", "drug": "methadone", "given_as": "written"}
    if kind is ev.InfusionStarted:
        return {"rate_ml_h": Decimal(9), "drug": "isotonic_crystalloid", "fluid": True, "order": "", "dose_rate": None}
    weight = weight_in_use(t.case)
    return {"weight_kg": weight.kg if weight else Decimal(1), "orders": tuple(o.order for o in orders(t.case)),
            "signed_by": "vet", "how": "oral", "read_back_by": "two", "asa": ""}  # fmt: skip


def entry(t: Telling, data: st.DataObject) -> ev.Event:
    kind = data.draw(st.sampled_from(ev.every_event()))
    ids = [n.event.id for n in t.entries[-6:]] + [row.id for row in lists(t.facts.breathing, "machine")[:2]]
    fields = {name: data.draw(fitting(name, of, ids)) for name, of in hints(kind).items()}
    fields["by"] = data.draw(st.sampled_from(["tec", "vet"]))
    if kind in {ev.SyringeDrawn, ev.DrugGiven, ev.PlanApproved, ev.DrugOrdered, ev.InfusionStarted} and data.draw(
        st.booleans()
    ):
        fields |= adding_up(t, kind, data.draw(st.sampled_from(["0.05", "0.1", "0.2", "1"])))
    made: ev.Event = t.made(kind, **fields)
    return made


def begun(species: str, kind: str) -> Telling:
    """A case under way, so that much of what follows fits."""
    t = Telling(species, "10" if species == "dog" else "4", kind=kind)
    t.order()
    t.order("o2", "propofol", "induction", "IV", "2", "4")
    t.draw(ml="0.2")
    t.tell(ev.InfusionStarted, infusion="f1", drug="isotonic_crystalloid", rate_ml_h=Decimal(10), fluid=True)
    t.tell(ev.AttemptBegan, attempt="a1", tube_id_mm=Decimal(4))
    t.tell(ev.TroubleBegan, trouble="t1", kind="hypotension")
    return t


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.sampled_from(["dog", "cat"]), st.sampled_from(["elective", "emergency"]), st.data())
def test_any_entry_is_let_in_and_can_be_shown_or_is_refused_by_name(
    species: str, kind: str, data: st.DataObject
) -> None:
    t = begun(species, kind)
    for minute in range(data.draw(st.integers(1, 25))):
        t.at(minute)
        event = entry(t, data)
        try:
            lawful = decide(t.case, event, t.facts, t.now)
        except Refusal as refusal:
            assert refusal.field and refusal.says
            continue
        t.entries += [ev.Entry(len(t.entries) + 1 + n, t.now, e) for n, e in enumerate(lawful)]
    view = case_view(t.case, len(t.entries), t.facts, t.now + timedelta(minutes=7), expected=True)
    assert view.seq == len(t.entries)
    estimates = [view.maintain.inhaled, *view.maintain.levels, *(a.level for a in view.induce.agents)]
    assert not [e.none for e in estimates if e is not None and e.none.startswith(FAILED)], (
        "no fault of ours hides behind a missing curve"
    )
    assert len(view.record.log) == len(t.entries), "every entry stands in the record's log"
    board({t.id: t.case}, t.facts, t.now)
