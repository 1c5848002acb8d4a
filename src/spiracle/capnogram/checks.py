"""The room's formulas under the names that the check rows use: the formulas themselves, not copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from spiracle.capnogram.angle import alpha_deg
from spiracle.capnogram.gaps import between_gaps_mmhg, expected_paco2_mmhg, response_s
from spiracle.capnogram.setup import MMHG_PER_KPA, Setup

Plain = Mapping[str, float]


def _taking_rows(formula: Callable[[Plain], float]) -> Callable[[Mapping[str, object]], float]:
    return lambda inputs: formula({name: float(str(value)) for name, value in inputs.items()})


_FORMULAS: dict[str, Callable[[Plain], float]] = {
    "capnogram.expected_paco2_mmhg": lambda i: expected_paco2_mmhg(i["etco2"], i["bias"]),
    "capnogram.between_gaps_mmhg": lambda i: between_gaps_mmhg(i["with_disease"], i["without"]),
    "capnogram.mmhg_of_kpa": lambda i: i["kpa"] * MMHG_PER_KPA,
    "capnogram.mmhg_of_percent": lambda i: i["percent"] * Setup(100.0, "percent", i["pb"]).to_mmhg,
    "capnogram.response_s": lambda i: response_s(i["time_constant_s"]),
    "capnogram.alpha_deg": lambda i: alpha_deg(i["up"], i["plateau"]),
}
CHECKS = {name: _taking_rows(formula) for name, formula in _FORMULAS.items()}
