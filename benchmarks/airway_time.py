"""How long the whole airway-and-breathing sheet takes for a small cat, beside the same sums in bare floats."""

from __future__ import annotations

from decimal import Decimal
from math import exp, pi

from measuring import Result, median_ms
from spiracle import airway, breathing
from spiracle.breathing import Cylinder, Price
from spiracle.case.facts import Facts
from spiracle.doors.tables import load_facts
from spiracle.quantity import Quantity

Q = Quantity.of
KG = "2.6"


def sheet(facts: Facts) -> int:
    """Tube, length, dead space, system, gas, agent, oxygen, ventilator and what the dead space costs: one animal's page."""
    measured = airway.Measured.read(
        incisors_to_thoracic_inlet="14 cm",
        tracheal_diameter="5.2 mm",
        occiput_to_tail_base="38 cm",
        previous_tube="3.5 mm",
    )
    tube = airway.lay_out(facts.airway, "cat", Q(KG, "kg"), measured=measured,
                          parts=[("filter", Q(3, "mL")), ("elbow", Q(2, "mL"))])  # fmt: skip
    gas = breathing.plan(
        facts.breathing, "cat", Q(KG, "kg"), circuits=["T-piece", "Bain", "circle"], bags_ml=[500, 1000, 2000],
        cylinder=Cylinder.read("680 L", "137 bar", "85 bar"), planned_minutes=90, ventilated=True, drive_gas=Q("0.5", "L/min"),
        agent="isoflurane", percent=Q(2, "%"), price=Price(amount=Decimal(40), currency="EUR", bottle_ml=Decimal(250)),
    )  # fmt: skip
    settings = breathing.settings(facts.breathing, "cat", Q(KG, "kg"), "volume")
    cost = breathing.burden(facts.breathing, settings.tidal.value, tube.dead_space_after.value)
    return len((tube, gas, settings, cost))


def bare(kg: float) -> float:
    """The same arithmetic with bare floats: no units, limits, stock, sources, words or working."""
    total = pi / 4 * 3.5**2 * 140 / 1000 + 5
    for ml_kg in (500.0, 455.0, 500.0):
        flow = ml_kg * kg / 1000
        total += flow + 2 / 100 * flow * 1000 * 60 / 195
    total += 10 * kg**0.75 + 680 * 85 / 137 / (flow + 0.5)
    breath, own = 10 * kg, 3.5 * kg
    return total + breath / (1.78 * kg) + 40 * (breath - own) / (breath - own - 5) + exp(-1)


def results() -> list[Result]:
    facts = load_facts()
    whole = median_ms(lambda: sheet(facts), 60)
    floats = median_ms(lambda: bare(2.6), 200)
    return [Result("airway and breathing sheet, cat of 2.6 kg", whole, "ms", "the same sums in bare floats", floats, 5)]
