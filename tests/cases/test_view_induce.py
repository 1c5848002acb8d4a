"""Induction and airway. Every expectation was worked out by hand from the log of teasel.py."""

from __future__ import annotations

from casebook import at, d
from spiracle.case import events as ev
from teasel import push, seen_at, teasel

# ---- induction


def test_running_sum_to_effect_after_three_pushes() -> None:
    """3 pushes of 2 mg are 6 mg in 0.6 mL: 1.5 mg/kg of the 2 mg/kg ordered; a quarter of 0.8 mL is 0.2 mL."""
    (agent,) = seen_at(67.2).induce.agents
    assert (agent.total.text, agent.total.unit) == ("1.5", "mg/kg")
    assert (agent.total_amount.text, agent.total_volume.text, agent.left.text) == ("6", "0.6", "0.2")
    assert (agent.pushes, agent.last_at, agent.blocks) == (3, at(67), (0.5, 0.5, 0.5))
    assert agent.push is not None and agent.half is not None
    assert (agent.push.volume_ml, agent.push.amount_text, agent.push.per_kg_text) == (0.2, "2 mg", "0.5 mg/kg")
    assert agent.push.then_text == "then 2 of 2 mg/kg"
    assert (agent.half.volume_ml, agent.half.amount_text) == (0.1, "1 mg")
    assert (agent.state, agent.bar.at, agent.bar.order_high) == ("ready", 1.5, 2.0)


def test_at_the_ordered_ceiling_there_is_no_key_but_a_call() -> None:
    book = teasel()
    push(book, 67.3)
    view = seen_at(67.4, book)
    (agent,) = view.induce.agents
    assert (agent.total.text, agent.state, agent.push, agent.half) == ("2", "order reached", None, None)
    assert agent.state_text == "order reached: 2 mg/kg"
    assert [(a.priority, a.title) for a in view.advice] == [("medium", "Alfaxalone: order reached: 2 mg/kg.")]
    assert "Call ilse." in view.advice[0].body


def test_the_last_push_never_goes_over_the_order() -> None:
    """With 0.7 mL given of 0.8, the next key holds 0.1 mL, not a quarter."""
    book = teasel()
    book.tell(67.3, ev.DrugGiven, drug="alfaxalone", amount=d("1"), unit="mg", volume_ml=d("0.1"), concentration="10 mg/mL",
              route="IV", purpose="induction", order="o-2", syringe="s-2")  # fmt: skip
    (agent,) = seen_at(67.4, book).induce.agents
    assert agent.push is not None and (agent.push.volume_ml, agent.push.then_text) == (0.1, "then 2 of 2 mg/kg")


def test_a_struck_push_leaves_the_sum() -> None:
    book = teasel()
    third = next(e.event for e in book.entries if isinstance(e.event, ev.DrugGiven) and e.event.happened_at == at(67))
    book.tell(67.1, ev.EntryStruck, target=third.id, reason="not given")
    (agent,) = seen_at(67.2, book).induce.agents
    assert (agent.total.text, agent.pushes, agent.left.text) == ("1", 2, "0.4")


def test_attempts_are_counted_with_their_outcome() -> None:
    """A3: each with its tube and its end."""
    attempts = seen_at(70).induce.attempts
    assert [(a.number, a.outcome, a.tube, a.operator, a.view) for a in attempts] == [
        (1, "out", "ID 4.5 mm", "rowan", "poor"), (2, "in", "ID 4.0 mm", "ilse", "good")]  # fmt: skip
    assert attempts[0].ended_at == at(66.5)


def test_no_co2_ten_seconds_after_the_tube_went_in_is_act_now() -> None:
    """A1: a tube in the oesophagus is named within ten seconds, and not before there was time for a breath."""
    assert [a.id for a in seen_at(68, seconds=9).advice] == []
    (front, *_) = seen_at(68, seconds=10).advice
    assert (front.priority, front.id, front.since) == ("high", "no co2", at(68))
    assert [(a.label, a.fields["whom"]) for a in front.acts] == [("Call ilse", "ilse")]


def test_co2_on_the_monitor_quietens_it() -> None:
    book = teasel()
    book.tell(68.1, ev.ReadingTaken, reading="etco2", value=d("38"), unit="mmHg", source="device", monitor="capnograph")
    assert "no co2" not in {a.id for a in seen_at(68.4, book).advice}


def test_an_artefact_of_co2_proves_nothing() -> None:
    """C2: a value judged an artefact is acted on by nothing, and quietens nothing."""
    book = teasel()
    value = book.tell(68.1, ev.ReadingTaken, reading="etco2", value=d("38"), unit="mmHg", source="device")
    book.tell(68.15, ev.ArtefactMarked, target=value)
    assert seen_at(68.4, book).advice[0].id == "no co2"


def test_the_airway_lacks_something_until_it_is_proven() -> None:
    """A1: in words, until the last line."""
    before = seen_at(68.3)
    assert before.induce.breaths == 0 and before.induce.lacking
    after = seen_at(69.5)
    assert (after.induce.breaths, after.induce.lacking, after.induce.proven_at) == (6, (), at(69))
    assert seen_at(210).induce.proven_at == at(69)
    assert after.induce.placed_text == "tracheal tube ID 4.0 mm, cuffed, 14 cm at the teeth"


def test_the_proofs_of_an_earlier_tube_do_not_count_for_the_next() -> None:
    book = teasel()
    book.tell(91, ev.AttemptBegan, attempt="a-3", tube_id_mm=d("4"))
    book.tell(91.5, ev.AttemptEnded, attempt="a-3", outcome="in")
    trying, tried = seen_at(91.2, book), seen_at(92, book)
    assert trying.induce.proven_at is None and trying.induce.lacking == ("no tube in place",)
    assert tried.induce.proven_at is None and tried.induce.breaths == 0
    assert tried.advice[0].id == "no co2"


def test_a_tube_put_back_in_recovery_is_a_tube_again() -> None:
    book = teasel()
    book.tell(141, ev.TubePlaced, id_mm=d("4"), cuffed=True)
    view = seen_at(142, book)
    assert view.recover.extubated_at is None and view.collar.ended_at is None
    assert view.induce.proven_at is None and view.advice[0].id == "no co2"


def test_cuff_and_its_recheck() -> None:
    induce = seen_at(71).induce
    assert induce.cuff is not None and (induce.cuff.text, induce.cuff.unit) == ("20", "cmH₂O")
    assert induce.cuff_volume is not None and induce.cuff_volume.text == "1.5"
    assert induce.cuff_recheck == at(80)
    assert seen_at(103).induce.cuff_recheck == at(80)
    assert seen_at(127).induce.cuff_recheck is None


def test_a_turn_asks_for_the_cuff_again() -> None:
    """A7: the cuff is checked ten minutes after the first time and after each turn."""
    book = teasel()
    book.tell(127, ev.Positioned, position="left side", disconnected_first=True)
    assert seen_at(127.5, book).induce.cuff_recheck == at(127)
