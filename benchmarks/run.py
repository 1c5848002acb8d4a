"""Runs the benchmarks and prints one table; `--write` puts it into docs/benchmarks.md.

python3 dev.py bench                 all
python3 dev.py bench plan_time ...   some
"""

from __future__ import annotations

import importlib
import platform
import sys
from datetime import UTC, datetime
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).resolve().parents[1] / "tests")]

from measuring import Result, table

ALL = (
    "plan_time",
    "plan_soak",
    "append_latency",
    "fold_time",
    "start_and_size",
    "print_time",
    "airway_time",
    "kinetics_time",
    "gas_time",
    "live_rooms",
    "wave_archive",
    "capnogram_time",
)
HEAD = """# Benchmarks

Written by `python3 dev.py bench --write`. Medians of one run on one machine; what counts is the ratio to the baseline that
was measured in the same run. Goals are ours.

"""


def main(words: list[str]) -> int:
    names = [w for w in words if not w.startswith("-")] or list(ALL)
    results: list[Result] = []
    for name in names:
        results += importlib.import_module(name).results()
        print(table(results[-2:]) if len(results) > 1 else table(results), flush=True)
    where = f"{platform.machine()}, {platform.python_implementation()} {platform.python_version()}, {datetime.now(UTC):%Y-%m-%d}"
    text = f"{HEAD}{where}\n\n{table(results)}\n"
    print("\n" + text)
    if "--write" in words:
        (Path(__file__).resolve().parents[1] / "docs" / "benchmarks.md").write_text(text, "utf-8")
    return 0 if all(r.met != "NO" for r in results) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
