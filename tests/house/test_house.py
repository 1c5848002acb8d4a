"""The rules of the house, held by tests: imports, clocks, words, names, sources, pages of the manual."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from spiracle.case.events import Event, every_event
from spiracle.refusals import Refusal, every_refusal

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "spiracle"
BELOW_DOORS = [p for p in sorted(SOURCE.rglob("*.py")) if "doors" not in p.relative_to(SOURCE).parts]
FORBIDDEN_CALLS = {
    "now",
    "utcnow",
    "today",
    "time",
    "monotonic",
    "perf_counter",
    "open",
    "read_text",
    "getenv",
    "urlopen",
    "uuid1",
    "uuid4",
}
FORBIDDEN_MODULES = {"os", "time", "socket", "random", "secrets", "subprocess", "asyncio", "threading", "pathlib", "urllib",
                     "requests", "httpx", "sqlalchemy", "starlette", "uvicorn", "typst", "zoneinfo"}  # fmt: skip


def tracked(*patterns: str) -> list[Path]:
    """Files of the repository, whether committed yet or not, without what git ignores."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", *patterns],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).is_file()]


@pytest.mark.parametrize("path", BELOW_DOORS, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_clock_file_network_or_chance_below_the_doors(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            assert not {a.name.split(".")[0] for a in node.names} & FORBIDDEN_MODULES, f"{path}:{node.lineno}"
        if isinstance(node, ast.ImportFrom) and node.module:
            assert node.module.split(".")[0] not in FORBIDDEN_MODULES, f"{path}:{node.lineno}"
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            owner = getattr(getattr(node.func, "value", None), "id", "")
            if name in FORBIDDEN_CALLS and (
                owner in {"datetime", "date", "Path", "os"} or isinstance(node.func, ast.Name)
            ):
                pytest.fail(f"{path}:{node.lineno} calls {owner}.{name}")


def test_no_file_is_named_for_nothing() -> None:
    bad = re.compile(r"(^|/)(utils?|helpers?|common|manager|service|misc)[^/]*\.(py|ts|svelte)$")
    assert [p for p in tracked() if bad.search(p.relative_to(ROOT).as_posix())] == []


def test_no_module_of_ours_is_long() -> None:
    """Two modules are long because they are one list each: the event vocabulary and the shapes of the pages. Tests that are
    one table of findings, or one case told to its end, may be as long as the table or the case."""
    may_be_long = {
        "src/spiracle/case/events.py",
        "src/spiracle/sheets/shapes.py",
        "tests/figures/test_review.py",
        "tests/cases/test_view_teasel.py",
    }
    long = {
        p.relative_to(ROOT).as_posix(): n
        for p in tracked("*.py")
        if (n := len(p.read_text("utf-8").splitlines())) > 450
    }
    assert not {k: v for k, v in long.items() if k not in may_be_long}


def test_pins_name_no_registry() -> None:
    assert not [p for p in tracked("requirements/*.txt") if "://" in p.read_text("utf-8")]
    lock = ROOT / "tablet" / "package-lock.json"
    assert '"resolved"' not in lock.read_text("utf-8")
    assert "uv.lock" not in {p.name for p in tracked()}


def test_every_pin_of_the_project_is_exact() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    wanted = project["project"]["dependencies"] + project["dependency-groups"]["dev"]
    assert [w for w in wanted if not re.search(r"==\d", w)] == []


def test_no_path_of_a_machine_in_tracked_files() -> None:
    machine = re.compile(r"/(?:w[o]rk|f[a]rm)/|/r[o]ot/|/home/\w")
    texts = [
        p
        for p in tracked()
        if p.suffix in {".py", ".ts", ".svelte", ".md", ".toml", ".json", ".css", ".typ", ".html", ""}
    ]
    found = [
        str(p)
        for p in texts
        if p.name not in {"LICENSE", "test_house.py"} and machine.search(p.read_text("utf-8", "replace"))
    ]
    assert found == []


def test_every_event_says_in_the_manual_what_it_is() -> None:
    page = (ROOT / "docs" / "events.md").read_text("utf-8")
    for event in every_event():
        assert event.__doc__, event.__name__
        assert f"## {event.__name__}" in page or f"### {event.__name__}" in page, event.__name__


def test_every_event_has_two_clocks_a_hand_and_a_device() -> None:
    for event in every_event():
        assert set(Event.__struct_fields__) <= set(event.__struct_fields__)
        assert event.__struct_config__.frozen
        assert event.__struct_config__.forbid_unknown_fields


def test_refusals_form_one_tree_in_one_file() -> None:
    tree = (SOURCE / "refusals.py").read_text("utf-8")
    for kind in every_refusal():
        assert issubclass(kind, Refusal)
        assert kind.__module__ == "spiracle.refusals"
        assert f"── {kind.__name__} " in tree, kind.__name__


def test_generated_pages_are_current() -> None:
    """docs/ holds what the code says; `python3 dev.py docs` writes them."""
    from spiracle.doors.manual import pages

    for name, text in pages().items():
        assert (ROOT / "docs" / name).read_text("utf-8") == text, f"docs/{name} is old: python3 dev.py docs"


def test_every_guarded_hazard_has_a_test_that_carries_it() -> None:
    from spiracle.doors.manual import carried_by_tests
    from spiracle.doors.tables import table_texts
    from spiracle.sheets.hazards import read_hazards

    carried = carried_by_tests(ROOT / "tests")
    assert [h.id for h in read_hazards(table_texts()["hazards"]) if h.state != "open" and h.id not in carried] == []


def test_a_start_reads_every_table_without_waiting_for_numpy() -> None:
    """The first page does not need what only an estimate does; numpy takes a good part of a second to load on a small machine."""
    said = "import sys, spiracle.doors.web; from spiracle.doors.tables import load_facts; load_facts(); print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
