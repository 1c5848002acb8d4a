"""The emergency sheet of one weight: arrest drugs in millilitres, shocks, breath and beat, and what to reverse here.

Its id is a digest of its content, so that another weight or another strength makes another sheet and voids the print.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

from spiracle.case.events import (
    ArrestBegan,
    ArrestEnded,
    BagMixed,
    DrugGiven,
    DrugOrdered,
    GivenBefore,
    InfusionStarted,
    OrderWithdrawn,
    SheetPrinted,
)
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.pushes import amount_given
from spiracle.case.reversals import reversed_at
from spiracle.case.syringes import infusions
from spiracle.drugs import DosingWeight, Drug, reverse
from spiracle.emergency import EmergencyPlan, Item, Shock, Step
from spiracle.emergency.pumps import Pump
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Unknown
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.names import capital, shown_kg
from spiracle.sheets.plan_work import hospital_strengths
from spiracle.sheets.shapes import EmergencyDrug, EmergencySheet, LogLine
from spiracle.sheets.worked_shape import cited, number, refused
from spiracle.source import Sources


def sheet_id(plan: EmergencyPlan) -> str:
    """Eight characters that change with any figure on the sheet."""
    parts = [plan.species, f"{plan.weight.number('kg').normalize():f}", str(plan.estimated)]
    for item in plan.items:
        volume = "" if item.volume is None else str(item.volume.value)
        parts.append(f"{item.id}|{item.strength}|{item.amount.value}|{volume}")
    parts += [f"{p.row.id}|{p.made.strength}|{p.rate and p.rate.value.value}" for p in plan.pumps]
    parts += [f"{s.id}|{s.first.value}|{s.then.value}" for s in plan.shocks]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:8].upper()


def emergency_sheet(
    species: str,
    weight: Quantity,
    basis: str,
    facts: Facts,
    case: Case | None,
    now: datetime,
    *,
    strengths: Mapping[str, tuple[str, ...]] | None = None,
    log: tuple[LogLine, ...] = (),
) -> EmergencySheet:
    """The sheet for a species and a weight; with a case, also what this patient was given and the arrest's own times."""
    plan = facts.emergency.plan(
        species,
        weight.number("kg"),
        estimated=basis == "estimated",
        on_board=() if case is None else on_board(case),
        strengths=strengths if strengths is not None else hospital_strengths(facts),
    )
    began = None if case is None else case.last(ArrestBegan)
    ended = None if case is None else case.last(ArrestEnded)
    if began is None or (ended is not None and ended.happened_at < began.happened_at):
        ended = None
    own_id = sheet_id(plan)
    return EmergencySheet(
        sheet_id=own_id,
        species=species,
        weight=number(
            Quantity.of(shown_kg(plan.weight.number("kg")), "kg"),
            "weight",
            mark="typed" if plan.estimated else "measured",
            estimated=plan.estimated,
        ),
        weight_kg=float(plan.weight.number("kg")),
        estimated=plan.estimated,
        drugs=tuple(_drugs(plan, facts, case, began, now)),
        shocks=tuple(s for shock in plan.shocks for s in _shocks(shock, facts.sources)),
        pumps=tuple(_pump(p, facts) for p in plan.pumps),
        breath=number(plan.breath, "one breath", facts.sources),
        rate_text=f"{plan.rate_low} to {plan.rate_high}",
        cycle_s=plan.cycle_s,
        beat_per_min=plan.beat_per_min,
        breath_every_s=plan.breath_every_s,
        etco2_aim=f"{plan.etco2_aim.value} or more",
        steps=tuple(step_words(s) for s in plan.steps),
        notes=plan.notes,
        cautions=(*(step_words(c) for c in plan.cautions), *STANDING),
        void_prints=() if case is None else void_prints(case, own_id),
        cited=cited(plan.sources, facts.sources),
        arrest_began=None if began is None else began.happened_at,
        arrest_ended=None if ended is None else ended.happened_at,
        arrest_outcome="" if ended is None else ended.outcome,
        leader="" if began is None else began.leader,
        log=log,
    )


def vial_words(item: Item, facts: Facts) -> str:
    """A strength that nobody told to be on the shelf, of a drug that is sold in several: the hand is asked to read it."""
    if item.confirmed or not item.vial:
        return ""
    try:
        listed = [s.text for s in facts.drugs.drug(item.drug).strengths]
    except Unknown:
        listed = []
    return f"Check the vial: worked for {item.vial}" if len(listed) > 1 else ""


def step_words(step: Step) -> str:
    """A step or caution with its mark."""
    return f"{step.says} (from memory)" if step.memory else step.says


def on_board(case: Case) -> tuple[str, ...]:
    """Drug ids this animal was given, then those it is ordered to get: what a reversal may be wanted for."""
    gone = {w.order for w in case.live(OrderWithdrawn)}
    given = [g.drug for g in case.live(DrugGiven)] + [i.drug for i in case.live(InfusionStarted) if not i.fluid]
    hung = {i.bag for i in case.live(InfusionStarted) if i.bag}
    given += [part.drug for b in case.live(BagMixed) if b.bag in hung for part in b.parts]
    given += [g.drug for g in case.live(GivenBefore)]
    ordered = [o.drug for o in case.live(DrugOrdered) if o.order not in gone]
    return tuple(dict.fromkeys((*given, *ordered)))


def void_prints(case: Case, own_id: str) -> tuple[str, ...]:
    """Emergency sheets printed earlier that no longer hold."""
    return tuple(
        dict.fromkeys(p.print_id for p in case.live(SheetPrinted) if p.sheet == "emergency" and p.print_id != own_id)
    )


def _drugs(
    plan: EmergencyPlan, facts: Facts, case: Case | None, began: ArrestBegan | None, now: datetime
) -> Iterable[EmergencyDrug]:
    for item in plan.items:
        words = "" if case is None else recorded(case, item.drug, plan, facts, now)
        yield _drug(item, facts, _given(case, item.drug, began), words)


def _given(case: Case | None, drug: str, began: ArrestBegan | None) -> tuple[datetime, ...]:
    """When this drug went in since the arrest was called."""
    if case is None or began is None:
        return ()
    return tuple(g.happened_at for g in case.live(DrugGiven) if g.drug == drug and g.happened_at >= began.happened_at)


def recorded(case: Case, reversal: str, plan: EmergencyPlan, facts: Facts, now: datetime) -> str:
    """What this reversal would reverse, as recorded, and how much of it that asks for while the heart beats.

    Worked from the recorded amount and the time since, never from a volume.
    """
    words: list[str] = []
    pushes: list[tuple[DrugGiven | GivenBefore, datetime, str]] = [
        (g, g.happened_at, "was given") for g in case.live(DrugGiven)
    ]
    before = [(g, g.given_at, "was given before this case") for g in case.live(GivenBefore)]
    last = reversed_at(case, reversal, facts)
    for given, at, how in (*pushes, *before):
        known, amount = _known(given.drug, facts), amount_given(given)
        if known is None or amount is None or known.reversal != reversal:
            continue
        minutes = max(0, int((now - at).total_seconds() // 60))
        told = f"{known.name} {amount} {given.route} {how} {minutes} min ago"
        if last is not None and at <= last:
            words.append(f"{told}, reversed {max(0, int((now - last).total_seconds() // 60))} min ago")
            continue
        weight = DosingWeight(kg=plan.weight.number("kg"), estimated=plan.estimated)
        back = reverse(known.id, amount, Decimal(minutes), plan.species, weight, facts.drugs)
        if back.refusal is None and back.low is not None and back.high is not None:
            span = str(back.high) if back.low.equals(back.high) else f"{back.low} to {back.high}"
            told += f"; with the heart beating {span} IM"
        words.append(told)
    words += _by_infusion(case, reversal, facts, now)
    return ". ".join(words)


def _by_infusion(case: Case, reversal: str, facts: Facts, now: datetime) -> list[str]:
    """What runs or ran and may still act: stop it, then reverse. Its plasma load is not worked into a dose here."""
    mixed = {b.bag: [part.drug for part in b.parts] for b in case.live(BagMixed)}
    words = []
    for run in infusions(case):
        began = run.started
        for drug in mixed.get(began.bag, [] if began.fluid else [began.drug]):
            known = _known(drug, facts)
            if known is None or known.reversal != reversal:
                continue
            ended = run.stopped
            since = max(
                0, int((now - (began.happened_at if ended is None else ended.happened_at)).total_seconds() // 60)
            )
            state = f"RUNS, begun {since} min ago: stop it" if ended is None else f"ran until {since} min ago"
            words.append(f"{known.name} by infusion {state}")
    return words


def _known(name: str, facts: Facts) -> Drug | None:
    """A drug of the log; one that the tables no longer hold has no reversal to name."""
    try:
        return facts.drugs.drug(name)
    except Unknown:
        return None


def _drug(item: Item, facts: Facts, given: tuple[datetime, ...], recorded_words: str) -> EmergencyDrug:
    volume = None if item.volume is None else number(item.volume, item.name, facts.sources, estimated=item.estimated)
    dilution = "" if item.dilution is None else item.dilution.says
    return EmergencyDrug(
        drug=item.drug,
        name=capital(item.name),
        syringe_class=facts.drugs.class_of(item.drug),
        what_for=item.what_for,
        when=item.when,
        strength=item.strength,
        route=item.route,
        dose_text=item.dose_text,
        volume=volume,
        volume_ml=None if item.volume is None else float(item.volume.value.number("mL")),
        amount=float(item.delivered.value),
        unit=str(item.delivered.unit),
        amount_text=f"{figure(item.delivered.value)} {item.delivered.unit}",
        note=". ".join(
            t.rstrip(".") for t in (recorded_words, vial_words(item, facts), dilution, item.minutes, item.note) if t
        ),
        memory=item.memory,
        once=item.once,
        every_min=item.every_min,
        given=given,
        refusal=None if item.refusal is None else refused(item.refusal),
        group=item.group,
        undoes=recorded_words,
    )


def _pump(p: Pump, facts: Facts) -> EmergencyDrug:
    """A pressor's start: a rate, so there is no volume to push and none to write."""
    words = (f"Made up: {p.recipe}", p.row.note)
    return EmergencyDrug(
        drug=p.row.drug, name=capital(f"{p.row.name} by pump"), syringe_class=facts.drugs.class_of(p.row.drug),
        what_for=p.row.what_for, when=p.row.when, strength=p.made.strength, route="IV by pump", dose_text=f"start {p.dose}",
        volume=None if p.rate is None else number(p.rate, p.row.name, facts.sources), note=". ".join(w.rstrip(".") for w in words if w),
        memory=p.row.memory, refusal=None if p.refusal is None else refused(p.refusal), group="other",
    )  # fmt: skip


def _shocks(shock: Shock, sources: Sources) -> Iterable[EmergencyDrug]:
    for when, joules in (("first", shock.first), ("then", shock.then)):
        value = joules.value
        yield EmergencyDrug(
            drug="defibrillation", name=f"Shock, {shock.mode}", what_for="shockable rhythm", when=when, strength="",
            route=shock.mode, dose_text=joules.working.says, volume=number(joules, shock.mode, sources, significant=3),
            amount=float(value.value), unit=str(value.unit), amount_text=f"{figure(value.value, 3)} {value.unit}",
            note=shock.note, memory=shock.memory, group="shock",
        )  # fmt: skip
