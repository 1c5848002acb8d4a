"""The audit's words: which published doses stand beside a group, by the words of their own rows, and lines that fit a terminal."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from spiracle.doors.cli_audit import stands_beside


@pytest.mark.parametrize(
    ("says", "premedication", "stands"),
    [
        ("induction", "none", True),
        ("induction (premedicated), IV", "none", False),
        ("induction (premedicated), IV", "opioid", True),
        ("induction (no premedication)", "opioid", False),
        ("induction (premedicated or not)", "none", True),
        ("induction (after alpha-2)", "opioid", False),
        ("induction (after alpha-2)", "opioid + alpha-2 agonist", True),
        ("Without premedication 5.95 on average", "acepromazine", False),
        ("Without premedication 6.55, after a tranquilliser 4.5", "acepromazine", True),
        ("After acepromazine 0.03 mg/kg 1.4", "opioid", False),
        ("After butorphanol with medetomidine 1.5", "opioid", False),
        ("After butorphanol with medetomidine 1.5", "opioid + alpha-2 agonist", True),
    ],
)
def test_a_published_dose_stands_beside_animals_like_its_own(says: str, premedication: str, stands: bool) -> None:
    assert stands_beside(says, premedication) is stands


def test_the_command_names_the_database_it_read(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'log.sqlite'}"
    said = subprocess.run([str(Path(sys.executable).parent / "spiracle"), "audit", "--database", url],
                          capture_output=True, text=True, check=False, timeout=60)  # fmt: skip
    assert (said.returncode, said.stdout.splitlines()[0]) == (0, f"Read from {url}")
