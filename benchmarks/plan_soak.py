"""A soak: ten thousand random plans worked on one core, every one held to the laws of a dose by arithmetic of its own.

Worked means all of it: doses, syringes, recipes, tube, circuit, fluids, limits; each twentieth is laid out as data too, its
emergency sheet with it.

Random species, weight, shelf, syringes and orders (most inside what is usual, some slipped by ten, a thousand or sixty); the
laws are checked with whole fractions, apart from the decimals of the core. A broken law ends the run with its seed.
"""

from __future__ import annotations

import gc
import random
import time
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction

from measuring import Result
from plan_laws import broken, lost
from spiracle.case.facts import Facts
from spiracle.doors.tables import load_facts
from spiracle.drugs import DoseRow
from spiracle.quantity import Quantity
from spiracle.sheets.plan import laid_out
from spiracle.sheets.plan_request import OrderAsked, Patient, PlanRequest, Stock
from spiracle.sheets.plan_work import work_out

NOW = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
PLANS = 10_000
LAID_OUT = 20
SLIPS = (Decimal(10), Decimal(1000), Decimal(60), Decimal("0.1"))
SHELVES = (
    ("1 mL", "3 mL", "5 mL", "10 mL", "20 mL"),
    ("0.3 mL insulin", "0.5 mL insulin", "1 mL", "3 mL", "5 mL", "10 mL", "20 mL", "60 mL"),
    ("1 mL", "3 mL", "6 mL", "12 mL", "35 mL"),
    (),
)


def weight(chance: random.Random, species: str) -> Decimal:
    """Small ones often: they are the hard ones."""
    top = 9 if species == "cat" else 80
    kg = 0.4 * (top / 0.4) ** (chance.random() ** 1.3)
    return Decimal(str(round(kg, 2 if kg < 10 else 1)))


def dose(chance: random.Random, row: DoseRow) -> tuple[Decimal, bool]:
    """A dose in the row's unit, and whether it slipped."""
    low, high = row.usual_low.value, row.usual_high.value
    part = Decimal(chance.randint(0, 8)) / 8
    value = (low + (high - low) * part).quantize(Decimal("0.0001")).normalize()
    slipped = chance.random() < 0.06
    return (value * chance.choice(SLIPS) if slipped else value), slipped


def request(chance: random.Random, facts: Facts, rows: dict[str, list[DoseRow]]) -> PlanRequest:
    species = chance.choice(("dog", "cat"))
    kg = weight(chance, species)
    picked = chance.sample(rows[species], chance.randint(1, 8))
    orders, strengths = [], {}
    for n, row in enumerate(picked):
        value, _ = dose(chance, row)
        if value <= 0:
            continue
        quantity = Quantity(value, row.unit)
        orders.append(OrderAsked(field=f"order {n}", order=str(n), drug=row.drug, purpose=row.purposes[0],
                                 route=chance.choice(row.routes), low=quantity, high=quantity, row=row.id))  # fmt: skip
        known = [s.quantity for s in facts.drugs.drug(row.drug).strengths if s.quantity is not None and not s.trap]
        if known and chance.random() < 0.8:
            strengths[row.drug] = tuple(chance.sample(known, min(len(known), chance.choice((1, 1, 1, 2)))))
    lean = Quantity.of((kg * Decimal("0.8")).quantize(Decimal("0.01")), "kg") if chance.random() < 0.1 else None
    patient = Patient(species=species, weight=Quantity.of(kg, "kg"), method=chance.choice(("scale", "scale", "estimated")),
                      weighed=NOW, asa="II", body_condition=chance.choice((None, 5, 8)), dosing_weight=lean,
                      dosing_reason="lean" if lean else "")  # fmt: skip
    stock = Stock(strengths=strengths, syringes=chance.choice(SHELVES))
    return PlanRequest(patient=patient, orders=tuple(orders), stock=stock)


def soak(facts: Facts, plans: int, seed: int = 20261124) -> tuple[float, int, int]:
    """Seconds, lines worked and lines refused of so many plans; a broken law is an error."""
    rows: dict[str, list[DoseRow]] = {s: [r for r in facts.drugs.pickable(s) if r.unit.parts] for s in ("dog", "cat")}
    chance = random.Random(seed)
    gc.freeze()  # the tables stay for good: nothing looks through them again for what may be thrown away
    lines = refused = 0
    start = time.perf_counter()
    for n in range(plans):
        asked = request(chance, facts, rows)
        work = work_out(asked, facts)
        if n % LAID_OUT == 0:
            laid_out(work, facts, NOW)
        kg = Fraction(asked.patient.basis.number("kg"))
        if lost(work):
            raise SystemExit(f"plan {n} of seed {seed}: {lost(work)}")
        for line in work.orders:
            lines += 1
            refused += line.made.refusal is not None
            law = broken(line, kg)
            if law:
                raise SystemExit(f"plan {n} of seed {seed}: {line.asked.drug} {line.asked.words}, {kg} kg: {law}")
    return time.perf_counter() - start, lines, refused


def bare(count: int) -> float:
    """The same number of lines as bare float sums."""
    start = time.perf_counter()
    total = 0.0
    for n in range(count):
        ml = 0.2 * (n % 80 + 1) / 10.0
        total += int(ml * 100) / 100
    return time.perf_counter() - start


def results() -> list[Result]:
    facts = load_facts()
    took, lines, refused = soak(facts, PLANS)
    return [
        Result(f"{PLANS:,} random plans, every law held", took, "s", f"{lines:,} dose sums in bare floats", bare(lines), 60,
               f"{lines:,} lines, {refused:,} refused or asked about, no law broken")
    ]  # fmt: skip
