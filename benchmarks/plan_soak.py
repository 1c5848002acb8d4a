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
from spiracle.case.facts import Facts
from spiracle.doors.tables import load_facts
from spiracle.drugs import DoseRow, Prepared
from spiracle.quantity import Quantity
from spiracle.sheets.plan import laid_out
from spiracle.sheets.plan_request import OrderAsked, Patient, PlanRequest, Stock
from spiracle.sheets.plan_work import OrderWork, work_out

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


def exact(q: Quantity) -> Fraction:
    """The number in base units as a whole fraction."""
    above, below = q.unit.factor
    return Fraction(q.value) * Fraction(above) / Fraction(below)


def whole(q: Quantity, kg: Fraction) -> Fraction:
    """A dose for this animal in base units: per kg (or lb) times its weight in the base unit, per animal as it is."""
    body = any(symbol in {"kg", "lb"} and power == -1 for symbol, power in q.unit.parts)
    return exact(q) * kg * exact(Quantity.of(1, "kg")) if body else exact(q)


def broken(work: OrderWork, kg: Fraction) -> str:
    """The law this line breaks, if it breaks one."""
    made = work.made
    if made.refusal is not None:
        return "a refused line shows a volume" if made.drawn is not None or made.rate is not None else ""
    if made.delivered is None:
        return ""
    return _amounts(work, made, made.delivered, kg) or _marks(made) or _recipe(made)


def _amounts(work: OrderWork, made: Prepared, delivered: Quantity, kg: Fraction) -> str:
    """What is delivered: never over the order, what volume times strength gives, under every stop of one dose."""
    given, shown = exact(delivered), made.rate if made.rate is not None else made.drawn
    if given > whole(work.asked.high, kg):
        return f"delivers {delivered} of {made.amount}"
    if shown is None:
        return "an amount without a volume"
    if made.concentration is not None and exact(shown) * exact(made.concentration) != given:
        return f"{shown} of {made.concentration} is not {delivered}"
    row = made.row
    for stop in () if row is None or row.emergency else row.stops:
        alike = stop.at.unit.dimension == work.asked.high.unit.dimension
        if stop.basis == "single" and not stop.ask and alike and given > whole(stop.at, kg):
            return f"{delivered} is over the {stop.words}"
    return ""


def _marks(made: Prepared) -> str:
    if made.barrel is None or made.drawn is None:
        return ""
    if Fraction(made.drawn.value) % Fraction(made.barrel.mark.value):
        return f"{made.drawn} is no mark of {made.barrel.name}"
    return f"{made.drawn} does not fit {made.barrel.name}" if made.drawn > made.barrel.holds else ""


def _recipe(made: Prepared) -> str:
    mix = made.dilution
    if mix is None:
        return ""
    if mix.drug_volume + mix.diluent_volume != mix.total:
        return "a recipe does not add up"
    for part, barrel in ((mix.drug_volume, mix.drug_barrel), (mix.diluent_volume, mix.diluent_barrel)):
        if Fraction(part.value) % Fraction(barrel.mark.value):
            return f"{part} of a recipe is no mark of {barrel.name}"
    return ""


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
