"""An animal told by hand with drugs by the vein, and the levels to expect of it: by matrix exponential (scipy), apart from the
project's own solver. The sets of constants and the virtual animals are the project's; their own tests hold them to print."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import expm

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.doors.tables import load_facts
from spiracle.kinetics.choosing import choose
from spiracle.kinetics.crowd import Crowd, crowd
from spiracle.kinetics.disposition import Disposition
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import CaseView, Level

Floats = npt.NDArray[np.float64]
Dose = tuple[float, float]  # minute, mg/kg
Rate = tuple[float, float, float]  # from minute, to minute, mg/kg/min


def animal(species: str = "dog", kg: str = "10", *, age: str = "4 y", asa: str = "I", breed: str = "", case: str = "c-level",
           method: str = "scale", conditions: tuple[str, ...] = (), catheter: bool = True) -> Book:  # fmt: skip
    """As it was admitted. An empty word leaves its entry out."""
    b = Book(case)
    b.tell(0, ev.CaseOpened, species=species, name="Sorrel")
    b.tell(1, ev.PatientDescribed, age=age, breed=breed)
    if kg:
        b.tell(2, ev.Weighed, weight_kg=d(kg), method=method)
    b.tell(3, ev.AllergiesAsked)
    b.tell(4, ev.HistoryTaken, problem="lame", conditions=conditions)
    if asa:
        b.tell(5, ev.AsaAssigned, asa=asa, assigned_by="ilse")
    if catheter:
        b.tell(50, ev.CatheterPlaced, site="left fore", size="22 G")
    return b


def induced_with(b: Book, drug: str = "propofol", high: str = "6", strength: str = "10 mg/mL", ml: str = "6") -> Book:
    """The order and the syringe of an induction agent; with 10 kg a quarter of 6 mg/kg is 15 mg in 1.5 mL."""
    b.tell(20, ev.DrugOrdered, order="o-ind", drug=drug, purpose="induction", route="IV", low=d("1"), high=d(high), unit="mg/kg",
           concentration=strength, ordered_by="ilse", by="ilse")  # fmt: skip
    b.tell(30, ev.SyringeDrawn, syringe="s-ind", order="o-ind", drug=drug, vial_concentration=strength, concentration=strength,
           volume_ml=d(ml), drug_volume_ml=d(ml), barrel="10 mL")  # fmt: skip
    return b


def pushed(b: Book, minutes: float, mg: str, drug: str = "propofol", **more: Any) -> str:
    told = {"amount": d(mg), "unit": "mg", "volume_ml": d(mg) / 10, "concentration": "10 mg/mL", "route": "IV",
            "purpose": "induction", "order": "o-ind", "syringe": "s-ind"}  # fmt: skip
    return b.tell(minutes, ev.DrugGiven, drug=drug, **{**told, **more})


def pump(b: Book, minutes: float, ml_h: str, drug: str, strength: str, infusion: str = "i-1", **more: Any) -> str:
    return b.tell(
        minutes, ev.InfusionStarted, infusion=infusion, drug=drug, rate_ml_h=d(ml_h), concentration=strength, **more
    )


def seen(b: Book, minutes: float) -> CaseView:
    """As the screens stood at a moment: by the entries that had arrived."""
    entries = [e for e in b.entries if e.arrived_at <= at(minutes)]
    return case_view(b.fold(entries), len(entries), load_facts(), at(minutes), expected=True)


def induce_level(b: Book, minutes: float) -> Level:
    (agent,) = seen(b, minutes).induce.agents
    assert agent.level is not None
    return agent.level


def running(b: Book, minutes: float, drug: str) -> Level:
    return next(x for x in seen(b, minutes).maintain.levels if x.drug == drug)


# ---- what to expect


def animals_of(
    drug: str, species: str = "dog", *, background: str = "awake", use: str = "induction"
) -> tuple[Crowd, Disposition]:
    """The virtual animals of the set that stands for a healthy adult, and its typical one."""
    model = choose(load_facts().kinetics, drug, species, age_months=48, weight_kg=10, asa=1, sighthound=False,
                   background=background, premedicated=False, use=use)  # type: ignore[arg-type]  # fmt: skip
    return crowd(model), model.disposition


def _system(of: Disposition, n: int) -> tuple[Floats, Floats]:
    """(n, k, k) of dC/dt = A C + b rate, in mg/L: the first place is the blood, the last the effect site where there is one."""
    places = 1 + len(of.exchange) + (of.ke0 is not None)
    a, b = np.zeros((n, places, places)), np.zeros((n, places))
    b[:, 0] = 1 / np.asarray(of.v1)
    a[:, 0, 0] = -np.asarray(of.clearance) / of.v1
    for i, (q, v) in enumerate(of.exchange, 1):
        a[:, 0, 0] -= np.asarray(q) / of.v1
        a[:, 0, i] += np.asarray(q) / of.v1
        a[:, i, 0] += np.asarray(q) / v
        a[:, i, i] -= np.asarray(q) / v
    if of.ke0 is not None:
        a[:, -1, 0] += np.asarray(of.ke0)
        a[:, -1, -1] -= np.asarray(of.ke0)
    return a, b


STEP = 1 / 60  # minutes: every moment of a test is a whole second, so that one exponential serves all of its stretches


@cache
def _steps(of: Disposition, many: int) -> Floats:
    """exp(A many x STEP) for every animal, with the gain of a rate of one in its last column."""
    a, b = _system(of, int(np.size(of.v1)))
    k = a.shape[1]
    whole = np.zeros((len(a), k + 1, k + 1))
    whole[:, :k, :k], whole[:, :k, k] = a, b
    one = expm(whole * STEP) if many == 1 else _steps(of, 1)
    return np.asarray(np.linalg.matrix_power(one, many))


def by_expm(of: Disposition, times: Sequence[float], doses: Sequence[Dose] = (), rates: Sequence[Rate] = ()) -> Floats:
    """(n, T) at the effect site where there is one, else in blood; from empty animals at minute 0, stretch by stretch."""
    _, b = _system(of, int(np.size(of.v1)))
    here, level, now = np.zeros_like(b), np.empty((len(b), len(times))), 0.0
    for moment in sorted({0.0, *times, *(t for t, _ in doses), *(x for t in rates for x in t[:2])}):
        many = round((moment - now) / STEP)
        assert abs(many * STEP - (moment - now)) < 1e-9, f"minute {moment} is no whole second"
        if many:
            rate = sum(r for start, stop, r in rates if start <= now and moment <= stop)
            moved = _steps(of, many)
            here = np.einsum("nij,nj->ni", moved[:, :-1, :-1], here) + rate * moved[:, :-1, -1]
        now = moment
        for t, dose in doses:
            if t == moment:
                here = here + b * dose
        for i, t in enumerate(times):
            if t == moment:
                level[:, i] = here[:, -1 if of.ke0 is not None else 0]
    return level


def middle_80(who: Crowd, levels: Floats) -> Floats:
    """10, 50 and 90 % of the animals, each with its residual: (3, T). Of several sets the lowest and the highest edge, and the middle
    of the chosen one, which is the first."""
    parts = np.split(levels * who.residual[:, None], who.sets)
    edges = np.stack([np.percentile(part, (10, 50, 90), axis=0) for part in parts])
    return np.stack([edges[:, 0].min(0), edges[0, 1], edges[:, 2].max(0)])
