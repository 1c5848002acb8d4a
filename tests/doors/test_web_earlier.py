"""The same animal found again by its chip: which tube served last time, from this hospital's own log."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import httpx

from served import Hand, opening, post

CHIP = "985 112 000 123 456"


def an_earlier_case(web: httpx.Client, chip: str, **more: Any) -> Hand:
    """A first size that leaked and the next one up that served."""
    before = Hand(str(uuid.uuid4()))
    tube = {"cuffed": True}
    answers = post(
        web, before, *opening(before), before.entry("PatientDescribed", chip=chip, **more),
        before.entry("AttemptBegan", attempt="a1", tube_id_mm="3.5"),
        before.entry("AttemptEnded", attempt="a1", outcome="in", view="full", after=timedelta(seconds=20)),
        before.entry("TubePlaced", id_mm="3.5", attempt="a1", after=timedelta(seconds=21), **tube),
        before.entry("TubeWithdrawn", reason="leak", leak_cmh2o="6", after=timedelta(seconds=60)),
        before.entry("AttemptBegan", attempt="a2", tube_id_mm="4", changed="size", after=timedelta(seconds=130)),
        before.entry("AttemptEnded", attempt="a2", outcome="in", after=timedelta(seconds=150)),
        before.entry("TubePlaced", id_mm="4", attempt="a2", after=timedelta(seconds=151), **tube),
        before.entry("TroubleBegan", trouble="t1", kind="hypotension", after=timedelta(seconds=240)),
    )  # fmt: skip
    assert [a["refused"] for a in answers] == [None] * len(answers), answers
    return before


def test_the_tube_that_served_last_time_is_found_by_the_chip_however_it_is_spaced(
    web: httpx.Client, hand: Hand
) -> None:
    before = an_earlier_case(web, CHIP, age="4 y")
    an_earlier_case(web, "985 112 000 999 999")
    post(web, hand, *opening(hand), hand.entry("PatientDescribed", chip=CHIP.replace(" ", "")))
    found = web.get(f"/api/cases/{hand.case}/earlier").json()
    assert found["chip"] == CHIP.replace(" ", "")
    (one,) = found["found"]
    assert (one["case"], one["tube_id"], one["tube_outcome"], one["full_grown"]) == (before.case, "4.0", "served", True)
    assert "3.5 in" in one["airway"] and "leak at 6 cmH₂O" in one["airway"]
    assert one["trouble"] == "hypotension"


def test_without_a_chip_nothing_is_looked_up_and_an_age_nobody_told_stays_unknown(
    web: httpx.Client, hand: Hand
) -> None:
    an_earlier_case(web, CHIP)
    post(web, hand, *opening(hand))
    assert web.get(f"/api/cases/{hand.case}/earlier").json() == {"chip": "", "found": []}
    post(web, hand, hand.entry("PatientDescribed", chip=CHIP))
    assert web.get(f"/api/cases/{hand.case}/earlier").json()["found"][0]["full_grown"] is None


def test_another_species_with_the_same_number_is_another_animal(web: httpx.Client, hand: Hand) -> None:
    an_earlier_case(web, CHIP)
    post(web, hand, hand.entry("CaseOpened", species="dog"), hand.entry("PatientDescribed", chip=CHIP))
    assert web.get(f"/api/cases/{hand.case}/earlier").json()["found"] == []
