"""The plan of one patient ordered for paper. Everything was worked out in `Plan`; nothing is computed here."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, tzinfo
from decimal import Decimal

from spiracle.sheets.names import capital
from spiracle.sheets.plan_shapes import (
    AirwayPart,
    Amount,
    BreathingPart,
    Cite,
    DrugPart,
    LimitPart,
    OtherPart,
    Plan,
    RankedPart,
    ResistancePart,
)
from spiracle.sheets.printed import Data, Footnotes, common

WORTH_A_LINE = Decimal("0.05")


def said(x: Amount | None, missing: str = "—") -> str:
    """A figure with its unit and, where true, the word that it is from memory or predicted."""
    if x is None:
        return missing
    marks = [w for w, on in (("from memory", x.memory), ("predicted", x.predicted)) if on]
    return x.text + (f" ({', '.join(marks)})" if marks else "")


def cite(c: Cite) -> str:
    return f"{c.citation} ({c.seen})"


def plan_data(plan: Plan, hospital: str, versions: tuple[str, ...], paper: str, now: datetime, zone: tzinfo,
              protocol: str = "") -> Data:  # fmt: skip
    p = plan.patient
    notes = Footnotes()
    for d in plan.drugs:
        notes.add(d.name, " · ".join(d.working), d.limits.sentence if d.limits else "", d.memory, map(cite, d.source))
    for title, part in (
        ("Airway", plan.airway),
        ("Breathing", plan.breathing),
        ("Fluids", plan.fluids),
        ("Emergency", plan.emergency),
    ):
        notes.add(title, "sources", "", False, map(cite, part.source))
    told = tuple(dict.fromkeys((*versions, p.version)))
    return {
        **common(f"Anaesthetic plan: {p.name or 'unnamed'}", hospital, told, paper, now, zone, hospital),
        "identity": [
            ", ".join(w for w in (p.species, p.breed, p.age, p.sex) if w),
            f"{said(p.weight)}, {p.method}"
            + (f", doses on {said(p.dosing_weight)}: {p.dosing_reason}" if p.dosing_reason else ""),
            f"ASA {p.asa or 'not assigned'}",
            f"Conditions: {', '.join(p.conditions) or 'none named'}",
            *([f"Protocol: {protocol}"] if protocol else []),
        ],
        "tags": ["ESTIMATED WEIGHT"] if p.estimated else [],
        "alerts": [
            {"title": f"{c.severity}: {c.about}" if c.about else c.severity, "says": c.text, "memory": c.memory}
            for c in plan.cautions
            if c.kind != "standing"
        ],
        "drugs": [_drug(d) for d in plan.drugs],
        "sections": list(_sections(plan)),
        "figures": notes.figures,
        "sources": notes.sources,
    }  # fmt: skip


def _drug(d: DrugPart) -> Data:
    dilution = ""
    if d.dilution is not None:
        x = d.dilution
        dilution = (f"Dilute: {said(x.drug_volume)} drug + {said(x.diluent_volume)} {x.diluent} = {said(x.total)} of "
                    f"{said(x.concentration)}")  # fmt: skip
    return {
        "name": capital(d.name), "class": "other", "strength": said(d.concentration, "strength not picked"), "route": d.route,
        "order": ordered(d), "purpose": d.purpose, "amount": said(d.amount),
        "delivered": f"delivers {said(d.delivered)}" if d.delivered else "",
        "volume": said(d.rate if d.infusion else d.volume), "syringe": d.syringe.name if d.syringe else "",
        "dilution": dilution, "others": [other_words(o) for o in d.others], "refused": d.refused.sentence if d.refused else "",
        "limits": d.limits.sentence if d.limits else "", "memory": d.memory,
    }  # fmt: skip


def ordered(d: DrugPart) -> str:
    """The order as it was given: a range keeps both ends."""
    return said(d.dose) if d.dose.value == d.dose_low.value else f"{d.dose_low.text} to {said(d.dose)}"


def other_words(o: OtherPart) -> str:
    """As "on body weight, scale, 19 kg, it would be 0.19 mL, 40.7 % more"."""
    worked = o.rate or o.volume or o.amount
    off = f", {abs(o.differs_percent):g} % {'less' if o.differs_percent < 0 else 'more'}" if o.differs_percent else ""
    return f"on {o.basis}, {said(o.weight)}, it would be {said(worked, 'not worked')}{off}"


def _sections(plan: Plan) -> Iterator[Data]:
    a, b, f = plan.airway, plan.breathing, plan.fluids
    tubes = [[t.role, f"ID {said(t.id)}, outside {said(t.od)}, {'cuffed' if t.cuffed else 'plain'}"] for t in a.tubes]
    airway = [*tubes, ["insertion depth", said(a.insertion_depth)], ["cut to", said(a.cut_length, "not cut, or its length is not known")],
              ["stylet tip inside the tip by", said(a.stylet_setback)]]  # fmt: skip
    if a.dead_space is not None:
        d = a.dead_space
        uncut = f"{d.before.value:.3g} {d.before.unit} uncut, " if d.before is not None else ""
        where = "with the tube cut" if a.cut_length is not None else "with the connector at the incisors"
        airway.append(["dead space", f"{uncut}{said(d)} {where}. {d.warning}"])
    airway += list(_evidence(plan))
    airway += [["", r.sentence] for r in a.refused] + [["", n] for n in a.notes]
    yield {"title": "Airway", "rows": airway}
    circuit = f"{b.circuit}: {b.why}" if b.why else b.circuit
    oxygen = ["oxygen", b.supply] if b.supply else ["oxygen lasts", said(b.oxygen_minutes)]
    standby = [["standing by", said(b.oxygen_minutes)]] if b.supply and b.oxygen_minutes is not None else []
    breathing = [["circuit", circuit], *[["or" if s.serves else "not", f"{s.name}: {s.says}"] for s in b.systems if not s.first],
                 *[[f"fresh gas, {phase}", said(x)] for phase, x in b.fresh_gas.items()], *_opinions(b),
                 ["bag", said(b.bag)], oxygen, *standby, *_agent(b), *_ventilator(b)]  # fmt: skip
    yield {"title": "Breathing", "rows": breathing + [["", r.sentence] for r in b.refused] + [["", n] for n in b.notes]}
    fluids = [["rate", said(f.rate)], ["bolus, first step", said(f.bolus)], ["boluses in all, at most", said(f.bolus_limit)],
              ["blood volume", said(f.blood_volume)], ["allowable loss", said(f.allowable_loss)]]  # fmt: skip
    yield {"title": "Fluids", "rows": fluids + [["", r.sentence] for r in f.refused] + [["", n] for n in f.notes]}
    yield {"title": "Limits to watch", "rows": [_limit(x) for x in plan.limits]}
    yield {"title": "Emergency drugs", "rows": [
        [d.name, f"{said(d.volume)}{f' of {d.concentration} = {said(d.amount)}' if d.concentration else ''}, "
                 f"{d.dose} {d.route}; {d.what_for}"
                 + (" (from memory)" if d.memory else "")] for d in plan.emergency.drugs]}  # fmt: skip


def _opinions(b: BreathingPart) -> Iterator[list[str]]:
    """Sources on fresh gas side by side, as on the screen."""
    for o in b.opinions:
        if o.low is None or o.high is None:
            yield [f"who says, {o.phase}", o.says]
            continue
        span = said(o.low) if o.low.value == o.high.value else f"{o.low.text} to {said(o.high)}"
        yield [f"who says, {o.phase}", f"{span}; {o.says}{' (measured)' if o.measured else ''}"]
    if b.apart:
        yield ["sources differ", b.apart]
    if b.least_flow is not None:
        yield ["not under", said(b.least_flow)]


def _agent(b: BreathingPart) -> Iterator[list[str]]:
    for r in b.wash_in:
        yield [
            f"{r.share.text} of a turn of the dial",
            f"within {said(r.at_most)} at most; {said(r.measured)} as one circle was measured",
        ]
    for use in b.agent:
        cost = "" if use.cost_per_hour is None else f", {use.cost_per_hour} {use.currency} an hour"
        yield [f"{use.agent}, {use.phase}", f"{said(use.liquid)} of liquid at {use.dial.text}{cost}"]
    for words in b.waste:
        yield ["", words]


def _ventilator(b: BreathingPart) -> Iterator[list[str]]:
    """First settings of both modes; the alarms once."""
    for v in b.ventilator:
        if v.refused is not None:
            yield [f"ventilator, {v.mode}", v.refused.sentence]
            continue
        pressure = f", set {said(v.set_pressure)}" if v.set_pressure is not None else ""
        yield [f"ventilator, {v.mode}", f"{said(v.tidal)}, {said(v.rate)}, in {said(v.inspiration)} ({v.ratio}), PEEP {said(v.peep)}, "
                                        f"peak {said(v.peak)}{pressure}; {said(v.lean_weight)}, {v.basis}"]  # fmt: skip
        if v.mode == "volume":
            memory = ", from memory" if all(a.amount.memory for a in v.alarms) else ""
            yield [
                f"alarms{memory}",
                ", ".join(f"{a.name} {a.amount.text if memory else said(a.amount)}" for a in v.alarms),
            ]


def shelf_shown(a: AirwayPart) -> Iterator[RankedPart]:
    """The tubes laid out and those that may fit too; what has next to no chance is not worth a line."""
    laid = {t.id.value for t in a.tubes}
    return (r for r in a.ranked if r.id.value in laid or r.fits >= WORTH_A_LINE)


def resistance_words(r: ResistancePart) -> str:
    """As "laminar, 1.9 times the first choice"."""
    return r.regime if r.role == "first choice" else f"{r.regime}, {r.times_first} times the first choice"


def _evidence(plan: Plan) -> Iterator[list[str]]:
    """Why this tube, what else stands on the shelf, what each costs, and what dead space does if nothing is changed."""
    a = plan.airway
    for e in a.estimates:
        yield [f"size by {e.name}", f"{said(e.id)}, give or take {e.spread.text}"]
    if len(a.estimates) > 1:
        yield ["together", a.combined]
    yield from (["they disagree", d] for d in a.disagreements)
    yield from (["chance, predicted", r.why] for r in shelf_shown(a))
    yield from ([f"{r.role}, lost to a quiet breath", f"{said(r.lost)}, {resistance_words(r)}"] for r in a.resistances)
    yield from (["one change", c.says] for c in a.changes[:2])
    if a.dead_space is not None and a.dead_space.no_answer:
        yield ["if nothing is changed", a.dead_space.no_answer]


def _limit(x: LimitPart) -> list[str]:
    bounds = [f"below {x.below:g}" if x.below is not None else "", f"above {x.above:g}" if x.above is not None else ""]
    whose = f"ordered by {x.whose}" if x.ordered else "starting point" + (" (from memory)" if x.memory else "")
    return [x.name, f"{' or '.join(w for w in bounds if w)} {x.unit}: {x.action} · {whose}"]
