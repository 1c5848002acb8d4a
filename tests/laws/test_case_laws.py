"""Laws of the log: order of arrival plays no part, a replay is what was shown, a refusal keeps nothing, a repeat changes nothing."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from small_house import NINE, Telling, d, house
from spiracle.case import events as ev
from spiracle.case.decide import decide
from spiracle.case.fold import fold
from spiracle.case.standing import orders, weight_in_use
from spiracle.case.syringes import infusions, syringes
from spiracle.refusals import Refusal

CASE = "0b0f3c5e-6c0e-4a52-9c57-2f8d4b1a7e11"
few = settings(max_examples=60, deadline=None)
many = settings(max_examples=200, deadline=None)


@st.composite
def logs(draw: st.DrawFn) -> list[ev.Entry]:
    """A case's entries of many kinds, with strikes, strikes of strikes and artefacts; times may tie."""
    made: list[ev.Event] = []

    def add(kind: type[ev.Event], **fields: object) -> None:
        at = NINE + timedelta(seconds=draw(st.integers(0, 40)))
        late = at + timedelta(minutes=draw(st.integers(0, 2)))
        number = uuid.UUID(int=draw(st.integers(0, 2**127)), version=4)
        made.append(kind(id=str(number), case=CASE, happened_at=at, recorded_at=late, by="tec", **fields))  # type: ignore[arg-type]

    add(ev.CaseOpened, species="dog")
    for _ in range(draw(st.integers(1, 12))):
        match draw(st.sampled_from(["weight", "reading", "strike", "artefact", "order", "push", "infusion"])):
            case "weight":
                add(ev.Weighed, weight_kg=draw(st.decimals("1", "40", places=1)), method="scale")
            case "reading":
                add(ev.ReadingTaken, reading="heart_rate", value=Decimal(draw(st.integers(40, 180))), unit="/min")
            case "order":
                add(ev.DrugOrdered, order=draw(st.sampled_from("ab")), drug="methadone", purpose="premedication", route="IM",
                    low=d("0.2"), high=d("0.2"), unit="mg/kg")  # fmt: skip
            case "push":
                add(
                    ev.DrugGiven,
                    drug="methadone",
                    amount=d("1"),
                    unit="mg",
                    volume_ml=d("0.1"),
                    route="IM",
                    syringe="s1",
                )
            case "infusion":
                add(ev.InfusionChanged, infusion="f", rate_ml_h=Decimal(draw(st.integers(1, 9))))
            case "strike":
                add(ev.EntryStruck, target=draw(st.sampled_from(made)).id, reason="wrong")
            case _:
                add(ev.ArtefactMarked, target=draw(st.sampled_from(made)).id)
    unique = {e.id: e for e in made}
    return [ev.Entry(n, NINE, e) for n, e in enumerate(unique.values(), 1)]


@many
@given(logs(), st.randoms(use_true_random=False))
def test_order_of_arrival_does_not_change_the_case(entries: list[ev.Entry], chance: object) -> None:
    """D8, D10: What a case is follows from what happened, not from which tablet's entries came first."""
    shuffled = list(entries)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    again = [ev.Entry(n, NINE + timedelta(hours=n), e.event) for n, e in enumerate(shuffled, 1)]

    def told(given_: list[ev.Entry]) -> object:
        case = fold(given_)
        return ([(x.event, x.struck, x.artefact) for x in case.lines], weight_in_use(case), orders(case),
                syringes(case), infusions(case))  # fmt: skip

    assert told(entries) == told(again)


@few
@given(logs())
def test_no_entry_ever_leaves_the_case(entries: list[ev.Entry]) -> None:
    """D11: Struck or not, every entry is still a line: once, and found by its id."""
    case = fold(entries)
    assert sorted(x.event.id for x in case.lines) == sorted(e.event.id for e in entries)
    assert all(case.line(e.event.id) is not None for e in entries)


@few
@given(logs())
def test_bytes_and_back_change_nothing(entries: list[ev.Entry]) -> None:
    again = [ev.Entry(n.seq, n.arrived_at, ev.decode(ev.encode(n.event))) for n in entries]
    assert fold(again) == fold(entries)


# ---- deciding


def acts(t: Telling) -> st.SearchStrategy[tuple[type[ev.Event], dict[str, object]]]:
    """Entries that a case may or may not take, as a hurried hand would send them."""
    tenth = st.integers(1, 12).map(lambda n: Decimal(n) / 10)
    push = tenth.map(lambda ml: (ev.DrugGiven, t.push(str(ml), str(ml * 10), confirmed=True)))
    waste = tenth.map(
        lambda ml: (ev.DrugWasted, {"syringe": "s1", "drug": "methadone", "volume_ml": ml, "witness": "two"})
    )
    weigh = st.decimals("0.1", "120", places=1).map(lambda kg: (ev.Weighed, {"weight_kg": kg, "method": "scale"}))
    strike = st.integers(0, 30).map(lambda n: (ev.EntryStruck, {"target": n, "reason": "wrong"}))
    sign = st.sampled_from([("technician", "tec"), ("veterinarian", "vet"), ("veterinarian", "tec")]).map(
        lambda r: (ev.RecordSigned, {"role": r[0], "by": r[1]})
    )
    return st.one_of(push, waste, weigh, strike, push, sign)


@few
@given(st.data())
def test_a_syringe_never_gives_more_than_it_holds_nor_more_than_the_order(data: st.DataObject) -> None:
    """D22, D23: Whatever is tried, in whatever order: drawn = given + wasted + left, and left is never below zero.

    The order is 0.5 mg/kg IM of methadone in 10 kg: 5 mg.
    """
    t = Telling(kg="10")
    t.order(low="0.2", high="0.5")
    t.draw(ml="1")
    for minute in range(data.draw(st.integers(1, 12))):
        kind, fields = data.draw(acts(t))
        if kind is ev.EntryStruck:
            target = t.entries[int(str(fields["target"])) % len(t.entries)].event
            if isinstance(target, ev.SyringeDrawn | ev.DrugOrdered | ev.Weighed):
                continue
            fields = {**fields, "target": target.id}
        before = list(t.entries)
        try:
            t.at(minute + 1).tell(kind, **fields)
        except Refusal as refusal:
            assert t.entries == before, "a refusal keeps nothing and loses nothing"
            assert refusal.says and refusal.field
        found = syringes(t.case)[0]
        assert found.left_ml >= 0
        assert found.given_ml + found.wasted_ml + found.left_ml == 1


@few
@given(st.lists(st.integers(1, 9), min_size=1, max_size=8), st.integers(20, 400))
def test_given_under_an_order_never_passes_it_without_a_word(tenths: list[int], kg10: int) -> None:
    """U29: For any weight and any row of pushes: the sum stays at or under 0.5 mg/kg x weight."""
    kg = Decimal(kg10) / 10
    t = Telling(kg=str(kg))
    t.order(low="0.2", high="0.5")
    t.draw(ml="3", barrel="3 mL", confirmed=True)
    for minute, n in enumerate(tenths, 1):
        ml = Decimal(n) / 10
        try:
            t.at(minute).tell(ev.DrugGiven, **t.push(str(ml), str(ml * 10), confirmed=True))
        except Refusal:
            continue
    total = sum((g.amount for g in t.case.live(ev.DrugGiven)), Decimal(0))
    assert total <= Decimal("0.5") * kg


@few
@given(st.data())
def test_deciding_is_pure(data: st.DataObject) -> None:
    """The same case, entry, tables and time give the same answer; the case is not touched."""
    t = Telling(kg="10")
    t.order(low="0.2", high="0.5")
    t.draw(ml="1")
    kind, fields = data.draw(acts(t))
    event, case = t.made(kind, **{k: ("" if k == "target" else v) for k, v in fields.items()}), t.case

    def answer() -> object:
        try:
            return decide(case, event, house(), t.now)
        except Refusal as refusal:
            return type(refusal), refusal.sentence

    first, lines = answer(), case.lines
    assert answer() == first
    assert case.lines == lines
