"""Laws of the predicted level on the screen: more of a drug is never less of it, and the hour of the day plays no part."""

from __future__ import annotations

from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from casebook import Book
from level_case import animal, induced_with, pushed, running

SLOW = settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
DOSES = st.lists(st.tuples(st.integers(0, 20), st.integers(2, 15)), min_size=1, max_size=4)


def of_doses(doses: list[tuple[int, int]], shift: float = 0) -> Book:
    b = induced_with(animal(), ml="10")
    for minute, mg in doses:
        pushed(b, 60 + shift + minute / 4, str(mg))
    return b


@SLOW
@given(DOSES, st.integers(0, 3), st.integers(1, 10))
def test_more_of_it_never_lowers_the_band(doses: list[tuple[int, int]], which: int, more: int) -> None:
    added = [(m, mg + more * (i == which % len(doses))) for i, (m, mg) in enumerate(doses)]
    one, two = (running(of_doses(x), 66, "propofol") for x in (doses, added))
    for name in ("low", "middle", "high"):
        assert all(a <= b for a, b in zip(getattr(one, name), getattr(two, name), strict=True))


@SLOW
@given(DOSES, st.integers(1, 300))
def test_another_hour_of_the_day_changes_nothing_but_the_times(doses: list[tuple[int, int]], shift: int) -> None:
    here, later = running(of_doses(doses), 66, "propofol"), running(of_doses(doses, shift), 66 + shift, "propofol")
    assert (here.low, here.middle, here.high, here.top) == (later.low, later.middle, later.high, later.top)
    assert (here.now_text, here.half_text, here.step_s) == (later.now_text, later.half_text, later.step_s)
    assert here.begin_at is not None and here.begin_at + timedelta(minutes=shift) == later.begin_at
    plain = [[f.minutes_text for f in x.falls if "interval" not in f.text] for x in (here, later)]
    assert plain[0] == plain[1]
