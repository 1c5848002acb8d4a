"""Laws of inhaled uptake: nothing is made or lost, settings that go on change nothing, and an integrator says the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from room_tables import sources
from spiracle.doors.tables import table_texts
from spiracle.kinetics.gas import Agent, GasBody, agent_of, body_of, population, usual_ventilation
from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.uptake import PLACES, Course, Stretch, held_l, inhaled, minutes_to, reached
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Unknown

TABLES = GasTables.read(table_texts(), sources())
AGENTS = ("isoflurane", "sevoflurane", "desflurane")
FLOWS = st.floats(0.05, 10)
BREATHS = st.floats(0.05, 8)


@st.composite
def bodies(draw: st.DrawFn, rebreathing: bool | None = None) -> GasBody:
    species = draw(st.sampled_from(["dog", "cat"]))
    kg = draw(st.floats(0.3, 80 if species == "dog" else 12))
    circle = draw(st.one_of(st.none(), st.floats(0.5, 12))) if rebreathing is None else 5.0 if rebreathing else None
    return body_of(TABLES, species, kg, circle)


@st.composite
def stretches(draw: st.DrawFn, highest: float, most: int = 5) -> list[Stretch]:
    start, found = 0.0, []
    for _ in range(draw(st.integers(1, most))):
        found.append(Stretch(start_min=start, dial_percent=draw(st.floats(0, highest)), fresh_gas_l_min=draw(FLOWS),
                             alveolar_l_min=draw(BREATHS), opened=draw(st.integers(0, 5)) == 0))  # fmt: skip
        start += draw(st.floats(0.5, 40))
    return found


AGENT = st.sampled_from(AGENTS).map(lambda n: agent_of(TABLES, n))


def one(dial: float, flow: float, breath: float, start: float = 0.0) -> Stretch:
    return Stretch(start_min=start, dial_percent=dial, fresh_gas_l_min=flow, alveolar_l_min=breath)


def levels(course: Course) -> np.ndarray:
    return np.stack([course.at(place) for place in PLACES], axis=-1)


def integrated(given_: list[Stretch], body: GasBody, agent: Agent, until: float) -> tuple[np.ndarray, np.ndarray]:
    """The equations as a textbook has them, stepped by scipy: levels at the end, and litres that came in less those that left."""
    circle, lam = body.circuit_l, float(agent.blood_gas)
    groups, flows, lung = body.groups_l, body.flows_l_min, float(body.lung_l)
    state = np.zeros(6)
    for k, stretch in enumerate(given_):
        end = given_[k + 1].start_min if k + 1 < len(given_) else until
        dial, fresh, va = stretch.dial_percent, stretch.fresh_gas_l_min, stretch.alveolar_l_min

        def slope(
            _: float, y: np.ndarray, s: Stretch = stretch, d: float = dial, f: float = fresh, v: float = va
        ) -> np.ndarray:
            fi, fa, p = y[0], y[1], y[2:5]
            joined = circle is not None and not s.opened
            breathed = fi if joined else 0.0 if s.opened else d
            into_circle = 0.0 if circle is None else f * (d - fi)
            d_fi = 0.0 if circle is None else (into_circle - (v * (fi - fa) if joined else 0.0)) / circle
            to_tissue = lam * flows * (fa - p)
            d_fa = (v * (breathed - fa) - to_tissue.sum()) / lung
            came = into_circle + (0.0 if joined else v * (breathed - fa))
            return np.array([d_fi, d_fa, *(to_tissue / (lam * agent.tissue_blood * groups)), came])

        if end > stretch.start_min:
            state = solve_ivp(slope, (stretch.start_min, end), state, method="DOP853", rtol=1e-10, atol=1e-13).y[:, -1]
    breathed = given_[-1]
    shown = state[:5].copy()
    if circle is None or breathed.opened:
        shown[0] = 0.0 if breathed.opened else breathed.dial_percent
    return shown, state[5:]


@settings(max_examples=25, deadline=None)
@given(st.data(), bodies(), AGENT)
def test_an_integrator_says_the_same_and_nothing_is_made_or_lost(
    data: st.DataObject, body: GasBody, agent: Agent
) -> None:
    """scipy.integrate.solve_ivp at rtol 1e-10 over the textbook's own equations: levels within 1e-8 of the dial's scale, and what
    came in less what left stands in circle, lung and tissue."""
    runs = data.draw(stretches(agent.dial_high))
    until = runs[-1].start_min + data.draw(st.floats(0.1, 60))
    course = inhaled(runs, body, agent, [until])
    expected, net = integrated(runs, body, agent, until)
    assert levels(course)[0] == pytest.approx(expected, abs=1e-8 * agent.dial_high)
    closed = [s for s in runs if not s.opened]
    if body.circuit_l is None:
        assert float(held_l(course, body, agent)[0]) == pytest.approx(net[0] / 100, rel=1e-8, abs=1e-10)
    elif len(closed) == len(runs):
        total = float(held_l(course, body, agent)[0]) + body.circuit_l * float(course.inspired[0]) / 100
        assert total == pytest.approx(net[0] / 100, rel=1e-8, abs=1e-10)


@given(bodies(), AGENT, st.floats(0.1, 1), FLOWS, BREATHS)
def test_at_last_everything_stands_at_the_dial(
    body: GasBody, agent: Agent, share: float, flow: float, breath: float
) -> None:
    dial = share * agent.dial_high
    course = inhaled([one(dial, flow, breath)], body, agent, [1e8])
    assert levels(course)[0] == pytest.approx(np.full(5, dial), rel=1e-9)


@given(bodies(), AGENT, st.floats(0.1, 1), FLOWS, BREATHS)
def test_from_empty_nothing_falls_while_settings_stand(
    body: GasBody, agent: Agent, share: float, flow: float, breath: float
) -> None:
    dial = share * agent.dial_high
    found = levels(inhaled([one(dial, flow, breath)], body, agent, np.linspace(0, 240, 200)))
    assert np.all(np.diff(found, axis=0) >= -1e-12 * dial)
    assert np.all(found[:, 0] >= found[:, 1] - 1e-12 * dial) and np.all(found[:, [1]] >= found[:, 2:] - 1e-12 * dial)


@given(st.data(), bodies(), AGENT)
def test_nothing_passes_the_highest_dial_so_far_or_falls_below_none(
    data: st.DataObject, body: GasBody, agent: Agent
) -> None:
    runs = data.draw(stretches(agent.dial_high))
    times = np.linspace(0, runs[-1].start_min + 60, 150)
    highest = np.array([max(s.dial_percent for s in runs if s.start_min <= t) for t in times])
    found = levels(inhaled(runs, body, agent, times))
    assert np.all(found <= highest[:, None] + 1e-11 * agent.dial_high)
    assert np.all(found >= -1e-11 * agent.dial_high)


@given(st.data(), bodies(), AGENT, st.floats(0, 1))
def test_a_share_of_the_dial_gives_that_share_of_every_level(
    data: st.DataObject, body: GasBody, agent: Agent, share: float
) -> None:
    runs = data.draw(stretches(agent.dial_high))
    less = [replace(s, dial_percent=s.dial_percent * share) for s in runs]
    times = np.linspace(0, runs[-1].start_min + 30, 40)
    whole, part = (levels(inhaled(r, body, agent, times)) for r in (runs, less))
    assert part == pytest.approx(whole * share, abs=1e-11 * agent.dial_high)


@given(st.data(), bodies(), AGENT, st.floats(0.01, 0.99))
def test_settings_said_twice_change_nothing(data: st.DataObject, body: GasBody, agent: Agent, share: float) -> None:
    runs = data.draw(stretches(agent.dial_high))
    end = runs[-1].start_min + 30
    cut = share * end
    i = max(k for k, s in enumerate(runs) if s.start_min <= cut)
    if cut == runs[i].start_min:
        return
    said = [*runs[: i + 1], replace(runs[i], start_min=cut), *runs[i + 1 :]]
    times = np.linspace(0, end, 60)
    once, twice = (levels(inhaled(r, body, agent, times)) for r in (runs, said))
    assert twice == pytest.approx(once, abs=1e-11 * agent.dial_high)


@given(st.data(), bodies(), AGENT, st.floats(0, 1e4))
def test_another_hour_of_the_clock_changes_nothing(
    data: st.DataObject, body: GasBody, agent: Agent, later: float
) -> None:
    runs = data.draw(stretches(agent.dial_high))
    times = np.linspace(0.05, runs[-1].start_min + 30, 30)
    apart = [min(abs(t - s.start_min) for s in runs) for t in times]
    times = times[np.array(apart) > 1e-6]
    moved = [replace(s, start_min=s.start_min + later) for s in runs]
    one_, other = inhaled(runs, body, agent, times), inhaled(moved, body, agent, times + later)
    assert levels(other) == pytest.approx(levels(one_), abs=1e-8 * agent.dial_high)


@given(bodies(rebreathing=True), AGENT, FLOWS, FLOWS, BREATHS, st.floats(0.1, 240))
def test_more_fresh_gas_never_slows_a_circle(
    body: GasBody, agent: Agent, one_flow: float, other: float, breath: float, at: float
) -> None:
    low, high = sorted((one_flow, other))
    slow, fast = (levels(inhaled([one(agent.dial_high, f, breath)], body, agent, [at])) for f in (low, high))
    assert np.all(fast >= slow - 1e-11 * agent.dial_high)


# ---- minutes to a level


@given(st.data(), bodies(), AGENT, st.sampled_from(PLACES), st.floats(0.01, 0.99))
def test_the_minute_of_a_level_is_its_minute_and_the_first(
    data: st.DataObject, body: GasBody, agent: Agent, place: str, share: float
) -> None:
    runs = data.draw(stretches(agent.dial_high))
    target = share * agent.dial_high
    last = runs[-1].start_min
    found = minutes_to(target, runs, body, agent, place)
    times = last + np.concatenate([[0.0], np.geomspace(1e-3, 1e5, 300)])
    sides = np.sign(inhaled(runs, body, agent, times).at(place) - target)
    if found is None:
        assert np.all(sides == sides[0]) or abs(target - runs[-1].dial_percent) < 1e-6
        return
    assert inhaled(runs, body, agent, [last + found]).at(place)[0] == pytest.approx(target, abs=1e-9 * agent.dial_high)
    before = sides[times < last + found * (1 - 1e-9)]
    assert before.size == 0 or np.all(before == before[0])


@given(bodies(), AGENT, FLOWS, BREATHS)
def test_what_the_dial_never_gives_has_no_minute(body: GasBody, agent: Agent, flow: float, breath: float) -> None:
    dial = agent.dial_high / 2
    wash_in = [one(dial, flow, breath)]
    assert minutes_to(dial * 1.0001, wash_in, body, agent) is None
    assert minutes_to(dial, wash_in, body, agent) is None
    assert minutes_to(0, wash_in, body, agent) == 0
    off = [*wash_in, one(0, flow, breath, 30)]
    assert minutes_to(0, off, body, agent) is None
    now = float(inhaled(off, body, agent, [30]).alveolar[0])
    assert minutes_to(now / 2, off, body, agent) is not None


def test_of_many_animals_the_shares_are_those_of_each() -> None:
    body, agent = body_of(TABLES, "cat", 4, 4), agent_of(TABLES, "isoflurane")
    many, agents = population(TABLES, body, agent)
    runs = [one(3, 1, 0.5)]
    found = reached(1.6, runs, many, agents)
    assert found.early < found.middle < found.late and found.never_percent == 0
    for minutes, percent in ((found.early, 10), (found.middle, 50), (found.late, 90)):
        alveolar = inhaled(runs, many, agents, [minutes]).alveolar[:, 0]
        assert 100 * np.mean(alveolar >= 1.6 - 1e-9) == pytest.approx(percent, abs=0.2)
    never = reached(3.5, runs, many, agents)
    assert (never.early, never.middle, never.late, never.never_percent) == (None, None, None, 100)
    with pytest.raises(OutOfRange, match="population"):
        minutes_to(1.6, runs, many, agents)


# ---- the animals


def test_virtual_animals_are_two_thousand_the_same_each_time_and_spread_as_stated() -> None:
    body, agent = body_of(TABLES, "dog", 20, 5), agent_of(TABLES, "sevoflurane")
    many, agents = population(TABLES, body, agent)
    again, _ = population(TABLES, body, agent)
    assert many.lung_l.size >= 2000 and np.array_equal(many.lung_l, again.lung_l)
    for values, middle, cv in (
        (many.lung_l, body.lung_l, 21),  # printed: 38.6 (SD 8.2) mL/kg in dogs
        (many.groups_l[:, 2], body.groups_l[2], 40),
        (agents.blood_gas, agent.blood_gas, 20),
        (agents.tissue_blood[:, 0], agent.tissue_blood[0], 100 * 0.09 / 1.70),  # printed: 1.70 (SD 0.09)
    ):
        assert np.median(values) == pytest.approx(float(middle), rel=5e-3)
        assert 100 * np.std(values) / np.mean(values) == pytest.approx(cv, rel=0.03)
    drawn = np.corrcoef(
        np.log([many.lung_l, many.breath, agents.blood_gas, many.groups_l[:, 0], many.flows_l_min[:, 0]])
    )
    assert np.all(np.abs(drawn - np.eye(5)) < 0.03)


def test_the_band_holds_the_middle_and_is_ordered() -> None:
    body, agent = body_of(TABLES, "dog", 20, 5), agent_of(TABLES, "isoflurane")
    times = np.linspace(0, 90, 91)
    runs = [one(3, 2, 1.6), one(1, 2, 1.6, 45)]
    low, middle, high = inhaled(runs, *population(TABLES, body, agent), times).band("alveolar")
    plain = inhaled(runs, body, agent, times)
    assert np.all(low <= middle) and np.all(middle <= high)
    assert np.all(np.abs(middle - plain.alveolar) < 0.05)
    with pytest.raises(Missing, match="virtual animals"):
        plain.band("alveolar")


@given(st.sampled_from(["dog", "cat"]), st.floats(0.3, 12), st.floats(0.3, 12))
def test_the_smaller_animal_is_filled_sooner(species: str, one_kg: float, other_kg: float) -> None:
    """Volumes with weight, flows with weight to 0.75: minutes go with weight to 0.25."""
    small, large = sorted((one_kg, other_kg))
    agent = agent_of(TABLES, "isoflurane")
    found = [minutes_to(2, [one(4, 2, usual_ventilation(TABLES, species, kg))], body_of(TABLES, species, kg, None), agent)
             for kg in (small, large)]  # fmt: skip
    assert found[0] <= found[1] * (1 + 1e-9)
    assert found[1] / found[0] == pytest.approx((large / small) ** 0.25, rel=1e-6)


# ---- words and refusals


def test_every_prediction_says_what_it_is() -> None:
    body, agent = body_of(TABLES, "cat", 4, None), agent_of(TABLES, "desflurane")
    up = inhaled([one(8, 2, 0.5)], body, agent, [10])
    assert "not a measurement" in up.words[0] and "gives no order" in up.words[0] and "human" in up.words[1]
    assert not any("Wash-out" in w for w in up.words) and up.memory
    down = inhaled([one(8, 2, 0.5), one(2, 2, 0.5, 10)], body, agent, [11])
    assert any("Wash-out is not right" in w for w in down.words)
    opened = [one(8, 2, 0.5), replace(one(8, 2, 0.5, 10), opened=True)]
    assert any("Wash-out is not right" in w for w in inhaled(opened, body, agent, [11]).words)
    assert any("nearer the dial" in w for w in inhaled([one(8, 2, 0.5)], body, agent, [300]).words)


def test_no_course_from_a_guess() -> None:
    body, agent = body_of(TABLES, "dog", 20, 5), agent_of(TABLES, "isoflurane")
    with pytest.raises(Missing, match="weight"):
        body_of(TABLES, "dog", None, 5)
    with pytest.raises(Missing, match="species"):
        body_of(TABLES, None, 20, 5)
    with pytest.raises(Unknown, match="rabbit"):
        body_of(TABLES, "rabbit", 2, 5)
    with pytest.raises(OutOfRange, match="cannot be a cat"):
        body_of(TABLES, "cat", 20, 5)
    with pytest.raises(OutOfRange, match="no circle"):
        body_of(TABLES, "dog", 20, 0)
    with pytest.raises(Unknown, match="no solubility"):
        agent_of(TABLES, "halothane")
    good = one(2, 1, 1)
    bad = [
        ([], Missing, "settings"),
        ([replace(good, dial_percent=None)], Missing, "dial"),
        ([replace(good, fresh_gas_l_min=None)], Missing, "fresh gas"),
        ([replace(good, alveolar_l_min=None)], Missing, "alveolar ventilation"),
        ([replace(good, fresh_gas_l_min=-1.0)], OutOfRange, "fresh gas"),
        ([replace(good, alveolar_l_min=float("nan"))], OutOfRange, "alveolar ventilation"),
        ([replace(good, dial_percent=5.1)], OutOfRange, "not on a dial"),
        ([replace(good, dial_percent=-0.1)], OutOfRange, "not on a dial"),
        ([good, good], Contradiction, "start"),
        ([replace(good, start_min=float("inf"))], OutOfRange, "start"),
    ]
    for runs, kind, words in bad:
        with pytest.raises(kind, match=words):
            inhaled(runs, body, agent, [5])
    with pytest.raises(OutOfRange, match="before the first"):
        inhaled([good], body, agent, [-1])
    with pytest.raises(NotOneOf, match="brain"):
        minutes_to(1, [good], body, agent, "brain")
    with pytest.raises(OutOfRange, match="level"):
        minutes_to(-1, [good], body, agent)
    with pytest.raises(OutOfRange, match="too few for a band"):
        population(TABLES, body, agent, 1999)
