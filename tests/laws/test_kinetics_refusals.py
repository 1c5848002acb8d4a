"""What kinetics refuses, by name: each time the entry at fault and what would be accepted."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.network import modes
from spiracle.kinetics.population import Spread, animals
from spiracle.kinetics.saturable import Saturable, clearance_after_bolus
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels, on_grid
from spiracle.kinetics.timing import context_half_time, peak_after, steady_level, time_to_fall
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Refusal

NAN, INF = float("nan"), float("inf")
PLAIN = Disposition(0.5, 0.02)
ONE = Schedule((Bolus(0, 1),))

REFUSED: list[tuple[Callable[[], object], type[Refusal], str]] = [
    (lambda: Disposition(0, 0.1), OutOfRange, "v1"),
    (lambda: Disposition(None, 0.1), Missing, "v1"),
    (lambda: Disposition("much", 0.1), OutOfRange, "v1"),
    (lambda: Disposition(0.5, -0.1), OutOfRange, "clearance"),
    (lambda: Disposition(0.5, NAN), OutOfRange, "clearance"),
    (lambda: Disposition(np.array([0.5, INF]), 0.1), OutOfRange, "v1"),
    (lambda: Disposition(0.5, 0.1, ((0.1, 0.0),)), OutOfRange, "v2"),
    (lambda: Disposition(0.5, 0.1, ((0.1, 1.0), (-0.1, 1.0))), OutOfRange, "q3"),
    (lambda: Disposition(0.5, 0.1, ((0.1, 1.0),) * 3), OutOfRange, "exchange"),
    (lambda: Disposition(0.5, 0.1, (), -1), OutOfRange, "ke0"),
    (lambda: Disposition(np.ones(2), np.ones(3)), Contradiction, "animals"),
    (lambda: Disposition.of_constants(0.5), Missing, "k10"),
    (lambda: Disposition.of_constants(0.5, k10=1, clearance=1), Contradiction, "k10"),
    (lambda: Disposition.of_constants(0.5, k10=1, k12=-1), OutOfRange, "k12"),
    (lambda: Disposition.of_constants(0.5, k10=1, k31=NAN), OutOfRange, "k31"),
    (lambda: Schedule((Bolus(-1, 1),)), OutOfRange, "bolus 1, at"),
    (lambda: Schedule((Bolus(0, 1), Bolus(1, -1))), OutOfRange, "bolus 2, dose"),
    (lambda: Schedule((Bolus(0, INF),)), OutOfRange, "bolus 1, dose"),
    (lambda: Schedule((Bolus(0, 1, -1),)), OutOfRange, "bolus 1, over"),
    (lambda: Schedule((Bolus(0, 1, 1e-12),)), OutOfRange, "bolus 1, over"),
    (lambda: Schedule((Bolus(NAN, 1),)), OutOfRange, "bolus 1, at"),
    (lambda: Schedule((), (Infusion(-1, 1, 1),)), OutOfRange, "infusion 1, from"),
    (lambda: Schedule((), (Infusion(0, 1, -1),)), OutOfRange, "infusion 1, rate"),
    (lambda: Schedule((), (Infusion(0, INF, 1),)), OutOfRange, "infusion 1, to"),
    (lambda: Schedule((), (Infusion(2, 2, 1),)), Contradiction, "infusion 1, to"),
    (lambda: Schedule((), (Infusion(5, 9, 1), Infusion(0, 6, 1))), Contradiction, "infusion 1, from"),
    (lambda: levels(PLAIN, ONE, [-1]), OutOfRange, "times"),
    (lambda: levels(PLAIN, ONE, [NAN]), OutOfRange, "times"),
    (lambda: on_grid(PLAIN, ONE, 0, 5), OutOfRange, "every"),
    (lambda: on_grid(PLAIN, ONE, 1, 0), OutOfRange, "points"),
    (lambda: peak_after(PLAIN, ONE, 1, 0, 60), Missing, "ke0"),
    (lambda: peak_after(Disposition(1, 1, (), 1), ONE, 1, 0, INF), OutOfRange, "horizon"),
    (lambda: time_to_fall(PLAIN, ONE, 0, 0.0, "plasma"), OutOfRange, "level"),
    (lambda: time_to_fall(PLAIN, ONE, 0, 1.0, "brain"), NotOneOf, "site"),
    (lambda: context_half_time(PLAIN, 0), OutOfRange, "hold"),
    (lambda: context_half_time(PLAIN, 10, 1.0), OutOfRange, "fraction"),
    (lambda: steady_level(Disposition(1, 0), 1), OutOfRange, "clearance"),
    (lambda: Saturable(PLAIN, 0, 1), OutOfRange, "vmax"),
    (lambda: Saturable(PLAIN, 1, NAN), OutOfRange, "km"),
    (lambda: Saturable(Disposition(np.ones(2), 1), 1, 1), OutOfRange, "animals"),
    (lambda: clearance_after_bolus(Saturable(PLAIN, 1, 1), 0), OutOfRange, "dose"),
    (lambda: Spread(cv_v1=-0.1), OutOfRange, "spread, cv_v1"),
    (lambda: animals(Disposition(np.ones(2), 1), Spread()), OutOfRange, "typical animal"),
    (lambda: animals(PLAIN, Spread(), 10), OutOfRange, "animals"),
    (lambda: modes(np.array([0.0]), np.zeros((1, 1)), np.zeros(1)), OutOfRange, "network, capacity"),
    (lambda: modes(np.ones(2), np.array([[0, 1], [2, 0]]), np.zeros(2)), OutOfRange, "network, conductance"),
]


@pytest.mark.parametrize(("ask", "kind", "field"), REFUSED)
def test_refused_by_name(ask: Callable[[], object], kind: type[Refusal], field: str) -> None:
    with pytest.raises(Refusal) as refused:
        ask()
    assert type(refused.value) is kind
    assert refused.value.field == field
    assert refused.value.accepts


def test_infusions_may_touch_and_a_slow_bolus_may_run_beside_one() -> None:
    ok = Schedule((Bolus(1, 2, over_min=4),), (Infusion(3, 6, 0.2), Infusion(0, 3, 0.1)))
    assert ok.total_by(3) == pytest.approx(1 + 0.3)
    assert ok.steps().flow.tolist() == pytest.approx([0.1, 0.6, 0.7, 0.2, 0.0])
    assert ok.stopped_at(2).total_by(100) == pytest.approx(0.5 + 0.2)


def test_a_short_infusion_lasts_to_a_later_bolus_at_its_end() -> None:
    assert Schedule((Bolus(2, 1),), (Infusion(0, 2, 1),)).steps().jump.tolist() == [0, 1]
