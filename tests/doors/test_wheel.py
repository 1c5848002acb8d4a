"""A wheel built from the tree carries the built pages and the print faces, so that an installed Spiracle needs no Node."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.xdist_group("browser")  # the build writes the pages anew that the browser tests serve
def test_the_wheel_carries_pages_faces_tables_and_licence(tmp_path: Path) -> None:
    uv = Path(sys.executable).parent / "uv"
    subprocess.run([str(uv), "build", "--wheel", "-q", "--build-constraints", str(ROOT / "requirements/build.txt"), "-o", str(tmp_path)],
                   cwd=ROOT, check=True, timeout=300)  # fmt: skip
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    assert "spiracle/web/index.html" in names
    assert any(n.startswith("spiracle/web/assets/") and n.endswith(".js") for n in names)
    assert "spiracle/web/sw.js" in names
    assert "spiracle/fonts/SourceSans3_400Regular.ttf" in names
    assert "spiracle/source/tables/hazards.toml" in names
    assert "spiracle/doors/print/record.typ" in names
    assert "spiracle/doors/plan.schema.json" in names
    assert any(n.endswith("licenses/LICENSE") for n in names)
    assert not [n for n in names if "node_modules" in n]
