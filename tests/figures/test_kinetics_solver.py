"""The solver against printed values, worked examples and closed forms. The source stands beside each; times in the source's own units.

Rows whose source is a printed set guard the solver, not the biology: their levels follow from the set by the closed form.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels
from spiracle.kinetics.timing import (
    context_half_time,
    holding_rate,
    peak_after,
    share_of_plateau,
    steady_level,
    time_to_fall,
)

COURSE = "Bourne DWA, open course of pharmacokinetics, chapter 6"
# Practice set of the same course, two compartments, 250 mg: V1 42.5 L, k10 0.16, k12 2.07, k21 1.52 per hour. The answers are the
# closed form, alpha and beta = (s +- sqrt(s^2 - 4 k10 k21)) / 2 with s = k10 + k12 + k21.
TWO = Disposition.of_constants(42.5, k10=0.16, k12=2.07, k21=1.52)
# Midazolam in sevoflurane-anaesthetised cats, printed as V1 117, V2 286, V3 705 mL/kg; CL 18.3, Q2 63.5, Q3 22.1 mL/min/kg.
CAT = Disposition.of_volumes(0.117, 0.0183, (0.0635, 0.286), (0.0221, 0.705))


def test_one_compartment_as_printed() -> None:
    """60 mg/h into V 25 L, k 0.17/h: 14.1 mg/L in the end, 10 mg/L after 7.24 h (exactly 7.2479). Source: COURSE."""
    d = Disposition.of_constants(25.0, k10=0.17)
    assert steady_level(d, 60.0) == pytest.approx(14.1, abs=0.05)
    seen = levels(d, Schedule((), (Infusion(0, 24, 60),)), [7.24])
    assert seen.plasma[0] == pytest.approx(10.0, abs=0.01)


def test_shares_of_the_plateau_as_printed() -> None:
    """After 1, 2, 3 and 4 half-lives 50, 75, 87.5 and 94 %. Source: COURSE. 90 % after ln 10 / ln 2 = 3.322 half-lives (closed form)."""
    d = Disposition.of_constants(3.0, k10=math.log(2))
    assert 100 * share_of_plateau(d, [1, 2, 3, 4]) == pytest.approx([50, 75, 87.5, 94], abs=0.3)
    assert share_of_plateau(d, [3.321928095])[0] == pytest.approx(0.9, abs=1e-9)


def test_loading_dose_and_rate_of_a_teaching_page() -> None:
    """Theophylline for 15 mg/L: V 25 L takes 375 mg, CL 4.3 L/h then 64.5 mg/h (hodsdon.com/PK/theophylline.html)."""
    d = Disposition(25.0, 4.3)
    hold = holding_rate(d, 15.0, [0, 3.7])
    assert hold.bolus == pytest.approx(375)
    assert hold.rate.tolist() == pytest.approx([64.5, 64.5])
    held = levels(d, Schedule((Bolus(0, 375),), (Infusion(0, 24, 64.5),)), [0, 3.7, 23])
    assert held.plasma.tolist() == pytest.approx([15, 15, 15])


def test_equal_doses_every_half_life_come_to_two_doses() -> None:
    """Just after a dose at steady state twice the dose is held (Birkett, Australian Prescriber; the author from memory)."""
    d = Disposition.of_constants(1.0, k10=math.log(2) / 6)
    seen = levels(d, Schedule(tuple(Bolus(6.0 * n, 1) for n in range(60))), [59 * 6.0])
    assert seen.plasma[0] == pytest.approx(2.0, rel=1e-12)


def test_half_life_of_a_printed_clearance() -> None:
    """Midazolam in dogs, V 3.0 L/kg and CL 27 mL/min/kg: 77 min as printed (Court 1992; second author, Greenblatt, from memory)."""
    assert Disposition(3.0, 0.027).half_lives().tolist() == pytest.approx([77], abs=0.05)


def test_two_compartments_by_the_closed_form() -> None:
    coefficients, rates = TWO.coefficients()
    total = 0.16 + 2.07 + 1.52
    root = math.sqrt(total**2 - 4 * 0.16 * 1.52)
    alpha, beta = (total + root) / 2, (total - root) / 2
    assert rates.tolist() == pytest.approx([alpha, beta], rel=1e-13)
    a, b = (alpha - 1.52) / (alpha - beta) / 42.5, (1.52 - beta) / (alpha - beta) / 42.5
    assert coefficients.tolist() == pytest.approx([a, b], rel=1e-13)
    assert [250 * a, 250 * b] == pytest.approx([3.518360871, 2.36399207])
    seen = levels(TWO, Schedule((Bolus(0, 250),)), [3.0])
    assert seen.plasma[0] == pytest.approx(250 * (a * math.exp(-3 * alpha) + b * math.exp(-3 * beta)), rel=1e-13)
    assert TWO.vss() == pytest.approx(42.5 * (1 + 2.07 / 1.52))
    assert TWO.mrt() == pytest.approx(14.76151316)


def test_three_compartments_by_the_cubic() -> None:
    """The rates are the roots of a cubic, here by numpy.roots; the slowest gives back 0.011806 /min."""
    k10, k12, k13, k21, k31 = 0.0183 / 0.117, 0.0635 / 0.117, 0.0221 / 0.117, 0.0635 / 0.286, 0.0221 / 0.705
    cubic = [
        1,
        -(k10 + k12 + k13 + k21 + k31),
        k10 * k21 + k10 * k31 + k21 * k31 + k12 * k31 + k13 * k21,
        -k10 * k21 * k31,
    ]
    wanted = np.sort(np.roots(cubic).real)[::-1]
    coefficients, rates = CAT.coefficients()
    assert rates == pytest.approx(wanted, rel=1e-10)
    assert rates[-1] == pytest.approx(0.01180637858, abs=1e-9)
    one, two, three = wanted
    first = (k21 - one) * (k31 - one) / ((one - two) * (one - three)) / 0.117
    assert coefficients[0] == pytest.approx(first, rel=1e-9)
    seen = levels(CAT, Schedule((Bolus(0, 0.3),)), [5.0, 60.0])
    assert (1000 * seen.plasma).tolist() == pytest.approx([309.5389425, 66.96862624], rel=1e-8)
    pumped = levels(CAT, Schedule((), (Infusion(0, 60, 0.01),)), [60.0])
    assert 1000 * pumped.plasma[0] == pytest.approx(360.598159, rel=1e-8)
    assert 1000 * np.asarray(steady_level(CAT, 0.01)) == pytest.approx(546.4480874)


def test_the_time_of_the_peak_by_bateman() -> None:
    """One compartment with an effect site: ln(ke0 / k10) / (ke0 - k10), 1 / k10 where both are equal (Bateman 1910, name and year
    from memory)."""
    apart, equal = (Disposition.of_constants(0.4, k10=0.1, ke0=ke0) for ke0 in (0.25, 0.1))
    assert peak_after(apart, Schedule(), 1.0, 0.0, 60).after_min == pytest.approx(math.log(2.5) / 0.15, rel=1e-10)
    both = peak_after(equal, Schedule(), 1.0, 0.0, 60)
    assert both.after_min == pytest.approx(10, rel=1e-9)
    assert both.level == pytest.approx(2.5 / math.e, rel=1e-12)


def test_dexmedetomidine_in_cats_gives_back_its_printed_half_life() -> None:
    """V1 402, Vss 1701 mL/kg, CL 6.3 mL/min/kg as printed, Q 64.447 derived from them: 198 min (Escobar 2012). Holding 5 ng/mL takes
    0.10424 ug/kg/min after half an hour, by target x (CL + Q exp(-k21 t))."""
    d = Disposition.of_volumes(0.402, 0.0063, (0.064447, 1.701 - 0.402))
    assert d.half_lives()[-1] == pytest.approx(198, abs=0.05)
    assert d.vss() == pytest.approx(1.701)
    assert holding_rate(d, 5.0, [30.0]).rate[0] == pytest.approx(0.1042399748, abs=1e-5)
    seen = levels(d, Schedule((), (Infusion(0, 5, 2.0),)), [5.0, 60.0])
    assert seen.plasma.tolist() == pytest.approx([17.0547741, 4.290733127], abs=0.005)


def test_ketamine_in_dogs_falls_to_three_in_the_time_of_its_set() -> None:
    """V1 542, CL 32.2, half-lives 1.95 and 61 min printed (Kaka and Hayton 1980); alpha + beta and alpha x beta give k21, k12 and the
    curve of 15 mg/kg in closed form: 3 ug/mL after 36.74 min."""
    alpha, beta, k10 = math.log(2) / 1.95, math.log(2) / 61, 32.2 / 542
    k21 = alpha * beta / k10
    d = Disposition.of_constants(0.542, k10=k10, k12=alpha + beta - k10 - k21, k21=k21)
    assert d.half_lives().tolist() == pytest.approx([1.95, 61], rel=1e-10)
    assert time_to_fall(d, Schedule((Bolus(0, 15),)), 0.0, 3.0, "plasma", 300) == pytest.approx(36.7385581, abs=0.05)


def test_context_half_time_grows_from_the_fast_fall_to_the_slow() -> None:
    """After a long hold all places are level, and only the clearance empties them: bounded by the slowest half-life (Hughes 1992 defines
    the time; the bounds follow from the modes)."""
    brief, hour, day, forever = (float(np.max(context_half_time(CAT, t))) for t in (0.01, 60, 1440, 1e5))
    fast, _, slow = CAT.half_lives()
    assert fast / 2 < brief < hour < day <= forever < slow
    assert day == pytest.approx(forever, rel=1e-5)
