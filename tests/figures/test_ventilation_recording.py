"""The ventilator's arithmetic beside an open recording: volume, rate, compliance, pressure units, a change of settings.

One adult human under anaesthesia (tests/data/ventilation, MIT, with its source): a check of arithmetic only, nothing about
the figures of dogs and cats.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from pathlib import Path
from statistics import fmean

import pytest

from spiracle import breathing
from spiracle.breathing.flows import minute_volume_ml
from spiracle.breathing.ventilation import dynamic_compliance_ml_cmh2o, expiration_per_inspiration, paco2_after
from spiracle.quantity import Quantity

DATA = Path(__file__).resolve().parents[1] / "data" / "ventilation"
TAIL_S = 15  # the last of each step: the displays run behind a change


@lru_cache
def rows(name: str) -> tuple[dict[str, float], ...]:
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple({k: float(v) for k, v in row.items() if v} for row in csv.DictReader(file))


def step(number: int, tail: bool = True) -> dict[str, float]:
    """Means of what was displayed in one step of settings, its settled tail or the whole of it."""
    at = rows("settings")[number]
    begin = at["end_s"] - TAIL_S if tail else at["start_s"]
    shown = [r for r in rows("displayed_1hz") if begin <= r["t_s"] <= at["end_s"]]
    return {key: fmean(r[key] for r in shown if key in r) for key in shown[0]}


def breaths(window: int) -> list[list[dict[str, float]]]:
    """Whole breaths of a window; the first and the last were cut."""
    inside = [r for r in rows("pressure_flow_50hz") if r["window"] == window]
    numbers = sorted({r["breath"] for r in inside})[1:-1]
    return [[r for r in inside if r["breath"] == n] for n in numbers]


def test_minute_volume_is_rate_times_breath() -> None:
    """13 x 449.6 mL is 5.85 L/min where the device showed 5.87."""
    shown = step(0, tail=False)
    assert minute_volume_ml(shown["rr_flow"], shown["vt_ml"]) / 1000 == pytest.approx(shown["mv_l_min"], rel=0.01)


@pytest.mark.parametrize("number", [2, 4, 6, 9, 10])
def test_minute_volume_after_a_change(number: int) -> None:
    """In steps of 40 s the shown minute volume still holds breaths of the step before: within 15 %."""
    shown = step(number)
    assert minute_volume_ml(shown["rr_flow"], shown["vt_ml"]) / 1000 == pytest.approx(shown["mv_l_min"], rel=0.15)


@pytest.mark.parametrize(("window", "number"), [(1, 0), (2, 2), (4, 10)])
def test_breath_is_the_flow_added_up(window: int, number: int) -> None:
    """Flow at 50 Hz added up over inspiration, beside the set breath: 430, 440 and 550 mL: a flow sensor, within 5 %."""
    drawn = [sum(max(r["flow_l_min"], 0) for r in breath) / 60 * 1000 * 0.02 for breath in breaths(window)]
    assert len(drawn) >= 3
    assert fmean(drawn) == pytest.approx(rows("settings")[number]["vt_set_ml"], rel=0.05)


@pytest.mark.parametrize(("window", "number"), [(1, 0), (2, 2), (4, 10)])
def test_rate_and_ratio_from_the_flow(window: int, number: int) -> None:
    """Breaths last 60 / rate; the set inspiratory time leaves the rest to breathe out."""
    at = rows("settings")[number]
    long = fmean(len(b) * 0.02 for b in breaths(window))
    assert 60 / long == pytest.approx(at["rr_set"], rel=0.02)
    out = expiration_per_inspiration(at["rr_set"], at["ti_set_s"])
    assert at["ti_set_s"] * (1 + out) == pytest.approx(long, rel=0.02)


def test_compliance_of_the_recorded_chest() -> None:
    """449.6 mL over 14.11 - 6.0 mbar: 55.4 mL/mbar, which is 54.4 mL/cmH2O. Both ways round give one figure."""
    shown = step(0, tail=False)
    per_mbar = dynamic_compliance_ml_cmh2o(shown["vt_ml"], shown["plateau_mbar"], shown["peep_mbar"])
    assert per_mbar == pytest.approx(55.4, abs=0.2)
    found = breathing.measured_compliance(
        Quantity.of(f"{shown['vt_ml']:.1f}", "mL"),
        Quantity.of(f"{shown['plateau_mbar']:.3f}", "mbar"),
        Quantity.of(f"{shown['peep_mbar']:.3f}", "mbar"),
    )
    assert float(found.value.number("mL/cmH2O")) == pytest.approx(per_mbar / 1.0197, abs=0.1)


@pytest.mark.parametrize(("mbar", "cmh2o"), [("1", "1.01972"), ("14.4", "14.684"), ("30.6", "31.203")])
def test_mbar_is_not_cmh2o(mbar: str, cmh2o: str) -> None:
    """1 mbar is 100 Pa and 1 cmH2O 98.0665 Pa (NIST SP 811): two per cent apart."""
    assert float(Quantity.of(mbar, "mbar").number("cmH2O")) == pytest.approx(float(cmh2o), rel=1e-4)


def test_a_smaller_breath_on_the_same_chest_needs_the_pressure_that_was_shown() -> None:
    """Compliance at 10 a minute with 550 mL foretells the plateau with 330 mL to 1 mbar (the display shows whole ones)."""
    large, small = step(10), step(8)
    gives = dynamic_compliance_ml_cmh2o(large["vt_ml"], large["plateau_mbar"], large["peep_mbar"])
    assert small["vt_ml"] / gives + small["peep_mbar"] == pytest.approx(small["plateau_mbar"], abs=1)


@pytest.mark.parametrize(("before", "after"), [(0, 2), (6, 8)])
def test_co2_goes_the_way_of_the_equation_and_not_yet_as_far(before: int, after: int) -> None:
    """40 s after a change end-tidal CO2 lies between where it was and where it would settle; dead space 150 mL from memory."""
    one, other = (rows("settings")[n] for n in (before, after))
    was, became = step(before)["etco2_mmHg"], step(after)["etco2_mmHg"]
    settled = paco2_after(was, one["rr_set"], one["vt_set_ml"], other["rr_set"], other["vt_set_ml"], 150)
    assert min(was, settled) < became < max(was, settled)
    assert abs(became - was) > 5


def test_co2_in_two_units_is_one_reading() -> None:
    """Shown in mmHg and kPa side by side: within the rounding of 1 mmHg and 0.1 kPa."""
    for row in rows("displayed_1hz"):
        if "etco2_mmHg" in row and "etco2_kPa" in row:
            shown = float(Quantity.of(str(row["etco2_kPa"]), "kPa").number("mmHg"))
            assert abs(shown - row["etco2_mmHg"]) < 0.5 + 0.05 * 7.5007
