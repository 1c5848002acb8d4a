"""Breathing system, fresh gas, bag, breath, oxygen, leak test, and the lists that are read aloud."""

from spiracle.breathing.checks import CHECKS
from spiracle.breathing.leak import DropLeak, LeakVerdict, leak_from_drop, leak_verdict
from spiracle.breathing.oxygen import Cylinder, OxygenLeft, check_cylinder, oxygen_minutes
from spiracle.breathing.plan import BreathingChoice, FreshGas, plan
from spiracle.breathing.tables import LISTS, BreathingTables, ListName, ListRow


def lists(facts: BreathingTables, name: str) -> tuple[ListRow, ...]:
    """One list in reading order: machine, patient, sign-in, time-out or recovery."""
    return facts.check_list(name)


__all__ = [
    "CHECKS", "LISTS", "BreathingChoice", "BreathingTables", "Cylinder", "DropLeak", "FreshGas", "LeakVerdict",
    "ListName", "ListRow", "OxygenLeft", "check_cylinder", "leak_from_drop", "leak_verdict", "lists", "oxygen_minutes", "plan",
]  # fmt: skip
