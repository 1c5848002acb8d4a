"""The command line as a person runs it: a process, its output, its exit status."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import WallClock
from spiracle.doors.demo import fill, hospital_path
from spiracle.doors.log_store import open_store
from spiracle.doors.tables import load_facts

SPIRACLE = Path(sys.executable).parent / "spiracle"
ROOT = Path(__file__).resolve().parents[2]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(SPIRACLE), *words], capture_output=True, text=True, check=False, timeout=60)


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> str:
    url = f"sqlite:///{tmp_path_factory.mktemp('cli') / 'log.sqlite'}"
    store = open_store(url, WallClock())
    fill(store, load_facts(hospital_path()), WallClock())
    store.close()
    return url


def test_help_names_every_command_and_the_cautions() -> None:
    said = run("--help")
    assert said.returncode == 0
    for word in ("serve", "plan", "emergency", "record", "verify", "checks", "veterinarian"):
        assert word in said.stdout


@pytest.mark.parametrize(
    "words", [(), ("fly",), ("plan",), ("emergency", "--species", "dog"), ("record",), ("checks", "--format", "pdf")]
)
def test_wrong_usage_is_two(words: tuple[str, ...]) -> None:
    assert run(*words).returncode == 2


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("emergency", "--species", "ferret", "--weight", "1 kg"), "species"),
        (("emergency", "--species", "dog", "--weight", "12.4"), "weight"),
        (("emergency", "--species", "dog", "--weight", "1,5 kg"), "weight"),
        (("emergency", "--species", "dog", "--weight", "-3 kg"), "weight"),
        (("emergency", "--species", "cat", "--weight", "400 kg"), "weight"),
        (("serve", "--host", "0.0.0.0"), "host"),  # noqa: S104
    ],
)
def test_a_refusal_is_one_sentence_that_names_the_input_and_exit_one(words: tuple[str, ...], field: str) -> None:
    """U4, U13: nothing on standard output, one line on standard error."""
    said = run(*words)
    assert (said.returncode, said.stdout) == (1, "")
    assert said.stderr.startswith(f"{field}: ")
    assert len(said.stderr.strip().splitlines()) == 1


def test_checks_run_here_and_all_hold() -> None:
    said = run("checks", "--format", "json")
    rows = json.loads(said.stdout)
    assert said.returncode == 0
    assert len(rows) > 200
    assert all(r["passed"] for r in rows)
    assert set(rows[0]) >= {"id", "statement", "kind", "source", "expected", "got", "tolerance", "unit", "passed"}
    assert {r["kind"] for r in rows} <= {"published", "derived", "common_practice", "from_memory"}


def test_the_emergency_sheet_as_json_and_text() -> None:
    """The arrest table printed for a 20 kg dog: epinephrine 0.2 mL of 1 mg/mL (Merck Veterinary Manual table, 0.01 mL/kg)."""
    data = json.loads(run("emergency", "--species", "dog", "--weight", "20 kg", "--format", "json").stdout)
    first = next(d for d in data["emergency"]["drugs"] if d["drug"].startswith("epinephrine"))
    assert first["volume"]["value"] == 0.2
    said = run("emergency", "--species", "dog", "--weight", "20 kg").stdout
    assert "0.2 mL" in said.replace("\u00a0", " ")
    assert "verify every dose" in said.lower()


def test_a_stored_record_on_paper_and_as_data(database: str, tmp_path: Path) -> None:
    listed = run("record", "list", "--database", database).stdout.splitlines()
    assert len(listed) == 9, "eight patients and the hospital's ledger"
    case = max(listed, key=lambda line: int(line.split()[1])).split()[0]
    out = tmp_path / "record.pdf"
    said = run("record", case, "--database", database, "--hospital", str(hospital_path()), "--output", str(out))
    assert said.returncode == 0, said.stderr
    assert out.read_bytes().startswith(b"%PDF")
    log = json.loads(run("record", case, "--database", database, "--format", "json").stdout)
    assert [n["seq"] for n in log] == list(range(1, len(log) + 1))
    sheet = run("record", case, "--database", database, "--format", "csv").stdout.splitlines()
    assert len(sheet) == len(log) + 1
    assert run("record", "nobody", "--database", database).returncode == 1


def test_the_ledger_is_listed_as_such_and_is_data_but_no_record(database: str) -> None:
    listed = run("record", "list", "--database", database).stdout.splitlines()
    assert [line.split()[0] for line in listed if line.endswith("the hospital's ledger")] == [LEDGER]
    log = json.loads(run("record", LEDGER, "--database", database, "--format", "json").stdout)
    assert {"ProtocolWritten", "ProtocolApproved"} <= {n["event"]["event"] for n in log}
    said = run("record", LEDGER, "--database", database, "--format", "pdf")
    assert said.returncode == 1 and "ledger" in said.stderr


def test_verify_walks_the_ledger_too(database: str, tmp_path: Path) -> None:
    """U30, D11: a dose changed by hand in an approved protocol is found at its place."""
    copy = tmp_path / "copy.sqlite"
    with sqlite3.connect(database.removeprefix("sqlite:///")) as base, sqlite3.connect(copy) as other:
        base.backup(other)
    with sqlite3.connect(copy) as base:
        for (name,) in base.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            base.execute(f'drop trigger "{name}"')
        base.execute(
            "update log set body = replace(body, '\"high\":0.2', '\"high\":0.9') where kind = 'ProtocolWritten'"
        )
    base.close()
    said = run("verify", LEDGER, "--database", f"sqlite:///{copy}")
    assert said.returncode == 1 and LEDGER in said.stderr
    assert run("verify", LEDGER, "--database", database).returncode == 0


def test_verify_says_whole_and_names_where_a_log_was_changed_by_hand(database: str) -> None:
    """D11: an entry edited in the database file itself is found at its place."""
    assert run("verify", "--database", database).returncode == 0
    file = database.removeprefix("sqlite:///")
    with sqlite3.connect(file) as base:
        triggers = [name for (name,) in base.execute("select name from sqlite_master where type = 'trigger'")]
        for name in triggers:
            base.execute(f'drop trigger "{name}"')
        base.execute("update log set body = replace(body, '71.5', '17.5') where kind = 'Weighed'")
    base.close()
    said = run("verify", "--database", database)
    assert said.returncode == 1
    assert "entry" in said.stderr
