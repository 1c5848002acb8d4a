"""Where samples lie in time: counted on, gaps as long as they were, no gap where packets only came late or a clock was set (D8)."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from small_house import NINE
from spiracle.doors.monitor_places import Placed, SampleClock
from spiracle.monitors.heard import Wave


def wave(n: int = 20, **more: Any) -> Wave:
    return Wave(**{"code": None, "ref": "", "wave": "co2", "unit": "kPa", "rate_hz": 100.0, "scale": 0.1, "offset": 0.0,
                   "samples": (0,) * n, **more})  # fmt: skip


def s(seconds: float) -> timedelta:
    return timedelta(seconds=seconds)


class Sender:
    """Puts packets down one after the other; `at` is arrival."""

    def __init__(self) -> None:
        self.clock = SampleClock()

    def put(self, at: float, n: int = 20, device: float | None = None, **more: Any) -> Placed:
        stamp = None if device is None else NINE - s(1440) + s(device)
        return self.clock.place(wave(n, device_at=stamp, **more), None, NINE + s(at))


def test_packets_on_end_count_on_whatever_the_jitter_of_arrival() -> None:
    sender = Sender()
    placed = [sender.put(0.2 * n + wobble) for n, wobble in enumerate((0.2, 0.9, 0.2, 0.5, 0.2), 1)]
    assert [p.first for p in placed] == [0, 20, 40, 60, 80]
    assert [p.first_at - placed[0].first_at for p in placed] == [s(0.2 * n) for n in range(5)]


def test_the_device_s_own_count_tells_a_gap_to_the_sample() -> None:
    sender = Sender()
    sender.put(0, seq=1000)
    found = sender.put(0.4, seq=1033)
    assert (found.missing, found.first) == (13, 33)
    assert sender.put(0.6, seq=1053).missing == 0


def test_what_was_there_before_is_not_taken_twice() -> None:
    sender = Sender()
    sender.put(0, seq=0)
    assert (sender.put(0.2, seq=10).skip, sender.clock.count) == (10, 30)
    assert sender.put(0.3, seq=0).skip == 20, "all of it"
    assert sender.clock.count == 30


def test_a_device_that_begins_to_count_anew_begins_anew() -> None:
    sender = Sender()
    sender.put(0, seq=1_000_000)
    found = sender.put(5, seq=0)
    assert found.fresh and (found.first, found.missing) == (20, 0)


def test_its_clock_tells_a_gap_where_it_does_not_count() -> None:
    sender = Sender()
    sender.put(0, device=0.001)
    assert sender.put(0.2, device=0.201).missing == 0
    assert sender.put(2.4, device=2.401).missing == 200


def test_a_bunch_after_a_hold_up_is_no_gap() -> None:
    """The network stood still for five seconds; every packet is there."""
    sender = Sender()
    sender.put(0, device=0.001)
    assert [sender.put(5 + n / 1000, device=0.2 * n + 0.001).missing for n in range(1, 26)] == [0] * 25


def test_a_clock_that_is_set_is_no_gap() -> None:
    """Daylight saving, or fallen back to 1970: the samples go on."""
    sender = Sender()
    sender.put(0, device=0.001)
    assert sender.put(0.2, device=3600.201).missing == 0
    assert sender.put(0.4, device=-1e9).missing == 0
    assert sender.clock.count == 60


def test_silence_is_a_gap_where_there_is_neither_count_nor_clock() -> None:
    sender = Sender()
    sender.put(0)
    assert sender.put(10.2).missing == 1000
    assert sender.put(10.4).missing == 0


def test_a_long_silence_begins_anew_and_another_rate_too() -> None:
    sender = Sender()
    sender.put(0)
    assert sender.put(3600).fresh
    assert sender.put(3600.2, rate_hz=200.0).fresh
    assert sender.clock.count == 60, "and the count goes on, so that a page sees it jump"


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(0, 300)), min_size=1, max_size=30))
def test_every_sample_has_its_place(cuts: list[tuple[int, int]]) -> None:
    """However a trace is cut and whatever is lost between, a sample's place is the device's own count of it."""
    sender, seq, at = Sender(), 0, 0.0
    for n, lost in cuts:
        at += (n + lost) / 100
        found = sender.put(at, n, seq=seq)
        assert found.first == seq and found.skip == 0
        assert abs((found.first_at - first_of(sender, found, seq)).total_seconds()) < 1e-3
        seq += n + lost


def first_of(sender: Sender, found: Placed, seq: int) -> datetime:
    """The first packet's moment, carried on by the count."""
    if seq == 0:
        sender.zero = found.first_at  # type: ignore[attr-defined]
    zero: datetime = sender.zero  # type: ignore[attr-defined]
    return zero + s(seq / 100)
