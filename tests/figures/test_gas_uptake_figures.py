"""Inhaled agents against what was printed: the sourced checks, and what the model does not get right, written down as such."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from room_tables import sources
from spiracle.breathing.flows import time_constant_min, wash_in_minutes
from spiracle.doors.tables import table_texts
from spiracle.kinetics.gas import Agent, GasBody, agent_of, body_of, population, usual_ventilation
from spiracle.kinetics.gas_checks import GAS_CHECKS
from spiracle.kinetics.gas_tables import GasTables
from spiracle.kinetics.uptake import Stretch, inhaled, minutes_to
from spiracle.refusals import BadTable
from spiracle.sheets.checks import CheckRow, read_checks, run_check

TEXTS = table_texts()
TABLES = GasTables.read(TEXTS, sources())
ROWS = read_checks({"checks-kinetics-gas": TEXTS["checks-kinetics-gas"]})
# Human set of row KG6 and KG7: blood/gas, then brain, muscle and fat over blood.
SETS = {
    "desflurane": (0.42, (1.29, 2.02, 27.2)),
    "sevoflurane": (0.63, (1.70, 3.13, 47.5)),
    "isoflurane": (1.40, (1.57, 2.92, 44.9)),
    "halothane": (2.35, (1.94, 3.38, 51.1)),
}


def person(agent: str) -> tuple[GasBody, Agent]:
    """A person of Eger's groups, from memory (row KG8)."""
    blood, tissues = SETS[agent]
    body = GasBody(species="human", weight_kg=70, circuit_l=None, lung_l=np.asarray(2.5), groups_l=np.array([6, 33, 14.5]),
                   flows_l_min=5.4 * np.array([0.75, 0.19, 0.06]), breath=np.asarray(1.0), sources=())  # fmt: skip
    return body, Agent(
        name=agent, dial_high=20, blood_gas=np.asarray(blood), tissue_blood=np.array(tissues), sources=(), memory=True
    )


def breathing_at(dial: float, breath: float, start: float = 0, fresh: float = 10) -> Stretch:
    return Stretch(start_min=start, dial_percent=dial, fresh_gas_l_min=fresh, alveolar_l_min=breath)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.id)
def test_a_sourced_check_passes(row: CheckRow) -> None:
    assert run_check(row, GAS_CHECKS).passed


def test_every_formula_has_a_check() -> None:
    assert {row.compute for row in ROWS} == set(GAS_CHECKS)


def test_the_tables_hold_the_set_that_was_compared_with_people() -> None:
    for name in ("isoflurane", "sevoflurane", "desflurane"):
        agent = agent_of(TABLES, name)
        assert (float(agent.blood_gas), tuple(agent.tissue_blood)) == SETS[name]


@pytest.mark.parametrize(
    ("agent", "people", "off"),
    [
        ("desflurane", 0.14, -0.048),
        ("sevoflurane", 0.16, -0.013),
        ("isoflurane", 0.22, 0.019),
        ("halothane", 0.25, 0.087),
    ],
)
def test_wash_out_is_not_right_and_by_how_much(agent: str, people: float, off: float) -> None:
    """Rows KG13 and KG14 (people's values from memory): desflurane leaves too fast, halothane, which is broken down, too slowly.
    This is why every wash-out carries the words; the miss is held so that nobody tunes it away unseen."""
    course = inhaled([breathing_at(1, 4), breathing_at(0, 4, 30)], *person(agent), [30, 35])
    assert course.alveolar[1] / course.alveolar[0] - people == pytest.approx(off, abs=0.002)
    assert any("Wash-out is not right" in w for w in course.words)


def test_cats_on_desflurane_were_measured_nearer_the_inspired_than_predicted() -> None:
    """Vet Surg 1995 (abstract): cats of 3.5 kg, FA/FI always over 0.97 when MAC was measured, at least 15 min at one level; the
    minutes since the start are not printed. The model does not meet it: not its middle for an hour, nor its 90th percentile.
    Half the scaled output, nearer the one cat series (row KG11), takes away much of the miss. Held as a miss, and said in words."""
    body, agent = body_of(TABLES, "cat", 3.5, None), agent_of(TABLES, "desflurane")
    runs = [breathing_at(10, usual_ventilation(TABLES, "cat", 3.5))]
    course = inhaled(runs, body, agent, [15, 60])
    assert np.all(course.alveolar / 10 < 0.97)
    assert np.all(inhaled(runs, *population(TABLES, body, agent), [15, 60]).band("alveolar")[2] / 10 < 0.97)
    halved = inhaled(runs, replace(body, flows_l_min=body.flows_l_min / 2), agent, [15, 60])
    assert 0.97 - halved.alveolar[0] / 10 < 0.5 * (0.97 - course.alveolar[0] / 10)
    assert any("too slow" in w for w in course.words)
    dog = inhaled(runs, body_of(TABLES, "dog", 3.5, None), agent, [15])
    assert not any("too slow" in w for w in dog.words)


def test_an_empty_circle_fills_as_the_breathing_room_says() -> None:
    """Where nobody breathes from it, the circle is volume over fresh gas alone: breathing/flows.py, first-order wash-in."""
    body, agent = body_of(TABLES, "dog", 20, 5), agent_of(TABLES, "isoflurane")
    for share in (0.5, 0.9, 0.99):
        found = minutes_to(4 * share, [breathing_at(4, 0, fresh=2)], body, agent, "inspired")
        assert found == pytest.approx(wash_in_minutes(time_constant_min(5, 2), share))


def test_solubility_orders_the_agents_as_it_did_in_people() -> None:
    """Anesth Analg 1991, figure caption read: the less soluble in blood, the faster FA/FI rises."""
    body = body_of(TABLES, "dog", 20, None)
    runs = [breathing_at(4, usual_ventilation(TABLES, "dog", 20))]
    for minutes in (1, 5, 30, 120):
        shares = [float(inhaled(runs, body, agent_of(TABLES, a), [minutes]).alveolar[0])
                  for a in ("isoflurane", "sevoflurane", "desflurane")]  # fmt: skip
        assert shares == sorted(shares)


def test_less_output_raises_the_alveolar_level() -> None:
    """Common teaching, said in the sources' notes too: a fall of cardiac output raises FA/FI."""
    body, agent = body_of(TABLES, "dog", 20, None), agent_of(TABLES, "isoflurane")
    weak = replace(body, flows_l_min=body.flows_l_min / 2)
    full, half = (inhaled([breathing_at(2, 1.6)], b, agent, [5]).alveolar[0] for b in (body, weak))
    assert half > full * 1.1


def test_scaled_output_is_at_least_twice_the_one_cat_series() -> None:
    """Row KG11 (abstract): 184 and 234 mL/min in cats under chloralose, weights not printed; scaling gives 510 at 3 kg. Not
    resolved: the words on every cat's prediction stand for it."""
    total = float(body_of(TABLES, "cat", 3, None).flows_l_min.sum())
    assert total == pytest.approx(0.51, abs=0.01) and total > 2 * 0.234


# ---- the tables do not load with a gap


@pytest.mark.parametrize(
    ("out", "into", "words"),
    [
        ('id = "isoflurane-fat"', 'id = "isoflurane-fat2"\npart2 = "x"', "part2"),
        (
            '[[cold]]\nid = "cold-desflurane"\nagent = "desflurane"',
            '[[cold]]\nid = "cold-x"\nagent = "x"',
            "desflurane",
        ),
        ("flow_percent = 19", "flow_percent = 20", "100 %"),
        ('source = ["g_frc_dog"]', 'source = ["nobody"]', "nobody"),
        ('rests_on = ["KG31"]', 'rests_on = ["KG99"]', "KG99"),
        ('id = "spread-fat"', 'id = "spread-far"', "spread-fa"),
    ],
)
def test_a_table_with_a_gap_does_not_load(out: str, into: str, words: str) -> None:
    text = TEXTS["kinetics-gas"]
    assert out in text
    with pytest.raises(BadTable, match=words):
        GasTables.read({**TEXTS, "kinetics-gas": text.replace(out, into)}, sources())
    with pytest.raises(BadTable, match="not among"):
        GasTables.read({}, sources())
