"""A server whose hospital file cannot be used does not start: the process ends and says the row."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

SPIRACLE = Path(sys.executable).parent / "spiracle"


def test_one_tube_in_french_gauge_keeps_the_server_from_starting(tmp_path: Path) -> None:
    """Once started it would answer every case with a refusal."""
    file = tmp_path / "ours.toml"
    file.write_text('name = "Ours"\n[[tubes]]\nid = "14 Fr"\n', "utf-8")
    told = [str(SPIRACLE), "serve", "--hospital", str(file), "--port", "0", "--database",
            f"sqlite:///{tmp_path / 'log.sqlite'}"]  # fmt: skip
    said = subprocess.run(told, capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode == 1
    assert "ours.toml: tubes, row 1 ('14 Fr'): id: French gauge" in said.stderr
