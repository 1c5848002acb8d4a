"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table.

Some are here only to test published arithmetic (logarithmic loss, limits of agreement): no sheet shows them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.circulation import blood, depth, fluids, pressure
from spiracle.circulation.rows import CuffRow
from spiracle.source import Seen


def _d(inputs: Mapping[str, Any], name: str) -> Decimal:
    return Decimal(str(inputs[name]))


def _cuff(inputs: Mapping[str, Any]) -> float:
    row = CuffRow(species="dog", percent=_d(inputs, "fraction") * 100, source=("v_derived",), seen=Seen.DERIVED)
    return float(pressure.cuff_width(row, _d(inputs, "circumference_cm")).value.number("cm"))


def _loss(form: Callable[[Decimal, Decimal, Decimal], Decimal]) -> Callable[[Mapping[str, Any]], float]:
    return lambda i: float(form(_d(i, "bv"), _d(i, "pcv0"), _d(i, "pcv1")))


def _transfusion(i: Mapping[str, Any]) -> float:
    return float(blood.transfusion_ml(_d(i, "kg"), _d(i, "ml_kg"), _d(i, "current"), _d(i, "target"), _d(i, "donor")))


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {
    "circulation.mean_pressure": lambda i: float(pressure.one_third_mean(_d(i, "sap"), _d(i, "dap"))),
    "circulation.agreement_sd": lambda i: float(pressure.agreement_sd(_d(i, "low"), _d(i, "high"))),
    "circulation.agreement_middle": lambda i: float((_d(i, "low") + _d(i, "high")) / 2),
    "circulation.cuff_width": _cuff,
    "circulation.share": lambda i: float(_d(i, "events") / _d(i, "n")),
    "circulation.per_kg": lambda i: float(_d(i, "kg") * _d(i, "ml_kg")),
    "circulation.hourly": lambda i: float(_d(i, "kg") * _d(i, "ml_kg_h")),
    "circulation.part_of_volume": lambda i: float(_d(i, "bv") * _d(i, "fraction")),
    "circulation.linear_loss": _loss(blood.linear_loss),
    "circulation.logarithmic_loss": _loss(blood.logarithmic_loss),
    "circulation.hand_loss": _loss(blood.hand_loss),
    "circulation.mean_pcv_loss": _loss(blood.mean_pcv_loss),
    "circulation.transfusion": _transfusion,
    "circulation.cat_rise": lambda i: float(blood.cat_rise(_d(i, "ml"), _d(i, "kg"))),
    "circulation.maintenance": lambda i: float(fluids.daily_maintenance(_d(i, "k"), _d(i, "kg"))),
    "circulation.maintenance_hourly": lambda i: float(
        fluids.daily_maintenance(_d(i, "k"), _d(i, "kg")) / _d(i, "kg") / 24
    ),
    "circulation.step_down": lambda i: float(_d(i, "start") * (1 - _d(i, "cut")) ** int(i["steps"])),
    "circulation.deficit_litres": lambda i: float(_d(i, "kg") * _d(i, "fraction")),
    "circulation.mac_multiple": lambda i: float(depth.multiple(_d(i, "et"), _d(i, "mac"))),
    "circulation.mac_times": lambda i: float(_d(i, "mac") * _d(i, "multiple")),
    "circulation.mac_when_cold": lambda i: float(depth.mac_when_cold(_d(i, "mac"), _d(i, "drop_c"), _d(i, "pct"))),
}
