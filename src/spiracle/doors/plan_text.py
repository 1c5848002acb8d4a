"""The plan on a terminal: eighty columns, cautions first and last, marks beside the numbers they belong to."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from spiracle.doors.text_breathing import breathing_block
from spiracle.doors.text_rows import marked
from spiracle.doors.text_rows import not_worked as _refused
from spiracle.doors.text_rows import plain as _plain
from spiracle.doors.text_rows import row as _row
from spiracle.doors.text_rows import sources as _sources
from spiracle.doors.text_rows import title as _title
from spiracle.doors.text_rows import why as _why
from spiracle.quantity import figure, printed_size
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
    Caution,
    DrugPart,
    EmergencyDrugPart,
    EmergencyPart,
    LimitPart,
    PatientPart,
    Plan,
)
from spiracle.sheets.printed_plan import other_words, resistance_words, shelf_shown

GRAVE = ("never", "avoid", "care", "note")


def plan_text(plan: Plan, working: bool = False) -> str:
    """The whole plan. With `working`, the arithmetic and the sources stand under each line."""
    parts = (
        _head(plan.patient),
        _cautions(plan.cautions, plan.patient.conditions),
        _drugs(plan.drugs, working),
        _airway(plan, working),
        breathing_block(plan, working),
        _fluids(plan, working),
        _limits(plan.limits, working),
        emergency_block(plan.emergency, working),
        _foot(),
    )
    return "\n".join(line for part in parts for line in (*part, "")).rstrip() + "\n"


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


def _printed(size: Amount) -> int:
    """Decimals of a tube's size as printed on it: one at least, none of its own rounded away."""
    return len(printed_size(Decimal(str(size.value))).partition(".")[2])


def _airway(plan: Plan, working: bool) -> Iterator[str]:
    yield from _title("Airway", "no chart is exact: lay out all sizes")
    airway = plan.airway
    for tube in airway.tubes:
        kind = "cuffed" if tube.cuffed else "uncuffed"
        text = f"{marked(tube.id, places=_printed(tube.id))} inside, {marked(tube.od, places=_printed(tube.od))} outside, {kind}"
        yield from _row("", f"{tube.role:<14}{text}", 0)
    for label, amount in (("how far in", airway.insertion_depth), ("cut to", airway.cut_length),
                          ("stylet", airway.stylet_setback)):  # fmt: skip
        if amount is not None:
            yield from _row(label, marked(amount) + (" inside the tip" if label == "stylet" else ""))
            yield from _why(amount, working)
    yield from _dead_space(plan, working)
    yield from _evidence(plan, working)
    for refused in airway.refused:
        yield from _refused(refused, "NOT KNOWN")
    for note in (airway.why, *airway.notes):
        if note:
            yield from _row("note", note)
    yield from _sources(airway.source, working)


def _evidence(plan: Plan, working: bool) -> Iterator[str]:
    """Each way of choosing with its spread, the shelf by chance, what each tube costs a breath, the best single change."""
    a = plan.airway
    for e in a.estimates:
        yield from _row("size by", f"{e.name:<14}{marked(e.id, places=1)}, give or take {marked(e.spread)}")
        yield from _why(e.id, working)
    if len(a.estimates) > 1:
        yield from _row("together", a.combined)
    for words in a.disagreements:
        yield from _row("DISAGREE", words)
    for r in shelf_shown(a):
        yield from _row("chance", f"{r.why} {MEMORY_SIGN} {PREDICTED_SIGN}")
    for n in a.resistances:
        yield from _row("resistance", f"{n.role:<14}{marked(n.lost)}, {resistance_words(n)}")
    for c in a.changes[:2]:
        yield from _row("one change", c.says)


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
    if space.no_answer:
        yield from _row("", space.no_answer)
    if space.warning:
        yield from _row("WARNING", space.warning)


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
