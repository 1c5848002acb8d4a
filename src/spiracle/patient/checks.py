"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.patient.weighing import LB_PER_KG, LeanRule, lean_weight
from spiracle.source import Seen


def _lean(inputs: Mapping[str, Any]) -> float:
    rule = LeanRule(id="check", percent_per_point=Decimal(str(inputs["percent"])),
                    percent_per_point_high=Decimal(15), source=("v_derived",), seen=Seen.DERIVED)  # fmt: skip
    found = lean_weight(Decimal(str(inputs["kg"])), int(inputs["score"]), rule)
    return float("nan") if found is None else float(found.value.value)


def _lb(inputs: Mapping[str, Any]) -> float:
    return float(Decimal(str(inputs["lb"])) / LB_PER_KG)


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {"patient.lean_weight": _lean, "patient.pounds": _lb}
