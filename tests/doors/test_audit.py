"""The audit by its doors: the web's address and the command, over real databases."""

from __future__ import annotations

import json
import subprocess
import sys
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from casebook import Book, d
from served import Hand, post
from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.doors.clock import SetClock, WallClock
from spiracle.doors.log_store import LogStore, open_store
from spiracle.doors.own_book import OwnBook

SPIRACLE = Path(sys.executable).parent / "spiracle"


def an_induction(web: httpx.Client, *mg: str) -> Hand:
    """A cat of 4 kg that was given pushes of alfaxalone a half minute apart, decided and stored like any other."""
    h, half = Hand(str(uuid.uuid4())), timedelta(seconds=30)
    pushes = [h.entry("DrugGiven", drug="alfaxalone", amount=m, unit="mg", route="IV", purpose="induction",
                      order="o1", after=half * (n + 1))
              for n, m in enumerate(mg)]  # fmt: skip
    tube_at = half * (len(mg) + 2)
    signs: list[dict[str, Any]] = [{"sign": s} for s in ("left chest", "right chest", "stylet out", "valve open")]
    answers = post(
        web, h, h.entry("CaseOpened", species="cat", name="Bramblewick"),
        h.entry("Weighed", weight_kg="4", method="scale", confirmed=True), h.entry("AsaAssigned", asa="II", by="vet"),
        h.entry("DrugOrdered", order="o1", drug="alfaxalone", purpose="induction", route="IV", low="1", high="5", unit="mg/kg",
                ordered_by="vet", by="vet"),
        *pushes,
        h.entry("AttemptBegan", attempt="a1", tube_id_mm="4", after=tube_at - timedelta(seconds=20)),
        h.entry("AttemptEnded", attempt="a1", outcome="in", after=tube_at),
        *(h.entry("ProofNoted", after=tube_at, **s) for s in signs),
        h.entry("ProofNoted", sign="depth", depth_cm="12", after=tube_at),
        h.entry("ProofNoted", sign="co2", breaths=6, after=tube_at + half),
        h.entry("AirwayProven", method="CO2", after=tube_at + half),
    )  # fmt: skip
    assert [a["refused"] for a in answers] == [None] * len(answers), [a["refused"] for a in answers]
    return h


@pytest.fixture(autouse=True)
def _later(clock: SetClock) -> None:
    """The entries of a case lie in the past when they are posted."""
    clock.forward(timedelta(minutes=10))


def test_inductions_of_the_log_by_the_web(web: httpx.Client) -> None:
    """8 mg of 4 kg are 2 mg/kg; two pushes, the tube a minute and a half after the first."""
    an_induction(web, "4", "4")
    sheet = web.get("/api/audit/inductions").json()
    (group,) = sheet["groups"]
    assert (group["title"], group["n"], sheet["counted"]) == ("Cat, alfaxalone, no premedication", 1, 1)
    (dose,) = group["parts"][0]["doses"]
    assert (dose["value"], dose["unit"], dose["text"]) == (2, "mg/kg", "2")
    assert dose["working"]
    assert "Bramblewick" not in json.dumps(sheet)


def test_a_case_that_grew_is_read_again(web: httpx.Client) -> None:
    h = an_induction(web, "4", "4")
    assert web.get("/api/audit/inductions").json()["counted"] == 1
    log = web.get(f"/api/cases/{h.case}/log").json()
    first = next(n["event"]["id"] for n in log if n["event"]["event"] == "DrugGiven")
    (struck,) = post(
        web, h, h.entry("EntryStruck", target=first, reason="not given", seen_by="vet", after=timedelta(minutes=5))
    )
    assert struck["refused"] is None, struck
    (dose,) = web.get("/api/audit/inductions").json()["groups"][0]["parts"][0]["doses"]
    assert dose["value"] == 1


def test_days_by_the_web(web: httpx.Client) -> None:
    an_induction(web, "4")
    assert web.get("/api/audit/inductions?from=2026-05-04&to=2026-05-04").json()["counted"] == 1
    assert web.get("/api/audit/inductions?from=2026-05-05").json()["counted"] == 0
    for asked, field in (("from=yesterday", "from"), ("from=2026-05-05&to=2026-05-04", "to")):
        said = web.get(f"/api/audit/inductions?{asked}")
        assert (said.status_code, said.json()["refused"]["field"]) == (422, field)


def test_a_case_that_did_not_grow_is_read_once(log: LogStore, facts: Facts) -> None:
    """Only what is new in the log is read: the rest stands as it was read."""
    tell(log, "11111111-1111-4111-8111-111111111111", "20")
    book = OwnBook(log, facts)
    first = book.own()
    kept = dict(book._kept)
    tell(log, "22222222-2222-4222-8222-222222222222", "30")
    second = book.own()
    assert (len(first.found), len(second.found)) == (1, 2)
    assert all(book._kept[case] is entry for case, entry in kept.items())


# ---- the command


def tell(store: LogStore, case: str, mg: str, **opened: Any) -> None:
    b = Book(case)
    b.tell(0, ev.CaseOpened, species="dog", name="Bramblewick", **opened)
    b.tell(1, ev.Weighed, weight_kg=d("10"), method="scale")
    b.tell(60, ev.DrugGiven, drug="propofol", amount=d(mg), unit="mg", route="IV", purpose="induction")
    b.tell(60.5, ev.AttemptBegan, attempt="a", tube_id_mm=d("8"))
    b.tell(61, ev.AttemptEnded, attempt="a", outcome="in")
    b.tell(61.5, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(61.5, ev.AirwayProven, method="CO2")
    events = [e.event for e in b.entries]
    store.append(case, [type(e)(**{**{f: getattr(e, f) for f in e.__struct_fields__}, "id": str(uuid.uuid4())})
                        for e in events], 0)  # fmt: skip


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Seven dogs: 4 to 5.2 mg/kg by 0.2; and one practice case that is not to be mixed with them."""
    url = f"sqlite:///{tmp_path_factory.mktemp('audit') / 'log.sqlite'}"
    store = open_store(url, WallClock())
    for n in range(7):
        tell(store, str(uuid.uuid4()), str(40 + 2 * n))
    tell(store, str(uuid.uuid4()), "400", practice=True)
    store.close()
    return url


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(SPIRACLE), *words], capture_output=True, text=True, check=False, timeout=60)


def test_the_command_in_words(told: str) -> None:
    """Of seven the middle one is 4.6; the least and the greatest hold the median in 98.4 % (printed table, see the laws)."""
    said = run("audit", "--database", told)
    assert said.returncode == 0, said.stderr
    assert "Own inductions from 2026-03-12 to 2026-03-12: 7 counted, 1 left out" in said.stdout
    assert "median 4.6 mg/kg, 98.4 % interval 4 to 5.2, 7 animals" in said.stdout
    assert "   1  a practice case" in said.stdout
    assert "no order" in said.stdout and "Bramblewick" not in said.stdout
    assert "≈ est., next" in said.stdout
    assert "522.2005" in said.stdout, "published doses stand beside"


def test_the_command_as_data(told: str) -> None:
    said = run("audit", "--database", told, "--format", "json", "--from", "2026-03-12", "--to", "2026-03-12")
    part = json.loads(said.stdout)["inductions"]["groups"][0]["parts"][0]
    assert (part["median"]["value"], part["median"]["unit"]) == (4.6, "mg/kg")
    assert part["median"]["working"] == "the 4th of 7 in order"
    assert (part["interval"]["low"]["value"], part["interval"]["high"]["value"]) == (4, 5.2)
    assert part["next_range"]["low"]["predicted"] is True
    none = run("audit", "--database", told, "--format", "json", "--to", "2025-12-31")
    assert json.loads(none.stdout)["inductions"]["counted"] == 0


@pytest.mark.parametrize(
    ("words", "field"), [(("--from", "12 March"), "from"), (("--from", "2026-02-01", "--to", "2026-01-01"), "to")]
)
def test_a_day_that_is_none_is_refused(told: str, words: tuple[str, ...], field: str) -> None:
    said = run("audit", "--database", told, *words)
    assert (said.returncode, said.stdout) == (1, "")
    assert said.stderr.startswith(f"{field}: ")
    assert len(said.stderr.strip().splitlines()) == 1
