"""Breathing system, fresh gas, bag, breath, oxygen, leak test, and the lists that are read aloud."""

from spiracle.breathing.checks import CHECKS
from spiracle.breathing.countdown import (
    SUPPLIES,
    Left,
    Step,
    Supply,
    contents_from_water,
    drive_gas,
    gauge_question,
    left,
    supply_words,
)  # fmt: skip
from spiracle.breathing.leak import DropLeak, LeakVerdict, leak_from_drop, leak_verdict
from spiracle.breathing.oxygen import Cylinder, OxygenLeft, check_cylinder, oxygen_minutes
from spiracle.breathing.plan import BreathingChoice, FreshGas, plan
from spiracle.breathing.tables import LISTS, BreathingTables, ListName, ListRow


def lists(facts: BreathingTables, name: str) -> tuple[ListRow, ...]:
    """One list in reading order: machine, patient, sign-in, time-out or recovery."""
    return facts.check_list(name)


__all__ = [
    "CHECKS", "LISTS", "SUPPLIES", "BreathingChoice", "BreathingTables", "Cylinder", "DropLeak", "FreshGas", "LeakVerdict",
    "Left", "ListName", "ListRow", "OxygenLeft", "Step", "Supply", "check_cylinder", "contents_from_water", "drive_gas",
    "gauge_question", "leak_from_drop", "leak_verdict", "left", "lists", "oxygen_minutes", "plan", "supply_words",
]  # fmt: skip
