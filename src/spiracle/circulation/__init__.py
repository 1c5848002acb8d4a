"""Heart rate and pressure: limits, the number pad's bounds, blood and its loss, fluids and their ceilings."""

from spiracle.circulation.checks import CHECKS
from spiracle.circulation.fluids import Bolus, FluidTotal
from spiracle.circulation.rows import Bounds, Caution, Limit, Other
from spiracle.circulation.tables import CirculationTables

__all__ = ["CHECKS", "Bolus", "Bounds", "Caution", "CirculationTables", "FluidTotal", "Limit", "Other"]
