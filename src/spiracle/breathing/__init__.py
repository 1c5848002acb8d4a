"""Breathing system, fresh gas, bag, breath, oxygen, leak test, and the lists that are read aloud."""

from spiracle.breathing.agent import AgentUse, Price, Waste, WasteLimit, agent_use, waste
from spiracle.breathing.band import Opinion, opinions, why_apart
from spiracle.breathing.burden import Burden, burden
from spiracle.breathing.checks import CHECKS
from spiracle.breathing.choosing import CircuitReason, systems
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
)
from spiracle.breathing.leak import DropLeak, LeakVerdict, leak_from_drop, leak_verdict
from spiracle.breathing.oxygen import Cylinder, OxygenLeft, check_cylinder, oxygen_minutes
from spiracle.breathing.plan import BreathingChoice, FreshGas, plan
from spiracle.breathing.tables import LISTS, PHASES, BreathingTables, ListName, ListRow
from spiracle.breathing.ventilator import (
    MODES,
    Alarm,
    Judged,
    Settings,
    alarms_for,
    judge,
    measured_compliance,
    peak_limit,
    predicted_paco2,
    settings,
    tidal_limit,
    weighable,
)
from spiracle.breathing.washin import Reach, minutes_to_set, reach


def lists(facts: BreathingTables, name: str) -> tuple[ListRow, ...]:
    """One list in reading order: machine, patient, sign-in, time-out or recovery."""
    return facts.check_list(name)


__all__ = [
    "CHECKS", "LISTS", "MODES", "PHASES", "SUPPLIES", "AgentUse", "Alarm", "BreathingChoice", "BreathingTables", "Burden",
    "CircuitReason", "Cylinder", "DropLeak", "FreshGas", "Judged", "LeakVerdict", "Left", "ListName", "ListRow", "Opinion",
    "OxygenLeft", "Price", "Reach", "Settings", "Step", "Supply", "Waste", "WasteLimit", "agent_use", "alarms_for", "burden",
    "check_cylinder",
    "contents_from_water", "drive_gas", "gauge_question", "judge", "leak_from_drop", "leak_verdict", "left", "lists",
    "measured_compliance", "minutes_to_set", "opinions", "oxygen_minutes", "peak_limit", "plan", "predicted_paco2", "reach",
    "settings", "supply_words", "systems", "tidal_limit", "waste", "weighable", "why_apart",
]  # fmt: skip
