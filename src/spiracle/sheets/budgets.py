"""Shared ceilings as they stand: what is given, what is estimated to be in the body of what runs, what is planned, what is left."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal

from spiracle.case.ceilings import filled, left_ml, sum_of
from spiracle.case.events import DrugGiven
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight, shelf
from spiracle.case.pushes import form_mark
from spiracle.case.running import comes_to, is_drug, now_running, of_drug, rate_stops
from spiracle.case.standing import species
from spiracle.case.streams import streams
from spiracle.case.syringes import syringes
from spiracle.drugs import BudgetPart, BudgetSum, DosingWeight, LocalDose, amount_of, left_of
from spiracle.drugs.rows import Stop
from spiracle.drugs.stock import Drug, Strength
from spiracle.drugs.table import BudgetFacts
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import Refusal
from spiracle.sheets.plan_work import OrderWork, PlanWork
from spiracle.sheets.shapes import Budget, BudgetLeft, MarkName, Num, Part
from spiracle.sheets.worked_shape import number, working_shape
from spiracle.source import Input, Mark, Worked, Working

POTASSIUM = "potassium_chloride"
FULL = Decimal(100)
_HOUR = 3600


def shared_budgets(case: Case, facts: Facts, now: datetime, work: PlanWork) -> tuple[Budget, ...]:
    """Every ceiling that two drugs or two givers share and that has something in it."""
    begun = {g.order for g in case.live(DrugGiven) if g.order} | {s.order for s in streams(case, facts) if s.order}
    planned = [p for o in work.orders if o.asked.order not in begun and (p := _planned(o)) is not None]
    try:
        weight = dosing_weight(case)
    except Refusal:
        return ()
    found = []
    for kind in facts.drugs.budgets:
        doses = [*filled(case, kind, facts, now), *planned]
        total = sum_of(kind, doses, case, facts, now)
        if total is not None and (total.parts or total.exempt or total.expired):
            found.append(_budget(total, kind, case, facts, now, weight))
    potassium = _potassium(case, facts, weight)
    return (*found, *((potassium,) if potassium is not None else ()))


def _planned(order: OrderWork) -> LocalDose | None:
    made = order.made
    if made.drug is None or made.amount is None or made.row is None or made.row.infusion:
        return None
    return LocalDose(
        drug=made.drug.id, amount=made.delivered or made.amount, planned=True, route=made.route, purpose=made.purpose,
        strength=form_mark(made.strength.printed if made.strength is not None else ""),
    )  # fmt: skip


def _budget(
    total: BudgetSum, kind: BudgetFacts, case: Case, facts: Facts, now: datetime, weight: DosingWeight
) -> Budget:
    given = [p for p in total.parts if not p.planned and not p.running]
    return Budget(
        id=total.id,
        title=total.title,
        warn_percent=float(total.warn_percent),
        planned=tuple(_part(p, now) for p in total.parts if p.planned),
        given=tuple(_part(p, now) for p in given),
        running=tuple(_part(p, now) for p in total.parts if p.running),
        percent=float(total.percent),
        text=". ".join(total.apart),
        working=working_shape(total.working, total.title, facts.sources),
        state=total.state,
        left=tuple(_left(total, kind, case, facts, weight)),
        exempt=tuple(f"{_said(p, now)}: {_for(p)}never held to this" for p in total.exempt),
        expired=tuple(f"{_said(p, now)}: {_window(kind, p)} is over" for p in total.expired),
        memory=total.memory,
    )


def _part(part: BudgetPart, now: datetime) -> Part:
    tail = f", {part.told}" if part.running and part.told else ""
    return Part(name=part.name, ml=float(part.percent), text=f"{_said(part, now)}{tail}")


def _said(part: BudgetPart, now: datetime) -> str:
    """Drug and amount, and how long ago it went in."""
    if part.at is None:
        return f"{part.name} {part.amount}"
    minutes = max(0, int((now - part.at).total_seconds()) // 60)
    ago = f"{minutes} min ago" if minutes < 120 else f"{minutes // 60} h ago"
    return f"{part.name} {part.amount}, {ago}"


def _for(part: BudgetPart) -> str:
    return f"for {part.purpose}, " if part.purpose else ""


def _window(kind: BudgetFacts, part: BudgetPart) -> str:
    hours = kind.window_h.get(part.drug)
    return "its window" if hours is None else f"its window of {figure(hours)} h"


# ---- what is left


def _left(total: BudgetSum, kind: BudgetFacts, case: Case, facts: Facts, weight: DosingWeight) -> Iterable[BudgetLeft]:
    """Of each drug in the sum or on this hospital's shelf, in mL of each strength it stocks."""
    stocked = shelf(facts)
    own = {d.drug for d in facts.hospital.drugs}
    shown = [d for d in kind.drugs if any(p.drug == d for p in total.parts) or d in own]
    for name in shown:
        left = left_of(total, name, weight, str(species(case)), facts.drugs)
        if left is None:
            continue
        drug = facts.drugs.drug(name)
        listed = facts.drugs.strengths_of(drug, stocked) if drug.id in own else ()
        strengths = [s for s in listed if s.quantity is not None and _counts(s, kind)]
        strengths += _thinned(case, drug, strengths, facts)
        amount = _worked(left, total, drug.name)
        if not strengths:
            yield BudgetLeft(drug=drug.id, name=drug.name, amount=_num(amount, total, facts))
        for strength in strengths:
            ml = None if strength.quantity is None else left_ml(left, strength.quantity, facts)
            yield BudgetLeft(
                drug=drug.id, name=drug.name, strength=strength.printed, amount=_num(amount, total, facts),
                volume=None if ml is None else _num(_in_ml(left, ml, strength.printed, amount), total, facts),
            )  # fmt: skip


def _counts(strength: Strength, kind: BudgetFacts) -> bool:
    """Whether a vial is of the form that a ceiling counts."""
    without = kind.unless_form and kind.unless_form in strength.printed.casefold()
    return not without and (not kind.form or kind.form in strength.printed)


def _thinned(case: Case, drug: Drug, listed: Iterable[Strength], facts: Facts) -> list[Strength]:
    """What is in syringes of it that are not empty, where it is another strength than the vials'."""
    known, found = [s.quantity for s in listed], []
    for each in syringes(case):
        if not is_drug(facts, each.drawn.drug, drug.id) or each.left_ml <= 0:
            continue
        try:
            holds = facts.drugs.strength(drug, each.drawn.concentration)
        except Refusal:
            continue
        if holds.quantity is not None and holds.quantity not in known:
            known.append(holds.quantity)
            found.append(holds)
    return found


def _worked(left: Quantity, total: BudgetSum, name: str) -> Worked[Quantity]:
    """Rounded down to three figures: rounding never makes room."""
    value = down_to(left.value, Decimal(1).scaleb(left.value.adjusted() - 2)) if left.value else left.value
    rounded = Quantity(value, left.unit)
    says = f"{figure(max(Decimal(0), FULL - total.percent), 4)} % of the ceiling of {name} is left: {rounded}"
    mark = Mark.PREDICTED if _predicted(total) else Mark.WORKED
    inputs = (Input("used so far", f"{figure(total.percent, 4)} %", mark),)
    return Worked(
        rounded, Working(says, inputs, (), None, total.working.sources, total.memory, total.working.estimated)
    )


def _in_ml(left: Quantity, ml: Quantity, strength: str, amount: Worked[Quantity]) -> Worked[Quantity]:
    says = f"{amount.working.says}; ÷ {strength}, down to a mark: {ml}"
    w = amount.working
    return Worked(ml, Working(says, w.inputs, (), None, w.sources, w.memory, w.estimated))


def _num(worked: Worked[Quantity], total: BudgetSum, facts: Facts) -> Num:
    mark: MarkName = "predicted" if _predicted(total) else "worked"
    return number(worked, f"{total.title}: left", facts.sources, mark=mark, memory=total.memory,
                  estimated=total.working.estimated)  # fmt: skip


def _predicted(total: BudgetSum) -> bool:
    return any(p.running for p in total.parts)


# ---- by the hour


def _potassium(case: Case, facts: Facts, weight: DosingWeight) -> Budget | None:
    """Potassium by all pumps together, against its stop by the hour."""
    running = of_drug(now_running(case, facts), POTASSIUM, facts)
    stop = _rate_stop(case, facts)
    if not running or stop is None:
        return None
    parts = []
    for stream in running:
        try:
            rate = comes_to(stream.rate_ml_h, stream.holds, stop.at.unit, weight.kg)
        except Refusal:
            continue
        name = facts.drugs.name(POTASSIUM)
        parts.append(
            Part(
                name=name,
                ml=float(rate.value / stop.at.value * FULL),
                text=f"{name} {figure(rate.value, 3)} {rate.unit}",
            )
        )
    percent = sum(p.ml for p in parts)
    whole = amount_of(stop.at, weight.kg)
    says = " + ".join(p.text for p in parts) + f": {percent:.3g} % of {stop.at}, {whole} in all"
    return Budget(
        id="potassium by the hour", title="Potassium by the hour", warn_percent=float(70), running=tuple(parts), percent=percent,
        state="stop" if percent > float(FULL) else "warn" if percent >= float(70) else "room", memory=stop.memory,
        working=working_shape(Working(says, (), (stop.words,), None, stop.sources, stop.memory, weight.estimated),
                              "Potassium by the hour", facts.sources),
    )  # fmt: skip


def _rate_stop(case: Case, facts: Facts) -> Stop | None:
    rows = facts.drugs.every(POTASSIUM, str(species(case)))
    stops = [s for r in rows if r.infusion for s in rate_stops(r)]
    return min(stops, key=lambda s: s.at.value, default=None)
