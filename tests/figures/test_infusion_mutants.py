"""U3, U4: no factor can change unseen. Each number of the arithmetic is changed in a copy of the package, and the golden table
of infusions must then disagree. One subprocess tries them all.
"""

from __future__ import annotations

import ast
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import spiracle

HERE = Path(__file__).parent
PACKAGE = Path(spiracle.__file__).parent
# Which lines of which files carry factors: a pattern for the line, so that a moved line is still found.
UNITS = ("kg", "lb", "g", "mg", "mcg", "ng", "mIU", "IU", "mL", "L", "min", "h", "day")
FACTORS = {
    "quantity/units.py": rf'^    "({"|".join(UNITS)})": \(Base\.',
    "drugs/infusion.py": r"^_(SIXTY|THOUSAND) = ",
    "drugs/bags.py": r"^_HUNDRED = |return NotMeasurable|if filled >= 1|1 - filled",
    "drugs/drops.py": r"^_(MINUTES|SECONDS|ONE) = |quantize\(_TENTH|^_TENTH = ",
    "drugs/rows.py": r'parts\.get\("(kg|lb|animal)"\) == -1|_ANIMAL\)',
    "drugs/syringe.py": r"\* 100\)",
}
# What no table of rates can tell: a unit that stands alone in its kind cancels, and these factors only bound or word things.
SAME = {
    ("drugs/infusion.py", "_THOUSAND"): "the step from mcg to mg in words: the value is the same in either",
    ("drugs/bags.py", "filled >= 1"): "a bound: a bag that is all drug has no answer in the table",
}
CHANGES = (lambda n: n * 10, lambda n: n + n / 1000 if n < 1 else n + 1)


def _written(number: float | int, text: str) -> list[str]:
    """A number changed tenfold, and by a little."""
    made = [CHANGES[0](float(number)), CHANGES[1](float(number))]
    quoted = text.startswith('"')
    return [f'"{m:.10g}"' if quoted else (f"{m:.10g}") for m in made]


def mutants() -> list[tuple[str, str, str, str]]:
    """(name, file, old line, new line)."""
    found = []
    for file, pattern in FACTORS.items():
        for line in (PACKAGE / file).read_text(encoding="utf-8").splitlines():
            if not re.search(pattern, line) or any(file == f and part in line for f, part in SAME):
                continue
            for place in re.finditer(r'(?<![\w.])("?-?\d[\d_.]*"?)(?![\w])', line):
                text = place.group(1)
                value = ast.literal_eval(text.strip('"').replace("_", ""))
                for new in _written(value, text):
                    changed = line[: place.start(1)] + new + line[place.end(1) :]
                    found.append((f"{file}: {line.strip()} -> {changed.strip()}", file, line, changed))
    return found


# Factors that are written as operations: the change is spelt out.
OPERATIONS = [
    ("drugs/infusion.py", "amount.value * _SIXTY", "amount.value"),
    ("drugs/infusion.py", "amount.value * _SIXTY", "amount.value / _SIXTY"),
    ("drugs/infusion.py", "amount.value / concentration.number", "amount.value * concentration.number"),
    ("drugs/infusion.py", 'volume.number("mL") * _SIXTY', 'volume.number("mL")'),
    ("drugs/infusion.py", 'if "h" in times:', 'if "h" in times or "min" in times:'),
    ("drugs/infusion.py", "rate.value * held", "rate.value / held"),
    ("drugs/drops.py", "ml_h * drops_per_ml / _MINUTES", "ml_h * drops_per_ml"),
    ("drugs/drops.py", "whole * _MINUTES / drops_per_ml", "whole * _MINUTES / 20"),
    ("drugs/drops.py", "down_to(wanted, _ONE)", "down_to(wanted + _ONE, _ONE)"),
    ("drugs/drops.py", "SETS = (10, 15, 20, 60)", "SETS = (10, 15, 20)"),
    ("drugs/bags.py", "amount.value / rate.value", "amount.value * rate.value"),
    ("drugs/bags.py", "vial.value * added_ml / total_ml", "vial.value * added_ml"),
    ("drugs/bags.py", "total / rate.value", "holds.value / rate.value / 60"),
    ("drugs/bags.py", "holds.value / (1 - filled)", "holds.value"),
    ("drugs/bags.py", "bag_ml - removed_ml", "bag_ml + removed_ml"),
    ("drugs/bags.py", "filled * _HUNDRED > share", "filled > share"),
    ("drugs/bags.py", "* v > per_ml[i].value * total", "* v > per_ml[i].value * total * 2"),
    ("drugs/bags.py", "down_to(rate.value, fineness.pump_step.value)", "rate.value"),
    ("drugs/bags.py", "return down_to(ml, barrel.mark.value), barrel", "return ml, barrel"),
    (
        "drugs/rows.py",
        "amount = amount / Quantity(kg, _KG)\n",
        "amount = amount * Quantity(kg, _KG) / Quantity(kg * kg * kg, _KG)\n",
    ),
    ("drugs/rows.py", "return dose * Quantity(kg, _KG)\n", "return dose * Quantity(kg * kg, _KG)\n"),
    ("quantity/units.py", "** -exponent", "** exponent"),
]

RUNNER = r"""
import importlib, json, os, sys, tomllib
from pathlib import Path
root, here = Path(sys.argv[1]), Path(sys.argv[2])
sys.path[:0] = [str(root), str(here)]
sys.dont_write_bytecode = True
table = tomllib.loads((here / "infusions.toml").read_text(encoding="utf-8"))
from infusion_table import differences

def seen():
    for name in [n for n in sys.modules if n == "spiracle" or n.startswith("spiracle.")]:
        del sys.modules[name]
    importlib.invalidate_caches()
    try:
        found = differences(table)
    except Exception as fault:
        return f"{type(fault).__name__}: {fault}"[:160]
    return found[0][:160] if found else ""

answers = {"": seen()}
assert str(root) in sys.modules["spiracle"].__file__
stamp = 2_000_000_000
for name, file, old, new in json.load(sys.stdin):
    path = root / "spiracle" / file
    whole = path.read_text(encoding="utf-8")
    assert old in whole, (file, old)
    path.write_text(whole.replace(old, new, 1), encoding="utf-8")
    stamp += 10
    os.utime(path, (stamp, stamp))
    answers[name] = seen()
    path.write_text(whole, encoding="utf-8")
    stamp += 10
    os.utime(path, (stamp, stamp))
answers["back"] = seen()
print(json.dumps(answers))
"""


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    root = tmp_path_factory.mktemp("changed")
    shutil.copytree(
        PACKAGE, root / "spiracle", ignore=shutil.ignore_patterns("__pycache__", "web", "tables", "doors", "*.typ")
    )
    asked = mutants() + [(f"{f}: {old.strip()} -> {new.strip()}", f, old, new) for f, old, new in OPERATIONS]
    done = subprocess.run(
        [sys.executable, "-c", RUNNER, str(root), str(HERE)],
        input=json.dumps(asked),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    found: dict[str, str] = json.loads(done.stdout)
    return found


def test_the_copy_itself_agrees(answers: dict[str, str]) -> None:
    """U3: before anything is changed, and after everything is changed back, the copy gives the table."""
    assert answers[""] == "" and answers["back"] == ""


def test_every_changed_factor_is_seen(answers: dict[str, str]) -> None:
    """U3, U4: sixty, a thousand, twenty-four, drops per mL, unit factors: none can change unseen."""
    unseen = [name for name, difference in answers.items() if name not in {"", "back"} and not difference]
    assert unseen == []


def test_enough_was_changed() -> None:
    """U3: the list of what is changed does not shrink by a moved line."""
    names = [m[0] for m in mutants()]
    assert len(names) + len(OPERATIONS) >= 60
    for unit in UNITS:
        assert any(f'"{unit}": ' in n for n in names), unit
    for word in ("_SIXTY", "_MINUTES", "_SECONDS", "_HUNDRED"):
        assert any(word in n for n in names), word
