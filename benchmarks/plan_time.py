"""How long a full plan takes, beside the same dose arithmetic with bare floats."""

from __future__ import annotations

from datetime import UTC, datetime

from measuring import Result, median_ms
from spiracle.doors.plan_file import read_plan_file
from spiracle.doors.tables import load_facts
from spiracle.sheets.plan import plan
from spiracle.sheets.plan_shapes import plan_json

NOW = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
ORDERS = [
    ("methadone", "premedication", "IM", "0.2 mg/kg"), ("acepromazine", "premedication", "IM", "0.01 mg/kg"),
    ("dexmedetomidine", "premedication", "IM", "3 mcg/kg"), ("midazolam", "premedication", "IM", "0.2 mg/kg"),
    ("propofol", "induction", "IV", "4 mg/kg"), ("alfaxalone", "induction", "IV", "2 mg/kg"),
    ("lidocaine", "local block", "infiltration", "2 mg/kg"), ("bupivacaine", "local block", "infiltration", "1 mg/kg"),
    ("atropine", "anticholinergic", "IV", "0.02 mg/kg"), ("maropitant", "antiemetic", "SC", "1 mg/kg"),
]  # fmt: skip


def request_text(count: int) -> str:
    orders = (ORDERS * 3)[:count]
    body = "\n".join(f'[[order]]\ndrug = "{d}"\npurpose = "{p}"\nroute = "{r}"\ndose = "{x}"' for d, p, r, x in orders)
    return f'[patient]\nname = "Bench"\nspecies = "dog"\nweight = "13.2 kg"\nweighed = "2026-11-24T07:40"\nasa = "II"\n{body}\n'


def bare(orders: list[tuple[float, float]], kg: float) -> float:
    """The same multiplication and division with bare floats: no units, limits, syringes or working."""
    total = 0.0
    for per_kg, strength in orders:
        ml = per_kg * kg / strength
        total += int(ml * 100) / 100
    return total


def results() -> list[Result]:
    facts = load_facts()
    text = request_text(20)
    request = read_plan_file(text).request
    worked = median_ms(lambda: plan(request, facts, NOW), 40)
    whole = median_ms(lambda: plan_json(plan(read_plan_file(text).request, facts, NOW)), 20)
    floats = median_ms(lambda: bare([(0.2, 10.0)] * 20, 13.2), 200)
    return [
        Result("plan of one patient, 20 drugs", worked, "ms", "20 dose sums in bare floats", floats, 20),
        Result("the same, from file text to JSON text", whole, "ms", "20 dose sums in bare floats", floats),
    ]
