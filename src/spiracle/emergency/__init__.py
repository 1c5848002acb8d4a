"""When it goes wrong: the arrest sheet of one weight, its clock, and the first responses to each kind of trouble."""

from spiracle.emergency.checks import CHECKS
from spiracle.emergency.clock import ArrestClock, NextDose
from spiracle.emergency.rows import ResponseStep, Step
from spiracle.emergency.sheet import Dilution, EmergencyPlan, Item, Shock
from spiracle.emergency.tables import EmergencyTables, FirstResponses

__all__ = ["CHECKS", "ArrestClock", "Dilution", "EmergencyPlan", "EmergencyTables", "FirstResponses", "Item", "NextDose",
           "ResponseStep", "Shock", "Step"]  # fmt: skip
