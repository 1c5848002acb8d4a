"""What the check runner may ask of inhaled agents: the model itself, run for the person that a row describes, and MAC's sums."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import exp
from typing import Any

import numpy as np

from spiracle.kinetics.gas import Agent, GasBody, scaled, time_constants_min
from spiracle.kinetics.mac import curve_mac, left_after, left_in_cold
from spiracle.kinetics.uptake import Stretch, inhaled, minutes_to

Plain = Mapping[str, Any]


def _f(inputs: Plain, name: str) -> float:
    return float(str(inputs[name]))


def _row(inputs: Plain, name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([float(str(v)) for v in inputs[name]])


def _person(inputs: Plain) -> tuple[GasBody, Agent]:
    """The person and agent of a row: `tissue_blood`, `V_tissue_L`, `flow_fraction` in the order vessel-rich, muscle, fat."""
    body = GasBody(
        species="human",
        weight_kg=70,
        circuit_l=_f(inputs, "circle_L") if "circle_L" in inputs else None,
        lung_l=np.asarray(_f(inputs, "FRC_L")),
        groups_l=_row(inputs, "V_tissue_L"),
        flows_l_min=_f(inputs, "CO_L_min") * _row(inputs, "flow_fraction"),
        breath=np.asarray(1.0),
        sources=(),
    )
    agent = Agent(name="agent", dial_high=100, blood_gas=np.asarray(_f(inputs, "lambda_blood_gas")),
                  tissue_blood=_row(inputs, "tissue_blood"), sources=(), memory=True)  # fmt: skip
    return body, agent


def _on(inputs: Plain, start: float, dial: float) -> Stretch:
    return Stretch(start_min=start, dial_percent=dial, fresh_gas_l_min=float(str(inputs.get("FGF_L_min", 10))),
                   alveolar_l_min=_f(inputs, "VA_L_min"))  # fmt: skip


def _wash_in(inputs: Plain) -> float:
    """FA/FI after `minutes`."""
    course = inhaled([_on(inputs, 0, 1)], *_person(inputs), [_f(inputs, "minutes")])
    return float(course.alveolar[0] / course.inspired[0])


def _wash_out(inputs: Plain) -> float:
    """FA/FA0 `after` minutes with nothing breathed in, having breathed a constant level for `minutes`."""
    off = _f(inputs, "minutes")
    course = inhaled([_on(inputs, 0, 1), _on(inputs, off, 0)], *_person(inputs), [off, off + _f(inputs, "after")])
    return float(course.alveolar[1] / course.alveolar[0])


def _lung_time_constant(inputs: Plain) -> float:
    """Minutes to 1 - 1/e of the inspired level in a lung whose blood takes nothing."""
    empty = {**inputs, "CO_L_min": 0}
    found = minutes_to(1 - exp(-1), [_on(empty, 0, 1)], *_person(empty))
    return float("nan") if found is None else found


def _tissue_time_constant(inputs: Plain) -> float:
    return float(time_constants_min(*_person(inputs))[0])


def _lowest_place(inputs: Plain) -> float:
    """The place furthest behind, as a share of what is breathed in, after `minutes`."""
    course = inhaled([_on(inputs, 0, 1)], *_person(inputs), [_f(inputs, "minutes")])
    return float(min(course.alveolar[0], course.vessel_rich[0], course.muscle[0], course.fat[0]))


GAS_CHECKS: dict[str, Callable[[Plain], float]] = {
    "kinetics.gas.wash_in": _wash_in,
    "kinetics.gas.wash_out": _wash_out,
    "kinetics.gas.lung_time_constant": _lung_time_constant,
    "kinetics.gas.tissue_time_constant": _tissue_time_constant,
    "kinetics.gas.lowest_place": _lowest_place,
    "kinetics.gas.scaled": lambda i: scaled(_f(i, "of"), _f(i, "from_kg"), _f(i, "kg"), _f(i, "power")),
    "kinetics.mac.curve": lambda i: curve_mac(_f(i, "mac"), _f(i, "taken"), _f(i, "half"), _f(i, "level")),
    "kinetics.mac.together": lambda i: 100 * (1 - left_after(_row(i, "percents"))),
    "kinetics.mac.cold": lambda i: _f(i, "mac") * left_in_cold(_f(i, "fall_c"), _f(i, "percent_per_degree")),
}
