"""How long an inhaled course takes, beside scipy's integrator at equal accuracy, and a redraw with two thousand animals."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from measuring import Result, median_ms
from room_tables import sources
from spiracle.doors.tables import table_texts
from spiracle.kinetics.gas import agent_of, body_of, population
from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.uptake import Stretch, inhaled

TIMES = np.linspace(0, 120, 1441)


def settings() -> list[Stretch]:
    """Two hours, twelve turns of the dial, three of the flow."""
    return [
        Stretch(
            start_min=10.0 * i, dial_percent=1.5 + i % 3, fresh_gas_l_min=(3.0, 1.0, 2.0)[i // 4], alveolar_l_min=1.6
        )
        for i in range(12)
    ]


def results() -> list[Result]:
    tables = GasTables.read(table_texts(), sources())
    body, agent = body_of(tables, "dog", 20, 5), agent_of(tables, "isoflurane")
    runs = settings()
    many, agents = population(tables, body, agent)
    redraw = np.linspace(0, 120, 121)

    def slope(_: float, y: np.ndarray, s: Stretch) -> np.ndarray:
        to = float(agent.blood_gas) * body.flows_l_min * (y[1] - y[2:])
        taken = s.alveolar_l_min * (y[0] - y[1])
        return np.array([(s.fresh_gas_l_min * (s.dial_percent - y[0]) - taken) / 5, (taken - to.sum()) / float(body.lung_l),
                         *(to / (float(agent.blood_gas) * agent.tissue_blood * body.groups_l))])  # fmt: skip

    def stepped() -> np.ndarray:
        y = np.zeros(5)
        for s, end in pairwise([*runs, 120.0]):
            until = end if isinstance(end, float) else end.start_min
            at = TIMES[(s.start_min <= TIMES) & (until >= TIMES)]
            y = solve_ivp(slope, (s.start_min, until), y, "DOP853", at, args=(s,), rtol=1e-10, atol=1e-12).y[:, -1]
        return y

    assert np.allclose(stepped()[:2], [inhaled(runs, body, agent, [120.0]).at(p)[0] for p in ("inspired", "alveolar")])
    exact = median_ms(lambda: inhaled(runs, body, agent, TIMES), 30)
    integrator = median_ms(stepped, 5, 1)
    band = median_ms(lambda: inhaled(runs, many, agents, redraw).band("alveolar"), 10)
    return [
        Result(
            "inhaled course, one dog, 2 h at 5 s, 12 settings",
            exact,
            "ms",
            "scipy solve_ivp at rtol 1e-10",
            integrator,
            20,
        ),
        Result(
            f"the same for {many.lung_l.size:,} virtual dogs at 121 minutes, with percentiles", band, "ms", goal=1000
        ),
    ]
