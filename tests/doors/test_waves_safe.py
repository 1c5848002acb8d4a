"""What may befall the archive of waves: damage, killed writers, two processes, a failed packing; and telling a case again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import sqlalchemy as sa

from served import NOW
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import open_store
from spiracle.doors.waves import archive as archive_module
from spiracle.doors.waves.archive import WaveArchive, open_archive
from spiracle.doors.waves.packing import Torn
from spiracle.doors.waves.replay import replay
from spiracle.doors.waves.schema import HEAD, MESSAGE, MINUTE, PACKET, read_url, revision, waves_url_of
from spiracle.doors.waves.shapes import NUMBERS
from waves_made import HOUR, LATER, ON_ONE, all_of, number, packet, same, stream

# ---- damage

MINUTE_OF_NOW = int(NOW.timestamp()) // 60
DROP = {
    "sqlite": "DROP TRIGGER wave_minute_no_update",
    "postgresql": "DROP TRIGGER wave_minute_no_change ON wave_minute",
}


def test_packed_minutes_cannot_be_changed_or_taken_away(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    archive.append(stream(100), [], "").result()
    archive.pack(LATER)
    for line in ("UPDATE wave_minute SET samples = 1", "DELETE FROM wave_minute"):
        with pytest.raises(sa.exc.DatabaseError, match="append-only"), waves_engine.connect() as link:
            link.exec_driver_sql(line)


def flip(link: sa.Connection, table: sa.Table, mine: sa.ColumnElement[bool]) -> None:
    """Turn one bit of a kept body, as a failing disk would."""
    if table is MINUTE:
        link.exec_driver_sql(DROP[link.dialect.name])
    body = bytearray(link.execute(sa.select(table.c.body).where(mine)).scalar_one())
    body[len(body) // 2] ^= 4
    link.execute(table.update().where(mine).values(body=bytes(body)))


def test_a_flipped_bit_is_found_and_costs_its_own_minute_alone(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    """D11: four minutes, the third damaged: the others come to the sample, and the read says what lacks."""
    archive.append(stream(6000), [number(n * 60_000) for n in range(4)], "").result()
    archive.append([packet(120_000, monitor="m2")], [], "").result()
    archive.pack(LATER)
    assert archive.verify("larch") == ()
    assert archive.damaged("larch", "co2", NOW, LATER) == ()
    with waves_engine.connect() as link:
        flip(
            link,
            MINUTE,
            sa.and_(MINUTE.c.wave == "co2", MINUTE.c.minute == MINUTE_OF_NOW + 2, MINUTE.c.monitor == "m1"),
        )
    (found,) = archive.verify("larch")
    assert found.wave == "co2" and "09:02" in found.says
    window = archive.window("larch", "co2", NOW, LATER)
    assert [(r.monitor, len(r.samples), r.broke) for r in window.runs] == [
        ("m1", 12_000, "start"), ("m2", 4, "start"), ("m1", 6_000, "damage")]  # fmt: skip
    assert window.runs[2].samples.tolist() == [n % 400 for n in range(18_000, 24_000)]
    (torn,) = window.damaged
    assert (torn.monitor, torn.first_at, torn.until) == (
        "m1",
        NOW + timedelta(minutes=2),
        NOW + timedelta(minutes=3),
    )
    assert "checksum" in torn.says
    assert archive.damaged("larch", "co2", NOW, LATER) == window.damaged
    within = archive.window("larch", "co2", NOW + timedelta(seconds=130), NOW + timedelta(seconds=190))
    assert [(len(r.samples), r.broke) for r in within.runs] == [(1000, "damage")] and len(within.damaged) == 1
    assert archive.damaged("larch", "co2", NOW, NOW + timedelta(minutes=2)) == ()
    assert len(archive.packets("larch", "co2", NOW, LATER)) == 4501
    assert len(archive.numbers("larch", NOW, LATER)) == 4
    assert sum(p.packet is not None for p in replay(archive, "larch", NOW, LATER)) == 4501


def test_damaged_numbers_cost_their_own_minute_alone(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    archive.append([], [number(n * 60_000) for n in range(4)], "").result()
    archive.pack(NOW + timedelta(minutes=2))
    with waves_engine.connect() as link:
        flip(link, MINUTE, MINUTE.c.minute == MINUTE_OF_NOW + 1)
        flip(link, PACKET, PACKET.c.minute == MINUTE_OF_NOW + 2)
    assert [n.at for n in archive.numbers("larch", NOW, LATER)] == [NOW, NOW + timedelta(minutes=3)]
    assert [d.first_at for d in archive.damaged("larch", NUMBERS, NOW, LATER)] == [
        NOW + timedelta(minutes=m) for m in (1, 2)
    ]
    assert [b.wave for b in archive.verify("larch")] == [NUMBERS]


def test_verify_finds_a_minute_that_was_taken_out_or_put_elsewhere(
    archive: WaveArchive, waves_engine: sa.Engine
) -> None:
    archive.append(stream(6000), [], "").result()
    archive.pack(LATER)
    with waves_engine.connect() as link:
        link.exec_driver_sql(DROP[waves_engine.dialect.name])
        link.execute(MINUTE.update().where(MINUTE.c.place == 2).values(place=9))
    (found,) = archive.verify("larch")
    assert found.place == 2


def test_a_torn_row_stays_where_it_is_and_the_rest_is_packed(
    archive: WaveArchive, waves_engine: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One row of the first of two minutes; with blobs of 100 rows, so that it lies between others of its minute."""
    monkeypatch.setattr(archive_module, "AT_ONCE", 100)
    archive.append([packet(n * 240, (n, None) * 12) for n in range(500)], [], "").result()
    with waves_engine.connect() as link:
        numbers = link.execute(sa.select(PACKET.c.id).order_by(PACKET.c.id)).scalars().all()
        for torn in (numbers[0], numbers[130]):
            flip(link, PACKET, PACKET.c.id == torn)
    assert archive.pack(LATER) == 6, "250 rows a minute, 100 a blob"
    assert isinstance(archive.trouble, Torn)
    with waves_engine.connect() as link:
        assert link.execute(sa.select(PACKET.c.id).order_by(PACKET.c.id)).scalars().all() == [numbers[0], numbers[130]]
    assert archive.pack(LATER) == 0
    window = archive.window("larch", "co2", NOW, LATER)
    assert [(r.samples[0], len(r.samples), r.broke) for r in window.runs] == [
        (1, 129 * 24, "damage"), (131, 369 * 24, "damage")]  # fmt: skip
    assert [d.first_at for d in window.damaged] == [NOW, NOW + timedelta(milliseconds=130 * 240)]
    (found,) = archive.verify("larch")
    assert found.place == 0 and str(numbers[0]) in found.says


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
    for kill in range(5):
        nest.stdin.write(f"{following}\n")
        nest.stdin.flush()
        child = int(nest.stdout.readline().split()[1])
        said = [nest.stdout.readline() for _ in range(2 + kill)]
        os.kill(child, signal.SIGKILL)
        said += iter(nest.stdout.readline, "over\n")
        kept = [int(words[1]) for line in said if len(words := line.split()) == 2 and words[0] == "kept"]
        assert kept == list(range(following, following + len(kept))), "a message without an answer may be sent again"
        following, kills = following + len(kept), kills + 1
        following += _unanswered(database, clock, following)
    nest.stdin.close()
    assert nest.wait() == 0 and kills == 5
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


def test_a_packing_that_fails_leaves_the_rows(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    """The blob cannot be written: the small rows are still there, and the next packing takes them."""
    archive.append(stream(100), [], "").result()
    before = all_of(archive)
    sqlite = waves_engine.dialect.name == "sqlite"
    with waves_engine.connect() as link:
        link.exec_driver_sql("CREATE TRIGGER trap BEFORE INSERT ON wave_minute BEGIN SELECT RAISE(ABORT, 'full'); END" if sqlite
                             else "ALTER TABLE wave_minute ADD CONSTRAINT trap CHECK (place < 0)")  # fmt: skip
    with pytest.raises(sa.exc.DatabaseError):
        archive.pack(LATER)
    assert same(all_of(archive), before)
    with waves_engine.connect() as link:
        link.exec_driver_sql("DROP TRIGGER trap" if sqlite else "ALTER TABLE wave_minute DROP CONSTRAINT trap")
    assert archive.pack(LATER) == 1
    assert same(all_of(archive), before)


@ON_ONE
def test_after_closing_nothing_is_taken(database: str, clock: SetClock) -> None:
    archive = WaveArchive(database, clock)
    archive.append([packet(0)], [], "").result()
    archive.close()
    assert isinstance(archive.append([packet(40)], [], "").exception(), RuntimeError)


# ---- a case told again


@ON_ONE
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


def test_the_newest_shape_is_the_last_migration(archive: WaveArchive, waves_engine: sa.Engine) -> None:
    steps = Path(__file__).resolve().parents[2] / "src/spiracle/doors/waves/migrations/versions"
    assert sorted(p.name[1:5] for p in steps.glob("v*.py"))[-1] == HEAD
    with waves_engine.connect() as link:
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


OPENS = """
import os, sys
import alembic.command, alembic.config
from spiracle.doors.waves.archive import WaveArchive

ready, go = os.pipe()
children = []
for _ in range(3):
    child = os.fork()
    if child == 0:
        os.close(go)
        os.read(ready, 1)
        WaveArchive(sys.argv[1]).close()
        sys.exit(0)
    children.append(child)
os.close(go)
sys.exit(sum(os.waitpid(child, 0)[1] != 0 for child in children))
"""


def test_processes_open_an_empty_archive_at_once(database: str) -> None:
    """Three that wait for one sign, forked from one that has loaded all: what they race for is the database."""
    assert subprocess.run([sys.executable, "-c", OPENS, database], env=_env(), timeout=120, check=False).returncode == 0
    archive = WaveArchive(database, background=False)
    try:
        assert archive.append([packet(0)], [], "").result()
    finally:
        archive.close()
