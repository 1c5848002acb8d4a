"""One contract for both databases: what goes in comes out, once, in order, and stays."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from served import NOW, wait_for
from spiracle.case.events import CaseOpened, Event, NoteWritten, PatientDescribed, Weighed, decode, encode
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import LogStore, Overtaken, open_store
from spiracle.doors.log_store_schema import HEAD, LOG, make_engine, read_url, revision
from spiracle.doors.log_store_seal import seal
from spiracle.refusals import IdTaken, NotOneOf


def made(kind: type[Event], case: str, **fields: Any) -> Any:
    return kind(id=str(uuid.uuid4()), case=case, happened_at=NOW, recorded_at=NOW, by="tec", **fields)


def opened(case: str) -> CaseOpened:
    found: CaseOpened = made(CaseOpened, case, species="cat")
    return found


def note(case: str, text: str = "calm") -> NoteWritten:
    found: NoteWritten = made(NoteWritten, case, text=text)
    return found


@pytest.fixture
def case() -> str:
    return str(uuid.uuid4())


def test_what_goes_in_comes_out_in_order(store: LogStore, case: str) -> None:
    weight: Weighed = made(Weighed, case, weight_kg=Decimal("4.20"), method="scale")
    first = store.append(case, [opened(case)], 0)
    rest = store.append(case, [weight, note(case, "µg ≥ ₂ – „ok“")], 1)
    assert [n.seq for n in (*first, *rest)] == [1, 2, 3]
    assert store.entries(case) == (*first, *rest)
    assert store.entries(case, 1) == rest
    found = store.entries(case)[1].event
    assert isinstance(found, Weighed) and str(found.weight_kg) == "4.20", "a trailing zero is part of what was typed"
    assert store.find(weight.id) == (case, rest[0])
    assert store.find(str(uuid.uuid4())) is None


def test_an_arrival_is_the_clock_of_the_store(store: LogStore, case: str, clock: SetClock) -> None:
    clock.forward(timedelta(minutes=3))
    (entry,) = store.append(case, [opened(case)], 0)
    assert entry.arrived_at == NOW + timedelta(minutes=3)
    assert store.entries(case) == (entry,)


def test_a_repeat_gives_back_what_is_stored(store: LogStore, case: str, clock: SetClock) -> None:
    """U19, D10: an entry sent twice is written once."""
    event = opened(case)
    first = store.append(case, [event], 0)
    clock.forward(timedelta(hours=1))
    assert store.append(case, [event], 0) == first, "the place it was decided at does not matter any more"
    assert store.append(case, [decode(encode(event))], 77) == first
    assert len(store.entries(case)) == 1


def test_the_same_id_with_other_words_is_refused(store: LogStore, case: str) -> None:
    """D10: nothing is overwritten."""
    event = note(case)
    store.append(case, [opened(case), event], 0)
    with pytest.raises(IdTaken):
        store.append(case, [NoteWritten(**{**_fields(event), "text": "wild"})], 2)
    other = str(uuid.uuid4())
    with pytest.raises(IdTaken):
        store.append(other, [NoteWritten(**{**_fields(event), "case": other})], 0)
    assert len(store.entries(case)) == 2
    assert store.entries(other) == ()


def _fields(event: NoteWritten) -> dict[str, Any]:
    return {name: getattr(event, name) for name in event.__struct_fields__}


def test_all_of_an_append_is_written_or_none(store: LogStore, case: str) -> None:
    known = note(case)
    store.append(case, [opened(case), known], 0)
    with pytest.raises(IdTaken):
        store.append(case, [note(case), NoteWritten(**{**_fields(known), "text": "other"}), note(case)], 2)
    assert len(store.entries(case)) == 2


def test_who_comes_late_is_told(stores: Callable[[], LogStore], case: str) -> None:
    here, there = stores(), stores()
    here.append(case, [opened(case)], 0)
    there.append(case, [note(case)], 1)
    with pytest.raises(Overtaken) as late:
        here.append(case, [note(case)], 1)
    assert late.value.seq == 2
    assert len(here.entries(case)) == 2


def test_many_writers_of_two_processes_leave_one_unbroken_log(stores: Callable[[], LogStore], case: str) -> None:
    """Eight threads over two stores, each retrying when overtaken: every entry once, places without a hole."""
    both = (stores(), stores())
    both[0].append(case, [opened(case)], 0)
    wanted = [note(case, f"note {n}") for n in range(80)]

    def put(number: int) -> None:
        store = both[number % 2]
        while True:
            try:
                store.append(case, [wanted[number]], store.case(case)[1])
            except Overtaken:
                continue
            return

    with ThreadPoolExecutor(8) as hands:
        list(hands.map(put, range(80)))
    stored = both[0].entries(case)
    assert [n.seq for n in stored] == list(range(1, 82))
    assert {n.event.id for n in stored[1:]} == {n.id for n in wanted}
    assert both[1].verify() == ()


def test_one_id_raced_by_two_processes_is_stored_once(stores: Callable[[], LogStore]) -> None:
    both = (stores(), stores())
    for _ in range(10):
        cases = [str(uuid.uuid4()), str(uuid.uuid4())]
        start = threading.Barrier(2)
        one = note(cases[0])
        rivals = [one, NoteWritten(**{**_fields(one), "case": cases[1]})]

        def put(n: int, rivals: list[NoteWritten] = rivals, cases: list[str] = cases, start: Any = start) -> str:
            start.wait()
            try:
                both[n].append(cases[n], [rivals[n]], 0)
            except (IdTaken, Overtaken):
                return "refused"
            return "stored"

        with ThreadPoolExecutor(2) as hands:
            assert sorted(hands.map(put, range(2))) == ["refused", "stored"]


def test_the_folded_case_follows_the_log_of_all_processes(stores: Callable[[], LogStore], case: str) -> None:
    here, there = stores(), stores()
    here.append(case, [opened(case)], 0)
    assert here.case(case)[1] == 1
    event = note(case)
    there.append(case, [event], 1)
    folded, seq = here.case(case)
    assert seq == 2
    assert folded.line(event.id) is not None
    assert there.case(str(uuid.uuid4()))[1] == 0


def test_an_entry_is_heard_of_in_every_process_within_a_second(stores: Callable[[], LogStore], case: str) -> None:
    here, there = stores(), stores()
    heard: list[tuple[str, int]] = []
    stop = there.watch(lambda c, s: heard.append((c, s)))
    here.append(case, [opened(case)], 0)
    assert wait_for(lambda: (case, 1) in heard) < 1
    here.append(case, [note(case)], 1)
    assert wait_for(lambda: (case, 2) in heard) < 1
    stop()
    before = len(heard)
    here.append(case, [note(case)], 2)
    assert there.case(case)[1] == 3
    assert len(heard) == before


def test_cases_are_listed_newest_first_and_signed_ones_leave_the_day(
    store: LogStore, case: str, clock: SetClock
) -> None:
    from spiracle.case.events import RecordSigned

    other = str(uuid.uuid4())
    store.append(case, [opened(case)], 0)
    clock.forward(timedelta(minutes=1))
    store.append(other, [opened(other)], 0)
    assert [(r.case, r.seq) for r in store.case_rows()] == [(other, 1), (case, 1)]
    assert store.open_cases(clock.now()) == (other, case)
    store.append(case, [made(RecordSigned, case, role="veterinarian")], 1)
    assert store.open_cases(clock.now()) == (other, case), "signed just now: still on the day sheet"
    assert store.open_cases(clock.now() + timedelta(hours=24)) == (other,)


def test_an_animal_is_found_by_words_of_its_signalment(store: LogStore, case: str) -> None:
    other = str(uuid.uuid4())
    for one, chip in ((case, "985 112 000"), (other, "98%_2 000")):
        store.append(one, [opened(one), made(PatientDescribed, one, chip=chip)], 0)
    assert store.describing("985 112 000") == (case,)
    assert store.describing("98%_2") == (other,), "a sign of the search stands for itself"
    assert store.describing("98__112") == ()


@pytest.mark.parametrize("act", ["update log set body = 'x'", "delete from log", "update log set seq = seq + 1"])
def test_the_database_itself_refuses_to_change_an_entry(store: LogStore, database: str, case: str, act: str) -> None:
    """D11: append-only by trigger."""
    store.append(case, [opened(case)], 0)
    engine = make_engine(read_url(database), writer=True)
    with pytest.raises(sa.exc.DBAPIError, match="append-only"), engine.begin() as link:
        link.exec_driver_sql(act)
    engine.dispose()
    assert len(store.entries(case)) == 1


def test_a_changed_entry_breaks_its_seal(store: LogStore, database: str, case: str) -> None:
    """D11: Someone with the database's own tools takes the guards away and edits one body: the place is named."""
    store.append(case, [opened(case), note(case, "calm"), note(case, "quiet")], 0)
    whole = str(uuid.uuid4())
    store.append(whole, [opened(whole)], 0)
    assert store.verify() == ()
    engine = make_engine(read_url(database), writer=True)
    with engine.begin() as link:
        if link.dialect.name == "sqlite":
            link.exec_driver_sql("drop trigger log_no_update")
        else:
            link.exec_driver_sql("alter table log disable trigger log_no_change")
        body = link.execute(sa.select(LOG.c.body).where(LOG.c.case_id == case, LOG.c.seq == 2)).scalar_one()
        changed = body.replace("calm", "wild")
        assert changed != body
        link.execute(LOG.update().where(LOG.c.case_id == case, LOG.c.seq == 2).values(body=changed))
    engine.dispose()
    assert [(b.case, b.seq) for b in store.verify()] == [(case, 2)]
    assert store.verify(whole) == ()


def test_an_end_cut_off_is_found_by_the_seal_on_paper(store: LogStore, database: str, case: str) -> None:
    """The rows that are left are whole; only what was printed knows that there were more."""
    store.append(case, [opened(case), note(case), note(case)], 0)
    printed = store.head(case)
    assert printed.startswith("3 ")
    assert store.holds(case, printed[:20])
    assert not store.holds(case, "3 00000000") and not store.holds(case, "3 ") and not store.holds(case, "x")
    engine = make_engine(read_url(database), writer=True)
    with engine.begin() as link:
        if link.dialect.name == "sqlite":
            link.exec_driver_sql("drop trigger log_no_delete")
        else:
            link.exec_driver_sql("alter table log disable trigger log_no_change")
        link.execute(LOG.delete().where(LOG.c.case_id == case, LOG.c.seq == 3))
    engine.dispose()
    assert store.verify() == ()
    assert not store.holds(case, printed)
    assert store.head(str(uuid.uuid4())) == ""


def test_the_seal_is_sha_256_over_the_fields_and_the_seal_before() -> None:
    """The digest of the empty-led string, worked with another program: printf '0:1:c1:11:t1:b' | sha256sum."""
    told = subprocess.run(["sha256sum"], input=b"0:1:c1:11:t1:b", capture_output=True, check=True).stdout.split()[0]
    assert seal("", "c", 1, "t", "b") == told.decode()


def test_migrations_lead_to_the_shape_the_code_writes(store: LogStore, database: str) -> None:
    """The migrated table has the columns and constraints of the code's own table, and HEAD is the last file."""
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    from spiracle.doors import migrations

    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD
    engine = make_engine(read_url(database), writer=False)
    with engine.connect() as link:
        assert revision(link) == HEAD
        looked = sa.inspect(link)
        columns = {c["name"]: c["nullable"] for c in looked.get_columns("log")}
        assert columns == {c.name: bool(c.nullable) for c in LOG.columns}
        unique = {tuple(u["column_names"]) for u in looked.get_unique_constraints("log")}
        assert unique == {("case_id", "seq"), ("id",)}
        assert {i["name"] for i in looked.get_indexes("log")} >= {"log_kind"}
    engine.dispose()


def test_opening_again_needs_no_migration_tool(database: str, clock: SetClock) -> None:
    """Alembic is slow to load; a log at its newest shape opens without it. Asked in a process of its own."""
    open_store(database, clock).close()
    code = ("import sys; from spiracle.doors.log_store import open_store; open_store(sys.argv[1]).close(); "
            "print('alembic' in sys.modules)")  # fmt: skip
    said = subprocess.run(
        [sys.executable, "-c", code, database], capture_output=True, text=True, check=True, env=_env()
    )
    assert said.stdout.strip() == "False"


def test_two_processes_open_an_empty_database_at_once(database: str) -> None:
    """Started by one click each, at the same moment: both come up, and the log has its shape once."""
    code = "import sys; from spiracle.doors.log_store import open_store; input(); open_store(sys.argv[1]).close()"
    both = [
        subprocess.Popen([sys.executable, "-c", code, database], stdin=subprocess.PIPE, env=_env()) for _ in range(4)
    ]
    for one in both:
        assert one.stdin is not None
        one.stdin.write(b"\n")
        one.stdin.flush()
    assert [one.wait(60) for one in both] == [0, 0, 0, 0]


@pytest.mark.parametrize("address", ["mysql://x/y", "sqlite://", "sqlite:///:memory:", "not an address"])
def test_an_address_that_cannot_hold_a_log_is_refused(address: str) -> None:
    with pytest.raises(NotOneOf, match="database"):
        open_store(address)


WRITES = """
import os, sys, uuid
from datetime import UTC, datetime
from spiracle.case.events import NoteWritten
from spiracle.doors.log_store import open_store

def write(address, case, at=datetime(2026, 5, 4, 9, tzinfo=UTC)):
    print("pid", os.getpid(), flush=True)
    store = open_store(address)
    seq = len(store.entries(case))
    while True:
        event = NoteWritten(id=str(uuid.uuid4()), case=case, happened_at=at, recorded_at=at, by="tec", text="calm " * 40)
        seq = store.append(case, [event], seq)[0].seq
        print("id", event.id, flush=True)

for _ in sys.stdin:
    child = os.fork()
    if not child:
        write(*sys.argv[1:])
    os.waitpid(child, 0)
    print("over", flush=True)
"""


def _env() -> dict[str, str]:
    import spiracle

    return {**os.environ, "PYTHONPATH": str(Path(spiracle.__file__).parents[1])}


def test_an_acknowledged_entry_survives_kill_9(database: str, clock: SetClock, case: str) -> None:
    """D9: twenty times a process writes in a loop, says each id once acknowledged, and is killed in the middle."""
    open_store(database, clock).close()
    acknowledged: list[str] = []
    nest = subprocess.Popen([sys.executable, "-c", WRITES, database, case], stdin=subprocess.PIPE,
                            stdout=subprocess.PIPE, text=True, env=_env())  # fmt: skip
    assert nest.stdin is not None and nest.stdout is not None
    for kill in range(20):
        nest.stdin.write("go\n")
        nest.stdin.flush()
        writer = int(nest.stdout.readline().split()[1])
        said = [nest.stdout.readline() for _ in range(3 + kill % 7)]
        os.kill(writer, signal.SIGKILL)
        said += iter(nest.stdout.readline, "over\n")
        acknowledged += [words[1] for line in said if (words := line.split())[0] == "id"]
    nest.stdin.close()
    assert nest.wait() == 0
    store = open_store(database, clock)
    found = [n.event.id for n in store.entries(case)]
    assert set(acknowledged) <= set(found)
    assert len(acknowledged) >= 20 * 3
    assert len(found) - len(acknowledged) <= 20, "each kill can leave at most one entry that was not yet acknowledged"
    assert store.verify() == ()
    store.close()


def test_bodies_are_plain_json_that_any_program_can_read(store: LogStore, database: str, case: str) -> None:
    event: Weighed = made(Weighed, case, weight_kg=Decimal("0.85"), method="scale")
    store.append(case, [event], 0)
    engine = make_engine(read_url(database), writer=False)
    with engine.connect() as link:
        body = json.loads(link.execute(sa.select(LOG.c.body)).scalar_one())
    engine.dispose()
    assert body["event"] == "Weighed"
    assert body["weight_kg"] == 0.85
    assert body["happened_at"] == "2026-05-04T09:00:00Z"


def test_closing_waits_for_what_was_asked(database: str, clock: SetClock, case: str) -> None:
    store = open_store(database, clock)
    asked = [store.submit(c, [opened(c)], 0) for c in (str(uuid.uuid4()) for _ in range(200))]
    store.close()
    assert all(a.done() and a.exception() is None for a in asked)
