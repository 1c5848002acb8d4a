"""The plan on a terminal: eighty columns, cautions first and last, marks beside the numbers they belong to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from textwrap import wrap

from spiracle.quantity import figure, reading
from spiracle.sheets.cautions import (
    ESTIMATED_SIGN,
    ESTIMATED_WORDS,
    MEMORY_SIGN,
    MEMORY_WORDS,
    PREDICTED_SIGN,
    PREDICTED_WORDS,
    STANDING,
)
from spiracle.sheets.plan_around import limit_words
from spiracle.sheets.plan_shapes import (
    Amount,
    BreathingPart,
    Caution,
    Cite,
    DrugPart,
    EmergencyDrugPart,
    EmergencyPart,
    LimitPart,
    PatientPart,
    Plan,
    Refused,
)
from spiracle.sheets.printed_plan import other_words

WIDTH = 80
LABEL = 12
GRAVE = ("never", "avoid", "care", "note")


def plan_text(plan: Plan, working: bool = False) -> str:
    """The whole plan. With `working`, the arithmetic and the sources stand under each line."""
    parts = (
        _head(plan.patient),
        _cautions(plan.cautions, plan.patient.conditions),
        _drugs(plan.drugs, working),
        _airway(plan, working),
        _breathing(plan, working),
        _fluids(plan, working),
        _limits(plan.limits, working),
        emergency_block(plan.emergency, working),
        _foot(),
    )
    return "\n".join(line for part in parts for line in (*part, "")).rstrip() + "\n"


# ---- lines


def marked(amount: Amount | None, absent: str = "not known", *, places: int | None = None, digits: int = 0) -> str:
    """A figure with the marks that belong to it: from memory, estimated, predicted.

    `places` prints so many decimals (tubes), `digits` so many significant ones (what nobody draws up).
    """
    if amount is None:
        return absent
    text = amount.text
    if places is not None:
        text = f"{reading(amount.value, places)} {amount.unit}"
    elif digits:
        text = f"{figure(amount.value, digits)} {amount.unit}"
    signs = "".join(f" {s}" for s, on in ((MEMORY_SIGN, amount.memory), (PREDICTED_SIGN, amount.predicted)) if on)
    return f"{ESTIMATED_SIGN if amount.estimated else ''}{text}{signs}"


def _title(text: str, right: str = "") -> list[str]:
    return [f"{text.upper()}{right:>{WIDTH - len(text)}}".rstrip(), "-" * WIDTH]


def _row(label: str, text: str, indent: int = 2) -> Iterator[str]:
    """A label and its text, wrapped under itself."""
    first = " " * indent + f"{label:<{LABEL}}"
    yield from wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]


def _plain(text: str, indent: int = 2) -> Iterator[str]:
    yield from wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * indent)


def _why(amount: Amount | None, working: bool) -> Iterator[str]:
    if working and amount is not None and amount.working:
        yield from _row("", f"= {amount.working}")


def _sources(cites: Iterable[Cite], working: bool) -> Iterator[str]:
    if working:
        for cite in cites:
            yield from _row("", f"source: {cite.citation} ({cite.seen})")


def _refused(refused: Refused, label: str = "REFUSED") -> Iterator[str]:
    yield from _row(label, f"{refused.field}: {refused.sentence} ({refused.name})")


# ---- parts


def _head(patient: PatientPart) -> Iterator[str]:
    name = patient.name or "unnamed patient"
    yield from _title(f"Plan for {name}", patient.planned_at.strftime("%d %b %Y %H:%M"))
    for text in STANDING:
        yield from _plain(text)
    yield ""
    words = (patient.species, patient.breed, patient.sex, patient.age)
    yield from _row("patient", ", ".join(w for w in words if w))
    weighed = f", {patient.weighed:%d %b %H:%M}" if patient.weighed else ""
    yield from _row("weight", f"{marked(patient.weight)} ({patient.method}{weighed})")
    if patient.dosing_reason:
        yield from _row("dosed on", f"{marked(patient.dosing_weight)}: {patient.dosing_reason}")
    if patient.lean_weight is not None:
        yield from _row("lean weight", marked(patient.lean_weight))
    yield from _row("ASA", patient.asa or "not given")
    if patient.body_condition is not None:
        yield from _row("condition", f"{patient.body_condition} of 9")
    if patient.conditions:
        yield from _row("has", ", ".join(patient.conditions))


def _cautions(cautions: tuple[Caution, ...], conditions: tuple[str, ...]) -> Iterator[str]:
    """The gravest first; a drug's own stand with the drug."""
    yield from _title("Cautions")
    own = sorted((c for c in cautions if c.kind in {"plan", "patient"}), key=lambda c: GRAVE.index(c.severity))
    for caution in own:
        about = f"{caution.about}: " if caution.about and caution.about not in conditions else ""
        sign = f" {MEMORY_SIGN}" if caution.memory else ""
        yield from _row(caution.severity.upper(), f"{about}{caution.text}{sign}")
    if not own:
        yield from _plain("None of the tables' cautions speaks of this patient. That is no proof that there is none.")


def _drugs(drugs: tuple[DrugPart, ...], working: bool) -> Iterator[str]:
    yield from _title("Drugs", f"{len(drugs)} ordered")
    for number, drug in enumerate(drugs, 1):
        yield from _drug(number, drug, working)
        yield ""


def _drug(number: int, drug: DrugPart, working: bool) -> Iterator[str]:
    strength = f" {drug.concentration.text}" if drug.concentration else ""
    yield from _plain(f"{number}. {drug.name.upper()}{strength}, {drug.route}, {drug.purpose}", 1)
    dose = drug.dose.text if drug.dose.value == drug.dose_low.value else f"{drug.dose_low.text} to {drug.dose.text}"
    zone = f"  [{'top ' if drug.dose.value != drug.dose_low.value else ''}{drug.zone.upper()}]" if drug.zone else ""
    yield from _row("order", f"{dose}{zone}")
    if drug.limits is not None:
        yield from _row("limits", f"{drug.limits.sentence}{' ' + MEMORY_SIGN if drug.limits.memory else ''}")
        for also in drug.limits.also:
            if working or "animal" in also or "ask" in also:
                yield from _row("", also)
    if drug.amount is not None:
        yield from _row("amount", marked(drug.amount))
    yield from _syringe(drug)
    for other in drug.others:
        yield from _row("beside", other_words(other))
    if drug.refused is not None:
        yield from _refused(drug.refused)
    yield from _around_drug(drug, working)
    if working:
        for line in drug.working:
            if not line.startswith("held against"):  # the limits stand above
                yield from _row("", line if line.startswith("÷") else f"= {line}")
    yield from _sources(drug.source, working)


def _syringe(drug: DrugPart) -> Iterator[str]:
    if drug.dilution is not None:
        d = drug.dilution
        text = f"{marked(d.drug_volume)} drug + {marked(d.diluent_volume)} {d.diluent} = {d.total.text} of {d.concentration.text}"
        yield from _row("dilute", text + (f" {MEMORY_SIGN}" if d.memory else ""))
    if drug.rate is not None:
        yield from _row("RATE", marked(drug.rate))
    if drug.volume is not None:
        syringe = "more than any syringe here holds: measure it from a bag or in parts"
        if drug.syringe is not None:
            syringe = f"{drug.syringe.name}, marks of {drug.syringe.mark.text}"
        yield from _row("DRAW", f"{marked(drug.volume)}   {syringe}")
    if drug.delivered is not None:
        then = f" = {marked(drug.delivered_dose, digits=3)}" if drug.delivered_dose is not None else ""
        yield from _row("delivers", f"{marked(drug.delivered)}{then}{_error(drug.error_percent)}")


def _error(percent: Decimal | None) -> str:
    if percent is None:
        return ""
    if not percent:
        return ", exactly as ordered"
    return f", {figure(abs(percent), 2)} % {'under' if percent < 0 else 'OVER'} the order"


def _around_drug(drug: DrugPart, working: bool) -> Iterator[str]:
    if drug.time_to_give:
        yield from _row("give", drug.time_to_give)
    if drug.when:
        yield from _row("when", drug.when)
    if drug.reversal:
        yield from _row("reversal", drug.reversal)
    for caution in drug.cautions:
        if caution.kind == "plan":
            yield from _row("note", caution.text)
        elif working and caution.kind == "drug":
            sign = f" {MEMORY_SIGN}" if caution.memory else ""
            yield from _row(caution.severity, f"{caution.about}: {caution.text}{sign}")


def _airway(plan: Plan, working: bool) -> Iterator[str]:
    yield from _title("Airway", "no chart is exact: lay out all sizes")
    airway = plan.airway
    for tube in airway.tubes:
        kind = "cuffed" if tube.cuffed else "uncuffed"
        text = f"{marked(tube.id, places=1)} inside, {marked(tube.od, places=1)} outside, {kind}"
        yield from _row("", f"{tube.role:<14}{text}", 0)
    for label, amount in (("how far in", airway.insertion_depth), ("cut to", airway.cut_length),
                          ("stylet", airway.stylet_setback)):  # fmt: skip
        if amount is not None:
            yield from _row(label, marked(amount) + (" inside the tip" if label == "stylet" else ""))
            yield from _why(amount, working)
    yield from _dead_space(plan, working)
    for refused in airway.refused:
        yield from _refused(refused, "NOT KNOWN")
    for note in (airway.why, *airway.notes):
        if note:
            yield from _row("note", note)
    yield from _sources(airway.source, working)


def _dead_space(plan: Plan, working: bool) -> Iterator[str]:
    space = plan.airway.dead_space
    if space is None:
        return
    percent = "" if space.percent_of_breath is None else f", {figure(space.percent_of_breath)} % of a breath"
    breath = "" if space.breath is None else f" of {marked(space.breath)}"
    yield from _row("dead space", f"{marked(space, digits=2)} outside the incisors{percent}{breath}")
    if space.before is not None and space.after is not None:
        yield from _row("", f"{marked(space.before, digits=2)} before cutting, {marked(space.after, digits=2)} after")
    if space.parts:
        yield from _row("", "parts: " + ", ".join(f"{p.name} {marked(p.amount)}" for p in space.parts))
    yield from _why(space, working)
    if space.warning:
        yield from _row("WARNING", space.warning)


def _breathing(plan: Plan, working: bool) -> Iterator[str]:
    yield from _title("Breathing system and oxygen")
    b = plan.breathing
    yield from _system_and_gas(b, working)
    if b.bag is not None:
        yield from _row("bag", marked(b.bag))
        yield from _why(b.bag, working)
    yield from _agent(b, working)
    yield from _oxygen(plan, working)
    for refused in b.refused:
        yield from _refused(refused, "NOT KNOWN")
    for note in b.notes:
        yield from _row("note", note)
    yield from _ventilators(b, working)
    yield from _sources(b.source, working)


def _system_and_gas(b: BreathingPart, working: bool) -> Iterator[str]:
    if b.circuit:
        yield from _row("circuit", b.circuit)
    if b.why:
        yield from _row("", b.why)
    for system in b.systems:
        if not system.first:
            yield from _row("or" if system.serves else "not", f"{system.name}: {system.says}")
    for phase, flow in b.fresh_gas.items():
        yield from _row("fresh gas", f"{phase:<13}{marked(flow)}")
        yield from _why(flow, working)
    yield from _opinions(b, working)
    if b.least_flow is not None:
        yield from _row("not under", marked(b.least_flow))
        yield from _why(b.least_flow, working)


def _opinions(b: BreathingPart, working: bool) -> Iterator[str]:
    """What each source has for this animal, side by side; why they differ stands under them."""
    for o in b.opinions:
        span = "no figure" if o.low is None or o.high is None else marked(o.low)
        if o.low is not None and o.high is not None and o.low.value != o.high.value:
            span = f"{figure(o.low.value)} to {marked(o.high)}"
        yield from _row("who says", f"{o.phase:<13}{span}; {o.says}{' (measured)' if o.measured else ''}")
        yield from _sources(o.source, working)
    if b.apart:
        yield from _row("", f"Sources differ: {b.apart}")


def _agent(b: BreathingPart, working: bool) -> Iterator[str]:
    for reach in b.wash_in:
        yield from _row("dial change", f"{reach.share.text} of it within {marked(reach.at_most)} at most, {marked(reach.measured)} "
                                       "on the one circle that was measured")  # fmt: skip
        yield from _why(reach.at_most, working)
    for use in b.agent:
        cost = "" if use.cost_per_hour is None else f", {use.cost_per_hour} {use.currency} an hour"
        yield from _row("agent", f"{use.agent} at {use.dial.text}, {use.phase}: {marked(use.liquid)} of liquid{cost}")
        yield from _why(use.liquid, working)
    for words in b.waste:
        yield from _row("", words)


def _ventilators(b: BreathingPart, working: bool) -> Iterator[str]:
    """First settings of both modes; the alarms once, with volume mode, and nothing said twice."""
    said: set[str] = set()
    for v in b.ventilator:
        yield from _row("ventilator", f"{v.mode} mode, for {marked(v.lean_weight)} ({v.basis})")
        if v.refused is not None:
            yield from _refused(v.refused, "NOT KNOWN")
            continue
        shown = (("breath", v.tidal), ("rate", v.rate), ("in", v.inspiration), ("PEEP", v.peep), ("expected peak", v.peak),
                 ("set pressure", v.set_pressure))  # fmt: skip
        told = [f"{name} {marked(x, digits=3)}" for name, x in shown if x is not None]
        yield from _row("", ", ".join((*told, f"ratio {v.ratio}")))
        for _, amount in shown:
            yield from _why(amount, working)
        if v.mode == "volume" and v.alarms:
            yield from _row("alarms", ", ".join(f"{a.name} {marked(a.amount)}" for a in v.alarms))
        for note in v.notes:
            if note not in said:
                yield from _row("note", note)
        said |= set(v.notes)


def _oxygen(plan: Plan, working: bool) -> Iterator[str]:
    b = plan.breathing
    if b.supply:
        yield from _row("oxygen", b.supply)
    if b.drive_gas is not None:
        yield from _row("", f"ventilator takes {marked(b.drive_gas)} of it")
    if b.oxygen_minutes is None:
        return
    litres = f", {marked(b.oxygen_litres)} in the cylinder" if b.oxygen_litres is not None else ""
    yield from _row("oxygen", f"{marked(b.oxygen_minutes)} to the reserve{litres}")
    if b.oxygen_enough is not None:
        enough = "enough for" if b.oxygen_enough else "NOT ENOUGH for"
        yield from _row("", f"{enough} a case of {b.case_minutes} min")
    yield from _why(b.oxygen_minutes, working)


def _fluids(plan: Plan, working: bool) -> Iterator[str]:
    yield from _title("Fluids and blood")
    f = plan.fluids
    rows = (("rate", f.rate), ("at most", f.rate_limit), ("first bolus", f.bolus), ("largest", f.bolus_largest),
            ("in all", f.bolus_limit), ("blood", f.blood_volume), ("may lose", f.allowable_loss))  # fmt: skip
    for label, amount in rows:
        if amount is not None:
            yield from _row(label, marked(amount))
            yield from _why(amount, working)
    for note in f.notes:
        yield from _row("note", note)
    yield from _sources(f.source, working)


def _limits(limits: tuple[LimitPart, ...], working: bool) -> Iterator[str]:
    yield from _title("If it happens", "act on the number and its trend")
    for limit in limits:
        sign = f" {MEMORY_SIGN}" if limit.memory else ""
        whose = f" (ordered, {limit.whose})" if limit.ordered else ""
        yield from _plain(f"{limit_words(limit)}{sign}{whose}")
        if limit.action:
            yield from _plain(limit.action, 6)
        yield from _sources(limit.source, working)


# ---- emergency


def emergency_block(sheet: EmergencyPart, working: bool = False) -> Iterator[str]:
    """The emergency sheet: what to draw up, in millilitres, for this weight alone."""
    yield from _title(f"Emergency sheet {sheet.sheet_id}", f"for {marked(sheet.weight)} only")
    yield from _row(
        "breath",
        f"{marked(sheet.breath)}, one every 6 s" if not sheet.rate else f"{marked(sheet.breath)}; {sheet.rate}",
    )
    if sheet.etco2_aim:
        yield from _row("CO2 aim", sheet.etco2_aim)
    for group in dict.fromkeys(d.group for d in sheet.drugs):
        yield ""
        yield from _plain(group.upper(), 1)
        for drug in sheet.drugs:
            if drug.group == group:
                yield from _emergency_drug(drug, working)
    yield ""
    for shock in sheet.shocks:
        yield from _plain(f"{shock.name}, {shock.when}: {marked(shock.amount)}")
    for step in sheet.steps:
        yield from _row("step", step)
    for note in sheet.notes:
        yield from _row("note", note)
    yield from _sources(sheet.source, working)


def _emergency_drug(drug: EmergencyDrugPart, working: bool) -> Iterator[str]:
    sign = f" {MEMORY_SIGN}" if drug.memory else ""
    volume = marked(drug.volume, "no volume")
    name = f"{drug.name} {drug.concentration}"
    if len(name) > 34:
        yield f"  {name}"
        name = ""
    yield f"  {name:<34} {volume:>12}  {drug.route}, {drug.dose}{sign}".rstrip()
    told = ". ".join(t.rstrip(".") for t in (drug.what_for, drug.when, drug.dilution, drug.note) if t)
    if told:
        yield from _plain(told, 6)
    if drug.refused is not None:
        yield from _plain(f"{drug.refused.sentence} ({drug.refused.name})", 6)
    if working and drug.amount is not None and drug.amount.working:
        yield from _plain(f"= {drug.amount.working}", 6)
    if working and drug.volume is not None and drug.volume.working:
        yield from _plain(f"= {drug.volume.working}", 6)


def _foot() -> Iterator[str]:
    yield from _title("Marks and cautions")
    for sign, words in (
        (MEMORY_SIGN, MEMORY_WORDS),
        (PREDICTED_SIGN, PREDICTED_WORDS),
        (ESTIMATED_SIGN, ESTIMATED_WORDS),
    ):
        yield from _row(sign, words)
    for text in STANDING:
        yield from _plain(text)


def emergency_text(sheet: EmergencyPart, species: str, working: bool = False) -> str:
    """The emergency sheet alone, with the cautions before and after."""
    lines = [*_plain(f"{species}. {' '.join(STANDING)}", 0), "", *emergency_block(sheet, working), "", *_foot()]
    return "\n".join(lines) + "\n"
