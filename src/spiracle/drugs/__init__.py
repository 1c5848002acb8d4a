"""The formulary and the way from an order to a syringe: dose, limits, strength, volume, mark, dilution, budgets."""

from spiracle.drugs.budget import BudgetPart, BudgetSum, LocalDose, budgets, cumulative, left_of, local_budget
from spiracle.drugs.cautions import CautionHit, cautions
from spiracle.drugs.checks import CHECKS
from spiracle.drugs.classes import syringe_class
from spiracle.drugs.dilution import Dilution, dilute
from spiracle.drugs.formulary import Formulary
from spiracle.drugs.infusion import dose_rate_of, minutes_left, rate_ml_h
from spiracle.drugs.ladder import Step, ladder, rungs, step_at
from spiracle.drugs.order import DosingWeight, Judgement, OrderedDose, judge, judge_dose, read_dose
from spiracle.drugs.plasma_load import Ran, load
from spiracle.drugs.prepare import prepare
from spiracle.drugs.prepared import Prepared
from spiracle.drugs.reversal import Reversal, reverse
from spiracle.drugs.rows import DoseRow, Stop, amount_of, in_unit
from spiracle.drugs.stock import Drug, Stock, Strength, read_strength
from spiracle.drugs.syringe import Barrel, Measured, measure

__all__ = [
    "CHECKS",
    "Barrel",
    "BudgetPart",
    "BudgetSum",
    "CautionHit",
    "Dilution",
    "DoseRow",
    "DosingWeight",
    "Drug",
    "Formulary",
    "Judgement",
    "LocalDose",
    "Measured",
    "OrderedDose",
    "Prepared",
    "Ran",
    "Reversal",
    "Step",
    "Stock",
    "Stop",
    "Strength",
    "amount_of",
    "budgets",
    "cautions",
    "cumulative",
    "dilute",
    "dose_rate_of",
    "in_unit",
    "judge",
    "judge_dose",
    "ladder",
    "left_of",
    "load",
    "local_budget",
    "measure",
    "minutes_left",
    "prepare",
    "rate_ml_h",
    "read_dose",
    "read_strength",
    "reverse",
    "rungs",
    "step_at",
    "syringe_class",
]
