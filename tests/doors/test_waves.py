"""The archive of waves on both databases: what was acknowledged is there once, to the sample, whatever happens meanwhile."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from served import NOW
from spiracle.doors.clock import SetClock
from spiracle.doors.waves import writer
from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.schema import MESSAGE, MINUTE, PACKET
from spiracle.doors.waves.shapes import NUMBERS
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Refusal
from waves_made import HOUR, LATER, ON_ONE, all_of, number, packet, same, stream


def test_what_goes_in_comes_out_before_and_after_packing(archive: WaveArchive) -> None:
    sent, said = stream(3200), [number(n * 1000) for n in range(130)]
    done = [
        archive.append([p], [n] if n is not None else [], "") for p, n in zip(sent, said + [None] * 3070, strict=True)
    ]
    assert all(d.result() for d in done)
    loose, numbers = all_of(archive), archive.numbers("larch", NOW, LATER)
    assert archive.packets("larch", "co2", NOW, LATER) == tuple(sent)
    assert numbers == tuple(said), "digit for digit: 98.0 is not 98"
    assert str(numbers[0].value) == "98.0"
    assert archive.pack(LATER) == 6, "three minutes of a wave, three of numbers"
    assert archive.pack(LATER) == 0
    assert same(all_of(archive), loose)
    assert archive.packets("larch", "co2", NOW, LATER) == tuple(sent)
    assert archive.numbers("larch", NOW, LATER) == numbers
    (run,) = loose
    assert run.samples.tolist() == [n % 400 for n in range(12800)]
    assert (run.unit, run.rate_hz, run.scale, run.offset, run.monitor, run.first_at) == (
        "mm[Hg]",
        100,
        0.1,
        0,
        "m1",
        NOW,
    )
    assert run.until == NOW + timedelta(seconds=128)
    assert run.arrived_ms[1] - run.arrived_ms[0] == 40 and run.starts[1] == 4
    assert archive.verify("larch") == ()


def test_only_minutes_that_are_over_are_packed(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    archive.append(stream(3200), [], "").result()
    assert archive.pack(NOW + timedelta(seconds=119)) == 1
    with waves_engine.connect() as link:
        assert link.execute(sa.select(sa.func.count()).select_from(PACKET)).scalar() == 1700
        assert link.execute(sa.select(MINUTE.c.samples)).scalars().all() == [6000]
    assert len(all_of(archive)[0].samples) == 12800, "a run goes on from what is packed into what is not"


@ON_ONE
def test_a_missing_sample_stays_missing(archive: WaveArchive) -> None:
    archive.append([packet(0), packet(40, (None,) * 6, gap="no finger"), packet(100, (9,))], [], "").result()
    for _ in range(2):
        (run,) = all_of(archive)
        assert run.missing.tolist() == [False, False, True, False, *[True] * 6, False]
        assert np.isnan(run.values).tolist() == run.missing.tolist()
        assert run.values[0] == pytest.approx(0.1)
        assert archive.packets("larch", "co2", NOW, LATER)[1].gap == "no finger"
        archive.pack(LATER)


@ON_ONE
def test_a_gap_stays_a_gap_and_nothing_is_put_in(archive: WaveArchive) -> None:
    archive.append([packet(0), packet(2040), packet(2080)], [], "").result()
    for _ in range(2):
        first, second = all_of(archive)
        assert (first.broke, second.broke) == ("start", "gap")
        assert second.first_at - first.until == timedelta(seconds=2)
        assert [len(r.samples) for r in (first, second)] == [4, 8]
        archive.pack(LATER)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"rate_hz": 125.0}, "format"), ({"scale": 0.01}, "format"), ({"offset": 1.0}, "format"), ({"unit": "kPa"}, "format"),
        ({"first_at": NOW + timedelta(milliseconds=20)}, "overlap"), ({"monitor": "m2"}, "start"),
    ],
)  # fmt: skip
@ON_ONE
def test_another_format_or_device_is_another_run(archive: WaveArchive, changed: dict[str, Any], why: str) -> None:
    archive.append([packet(0)], [], "").result()
    archive.append([packet(40, **changed)], [], "").result()
    for _ in range(2):
        runs = all_of(archive)
        assert [len(r.samples) for r in runs] == [4, 4]
        assert runs[1].broke == why
        archive.pack(LATER)


@ON_ONE
def test_two_devices_at_one_time_keep_a_run_each(archive: WaveArchive) -> None:
    for p in stream(50):
        archive.append([p], [], "")
        archive.append([packet(0, p.samples, first_at=p.first_at, monitor="m2")], [], "").result()
    assert [(r.monitor, len(r.samples)) for r in all_of(archive)] == [("m1", 200), ("m2", 200)]


@ON_ONE
def test_a_count_of_the_device_is_better_evidence_than_a_clock(archive: WaveArchive) -> None:
    """The clock moves a packet by 60 ms, the device counted on: nothing is lost. Without a count it would be a gap."""
    moved = NOW + timedelta(milliseconds=100)
    archive.append([packet(0, seq=500), packet(0, seq=504, first_at=moved)], [], "").result()
    archive.append([packet(0, wave="pleth"), packet(0, wave="pleth", first_at=moved)], [], "").result()
    (run,) = all_of(archive)
    assert (run.seq, len(run.samples)) == (500, 8)
    assert [r.broke for r in all_of(archive, "pleth")] == ["start", "gap"]


@ON_ONE
def test_a_clock_that_drifts_breaks_the_run_in_the_end(archive: WaveArchive) -> None:
    """A device whose 100 Hz are 99: each packet is within half a sample of the last, the whole is not to be counted through."""
    drifting = [packet(0, first_at=NOW + timedelta(microseconds=n * 40_404)) for n in range(1000)]
    archive.append(drifting, [], "").result()
    runs = all_of(archive)
    assert {r.broke for r in runs} == {"start", "clock"}
    assert sum(len(r.samples) for r in runs) == 4000
    for run in runs:
        assert abs((run.until - run.first_at).total_seconds() - len(run.starts) * 0.040404) <= 0.26


def test_packets_out_of_order_and_late_ones_find_their_place(archive: WaveArchive) -> None:
    sent = stream(2000)
    mixed = list(sent)
    random.Random(6).shuffle(mixed)  # noqa: S311
    for n in range(0, 1900, 100):
        archive.append(mixed[n : n + 100], [], f"{n}")
    archive.append([], [], "").result()
    archive.append([packet(0, case="other")], [], "").result()
    archive.pack(LATER)
    archive.append(mixed[1900:], [], "late").result()
    assert archive.packets("larch", "co2", NOW, LATER) == tuple(sent)
    (run,) = all_of(archive)
    assert archive.pack(LATER) > 0, "what came after the packing makes blobs of its own"
    assert same((run,), all_of(archive))
    assert run.samples.tolist() == [n % 400 for n in range(8000)]
    assert archive.verify("larch") == ()


def test_a_window_is_cut_to_the_sample(archive: WaveArchive) -> None:
    archive.append(stream(4000), [number(n * 1000) for n in range(160)], "").result()
    archive.pack(NOW + timedelta(seconds=100))
    start, end = NOW + timedelta(milliseconds=58_995), NOW + timedelta(seconds=61)
    (run,) = archive.read("larch", "co2", start, end)
    assert run.samples.tolist() == [n % 400 for n in range(5900, 6100)]
    assert run.first_at == NOW + timedelta(seconds=59)
    assert [n.at for n in archive.numbers("larch", start, end)] == [NOW + timedelta(seconds=s) for s in (59, 60)]
    assert archive.read("larch", "co2", LATER, LATER + HOUR) == ()
    assert archive.read("larch", "pleth", NOW, LATER) == archive.read("nobody", "co2", NOW, LATER) == ()


def test_what_was_nobodys_stays_apart(archive: WaveArchive) -> None:
    archive.append([packet(0, case="")], [], "").result()
    archive.append([packet(40)], [], "").result()
    assert archive.cases() == ("", "larch")
    assert [len(all_of(archive, case=c)[0].samples) for c in ("", "larch")] == [4, 4]


def test_what_a_case_has_is_counted(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    archive.append(stream(3000), [number(0)], "").result()
    archive.pack(NOW + timedelta(seconds=70))
    co2, numbers = archive.waves("larch")
    assert (co2.wave, co2.monitor, co2.samples, co2.first_at, co2.until) == (
        "co2",
        "m1",
        12000,
        NOW,
        NOW + timedelta(seconds=120),
    )
    assert (numbers.wave, numbers.samples) == (NUMBERS, 1)
    with waves_engine.connect() as link:
        sizes = [link.execute(sa.select(sa.func.sum(sa.func.length(t.c.body)))).scalar() or 0 for t in (PACKET, MINUTE)]
    assert co2.bytes + numbers.bytes == sum(sizes)
    assert archive.waves("nobody") == ()


# ---- repeats


def test_a_message_sent_twice_is_kept_once(archive: WaveArchive) -> None:
    """U19, D10: a monitor that had no answer sends again."""
    first = [archive.append([packet(0)], [number(0)], "msg-1") for _ in range(5)]
    assert [f.result() for f in first] == [True, False, False, False, False], "even within one commit"
    assert archive.append([packet(0)], [number(0)], "msg-1").result() is False
    archive.pack(LATER)
    assert archive.append([packet(0)], [number(0)], "msg-1").result() is False, "packing forgets nothing"
    assert archive.append([packet(40, monitor="m2")], [], "msg-1").result(), "ids are a monitor's own"
    assert len(archive.packets("larch", "co2", NOW, LATER)) == 2
    assert len(archive.numbers("larch", NOW, LATER)) == 1


@ON_ONE
def test_without_an_id_there_is_no_repeat(archive: WaveArchive) -> None:
    assert [archive.append([packet(n * 40)], [], "").result() for n in range(3)] == [True] * 3
    assert len(all_of(archive)[0].samples) == 12


def test_two_processes_keep_one_message_once(archives: Callable[[], WaveArchive]) -> None:
    both = (archives(), archives())
    done = [(n, one.append([packet(n * 40)], [], f"m{n}")) for n in range(40) for one in both]
    new = [n for n, answer in done if answer.result()]
    assert sorted(new) == list(range(40))
    assert len(all_of(both[0])[0].samples) == 160


def test_ids_are_forgotten_after_a_day(archive: WaveArchive, clock: SetClock, waves_engine: sa.Engine) -> None:
    archive.append([packet(0)], [], "old").result()
    clock.forward(timedelta(hours=23))
    archive.append([packet(40)], [], "new").result()
    clock.forward(timedelta(hours=2))
    archive.pack(NOW)
    with waves_engine.connect() as link:
        assert link.execute(sa.select(MESSAGE.c.message_id)).scalars().all() == ["new"]


def test_a_flood_of_one_monitor_pushes_out_no_ids_but_its_own(
    archive: WaveArchive, waves_engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """D10: the other's oldest message is still a repeat after twelve of the one that floods, where five are remembered."""
    monkeypatch.setattr(writer, "REMEMBERED", 5)
    monkeypatch.setattr(writer, "COUNTED", 1)
    assert archive.append([packet(0, monitor="quiet")], [], "first").result()
    done = [archive.append([packet(n * 40)], [], f"id {n}") for n in range(12)]
    assert all(d.result() for d in done)
    archive.pack(NOW)
    with waves_engine.connect() as link:
        kept = link.execute(sa.select(MESSAGE.c.message_id).order_by(MESSAGE.c.id)).scalars().all()
    assert kept == ["first", *(f"id {n}" for n in range(7, 12))]
    assert archive.append([packet(0, monitor="quiet")], [], "first").result() is False
    assert archive.append([packet(11 * 40)], [], "id 11").result() is False


def test_ids_of_all_monitors_are_bounded_in_number(
    archive: WaveArchive, waves_engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "IN_ALL", 5)
    done = [archive.append([packet(0, monitor=f"m{n}")], [], "id") for n in range(12)]
    assert all(d.result() for d in done)
    archive.pack(NOW)
    with waves_engine.connect() as link:
        assert link.execute(sa.select(MESSAGE.c.monitor).order_by(MESSAGE.c.id)).scalars().all() == [
            f"m{n}" for n in range(7, 12)
        ]


# ---- refusals

BAD: list[tuple[dict[str, Any], type[Refusal]]] = [
    ({"samples": ()}, Missing), ({"samples": (1,) * 6001}, OutOfRange), ({"samples": (2**31,)}, OutOfRange),
    ({"rate_hz": 0.0}, OutOfRange), ({"rate_hz": float("nan")}, OutOfRange), ({"scale": float("inf")}, OutOfRange),
    ({"wave": ""}, NotOneOf), ({"wave": NUMBERS}, NotOneOf), ({"monitor": ""}, Missing), ({"monitor": "a\0b"}, OutOfRange),
    ({"seq": -1}, OutOfRange), ({"first_at": datetime(2026, 1, 1)}, Missing), ({"case": "x" * 400}, OutOfRange),  # noqa: DTZ001
]  # fmt: skip


@pytest.mark.parametrize(("changed", "refusal"), BAD, ids=lambda x: str(x)[:40])
@ON_ONE
def test_what_cannot_be_held_is_refused_by_name(
    archive: WaveArchive, changed: dict[str, Any], refusal: type[Refusal]
) -> None:
    with pytest.raises(refusal):
        archive.append([packet(0, monitor=changed.get("monitor", "m1")), packet(40, **changed)], [], "bad")
    assert all_of(archive) == (), "all of a message is kept, or nothing"


@ON_ONE
def test_a_message_is_from_one_monitor(archive: WaveArchive) -> None:
    with pytest.raises(Contradiction, match="monitor"):
        archive.append([packet(0)], [number(0, monitor="m2")], "x")


@ON_ONE
def test_an_empty_message_is_done_at_once(archive: WaveArchive) -> None:
    assert archive.append([], [], "empty").result(0)


def test_one_bad_row_takes_no_other_with_it(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    """What the database refuses reaches the one who asked, and nobody else in the same commit."""
    table = "wave_packet"
    trap = ("CREATE TRIGGER trap BEFORE INSERT ON wave_packet WHEN new.case_id = 'cursed' BEGIN SELECT RAISE(ABORT, 'no'); END"
            if waves_engine.dialect.name == "sqlite" else
            f"ALTER TABLE {table} ADD CONSTRAINT trap CHECK (case_id <> 'cursed')")  # fmt: skip
    with waves_engine.connect() as link:
        link.exec_driver_sql(trap)
    done = [archive.append([packet(n * 40, case="cursed" if n == 7 else "larch")], [], f"{n}") for n in range(20)]
    assert [n for n, d in enumerate(done) if d.exception() is not None] == [7]
    assert sum(len(r.samples) for r in all_of(archive)) == 19 * 4
