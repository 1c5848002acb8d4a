"""Orders and the signed plan: a veterinarian's word, held against the formulary before anything is drawn."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.airway import Measured
from spiracle.airway.measured import check
from spiracle.case import events as ev
from spiracle.case.allergies import ask_about_allergy
from spiracle.case.animal import age_days
from spiracle.case.ceilings import order_under
from spiracle.case.decide_people import need_words, own_hand, person, said, someone_else, veterinarian, word_of
from spiracle.case.decide_protocols import check_limit, from_protocol
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.measured import MEASURES as MEASURED
from spiracle.case.prepared import dosing_weight, ordered_dose, prepared
from spiracle.case.ruling import Rules
from spiracle.case.signing import signed_strengths
from spiracle.case.standing import order as order_of
from spiracle.case.standing import orders, species, weight_in_use
from spiracle.drugs import DoseRow, DosingWeight, Judgement, OrderedDose, in_unit, judge
from spiracle.drugs.order import allow
from spiracle.patient import Weight
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import Contradiction, Missing, NotAllowed, OutOfRange, OverLimit, Refusal, StaleReading, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def drug_ordered(case: Case, event: ev.DrugOrdered, facts: Facts, _now: datetime) -> None:
    """Written by or for a veterinarian; said aloud: who said it and who read it back. Over a hard stop: with a reason."""
    need_words(event.order, "order", "Give the order an id.")
    _whose(event, facts)
    before = [o for o in case.live(ev.DrugOrdered) if o.order == event.order]
    drug = facts.drugs.drug(event.drug, species(case))
    if before and facts.drugs.drug(before[-1].drug).id != drug.id:
        raise Contradiction(
            "order",
            f"{event.order} is an order of {facts.drugs.name(before[-1].drug)}.",
            "Give another drug an order of its own.",
        )
    low, high = Quantity.of(event.low, event.unit), Quantity.of(event.high, event.unit)
    if low > high:
        raise Contradiction("dose", f"{low} to {high} runs backwards.", "Write the lower figure first.")
    if event.high <= 0:
        raise OutOfRange("dose", "is zero.", "Give the dose, or withdraw the order.")
    if event.concentration:
        facts.drugs.strength(drug, event.concentration)
    word = said(facts, event.over_hard_by, event.reason)
    ask_about_allergy(case, event.drug, facts, word)
    from_protocol(case, event, facts)
    _held(case, event, facts)


def _whose(event: ev.DrugOrdered, facts: Facts) -> None:
    if event.given_as == "written":
        word_of(facts, event.ordered_by, event.by, "ordered by")
        return
    veterinarian(facts, event.ordered_by, "ordered by")
    someone_else(facts, event.read_back_by, event.ordered_by, "read back by")


def _held(case: Case, event: ev.DrugOrdered, facts: Facts) -> None:
    """Against its row once there is a weight; before that, that there is a row at all."""
    if weight_in_use(case) is None:
        able = facts.drugs.rows(event.drug, str(species(case)), event.purpose, event.route)
        if not able:
            name = facts.drugs.name(event.drug)
            raise Unknown("purpose", f"{name} for {event.purpose} by {event.route} has no row for a {species(case)}.",
                          "Pick another purpose or route.")  # fmt: skip
        return
    dose, weight = ordered_dose(case, event, facts, event.happened_at), dosing_weight(case)
    row = facts.drugs.choose(dose, weight)
    judged = judge(dose, row, weight)
    _under_its_stop(facts.drugs.name(row.drug), dose, row, judged, weight)
    if not row.emergency:
        order_under(case, event, facts, event.happened_at)
    if dose.overridden and not row.emergency and judged.per_row is not None and judged.guardrail.hard_high is not None:
        own_hand(event.by, event.over_hard_by, judged.per_row, judged.guardrail.hard_high)


def _under_its_stop(name: str, dose: OrderedDose, row: DoseRow, judged: Judgement, weight: DosingWeight) -> None:
    """Over a stop, the refusal names the stop with its reason, and the most that would be taken, as the order is written."""
    try:
        allow(dose, row, judged)
    except OverLimit as over:
        stop = row.lowest(weight.kg)
        if stop is None:
            raise
        most = in_unit(stop.at, dose.high.unit, weight.kg)
        low = figure(down_to(most.value, Decimal(1).scaleb(most.value.adjusted() - 3)))
        raise OverLimit(
            over.field, f"{dose.dose_text} of {name} is over the {stop.words}.",
            f"Order at most {low} {most.unit}, or a named veterinarian says so with a reason.",
        ) from over  # fmt: skip


def standing_order(case: Case, name: str, drug: str, facts: Facts) -> ev.DrugOrdered:
    """The order an entry rests on, which must stand and be for the same drug."""
    found = order_of(case, name)
    if found is None:
        raise Unknown("order", f"{name!r} is not an order that stands.", "Choose a standing order.")
    if facts.drugs.drug(found.drug).id != facts.drugs.drug(drug).id:
        raise Contradiction(
            "order",
            f"{name} is for {facts.drugs.name(found.drug)}, not {facts.drugs.name(drug)}.",
            "Choose the order of this drug.",
        )
    return found


def order_withdrawn(case: Case, event: ev.OrderWithdrawn, facts: Facts, _now: datetime) -> None:
    found = order_of(case, event.order)
    if found is None:
        raise Unknown("order", f"{event.order!r} is not an order that stands.", "Choose a standing order.")
    if event.happened_at < found.happened_at:
        raise Contradiction("happened at", "is before the order was given.", "Give the time it was withdrawn.")
    person(facts, event.by, "hand")


def limit_ordered(_case: Case, event: ev.LimitOrdered, facts: Facts, _now: datetime) -> None:
    word_of(facts, event.ordered_by, event.by, "ordered by")
    check_limit(event.reading, event.below, event.above, facts)


def plan_sent(_case: Case, event: ev.PlanSent, facts: Facts, _now: datetime) -> None:
    veterinarian(facts, event.to, "to")


def plan_approved(case: Case, event: ev.PlanApproved, facts: Facts, _now: datetime) -> None:
    """Signed for this weight, this ASA grade and these orders; never over a line that has no volume."""
    veterinarian(facts, event.signed_by, "signed by")
    if event.how == "oral":
        someone_else(facts, event.read_back_by, event.signed_by, "read back by")
    elif event.by != event.signed_by:
        raise NotAllowed(
            "hand", "someone else is acting.", "Let the veterinarian act and sign, or note it as said aloud."
        )
    _fresh_weight(case, event, facts)
    signed_strengths(case, event, facts)
    asa = case.last(ev.AsaAssigned)
    if event.asa and asa is not None and event.asa.split()[0] != asa.asa:
        raise Contradiction(
            "ASA", f"the plan says {event.asa}, the case {asa.asa}.", "Look at the plan again, then sign."
        )
    stand = {o.order: o for o in orders(case)}
    for name in event.orders:
        if name not in stand:
            raise Unknown("order", f"{name!r} is not an order that stands.", "Look at the plan again, then sign.")
    unnamed = [facts.drugs.name(o.drug) for o in stand.values() if o.order not in event.orders]
    if unnamed:
        raise Contradiction("orders", f"{', '.join(unnamed)} came after this page was drawn.", "Look again, then sign.")
    for order in stand.values():
        _may_be_signed(case, order, facts, event.happened_at)


def _may_be_signed(case: Case, order: ev.DrugOrdered, facts: Facts, at: datetime) -> None:
    """A line with a volume, under the ceilings it shares with the others. An emergency row warns and never stops."""
    name, made = facts.drugs.name(order.drug), prepared(case, order, facts, at)
    if made.refusal is not None:
        raise _line(name, made.refusal)
    if made.row is not None and made.row.emergency:
        return
    try:
        order_under(case, order, facts, at)
    except OverLimit as over:
        raise OverLimit(f"{name}, {over.field}", over.says, over.accepts or "") from over


def _line(name: str, refusal: Refusal) -> Refusal:
    return Missing(f"{name}, {refusal.field}", refusal.says, refusal.accepts or "Complete the line, then sign.")


def _fresh_weight(case: Case, event: ev.PlanApproved, facts: Facts) -> None:
    weight = weight_in_use(case)
    if weight is None:
        raise Missing("weight", "is not known.", "Weigh the patient, then sign.")
    if event.weight_kg != weight.kg:
        raise Contradiction("weight", f"the plan says {event.weight_kg} kg, the last weight is {weight.kg} kg.",
                            "Look at the plan again, then sign.")  # fmt: skip
    hours = (facts.hospital.weight_hours, facts.hospital.weight_hours_small)
    old = facts.patient.weight_stale(Weight(weight.kg, weight.event.method, weight.at), str(species(case)),
                                     event.happened_at, age_days(case, event.happened_at), hours)  # fmt: skip
    if old:
        raise StaleReading("weight", old, "Weigh again, then sign.")


def vial_picked(case: Case, event: ev.VialPicked, facts: Facts, _now: datetime) -> None:
    standing_order(case, event.order, event.drug, facts)
    readable_strength(facts, event.drug, event.concentration)


def readable_strength(facts: Facts, drug: str, text: str) -> Quantity | None:
    """What a vial holds in each mL, None for a powder; a vial that is not for dogs and cats is refused."""
    need_words(text, "strength", "Read it from the vial, like 10 mg/mL.")
    found = facts.drugs.strength(facts.drugs.drug(drug), text)
    if found.trap:
        raise NotAllowed("strength", f"{found.printed} is not a vial for dogs and cats.", "Take another vial.")
    return found.quantity


MEASURES = (
    ("incisors_to_inlet_cm", "incisors to thoracic inlet"), ("incisors_to_larynx_cm", "incisors to larynx"),
    ("tracheal_diameter_mm", "tracheal diameter"), ("ultrasound_diameter_mm", "tracheal diameter"),
    ("palpated_diameter_mm", "tracheal diameter"), ("septum_width_mm", "nasal septum"),
    ("occiput_to_tail_cm", "occipital bump to tail base"), ("tube_id_mm", "tube, inside diameter"),
    ("trachea_to_inlet", "trachea over thoracic inlet"),
)  # fmt: skip


def _possible(case: Case, event: ev.AirwayMeasured, facts: Facts) -> None:
    """What no animal of this species and weight can measure is refused as it is entered, not when the plan is read."""
    kind, kg = species(case), weight_in_use(case)
    if kind is None or kg is None:
        return
    found = {
        name: Quantity.of(value, unit) for field, name, unit in MEASURED if (value := getattr(event, field)) is not None
    }
    check(facts.airway, kind, Quantity.of(kg.kg, "kg"), Measured(**found))  # type: ignore[arg-type]


def airway_measured(case: Case, event: ev.AirwayMeasured, facts: Facts, _now: datetime) -> None:
    found = tuple((title, getattr(event, name)) for name, title in MEASURES)
    if all(value is None for _, value in found):
        raise Missing("measure", "nothing was measured.", "Give a length or a diameter.")
    for title, value in found:
        inside(title, value)
    _possible(case, event, facts)
    larynx, inlet = event.incisors_to_larynx_cm, event.incisors_to_inlet_cm
    if larynx is not None and inlet is not None and larynx >= inlet:
        raise Contradiction(
            "incisors to larynx", "is not shorter than the way to the thoracic inlet.", "Measure both again."
        )


RULES: Rules = {
    ev.DrugOrdered: drug_ordered,
    ev.OrderWithdrawn: order_withdrawn,
    ev.LimitOrdered: limit_ordered,
    ev.AirwayMeasured: airway_measured,
    ev.PlanSent: plan_sent,
    ev.PlanApproved: plan_approved,
    ev.VialPicked: vial_picked,
}
