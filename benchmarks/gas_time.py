"""How long an inhaled course takes, beside scipy's integrator at equal accuracy, and a redraw with two thousand animals."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from casebook import Book, at
from level_case import animal
from measuring import Result, median_ms
from room_tables import sources
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts, table_texts
from spiracle.kinetics.gas import agent_of, body_of, population
from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.uptake import Stretch, inhaled
from spiracle.sheets.gas_now import gas_now
from spiracle.sheets.told import told

TIMES = np.linspace(0, 120, 1441)


def settings() -> list[Stretch]:
    """Two hours, twelve turns of the dial, three of the flow."""
    return [
        Stretch(
            start_min=10.0 * i, dial_percent=1.5 + i % 3, fresh_gas_l_min=(3.0, 1.0, 2.0)[i // 4], alveolar_l_min=1.6
        )
        for i in range(12)
    ]


def monitored(counts: int, every_min: int) -> Book:
    """A dog on a circle from minute 60 on, its breaths counted; each five minutes lie elsewhere, so that little can be left out."""
    b = animal()
    b.tell(51, ev.MachineAssigned, machine="Machine 2", circuit="circle", bag_ml=2000)
    b.tell(52, ev.GasSet, oxygen_l_min=Decimal(1))
    b.tell(58, ev.TimeMarked, mark="induction")
    b.tell(60, ev.VaporiserSet, agent="isoflurane", percent=Decimal("1.5"))
    for i in range(0, counts * every_min, every_min):
        b.tell(60 + i, ev.ReadingTaken, reading="respiratory_rate", value=Decimal(8 + (i // 5 * 4) % 37), unit="/min",
               source="device")  # fmt: skip
    return b


def view_ms(counts: int, every_min: int) -> float:
    """The card of a case that is looked at again and again."""
    t = told(monitored(counts, every_min).fold(), load_facts(), at(60 + counts * every_min))
    return median_ms(lambda: gas_now(t), 10, 2)


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
        Result("inhaled card of a usual case, counts each 10 min for an hour", view_ms(6, 10), "ms", goal=100),
        Result("inhaled card after 10 h of counts each minute", view_ms(600, 1), "ms", goal=100),
    ]
