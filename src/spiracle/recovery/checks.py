"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.recovery.outcome import lowest_over, per_hundred


def _d(inputs: Mapping[str, Any], name: str) -> Decimal:
    return Decimal(str(inputs[name]))


def _deaths(i: Mapping[str, Any]) -> float:
    """Deaths that a printed rate means in so many animals."""
    if "one_in" in i:
        return float(_d(i, "n") / _d(i, "one_in"))
    return float(_d(i, "n") * _d(i, "pct") / 100)


def _ratio(i: Mapping[str, Any]) -> float:
    sick = per_hundred(Decimal(1), _d(i, "sick_one_in"))
    return float(sick / per_hundred(Decimal(1), _d(i, "healthy_one_in")))


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {
    "recovery.one_in_percent": lambda i: float(per_hundred(Decimal(1), _d(i, "one_in"))),
    "recovery.percent": lambda i: float(per_hundred(_d(i, "deaths"), _d(i, "n"))),
    "recovery.deaths": _deaths,
    "recovery.risk_ratio": _ratio,
    "recovery.lowest_share": lambda i: float(lowest_over(_d(i, "cutoff"), _d(i, "maximum"))),
    "recovery.lowest_whole": lambda i: float(lowest_over(_d(i, "cutoff") / _d(i, "maximum"), _d(i, "maximum"))),
    "recovery.features": lambda i: float(_d(i, "features") * _d(i, "each")),
    "recovery.items": lambda i: float(sum(Decimal(str(n)) - 1 for n in i["items"])),
}
