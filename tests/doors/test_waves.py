"""The archive of waves on both databases: what was acknowledged is there once, to the sample, whatever happens meanwhile."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from served import NOW
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import open_store
from spiracle.doors.waves import writer
from spiracle.doors.waves.archive import WaveArchive, open_archive
from spiracle.doors.waves.packing import Torn
from spiracle.doors.waves.replay import replay
from spiracle.doors.waves.schema import HEAD, MESSAGE, MINUTE, PACKET, make_engine, read_url, revision, waves_url_of
from spiracle.doors.waves.shapes import NUMBERS, KeptNumber, Packet, Run
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Refusal

HOUR = timedelta(hours=1)
LATER = NOW + HOUR


@pytest.fixture
def archives(database: str, clock: SetClock) -> Iterator[Callable[[], WaveArchive]]:
    """Opens as many archives on one database as a test asks for, like so many server processes. None packs by itself."""
    opened: list[WaveArchive] = []

    def one() -> WaveArchive:
        opened.append(WaveArchive(database, clock, background=False))
        return opened[-1]

    yield one
    for archive in opened:
        archive.close()


@pytest.fixture
def archive(archives: Callable[[], WaveArchive]) -> WaveArchive:
    return archives()


@pytest.fixture
def engine(database: str, archive: WaveArchive) -> Iterator[sa.Engine]:
    found = make_engine(read_url(database), writer=False)
    yield found
    found.dispose()


def packet(at_ms: int, samples: tuple[int | None, ...] = (1, 2, None, -4), **changed: Any) -> Packet:
    first = NOW + timedelta(milliseconds=at_ms)
    about: dict[str, Any] = {
        "case": "larch", "monitor": "m1", "wave": "co2", "unit": "mm[Hg]", "rate_hz": 100.0, "scale": 0.1, "offset": 0.0,
        "first_at": first, "arrived_at": first + timedelta(milliseconds=57), "samples": samples}  # fmt: skip
    return Packet(**{**about, **changed})


def number(at_ms: int, value: str | None = "98.0", **changed: Any) -> KeptNumber:
    at = NOW + timedelta(milliseconds=at_ms)
    about: dict[str, Any] = {
        "case": "larch", "monitor": "m1", "at": at, "arrived_at": at + timedelta(milliseconds=31), "reading": "spo2",
        "ref": "MDC_PULS_OXIM_SAT_O2", "value": None if value is None else Decimal(value), "unit": "%",
        "raw": f"{value} %"}  # fmt: skip
    return KeptNumber(**{**about, **changed})


def stream(count: int, size: int = 4) -> list[Packet]:
    """A sawtooth at 100 Hz, cut into packets."""
    return [packet(n * size * 10, tuple((n * size + k) % 400 for k in range(size))) for n in range(count)]


def same(a: tuple[Run, ...], b: tuple[Run, ...]) -> bool:
    return len(a) == len(b) and all(
        np.array_equal(getattr(x, f.name), getattr(y, f.name)) for x, y in zip(a, b, strict=True) for f in fields(Run)
    )


def all_of(archive: WaveArchive, wave: str = "co2", case: str = "larch") -> tuple[Run, ...]:
    return archive.read(case, wave, NOW - HOUR, NOW + 9 * HOUR)


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


def test_only_minutes_that_are_over_are_packed(archive: WaveArchive, engine: sa.Engine) -> None:
    archive.append(stream(3200), [], "").result()
    assert archive.pack(NOW + timedelta(seconds=119)) == 1
    with engine.connect() as link:
        assert link.execute(sa.select(sa.func.count()).select_from(PACKET)).scalar() == 1700
        assert link.execute(sa.select(MINUTE.c.samples)).scalars().all() == [6000]
    assert len(all_of(archive)[0].samples) == 12800, "a run goes on from what is packed into what is not"


def test_a_missing_sample_stays_missing(archive: WaveArchive) -> None:
    archive.append([packet(0), packet(40, (None,) * 6, gap="no finger"), packet(100, (9,))], [], "").result()
    for _ in range(2):
        (run,) = all_of(archive)
        assert run.missing.tolist() == [False, False, True, False, *[True] * 6, False]
        assert np.isnan(run.values).tolist() == run.missing.tolist()
        assert run.values[0] == pytest.approx(0.1)
        assert archive.packets("larch", "co2", NOW, LATER)[1].gap == "no finger"
        archive.pack(LATER)


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
def test_another_format_or_device_is_another_run(archive: WaveArchive, changed: dict[str, Any], why: str) -> None:
    archive.append([packet(0)], [], "").result()
    archive.append([packet(40, **changed)], [], "").result()
    for _ in range(2):
        runs = all_of(archive)
        assert [len(r.samples) for r in runs] == [4, 4]
        assert runs[1].broke == why
        archive.pack(LATER)


def test_two_devices_at_one_time_keep_a_run_each(archive: WaveArchive) -> None:
    for p in stream(50):
        archive.append([p], [], "")
        archive.append([packet(0, p.samples, first_at=p.first_at, monitor="m2")], [], "").result()
    assert [(r.monitor, len(r.samples)) for r in all_of(archive)] == [("m1", 200), ("m2", 200)]


def test_a_count_of_the_device_is_better_evidence_than_a_clock(archive: WaveArchive) -> None:
    """The clock moves a packet by 60 ms, the device counted on: nothing is lost. Without a count it would be a gap."""
    moved = NOW + timedelta(milliseconds=100)
    archive.append([packet(0, seq=500), packet(0, seq=504, first_at=moved)], [], "").result()
    archive.append([packet(0, wave="pleth"), packet(0, wave="pleth", first_at=moved)], [], "").result()
    (run,) = all_of(archive)
    assert (run.seq, len(run.samples)) == (500, 8)
    assert [r.broke for r in all_of(archive, "pleth")] == ["start", "gap"]


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


def test_what_a_case_has_is_counted(archive: WaveArchive, engine: sa.Engine) -> None:
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
    with engine.connect() as link:
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


def test_without_an_id_there_is_no_repeat(archive: WaveArchive) -> None:
    assert [archive.append([packet(n * 40)], [], "").result() for n in range(3)] == [True] * 3
    assert len(all_of(archive)[0].samples) == 12


def test_two_processes_keep_one_message_once(archives: Callable[[], WaveArchive]) -> None:
    both = (archives(), archives())
    done = [(n, one.append([packet(n * 40)], [], f"m{n}")) for n in range(40) for one in both]
    new = [n for n, answer in done if answer.result()]
    assert sorted(new) == list(range(40))
    assert len(all_of(both[0])[0].samples) == 160


def test_ids_are_forgotten_after_a_day(archive: WaveArchive, clock: SetClock, engine: sa.Engine) -> None:
    archive.append([packet(0)], [], "old").result()
    clock.forward(timedelta(hours=23))
    archive.append([packet(40)], [], "new").result()
    clock.forward(timedelta(hours=2))
    archive.pack(NOW)
    with engine.connect() as link:
        assert link.execute(sa.select(MESSAGE.c.message_id)).scalars().all() == ["new"]


def test_ids_are_bounded_in_number(archive: WaveArchive, engine: sa.Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "REMEMBERED", 5)
    for n in range(12):
        archive.append([packet(n * 40)], [], f"id {n}").result()
    archive.pack(NOW)
    with engine.connect() as link:
        assert link.execute(sa.select(MESSAGE.c.message_id).order_by(MESSAGE.c.id)).scalars().all() == [
            f"id {n}" for n in range(7, 12)
        ]


# ---- refusals

BAD: list[tuple[dict[str, Any], type[Refusal]]] = [
    ({"samples": ()}, Missing), ({"samples": (1,) * 6001}, OutOfRange), ({"samples": (2**31,)}, OutOfRange),
    ({"rate_hz": 0.0}, OutOfRange), ({"rate_hz": float("nan")}, OutOfRange), ({"scale": float("inf")}, OutOfRange),
    ({"wave": ""}, NotOneOf), ({"wave": NUMBERS}, NotOneOf), ({"monitor": ""}, Missing), ({"monitor": "a\0b"}, OutOfRange),
    ({"seq": -1}, OutOfRange), ({"first_at": datetime(2026, 1, 1)}, Missing), ({"case": "x" * 400}, OutOfRange),  # noqa: DTZ001
]  # fmt: skip


@pytest.mark.parametrize(("changed", "refusal"), BAD, ids=lambda x: str(x)[:40])
def test_what_cannot_be_held_is_refused_by_name(
    archive: WaveArchive, changed: dict[str, Any], refusal: type[Refusal]
) -> None:
    with pytest.raises(refusal):
        archive.append([packet(0, monitor=changed.get("monitor", "m1")), packet(40, **changed)], [], "bad")
    assert all_of(archive) == (), "all of a message is kept, or nothing"


def test_a_message_is_from_one_monitor(archive: WaveArchive) -> None:
    with pytest.raises(Contradiction, match="monitor"):
        archive.append([packet(0)], [number(0, monitor="m2")], "x")


def test_an_empty_message_is_done_at_once(archive: WaveArchive) -> None:
    assert archive.append([], [], "empty").result(0)


def test_one_bad_row_takes_no_other_with_it(archive: WaveArchive, engine: sa.Engine) -> None:
    """What the database refuses reaches the one who asked, and nobody else in the same commit."""
    table = "wave_packet"
    trap = ("CREATE TRIGGER trap BEFORE INSERT ON wave_packet WHEN new.case_id = 'cursed' BEGIN SELECT RAISE(ABORT, 'no'); END"
            if engine.dialect.name == "sqlite" else
            f"ALTER TABLE {table} ADD CONSTRAINT trap CHECK (case_id <> 'cursed')")  # fmt: skip
    with engine.connect() as link:
        link.exec_driver_sql(trap)
    done = [archive.append([packet(n * 40, case="cursed" if n == 7 else "larch")], [], f"{n}") for n in range(20)]
    assert [n for n, d in enumerate(done) if d.exception() is not None] == [7]
    assert sum(len(r.samples) for r in all_of(archive)) == 19 * 4


# ---- damage

DROP = {
    "sqlite": "DROP TRIGGER wave_minute_no_update",
    "postgresql": "DROP TRIGGER wave_minute_no_change ON wave_minute",
}


def test_packed_minutes_cannot_be_changed_or_taken_away(archive: WaveArchive, engine: sa.Engine) -> None:
    archive.append(stream(100), [], "").result()
    archive.pack(LATER)
    for line in ("UPDATE wave_minute SET samples = 1", "DELETE FROM wave_minute"):
        with pytest.raises(sa.exc.DatabaseError, match="append-only"), engine.connect() as link:
            link.exec_driver_sql(line)


def test_verify_finds_a_flipped_bit(archive: WaveArchive, engine: sa.Engine) -> None:
    archive.append(stream(6000), [number(0)], "").result()
    archive.pack(LATER)
    assert archive.verify("larch") == ()
    with engine.connect() as link:
        link.exec_driver_sql(DROP[engine.dialect.name])
        mine = sa.and_(MINUTE.c.wave == "co2", MINUTE.c.place == 3)
        body = bytearray(link.execute(sa.select(MINUTE.c.body).where(mine)).scalar_one())
        body[len(body) // 2] ^= 4
        link.execute(MINUTE.update().where(mine).values(body=bytes(body)))
    (found,) = archive.verify("larch")
    assert (found.wave, found.place) == ("co2", 3)
    assert "09:02" in found.says
    with pytest.raises(Torn):
        all_of(archive)
    assert len(archive.read("larch", "co2", NOW, NOW + timedelta(seconds=119))[0].samples) == 11900, (
        "the rest can be read"
    )


def test_verify_finds_a_minute_that_was_taken_out_or_put_elsewhere(archive: WaveArchive, engine: sa.Engine) -> None:
    archive.append(stream(6000), [], "").result()
    archive.pack(LATER)
    with engine.connect() as link:
        link.exec_driver_sql(DROP[engine.dialect.name])
        link.execute(MINUTE.update().where(MINUTE.c.place == 2).values(place=9))
    (found,) = archive.verify("larch")
    assert found.place == 2


def test_verify_finds_damage_in_a_row_that_is_not_packed(archive: WaveArchive, engine: sa.Engine) -> None:
    archive.append(stream(30), [], "").result()
    with engine.connect() as link:
        number_ = link.execute(sa.select(sa.func.min(PACKET.c.id))).scalar_one()
        body = bytearray(link.execute(sa.select(PACKET.c.body).where(PACKET.c.id == number_)).scalar_one())
        body[-9] ^= 1
        link.execute(PACKET.update().where(PACKET.c.id == number_).values(body=bytes(body)))
    assert archive.pack(LATER) == 0, "a torn row is not packed away"
    assert isinstance(archive.trouble, Torn)
    (found,) = archive.verify("larch")
    assert found.place == 0 and str(number_) in found.says


# ---- crashes and companions

WRITES = """
import os, sys, threading
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.shapes import KeptNumber, Packet

START = datetime(2026, 5, 4, 9, tzinfo=UTC)

def write(address, first):
    archive = WaveArchive(address, background=False)
    over = START + timedelta(days=1)
    def pack():
        while True:
            archive.pack(over)
    threading.Thread(target=pack, daemon=True).start()
    n = first
    while True:
        at = START + timedelta(milliseconds=1000 * n)
        some = [Packet(case="larch", monitor="m1", wave="co2", unit="mm[Hg]", rate_hz=100.0, scale=0.1, offset=0.0, seq=None,
                       first_at=at + timedelta(milliseconds=40 * k), arrived_at=at, samples=(n, k, None, -n)) for k in range(25)]
        value = KeptNumber(case="larch", monitor="m1", at=at, arrived_at=at, reading="spo2", ref="r", value=Decimal(n), unit="%",
                           raw=str(n))
        assert archive.append(some, [value], f"message {n}").result()
        print("kept", n, flush=True)
        n += 1

for line in sys.stdin:
    pid = os.fork()
    if pid == 0:
        print("pid", os.getpid(), flush=True)
        write(sys.argv[1], int(line))
    os.waitpid(pid, 0)
    print("over", flush=True)
"""


def _env() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2] / "src")}


def test_every_acknowledged_packet_is_there_once_after_a_kill(database: str, clock: SetClock) -> None:
    """D9: a process that appends and packs at once is killed again and again; the next one goes on where it had no answer."""
    WaveArchive(database, clock, background=False).close()
    nest = subprocess.Popen([sys.executable, "-c", WRITES, database], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
                            env=_env())  # fmt: skip
    assert nest.stdin is not None and nest.stdout is not None
    following = kills = 0
    for kill in range(8):
        nest.stdin.write(f"{following}\n")
        nest.stdin.flush()
        child = int(nest.stdout.readline().split()[1])
        said = [nest.stdout.readline() for _ in range(2 + kill % 5)]
        os.kill(child, signal.SIGKILL)
        said += iter(nest.stdout.readline, "over\n")
        kept = [int(words[1]) for line in said if len(words := line.split()) == 2 and words[0] == "kept"]
        assert kept == list(range(following, following + len(kept))), "a message without an answer may be sent again"
        following, kills = following + len(kept), kills + 1
        following += _unanswered(database, clock, following)
    nest.stdin.close()
    assert nest.wait() == 0 and kills == 8
    archive = WaveArchive(database, clock, background=False)
    try:
        for _ in range(2):
            runs = all_of(archive)
            assert len(runs) == 1, "nothing twice, nothing lost"
            assert len(runs[0].samples) == following * 100
            assert runs[0].samples[::100].tolist() == list(range(following))
            assert [n.value for n in archive.numbers("larch", NOW, NOW + HOUR)] == [
                Decimal(n) for n in range(following)
            ]
            assert archive.verify("larch") == ()
            archive.pack(NOW + 9 * HOUR)
    finally:
        archive.close()


def _unanswered(database: str, clock: SetClock, following: int) -> int:
    """1 if the message that was under way when the process died was written after all: then all of it is there."""
    archive = WaveArchive(database, clock, background=False)
    try:
        start = datetime(2026, 5, 4, 9, tzinfo=UTC) + timedelta(seconds=following)
        found = archive.packets("larch", "co2", start, start + HOUR)
        assert len(found) in {0, 25}
        return len(found) // 25
    finally:
        archive.close()


def test_two_who_pack_at_once_pack_every_row_once(archives: Callable[[], WaveArchive]) -> None:
    from concurrent.futures import ThreadPoolExecutor

    both = (archives(), archives())
    both[0].append([packet(n * 1000) for n in range(1200)], [], "").result()
    before = all_of(both[0])
    with ThreadPoolExecutor(2) as pool:
        made = list(pool.map(lambda one: one.pack(LATER), both))
    assert sum(made) == 20
    assert same(all_of(both[0]), before)
    assert both[1].verify("larch") == ()


def test_reading_while_packing_shows_every_sample_once(archives: Callable[[], WaveArchive]) -> None:
    from concurrent.futures import ThreadPoolExecutor

    here, there = archives(), archives()
    here.append(stream(9000), [], "").result()
    with ThreadPoolExecutor(1) as pool:
        packing = pool.submit(here.pack, LATER)
        seen = {sum(len(r.samples) for r in all_of(there))}
        while not packing.done():
            seen.add(sum(len(r.samples) for r in all_of(there)))
    assert seen == {36000}


def test_a_packing_that_fails_leaves_the_rows(archive: WaveArchive, engine: sa.Engine) -> None:
    """The blob cannot be written: the small rows are still there, and the next packing takes them."""
    archive.append(stream(100), [], "").result()
    before = all_of(archive)
    sqlite = engine.dialect.name == "sqlite"
    with engine.connect() as link:
        link.exec_driver_sql("CREATE TRIGGER trap BEFORE INSERT ON wave_minute BEGIN SELECT RAISE(ABORT, 'full'); END" if sqlite
                             else "ALTER TABLE wave_minute ADD CONSTRAINT trap CHECK (place < 0)")  # fmt: skip
    with pytest.raises(sa.exc.DatabaseError):
        archive.pack(LATER)
    assert same(all_of(archive), before)
    with engine.connect() as link:
        link.exec_driver_sql("DROP TRIGGER trap" if sqlite else "ALTER TABLE wave_minute DROP CONSTRAINT trap")
    assert archive.pack(LATER) == 1
    assert same(all_of(archive), before)


def test_after_closing_nothing_is_taken(database: str, clock: SetClock) -> None:
    archive = WaveArchive(database, clock)
    archive.append([packet(0)], [], "").result()
    archive.close()
    assert isinstance(archive.append([packet(40)], [], "").exception(), RuntimeError)


# ---- a case told again


def test_a_replay_gives_what_was_sent_at_its_offsets(archive: WaveArchive) -> None:
    sent = [*stream(8000), *(packet(n * 1000, tuple(range(100)), wave="pleth") for n in range(320))]
    said = [number(n * 1000) for n in range(320)]
    archive.append(sent, said, "").result()
    archive.pack(NOW + timedelta(seconds=200))
    start, end = NOW + timedelta(seconds=100), NOW + timedelta(seconds=300)
    played = list(replay(archive, "larch", start, end))
    offsets = [p.offset_s for p in played]
    assert offsets == sorted(offsets) and offsets[0] == 0
    packets = [p.packet for p in played if p.packet is not None]
    assert {p.wave for p in packets} == {"co2", "pleth"}
    wanted = [p for p in sent if start <= p.first_at < end]
    assert sorted(packets, key=lambda p: (p.wave, p.first_at)) == sorted(wanted, key=lambda p: (p.wave, p.first_at))
    assert [n for p in played for n in p.numbers] == [n for n in said if start <= n.at < end]
    for p in played:
        if p.packet is not None:
            assert p.offset_s == (p.packet.until - start).total_seconds()
    assert list(replay(archive, "nobody", start, end)) == []


# ---- where it lies


def test_the_newest_shape_is_the_last_migration(archive: WaveArchive, engine: sa.Engine) -> None:
    steps = Path(__file__).resolve().parents[2] / "src/spiracle/doors/waves/migrations/versions"
    assert sorted(p.name[1:5] for p in steps.glob("v*.py"))[-1] == HEAD
    with engine.connect() as link:
        assert revision(link) == HEAD
        for table in (PACKET, MINUTE, MESSAGE):
            made = {c["name"]: c["nullable"] for c in sa.inspect(link).get_columns(table.name)}
            assert made == {c.name: bool(c.nullable) for c in table.columns}
            assert {
                i["name"] for i in sa.inspect(link).get_indexes(table.name) if i["name"] != "wave_message_once"
            } == {str(i.name) for i in table.indexes}


def test_log_and_waves_share_a_postgresql_database_and_not_a_file(database: str, clock: SetClock) -> None:
    url = read_url(database)
    store, archive = open_store(database, clock), open_archive(database, clock=clock, background=False)
    try:
        archive.append([packet(0)], [], "").result()
        assert store.case_rows() == ()
        same_place = waves_url_of(url) == url
        assert same_place == (url.get_backend_name() == "postgresql")
        if not same_place:
            assert Path(str(waves_url_of(url).database)).name == "log-waves.sqlite"
    finally:
        archive.close()
        store.close()
    open_store(database, clock).close()


def test_two_processes_open_an_empty_archive_at_once(database: str) -> None:
    code = "import sys; from spiracle.doors.waves.archive import WaveArchive; input(); WaveArchive(sys.argv[1]).close()"
    both = [
        subprocess.Popen([sys.executable, "-c", code, database], stdin=subprocess.PIPE, env=_env()) for _ in range(3)
    ]
    for one in both:
        assert one.stdin is not None
        one.stdin.write(b"\n")
        one.stdin.flush()
    assert [one.wait(60) for one in both] == [0, 0, 0]
