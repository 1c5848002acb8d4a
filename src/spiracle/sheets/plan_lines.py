"""Worked orders as the lines of the tablet's plan: order in the veterinarian's words, then what goes in the syringe."""

from __future__ import annotations

from collections.abc import Mapping

from spiracle.case.facts import Facts
from spiracle.case.prepared import shelf as shelf_of_hospital
from spiracle.drugs import CautionHit, Dilution, DosingWeight, in_unit, ladder
from spiracle.drugs.syringe import usable
from spiracle.quantity import Quantity, figure
from spiracle.sheets.plan_bases import OtherWork
from spiracle.sheets.plan_drugs import give_words, memory_of, strength_words
from spiracle.sheets.plan_work import OrderWork
from spiracle.sheets.shapes import DilutionShape, DrugLine, Ladder, MarkName, Num, OtherBasis, RiskFlag, Rung, ZoneBar
from spiracle.sheets.worked_shape import cited, number, refused, working_shape, zone_bar
from spiracle.source import Worked, Working


def drug_line(work: OrderWork, facts: Facts, weight: DosingWeight, shelf: Mapping[str, tuple[str, ...]]) -> DrugLine:
    """One order of a case, worked. A refused line keeps what was known and shows the reason in place of a volume."""
    made, asked = work.made, work.asked
    drug = made.drug
    strengths = () if drug is None else shelf.get(drug.id, ())
    concentration = "" if made.concentration is None else str(made.concentration)
    return DrugLine(
        order=asked.order,
        event_id=asked.event_id,
        drug=asked.drug if drug is None else drug.id,
        name=asked.drug if drug is None else drug.name,
        syringe_class="other" if drug is None else made.syringe_class,
        reversal=made.is_reversal,
        controlled=made.controlled,
        strength=concentration,
        vial="" if made.strength is None else made.strength.text,
        strengths=strengths,
        purpose=made.purpose or asked.purpose,
        route=made.route or asked.route,
        order_text=asked.words,
        when=asked.when,
        given_as=asked.given_as,
        ordered_by=asked.ordered_by,
        infusion=made.row.infusion if made.row is not None else False,
        dose=number(made.dose, "dose", mark="typed") if made.dose is not None else None,
        amount=_shown(work, weight, made.amount, "amount", facts),
        volume=_shown(work, weight, made.drawn, "volume", facts),
        rate=_shown(work, weight, made.rate, "rate", facts),
        delivered=_shown(work, weight, made.delivered, "delivered", facts),
        error_percent=None if made.error_percent is None else float(round(made.error_percent, 2)),
        bar=_bar(work, weight),
        barrel="" if made.barrel is None else made.barrel.name,
        mark_ml=None if made.barrel is None else float(made.barrel.mark.number("mL")),
        holds_ml=None if made.barrel is None else float(made.barrel.holds.number("mL")),
        volume_ml=None if made.drawn is None else float(made.drawn.number("mL")),
        pushes=tuple(float(p.number("mL")) for p in made.pushes),
        dilution=None if made.dilution is None else _dilution(made.dilution, made.drawn, facts),
        conditions=made.conditions,
        cautions=tuple(caution_flag(h, facts) for h in work.cautions if h.matched),
        cautions_at_large=tuple(caution_flag(h, facts) for h in work.cautions if not h.matched),
        refusal=None if made.refusal is None else refused(made.refusal),
        memory=made.memory,
        speak=_speak(work),
        ladder=_ladder(work, weight),
        onset=_minutes(made.onset_min),
        minutes_to_give=give_words(work),
        other_bases=tuple(_other(o, facts) for o in work.others),
        hub=made.hub,
        scale=made.scale,
        needs=made.needs,
    )


def _other(other: OtherWork, facts: Facts) -> OtherBasis:
    """The same order on another weight: never drawn up, a predicted weight and all made from it marked as such."""
    made, basis = other.made, other.basis
    mark: MarkName = "predicted" if basis.predicted else "worked"

    def shown(value: Quantity | None, name: str) -> Num | None:
        if value is None:
            return None
        worked = Worked(value, made.workings.get(name, Working("")))
        significant = 4 if name == "amount" else 0
        return number(worked, f"{name} on {basis.words}", facts.sources, significant=significant, mark=mark,
                      memory=basis.memory, estimated=basis.estimated)  # fmt: skip

    return OtherBasis(
        basis=basis.words,
        weight=number(
            basis.working or basis.weight, basis.words, facts.sources, significant=3 if basis.predicted else 0,
            mark="predicted" if basis.predicted else "typed", memory=basis.memory, estimated=basis.estimated,
        ),
        amount=shown(made.amount, "amount"),
        volume=shown(made.drawn, "volume"),
        rate=shown(made.rate, "rate"),
        differs_percent=float(round(other.differs_percent, 1)),
    )  # fmt: skip


def _bar(work: OrderWork, weight: DosingWeight) -> ZoneBar | None:
    at = _on_the_bar(work, weight)
    return None if work.made.guardrail is None else zone_bar(work.made.guardrail, at, at)


def _on_the_bar(work: OrderWork, weight: DosingWeight) -> Quantity:
    """The ordered top as its limits are written: an order in all (mg) stands on the bar as a dose per kg."""
    high, limit = work.asked.high, work.made.guardrail
    return high if limit is None else in_unit(high, limit.usual_high.unit, weight.kg)


def _shown(work: OrderWork, weight: DosingWeight, value: Quantity | None, name: str, facts: Facts) -> Num | None:
    if value is None:
        return None
    made = work.made
    working = made.workings.get(name, Working(""))
    shown = number(
        Worked(value, working), f"{made.drug.name if made.drug else work.asked.drug}, {name}", facts.sources,
        significant=0 if name in {"volume", "rate"} else 4, memory=memory_of(work, name), estimated=made.estimated,
    )  # fmt: skip
    if name != "volume" or made.guardrail is None or not made.working.says:
        return shown
    whole = working_shape(
        made.working, shown.working.title if shown.working else name, facts.sources, at=_on_the_bar(work, weight),
        order_high=_on_the_bar(work, weight),
    )  # fmt: skip
    return Num(text=shown.text, unit=shown.unit, mark=shown.mark, memory=shown.memory, estimated=shown.estimated,
               working=whole)  # fmt: skip


def _dilution(dilution: Dilution, dose: Quantity | None, facts: Facts) -> DilutionShape:
    return DilutionShape(
        concentration=str(dilution.concentration),
        drug_volume=number(dilution.drug_volume),
        diluent_volume=number(dilution.diluent_volume),
        diluent=dilution.diluent,
        total=number(Worked(dilution.total, dilution.working), "dilution", facts.sources),
        label=dilution.label,
        memory=dilution.memory,
        barrel=_mixed_in(dilution, dose, facts),
        steps=dilution.steps,
    )


def _mixed_in(dilution: Dilution, dose: Quantity | None, facts: Facts) -> str:
    """The smallest syringe of this hospital on which the whole mixture and the dose out of it are marks."""
    parts = [dilution.total.number("mL"), *(() if dose is None else (dose.number("mL"),))]
    for barrel in usable(facts.drugs.barrels_of(shelf_of_hospital(facts)), dilution.concentration):
        if all(ml <= barrel.holds.value and ml % barrel.mark.value == 0 for ml in parts):
            return barrel.name
    return ""


def caution_flag(hit: CautionHit, facts: Facts) -> RiskFlag:
    return RiskFlag(
        title=hit.condition or hit.about,
        changes=hit.statement,
        severity=hit.severity,
        memory=hit.memory,
        cited=cited(hit.sources, facts.sources),
    )


def _speak(work: OrderWork) -> str:
    """The sentence to say aloud when the syringe is handed over: drug, amount, volume, route."""
    made = work.made
    if made.drug is None or made.drawn is None or made.delivered is None:
        return ""
    said = f"{made.drug.name}, {figure(made.delivered.value, 3)} {made.delivered.unit}, {made.drawn}, {made.route}"
    words = strength_words(work)
    return f"{said}, {words}" if made.dilution is not None and words else said


def _minutes(span: tuple[object, object] | None) -> str:
    if span is None:
        return ""
    low, high = span
    return f"within {high} min" if not low else f"{low} to {high} min" if low != high else f"{low} min"


def _ladder(work: OrderWork, weight: DosingWeight) -> Ladder | None:
    """Every mark of the chosen syringe, so that the tablet needs no arithmetic and works offline."""
    made = work.made
    if made.drawn is None or made.barrel is None:
        return None
    steps = ladder(made, weight)
    unit = str(steps[0].amount.unit) if steps else ""
    return Ladder(
        barrel=made.barrel.name,
        mark_ml=float(made.barrel.mark.number("mL")),
        holds_ml=float(made.barrel.holds.number("mL")),
        unit=unit,
        rungs=tuple(
            Rung(
                ml=float(s.volume.number("mL")),
                text=figure(s.volume.number("mL")),
                amount=float(s.amount.value),
                amount_text=f"{figure(s.amount.value, 3)} {s.amount.unit}",
                per_kg_text=f"{figure(s.per_kg.value, 3)} {s.per_kg.unit}",
                zone=s.zone.value,
                over_order=s.over_order,
            )
            for s in steps
        ),
    )
