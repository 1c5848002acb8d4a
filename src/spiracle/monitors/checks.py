"""The monitors' formulas under the names that the check rows use: the formulas themselves, not copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.monitors import codes
from spiracle.monitors.tables import SETTING_BIT
from spiracle.monitors.units import mmhg_of_kpa
from spiracle.monitors.wave_rows import vector


def _value_of_sample(row: Mapping[str, Any]) -> float:
    """One sample of a classic wave row in its unit."""
    whole = vector(str(row["sample"])).whole[0]
    return float((Decimal(str(whole)) - Decimal(str(row["baseline"]))) * Decimal(str(row["sensitivity"])))


CHECKS: dict[str, Callable[[Mapping[str, Any]], float | Decimal]] = {
    "monitors.code_of": lambda row: float(codes.code_of(int(row["partition"]), int(row["term"]))),
    "monitors.setting_of": lambda row: float(int(row["code"]) + SETTING_BIT),
    "monitors.mmhg_of_kpa": lambda row: mmhg_of_kpa(Decimal(str(row["kpa"]))),
    "monitors.value_of_sample": _value_of_sample,
}
