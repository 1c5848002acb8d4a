"""Dial, inspired and end-tidal as the screens foretell them, held against scipy: the typical animal by solve_ivp, all of them by
matrix exponential.

The breaths, flows and dials are invented. 12 breaths of 12 mL/kg in 10 kg are 1.44 L/min, 0.936 of it past the animal's own dead
space of 35 % (rows tidal-start-dog, own-dead-space). The circle is taken as 6 L (row circle).
"""

from __future__ import annotations

import re
from datetime import timedelta
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from casebook import Book, at, d
from level_case import animal, seen
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.kinetics.gas import Agent, GasBody, agent_of, body_of, population
from spiracle.sheets.shapes import Inhaled

Floats = npt.NDArray[np.float64]
BREATHS = 12 * 12 * 10 / 1000 * 0.65
Setting = tuple[
    float, float, float, float, bool
]  # from minute, dial %, fresh gas L/min, alveolar L/min, off the system


def on_gas(
    circuit: str | None = "circle", flow: str = "2", breaths: str = "12", kg: str = "10", agent: str = "isoflurane"
) -> Book:
    b = animal(kg=kg)
    b.tell(58, ev.TimeMarked, mark="induction")
    if circuit is not None:
        b.tell(51, ev.MachineAssigned, machine="Machine 2", circuit=circuit, bag_ml=2000)
    b.tell(59, ev.TubePlaced, id_mm=d("8"), cuffed=True)
    if flow:
        b.tell(60, ev.GasSet, oxygen_l_min=d(flow))
    if breaths:
        b.tell(60, ev.ReadingTaken, reading="respiratory_rate", value=d(breaths), unit="/min", source="device")
    b.tell(60, ev.VaporiserSet, agent=agent, percent=d("2"))
    b.tell(70, ev.ReadingTaken, reading="agent_et", value=d("1.2"), unit="%", source="device")
    return b


def dial(b: Book, minutes: float, percent: str, agent: str = "isoflurane") -> None:
    b.tell(minutes, ev.VaporiserSet, agent=agent, percent=d(percent))


def card(b: Book, minutes: float) -> Inhaled:
    found = seen(b, minutes).maintain.inhaled
    assert found is not None
    return found


# ---- what to expect


@cache
def animals(circuit_l: float | None, agent: str = "isoflurane") -> tuple[GasBody, Agent, GasBody, Agent]:
    tables = load_facts().kinetics.gas
    body, typical = body_of(tables, "dog", 10.0, circuit_l), agent_of(tables, agent)
    return body, typical, *population(tables, body, typical)


def slopes(body: GasBody, agent: Agent, now: Setting) -> tuple[Floats, Floats]:
    """(n, 5, 5) and (n, 5) of dP/dt = A P + b: circle, lung, vessel-rich, muscle, fat, in %. Without a circle the dial is breathed."""
    _, percent, fresh, alveolar, opened = now
    n = int(np.size(body.breath))
    blood = np.broadcast_to(np.asarray(agent.blood_gas), (n,))
    groups, flows = (np.broadcast_to(x, (n, 3)) for x in (body.groups_l, body.flows_l_min))
    tissue, lung = np.broadcast_to(agent.tissue_blood, (n, 3)), np.broadcast_to(body.lung_l, (n,))
    breath = np.broadcast_to(body.breath, (n,)) * alveolar
    a, b = np.zeros((n, 5, 5)), np.zeros((n, 5))
    if body.circuit_l is not None:
        on = 0.0 if opened else breath / body.circuit_l
        a[:, 0, 0], b[:, 0] = -fresh / body.circuit_l - on, fresh * percent / body.circuit_l
        a[:, 0, 1] = on
    a[:, 1, 1] = -(breath + blood * flows.sum(1)) / lung
    if opened or body.circuit_l is None:
        b[:, 1] = 0.0 if opened else breath / lung * percent
    else:
        a[:, 1, 0] = breath / lung
    for i in range(3):
        a[:, 1, 2 + i] = blood * flows[:, i] / lung
        a[:, 2 + i, 1] = flows[:, i] / (tissue[:, i] * groups[:, i])
        a[:, 2 + i, 2 + i] = -a[:, 2 + i, 1]
    return a, b


def by_expm(body: GasBody, agent: Agent, settings: list[Setting], until: float, step: float = 0.5) -> Floats:
    """(n, steps, 5) at every step from the first setting on; settings change on steps."""
    n = int(np.size(body.breath))
    here, found, moves = np.zeros((n, 5)), [], None
    for k in range(round(until / step) + 1):
        found.append(here)
        for setting in settings:
            if round(setting[0] / step) == k:
                a, b = slopes(body, agent, setting)
                whole = np.zeros((n, 6, 6))
                whole[:, :5, :5], whole[:, :5, 5] = a, b
                moves = expm(whole * step)
        assert moves is not None
        here = np.einsum("nij,nj->ni", moves[:, :5, :5], here) + moves[:, :5, 5]
    return np.stack(found, axis=1)


def by_ivp(body: GasBody, agent: Agent, settings: list[Setting], until: float) -> Floats:
    """The typical animal at the end (5,)."""
    here = np.zeros(5)
    for setting, stop in zip(settings, [*(s[0] for s in settings[1:]), until], strict=True):
        a, b = (x[0] for x in slopes(body, agent, setting))
        here = solve_ivp(
            lambda _, y, a=a, b=b: a @ y + b, (setting[0], stop), here, rtol=1e-9, atol=1e-12, method="LSODA"
        ).y[:, -1]
    return here


def point(found: Inhaled, minutes: float) -> int:
    assert found.begin_at is not None
    return round((at(minutes) - found.begin_at).total_seconds() / found.step_s)


def moment(found: Inhaled, n: int) -> float:
    """Minutes after the dial was first opened, at 60."""
    assert found.begin_at is not None
    return (found.begin_at - at(60)) / timedelta(minutes=1) + n * found.step_s / 60


def figures(text: str) -> list[float]:
    return [float(x.replace(",", "")) for x in re.findall(r"[\d,]*\.?\d+", text)]


def held(
    found: Inhaled,
    circuit_l: float | None,
    settings: list[Setting],
    which: list[int],
    agent: str = "isoflurane",
    near: float = 0.06,
) -> None:
    """The typical animal by solve_ivp lies in the band and near its middle at each of these points."""
    body, one, _, _ = animals(circuit_l, agent)
    for n in which:
        minute = moment(found, n)
        level = by_ivp(body, one, [s for s in settings if s[0] < minute], minute)
        assert found.low[n] <= level[1] <= found.high[n]
        assert found.middle[n] == pytest.approx(level[1], rel=near)
        if circuit_l is not None and not settings[-1][4]:
            assert found.inspired[n] == pytest.approx(level[0], rel=0.06)


# ---- the curve


def test_the_band_on_a_circle_holds_the_typical_animal_and_is_that_of_all_of_them() -> None:
    """Dial 2 % at 2 L/min in 6 L from minute 60; at 75 now, and on to 105 if nothing is touched."""
    found = card(on_gas(), 75)
    settings: list[Setting] = [(0.0, 2.0, 2.0, BREATHS, False)]
    assert (found.agent, found.unit, found.none, found.step_s) == ("isoflurane", "%", "", 30)
    held(found, 6.0, settings, [1, 4, 12, 30, 60, 85])
    _, _, many, spread = animals(6.0)
    whole = by_expm(many, spread, settings, 40.0)
    low, middle, high = np.percentile(whole[:, :, 1], (10, 50, 90), axis=0)
    for n in (1, 3, 10, 30, 50, 80):
        assert (found.low[n], found.middle[n], found.high[n]) == pytest.approx((low[n], middle[n], high[n]), rel=0.0051)
    assert figures(found.now_text) == pytest.approx([low[30], high[30]], rel=0.051)
    assert set(found.dial) == {2.0} and found.as_of == at(75)


def test_changes_of_dial_and_flow_count_from_their_moment() -> None:
    b = on_gas()
    dial(b, 66, "3")
    b.tell(70, ev.GasSet, oxygen_l_min=d("0.5"))
    settings: list[Setting] = [
        (0.0, 2.0, 2.0, BREATHS, False),
        (6.0, 3.0, 2.0, BREATHS, False),
        (10.0, 3.0, 0.5, BREATHS, False),
    ]
    found = card(b, 80)
    held(found, 6.0, settings, [5, point(found, 69), point(found, 80), len(found.low) - 1])
    assert (found.dial[0], found.dial[-1]) == (2.0, 3.0)


def test_another_gas_beside_the_oxygen_is_fresh_gas() -> None:
    b = on_gas(flow="")
    b.tell(60, ev.GasSet, oxygen_l_min=d("1"), other="air", other_l_min=d("1"))
    assert card(b, 75).middle == card(on_gas(), 75).middle


def test_breaths_as_counted_change_the_uptake_and_those_of_the_ventilator_stand_first() -> None:
    """The ventilator at 10 x 150 mL is 1.5 L/min, 0.975 past the dead space."""
    b = on_gas()
    b.tell(65, ev.ReadingTaken, reading="respiratory_rate", value=d("24"), unit="/min", source="device")
    settings: list[Setting] = [(0.0, 2.0, 2.0, BREATHS, False), (5.0, 2.0, 2.0, 2 * BREATHS, False)]
    found = card(b, 75)
    held(found, 6.0, settings, [point(found, 64), point(found, 75)])
    assert any(c == "tidal volume taken as 12 mL/kg: nobody measured it" for c in found.cautions)
    b.tell(75, ev.VentilationSet, mode="ventilator", rate=10, tidal_ml=d("150"))
    settings.append((15.0, 2.0, 2.0, 10 * 0.150 * 0.65, False))
    found = card(b, 85)
    held(found, 6.0, settings, [point(found, 85), len(found.low) - 1])
    assert any("breaths as the ventilator is set" in c for c in found.cautions)


def test_a_closed_dial_lets_it_fall_and_says_that_wash_out_misses() -> None:
    b = on_gas()
    dial(b, 80, "0")
    found = card(b, 90)
    settings: list[Setting] = [(0.0, 2.0, 2.0, BREATHS, False), (20.0, 0.0, 2.0, BREATHS, False)]
    held(found, 6.0, settings, [point(found, 79), point(found, 90), len(found.low) - 1])
    assert found.middle[-1] < found.middle[point(found, 79)] / 4 and found.dial[-1] == 0.0
    assert any(c.startswith("Wash-out is not right in this model") for c in found.cautions)


def test_with_the_tube_out_room_air_is_breathed() -> None:
    """Faster than a closed dial on the circle, and the lines look to room air, not to a dial that no longer reaches the animal."""
    b, on = on_gas(), on_gas()
    b.tell(80, ev.Extubated, signs=("swallow",))
    dial(on, 80, "0")
    found = card(b, 90)
    held(
        found,
        6.0,
        [(0.0, 2.0, 2.0, BREATHS, False), (20.0, 2.0, 2.0, BREATHS, True)],
        [point(found, 90), len(found.low) - 1],
        near=0.15,  # so far down the spread is wide and lopsided
    )
    assert found.inspired[-1] == 0.0 and found.middle[-1] < card(on, 90).middle[-1]
    assert [x.text.split(",")[0] for x in found.lines[:2]] == [
        "50 % of the way to room air",
        "90 % of the way to room air",
    ]
    assert all(x.minutes_text.startswith("≈ ") for x in found.lines[:2])


@pytest.mark.parametrize("circuit", ["Bain", "T-piece", "mini-Lack"])
def test_a_system_that_does_not_rebreathe_gives_the_dial(circuit: str) -> None:
    b = on_gas(circuit)
    dial(b, 70, "3")
    found = card(b, 75)
    assert found.inspired == found.dial
    held(
        found,
        None,
        [(0.0, 2.0, 2.0, BREATHS, False), (10.0, 3.0, 2.0, BREATHS, False)],
        [8, point(found, 75), len(found.low) - 1],
    )
    assert any(c.startswith("Breathed in is taken as the dial") for c in found.cautions)


def test_sevoflurane_is_followed_with_its_own_coefficients() -> None:
    found = card(on_gas(agent="sevoflurane"), 75)
    held(found, 6.0, [(0.0, 2.0, 2.0, BREATHS, False)], [4, 30, 60], "sevoflurane")
    assert found.middle[30] > card(on_gas(), 75).middle[30], "less soluble in blood, so quicker"


def test_measured_figures_stand_beside_it_as_measured() -> None:
    b = on_gas()
    b.tell(
        73,
        ev.ArtefactMarked,
        target=b.tell(72, ev.ReadingTaken, reading="agent_et", value=d("4"), unit="%", source="device"),
    )
    found = card(b, 75)
    assert [(m.at, m.text, m.low, m.high) for m in found.measured] == [(at(70), "1.2 %", 1.2, 1.2)]


# ---- minutes to a level


def grid_minutes(settings: list[Setting], now: float, level: float, rising: bool) -> tuple[float | None, float | None]:
    """10 and 90 % of the animals' first half minute at a level, over four hours from now; None where those never are."""
    _, _, many, spread = animals(6.0)
    ahead = by_expm(many, spread, settings, now + 240)[:, round(now / 0.5) :, 1]
    there = ahead >= level if rising else ahead <= level
    first = np.where(there.any(1), there.argmax(1) * 0.5, np.inf)
    early, late = np.percentile(first, (10, 90), method="lower")
    return (None if np.isinf(early) else float(early)), (None if np.isinf(late) else float(late))


def line(found: Inhaled, start: str) -> tuple[float, str]:
    """The level and the minutes that a line tells."""
    told = next(x for x in found.lines if x.text.startswith(start) or start in x.text)
    level = figures(told.text.replace(start, ""))[0]
    return level, told.minutes_text


def test_minutes_to_the_ends_of_the_mac_by_a_fine_grid() -> None:
    """Isoflurane in the dog 1.15 to 1.69 % (twelve figures). At 62 all animals are under the least: minutes to it, early to late."""
    settings: list[Setting] = [(0.0, 3.0, 2.0, BREATHS, False)]
    b = on_gas()
    b.entries = [e for e in b.entries if not isinstance(e.event, ev.VaporiserSet)]
    dial(b, 60, "3")
    found = card(b, 62)
    for words, level in (("the least printed MAC", 1.15), ("the most printed MAC", 1.69)):
        early, late = grid_minutes(settings, 2.0, level, True)
        assert early is not None and late is not None
        told = next(x.minutes_text for x in found.lines if x.text.endswith(words))
        assert figures(told) == pytest.approx([early, late], rel=0.06, abs=0.6)


def test_animals_that_are_there_already_are_not_called_never() -> None:
    """At 75 some are over 1.15 % and some under it, the middle just over: the last come there in 20 minutes. At 120 all are over it."""
    early, late = grid_minutes([(0.0, 2.0, 2.0, BREATHS, False)], 15.0, 1.15, True)
    assert early == 0.0 and late is not None
    for minute, words in ((75, None), (120, "already over it")):
        told = next(x.minutes_text for x in card(on_gas(), minute).lines if x.text.endswith("the least printed MAC"))
        assert told == words if words else figures(told) == pytest.approx([0.0, late], rel=0.06, abs=0.6)


def test_minutes_down_after_the_dial_was_closed_by_a_fine_grid() -> None:
    b = on_gas()
    dial(b, 80, "0")
    settings: list[Setting] = [(0.0, 2.0, 2.0, BREATHS, False), (20.0, 0.0, 2.0, BREATHS, False)]
    found = card(b, 81)
    _, _, many, spread = animals(6.0)
    here = float(np.median(by_expm(many, spread, settings, 21.0)[:, -1, 1]))
    for share in (50, 90):
        early, late = grid_minutes(settings, 21.0, here * (1 - share / 100), False)
        assert early is not None and late is not None
        told = next(x.minutes_text for x in found.lines if x.text.startswith(f"{share} % of the way to the dial"))
        assert figures(told) == pytest.approx([early, late], rel=0.06, abs=0.6)
    most = next(x.minutes_text for x in found.lines if x.text.endswith("the most printed MAC"))
    assert most == "already under it", "and a closed dial brings nothing up"


def test_a_level_past_the_dial_is_not_reached_at_these_settings() -> None:
    """Dial 1 %: 1.15 % never comes."""
    b = on_gas()
    dial(b, 62, "1")
    told = next(x.minutes_text for x in card(b, 63).lines if x.text.endswith("the least printed MAC"))
    assert told == "not at these settings"


def test_what_comes_after_four_hours_is_not_called_never() -> None:
    """Nine tenths of the way to the dial: the fat still takes up."""
    told = next(x.minutes_text for x in card(on_gas(), 75).lines if x.text.startswith("90 % of the way"))
    assert told == "over 4 h"


# ---- refusals


@pytest.mark.parametrize(("without", "says"), [
    ({"circuit": None}, "Nobody said which breathing system serves this animal."),
    ({"circuit": ""}, "Nobody said which breathing system serves this animal."),
    ({"circuit": "a system of our own"}, "'a system of our own' is not a system Spiracle knows."),
    ({"flow": ""}, "No flow of fresh gas was entered."),
    ({"breaths": ""}, "Nobody counted the breaths."),
    ({"kg": ""}, "The weight is not entered."),
    ({"agent": "halothane"}, "'halothane' has no solubility here, so nothing is predicted."),
    ({"agent": "nothing of the kind"}, "'nothing of the kind' has no solubility here"),
])  # fmt: skip
def test_what_is_lacking_is_named_and_the_measured_figures_stay(without: dict[str, Any], says: str) -> None:
    """D4: no estimate is made from a guess; what the monitor measured is shown all the same."""
    found = card(on_gas(**without), 75)
    assert found.none.startswith(f"No estimate. {says}")
    assert not (
        found.low or found.middle or found.high or found.inspired or found.dial or found.lines or found.now_text
    )
    assert [m.text for m in found.measured] == ["1.2 %"]


def test_two_agents_are_refused() -> None:
    """D4: the model follows one."""
    b = on_gas()
    dial(b, 72, "0")
    dial(b, 73, "3", "sevoflurane")
    found = card(b, 75)
    assert found.none == "No estimate. More than one agent was on. The model follows one agent alone."
    assert found.measured and not found.low


def test_a_mistaken_dial_that_was_struck_is_no_second_agent() -> None:
    b = on_gas()
    wrong = b.tell(61, ev.VaporiserSet, agent="sevoflurane", percent=d("2"))
    b.tell(61.2, ev.EntryStruck, target=wrong, reason="wrong key")
    assert card(b, 75).middle == card(on_gas(), 75).middle


def test_a_dial_that_was_never_opened_has_no_card() -> None:
    b = animal()
    b.tell(58, ev.TimeMarked, mark="induction")
    dial(b, 60, "0")
    assert seen(b, 65).maintain.inhaled is None


def test_the_first_moment_has_a_curve_from_nothing() -> None:
    found = card(on_gas(), 60)
    assert found.low[0] == found.high[0] == 0.0 and found.middle[20] > 0.3
