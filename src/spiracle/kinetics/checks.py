"""The room's formulas under the names that the check rows use: the solver itself, not copies.

A row gives its set as volumes and clearances (v1, cl, q2, v2, q3, v3) or as rate constants (v1, k10, k12, k21, k13, k31), and what was
given as dose (over, at) and rate (start, stop), further ones with _2, _3 and so on; all in units that agree with each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from spiracle.kinetics import recomputed, solved
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.exponentials import Number
from spiracle.kinetics.gas_checks import GAS_CHECKS
from spiracle.kinetics.saturable import Saturable, clearance_after_bolus, levels_saturable
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import amounts, levels
from spiracle.kinetics.timing import (
    context_half_time,
    holding_rate,
    peak_after,
    share_of_plateau,
    steady_level,
    time_to_fall,
)

Plain = Mapping[str, float]
LATE = 1e5


def _numbers(inputs: Mapping[str, object]) -> dict[str, float]:
    return {name: float(str(value)) for name, value in inputs.items()}


def _taking_rows(formula: Callable[[Plain], Number]) -> Callable[[Mapping[str, object]], float]:
    return lambda inputs: float(formula(_numbers(inputs)))


def _set(i: Plain) -> Disposition:
    if "k10" in i:
        rest = {name: i[name] for name in ("k12", "k21", "k13", "k31", "ke0") if name in i}
        return Disposition.of_constants(i.get("v1", 1.0), k10=i["k10"], **rest)
    exchange = tuple((i[f"q{n}"], i[f"v{n}"]) for n in (2, 3) if f"q{n}" in i)
    return Disposition(i.get("v1", 1.0), i["cl"], exchange, i.get("ke0"))


def _given(i: Plain) -> Schedule:
    tails = ("", *(f"_{n}" for n in range(2, 7)))
    boluses = [Bolus(i.get(f"at{t}", 0.0), i[f"dose{t}"], i.get(f"over{t}", 0.0)) for t in tails if f"dose{t}" in i]
    runs = [Infusion(i.get(f"start{t}", 0.0), i.get(f"stop{t}", LATE), i[f"rate{t}"]) for t in tails if f"rate{t}" in i]
    return Schedule(tuple(boluses), tuple(runs))


def _plasma(i: Plain) -> float:
    return float(levels(_set(i), _given(i), [i["t"]]).plasma[0])


def _effect(i: Plain) -> float:
    found = levels(_set(i), _given(i), [i["t"]]).effect
    return float("nan") if found is None else float(found[0])


def _repeated(i: Plain) -> float:
    """Amount just after the last of `count` equal doses an interval apart, in doses."""
    doses = tuple(Bolus(n * i["interval"], 1.0) for n in range(int(i["count"])))
    return float(levels(_set(i), Schedule(doses), [(i["count"] - 1) * i["interval"]]).plasma[0]) * i.get("v1", 1.0)


def _peak(i: Plain) -> float:
    return float(peak_after(_set(i), Schedule(), i["dose"], 0.0, i["horizon"]).after_min)


def _effect_minus_plasma_at_peak(i: Plain) -> float:
    """Effect less plasma at the peak of the effect."""
    found = levels(_set(i), _given(i), [_peak(i)])
    return float("nan") if found.effect is None else float(found.effect[0] - found.plasma[0])


def _apart(whole: Schedule, parts: tuple[Schedule, ...], i: Plain) -> float:
    """The greatest difference between the curve of a whole schedule and the sum of the curves of its parts."""
    times = np.linspace(0.0, i["t"], 500)
    return float(
        np.max(np.abs(levels(_set(i), whole, times).plasma - sum(levels(_set(i), p, times).plasma for p in parts)))
    )


def _superposition(i: Plain) -> float:
    given = _given(i)
    return _apart(given, (Schedule(given.boluses), Schedule((), given.infusions)), i)


def _split(i: Plain) -> float:
    """One injection against the same in `parts` equal steps of the same rate."""
    step = i["over"] / i["parts"]
    steps = tuple(Bolus(n * step, i["dose"] / i["parts"], step) for n in range(int(i["parts"])))
    return _apart(_given(i), (Schedule(steps),), i)


def _balance(i: Plain) -> float:
    """The greatest difference between what was given and what is held and eliminated, over 500 moments."""
    times = np.linspace(0.0, i["t"], 500)
    found = amounts(_set(i), _given(i), times)
    given = np.array([_given(i).total_by(t) for t in times])
    return float(np.max(np.abs(found.held.sum(axis=-2) + found.eliminated - given)))


def _saturable(i: Plain) -> Saturable:
    return Saturable(_set({"cl": 0.0, **i}), i["vmax"], i["km"])


def _saturable_half_life(i: Plain) -> float:
    """Half-life between two moments after a bolus."""
    early, late = levels_saturable(_saturable(i), _given(i), [i["from"], i["to"]]).plasma
    return float(np.log(2) * (i["to"] - i["from"]) / np.log(early / late))


_FORMULAS: dict[str, Callable[[Plain], Number]] = {
    "kinetics.level": _plasma,
    "kinetics.effect_level": _effect,
    "kinetics.half_life": lambda i: _set(i).half_lives()[int(i["nth"]) - 1 if "nth" in i else -1],
    "kinetics.rate": lambda i: _set(i).coefficients().rates[int(i["nth"]) - 1],
    "kinetics.coefficient": lambda i: i["dose"] * _set(i).coefficients().coefficients[int(i["nth"]) - 1],
    "kinetics.level_at_once": lambda i: i["dose"] * _set(i).coefficients().coefficients.sum(),
    "kinetics.area": lambda i: i["dose"] * (_set(i).coefficients().coefficients / _set(i).coefficients().rates).sum(),
    "kinetics.vss": lambda i: _set(i).vss(),
    "kinetics.mrt": lambda i: _set(i).mrt(),
    "kinetics.steady_level": lambda i: steady_level(_set(i), i["rate"] / i.get("per", 1.0)),
    "kinetics.share_of_plateau": lambda i: share_of_plateau(_set(i), [i["t"]])[0],
    "kinetics.holding_bolus": lambda i: holding_rate(_set(i), i["target"], [0.0]).bolus,
    "kinetics.holding_rate": lambda i: holding_rate(_set(i), i["target"], [i["t"]]).rate[0],
    "kinetics.repeated": _repeated,
    "kinetics.peak": _peak,
    "kinetics.effect_minus_plasma_at_peak": _effect_minus_plasma_at_peak,
    "kinetics.effect_share_held": lambda i: _effect({**i, "cl": 0.0, "dose": 1.0}),
    "kinetics.time_to_fall": lambda i: time_to_fall(_set(i), _given(i), i["stop_at"], i["level"], "plasma"),
    "kinetics.context_half_time": lambda i: context_half_time(_set(i), i["hold"]),
    "kinetics.second_volume": lambda i: solved.second_from_half_lives(i["v1"], i["cl"], i["fast"], i["slow"])[1],
    "kinetics.flow_from_terminal": lambda i: solved.flow_from_terminal(i["v1"], i["vss"], i["cl"], i["slow"]),
    "kinetics.area_volume": lambda i: recomputed.area_volume(i["cl"], i["half_life"]),
    "kinetics.least_half_life": lambda i: recomputed.least_half_life(i["vss"], i["cl"]),
    "kinetics.logistic_level": lambda i: solved.logistic_level(i["half"], i["most"], i["share"]),
    "kinetics.saturable_clearance": lambda i: clearance_after_bolus(_saturable(i), i["dose"]),
    "kinetics.saturable_half_life": _saturable_half_life,
    "kinetics.superposition": _superposition,
    "kinetics.split": _split,
    "kinetics.balance": _balance,
}
CHECKS = {name: _taking_rows(formula) for name, formula in _FORMULAS.items()} | GAS_CHECKS
