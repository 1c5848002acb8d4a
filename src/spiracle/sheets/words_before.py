"""Words for what happens before the animal sleeps: admission, assessment, orders, lists, drugs drawn and given."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.case import events as ev
from spiracle.quantity import figure, printed_size, reading
from spiracle.sheets.names import Names, joined, kg_text, ml, plain, unit_text, where, with_unit
from spiracle.sheets.words_machine import fast_words


def _opened(e: ev.CaseOpened, n: Names) -> str:
    how = "emergency case opened" if e.kind == "emergency" else "case opened"
    at = e.planned_at.astimezone(n.zone) if e.planned_at else None
    planned = f"planned for {at:%a} {at.day} {at:%b %H:%M}" if at else ""
    who = joined((e.name, e.species))
    return joined(
        (f"{'practice ' if e.practice else ''}{how}: {who}", e.room, e.number and f"number {e.number}", planned)
    )


def _described(e: ev.PatientDescribed, n: Names) -> str:
    said = joined(
        (e.name, e.breed, e.sex, e.age, e.born and f"born {e.born}", e.chip and f"chip {e.chip}", e.description)
    )
    return f"patient described: {said or 'nothing new'}"


def _owner(e: ev.OwnerNamed, n: Names) -> str:
    return f"owner: {joined((e.name, e.phone, e.address))}"


def _weighed(e: ev.Weighed, n: Names) -> str:
    how = {"scale": joined(("weighed", e.scale and f"on {e.scale}"), " "), "estimated": "weight ESTIMATED",
           "owner": "weight as the owner said", "earlier visit": "weight of an earlier visit"}[e.method]  # fmt: skip
    return f"{how}: {kg_text(e.weight_kg)}{', said twice' if e.confirmed else ''}"


def _condition(e: ev.BodyConditionScored, n: Names) -> str:
    return f"body condition {e.score} of 9"


def _dosing(e: ev.DosingWeightSet, n: Names) -> str:
    return f"doses worked on {kg_text(e.weight_kg)}: {e.reason}"


def _consent(e: ev.ConsentRecorded, n: Names) -> str:
    return f"consent {e.consent} for {e.procedure}; resuscitation: {e.resuscitation}"


def _fasting(e: ev.FastingNoted, n: Names) -> str:
    food = f"food last {n.day_clock(e.food_at)}" if e.food_at else "food not known"
    water = f"water last {n.day_clock(e.water_at)}" if e.water_at else ""
    return joined((food, water, e.note))


def _history(e: ev.HistoryTaken, n: Names) -> str:
    known = joined(n.condition(c) for c in e.conditions)
    return "history: " + (joined((e.problem, e.history, known and f"known: {known}"), "; ") or "nothing noted")


def _medicine(e: ev.MedicineNoted, n: Names) -> str:
    last = f"last {n.day_clock(e.last_at)}" if e.last_at else "last time not known"
    return f"on {joined((n.drug(e.medicine), e.dose), ' ')}, {last}: {e.decision}"


def _allergies(e: ev.AllergiesAsked, n: Names) -> str:
    if not e.allergies:
        return "allergies asked: none known"
    return f"allergy: {joined((joined(e.allergies), e.reaction))}"


def _previous(e: ev.PreviousAnaesthesiaNoted, n: Names) -> str:
    tube = f"tube ID {printed_size(e.tube_id_mm)} mm {e.tube_outcome}".rstrip() if e.tube_id_mm is not None else ""
    return f"earlier anaesthetic: {joined((e.when, tube, e.airway, e.trouble)) or 'nothing noted'}"


def _temperament(e: ev.TemperamentNoted, n: Names) -> str:
    return joined((f"temperament: {e.temperament}", e.home_sedation and f"sedation at home: {e.home_sedation}"))


def _examined(e: ev.Examined, n: Names) -> str:
    seen = joined((
        f"T {reading(e.temperature_c, 1)} °C" if e.temperature_c is not None else "",
        f"HR {e.heart_rate} /min" if e.heart_rate is not None else "",
        f"breaths {e.respiratory_rate} /min" if e.respiratory_rate is not None else "",
        e.membranes and f"gums {e.membranes}",
        f"refill {figure(e.refill_s)} s" if e.refill_s is not None else "",
        e.heart and f"heart: {e.heart}", e.lungs and f"lungs: {e.lungs}", e.airway and f"airway: {e.airway}", e.note,
    ))  # fmt: skip
    return f"examined: {seen or 'nothing noted'}"


def _result(e: ev.ResultNoted, n: Names) -> str:
    taken = f"taken {e.taken_at:%a} {e.taken_at.day} {e.taken_at:%b}" if e.taken_at else ""
    return joined((f"{e.test} {e.value} {unit_text(e.unit)}".strip(), taken))


def _asa(e: ev.AsaAssigned, n: Names) -> str:
    return joined((f"ASA {e.asa}{' E' if e.emergency else ''}", e.assigned_by and f"by {n.hand(e.assigned_by)}"))


def _pain(e: ev.PainScored, n: Names) -> str:
    return f"pain {figure(e.score)} of {figure(e.out_of)}, {e.scale}"


def _sedation(e: ev.SedationScored, n: Names) -> str:
    return f"sedation {figure(e.score)} of {figure(e.out_of)}, {e.scale}"


def _risk(e: ev.RiskNoted, n: Names) -> str:
    return joined((f"risk: {e.risk}", e.plan and f"plan: {e.plan}"), "; ")


def _limit(e: ev.LimitOrdered, n: Names) -> str:
    from spiracle.sheets.readings import READINGS

    shape = READINGS.get(e.reading)
    name, unit = (shape.title, unit_text(shape.unit)) if shape else (plain(e.reading), "")
    low = f"under {figure(e.below)}" if e.below is not None else ""
    high = f"over {figure(e.above)}" if e.above is not None else ""
    who = f"ordered by {n.hand(e.ordered_by)}" if e.ordered_by else ""
    said = joined((name, joined((low, high), " or ") or "without a bound", unit if low or high else ""), " ")
    return joined((f"limit: {said}", e.action and f"then {e.action}", who))


def _procedure(e: ev.ProcedurePlanned, n: Names) -> str:
    about = f"about {e.minutes} min" if e.minutes is not None else ""
    return f"procedure: {joined((e.procedure, e.side, about, e.room))}"


def _joined(e: ev.PersonJoined, n: Names) -> str:
    return f"{n.hand(e.person)} joined as {e.part}"


def _left(e: ev.PersonLeft, n: Names) -> str:
    return f"{n.hand(e.person)} left"


def order_words(e: ev.DrugOrdered, n: Names) -> str:
    """An order in the veterinarian's words: drug, dose or range with its unit, route, purpose."""
    dose = figure(e.high) if e.low == e.high else f"{figure(e.low)} to {figure(e.high)}"
    return joined((f"{n.drug(e.drug)} {dose} {unit_text(e.unit)} {e.route}", plain(e.purpose), e.when))


def _ordered(e: ev.DrugOrdered, n: Names) -> str:
    who = f"{e.given_as}, {n.hand(e.ordered_by)}" if e.ordered_by else e.given_as
    back = f"read back by {n.hand(e.read_back_by)}" if e.read_back_by else ""
    over = f"past its limits on the word of {n.hand(e.over_hard_by)}: {e.reason}" if e.over_hard_by else ""
    of = f"from protocol {e.protocol}" if e.protocol else ""
    return f"ordered: {joined((order_words(e, n), who, back, over, of))}"


def _withdrawn(e: ev.OrderWithdrawn, n: Names) -> str:
    return joined((f"order withdrawn: {n.order(e.order)}", e.reason))


def _measured(e: ev.AirwayMeasured, n: Names) -> str:
    said = joined((
        f"incisors to inlet {figure(e.incisors_to_inlet_cm)} cm" if e.incisors_to_inlet_cm is not None else "",
        f"incisors to larynx {figure(e.incisors_to_larynx_cm)} cm" if e.incisors_to_larynx_cm is not None else "",
        f"trachea {figure(e.tracheal_diameter_mm)} mm" if e.tracheal_diameter_mm is not None else "",
        f"trachea by ultrasound {figure(e.ultrasound_diameter_mm)} mm" if e.ultrasound_diameter_mm is not None else "",
        f"trachea felt, outside {figure(e.palpated_diameter_mm)} mm" if e.palpated_diameter_mm is not None else "",
        f"nasal septum {figure(e.septum_width_mm)} mm" if e.septum_width_mm is not None else "",
        f"occipital bump to tail {figure(e.occiput_to_tail_cm)} cm" if e.occiput_to_tail_cm is not None else "",
        f"trachea over thoracic inlet {figure(e.trachea_to_inlet)}" if e.trachea_to_inlet is not None else "",
        f"tube ID {printed_size(e.tube_id_mm)} mm" if e.tube_id_mm is not None else "",
    ))  # fmt: skip
    return f"airway measured: {said or 'nothing noted'}"


def _sent(e: ev.PlanSent, n: Names) -> str:
    return f"plan sent to {n.hand(e.to)} to sign"


def _approved(e: ev.PlanApproved, n: Names) -> str:
    how = "signed" if e.how == "signed" else f"approved orally, read back by {n.hand(e.read_back_by)},"
    asa = f"ASA {e.asa}" if e.asa else ""
    return f"plan {how} by {n.hand(e.signed_by)} for {joined((kg_text(e.weight_kg), asa))}"


def _check(e: ev.CheckLineDone, n: Names) -> str:
    outcome = {"done": "", "fault": "FAULT", "skipped": "skipped"}[e.outcome]
    aloud = f"read aloud by {n.hand(e.spoken_by)}" if e.spoken_by else ""
    return joined((f"{e.list} list: {n.line(e.line)}", outcome, e.detail, aloud, fast_words(e.seconds_shown)))


def _machine(e: ev.MachineAssigned, n: Names) -> str:
    bag = f"bag {figure(Decimal(e.bag_ml))} mL" if e.bag_ml is not None else ""
    return joined((e.machine, e.circuit, bag, e.reason))


def _oxygen(e: ev.OxygenRead, n: Names) -> str:
    holds = f"holds {figure(e.contents_l)} L" if e.contents_l is not None else ""
    full = f"at {e.full_pressure}" if e.full_pressure else ""
    drive = f"drive gas {figure(e.drive_l_min)} L/min" if e.drive_l_min is not None else ""
    most = f"up to {figure(e.max_l_min)} L/min" if e.max_l_min is not None else ""
    share = f"{figure(e.percent)} % oxygen" if e.percent is not None else ""
    source = joined((e.source, e.cylinder), " ")
    return f"oxygen from {joined((source, joined((holds, full), ' '), e.gauge and f'gauge {e.gauge}', most, share, drive, e.use))}"


def _monitors(e: ev.MonitorsApplied, n: Names) -> str:
    return f"monitors on: {joined(e.monitors) or 'none'}"


def _catheter(e: ev.CatheterPlaced, n: Names) -> str:
    tries = f"{e.attempts} tries" if e.attempts > 1 else ""
    return joined((f"{e.line} cannula {e.site} {e.size}".rstrip(), "patent" if e.patent else "NOT patent", tries))


def _vial(e: ev.VialPicked, n: Names) -> str:
    lot, expires = e.lot and f"lot {e.lot}", e.expires and f"expires {e.expires}"
    return joined((f"vial in hand: {n.drug(e.drug)} {e.concentration}", lot, expires))


def _drawn(e: ev.SyringeDrawn, n: Names) -> str:
    thinned = ""
    if e.diluent_volume_ml:
        thinned = f"{ml(e.drug_volume_ml)} of {e.vial_concentration} with {ml(e.diluent_volume_ml)} {e.diluent}"
    return joined((
        f"drawn: {n.drug(e.drug)} {ml(e.volume_ml)} of {e.concentration}", thinned, e.barrel and f"in {e.barrel}",
        e.lot and f"lot {e.lot}", e.expires and f"expires {e.expires}", e.seen_by and f"seen by {n.hand(e.seen_by)}",
    ))  # fmt: skip


def given_words(e: ev.DrugGiven, n: Names) -> str:
    """Drug, amount, volume, route: what every list of drugs given says first."""
    volume = ml(e.volume_ml) if e.volume_ml is not None else ""
    volume = joined((volume, e.concentration), " of ") if volume else e.concentration
    return joined((f"{n.drug(e.drug)} {with_unit(e.amount, e.unit)}", joined((volume, e.route), " ")))


def _given(e: ev.DrugGiven, n: Names) -> str:
    place = where(e.side, e.site)
    giver = f"by {n.hand(e.giver)}" if e.giver and e.giver != e.by else ""
    word = f"on the word of {n.hand(e.said_by)}" if e.said_by else ""
    return joined(
        (given_words(e, n), place, plain(e.purpose), "emergency" if e.emergency else "", giver, word, e.reason)
    )


def _dose_rate(e: ev.InfusionStarted | ev.InfusionChanged) -> str:
    return with_unit(e.dose_rate, e.dose_unit) if e.dose_rate is not None else ""


def _word(e: ev.InfusionStarted | ev.InfusionChanged, n: Names) -> str:
    return f"on the word of {n.hand(e.said_by)}" if e.said_by else ""


def _infusion(e: ev.InfusionStarted, n: Names) -> str:
    bag = f"from bag {e.bag}" if e.bag else f"bag of {ml(e.bag_ml)}" if e.bag_ml is not None else ""
    syringe = f"from {n.order(e.syringe)}" if e.syringe else ""
    rate = f"{n.drug(e.drug)} started at {figure(e.rate_ml_h)} mL/h"
    return joined(
        (rate, _dose_rate(e), e.concentration, syringe, e.route, bag, plain(e.purpose), _word(e, n), e.reason)
    )


def _changed(e: ev.InfusionChanged, n: Names) -> str:
    return joined((f"{n.order(e.infusion)} to {figure(e.rate_ml_h)} mL/h", _dose_rate(e), _word(e, n), e.reason))


def _stopped(e: ev.InfusionStopped, n: Names) -> str:
    total = f"{ml(e.total_ml)} read from the pump" if e.total_ml is not None else "total not read"
    return f"{n.order(e.infusion)} stopped, {total}"


def _fluid(e: ev.FluidGiven, n: Names) -> str:
    over = f"over {e.minutes} min" if e.minutes is not None else ""
    word = f"on the word of {n.hand(e.said_by)}" if e.said_by else ""
    return joined((joined((f"{n.drug(e.fluid)} {ml(e.volume_ml)}", over), " "), word, e.reason))


def _lost(e: ev.FluidLost, n: Names) -> str:
    return joined((f"lost: {e.kind} {ml(e.volume_ml)}", e.judged))


def _wasted(e: ev.DrugWasted, n: Names) -> str:
    seen = f"seen by {n.hand(e.witness)}" if e.witness else "no second person"
    return joined((f"wasted: {n.drug(e.drug)} {ml(e.volume_ml)}", e.manner, seen))


def _returned(e: ev.DrugReturned, n: Names) -> str:
    return joined((f"returned: {n.drug(e.drug)} {ml(e.volume_ml)}", e.to and f"to {e.to}"))


def _received(e: ev.ContainerReceived, n: Names) -> str:
    return joined((
        f"received: {n.drug(e.drug)} {e.form}, {e.containers} of {ml(e.volume_ml_each)}, {e.concentration}",
        e.supplier and f"from {e.supplier}", e.supplier_registration and f"registration {e.supplier_registration}",
        e.lot and f"lot {e.lot}", e.expires and f"expires {e.expires}",
    ))  # fmt: skip


def _counted(e: ev.StockCounted, n: Names) -> str:
    return joined((f"counted: {n.drug(e.drug)} {ml(e.volume_ml)} with {n.hand(e.second_person)}", e.note))


def _effect(e: ev.EffectNoted, n: Names) -> str:
    return joined((f"{e.of}: {e.quality}", e.adverse))


def _preox(e: ev.PreoxygenationBegan, n: Names) -> str:
    flow = f"{figure(e.flow_l_min)} L/min" if e.flow_l_min is not None else ""
    return joined((f"oxygen by {e.way} began", flow))


def _preox_end(e: ev.PreoxygenationEnded, n: Names) -> str:
    return "oxygen before induction ended"


SAYS: Mapping[type[ev.Event], Callable[[Any, Names], str]] = {
    ev.CaseOpened: _opened, ev.PatientDescribed: _described, ev.OwnerNamed: _owner, ev.Weighed: _weighed,
    ev.BodyConditionScored: _condition, ev.DosingWeightSet: _dosing, ev.ConsentRecorded: _consent,
    ev.FastingNoted: _fasting, ev.HistoryTaken: _history, ev.MedicineNoted: _medicine, ev.AllergiesAsked: _allergies,
    ev.PreviousAnaesthesiaNoted: _previous, ev.TemperamentNoted: _temperament, ev.Examined: _examined,
    ev.ResultNoted: _result, ev.AsaAssigned: _asa, ev.PainScored: _pain, ev.SedationScored: _sedation,
    ev.RiskNoted: _risk, ev.LimitOrdered: _limit, ev.ProcedurePlanned: _procedure, ev.PersonJoined: _joined,
    ev.PersonLeft: _left, ev.DrugOrdered: _ordered, ev.OrderWithdrawn: _withdrawn, ev.AirwayMeasured: _measured,
    ev.PlanSent: _sent, ev.PlanApproved: _approved, ev.CheckLineDone: _check, ev.MachineAssigned: _machine,
    ev.VialPicked: _vial, ev.OxygenRead: _oxygen, ev.MonitorsApplied: _monitors, ev.CatheterPlaced: _catheter, ev.SyringeDrawn: _drawn,
    ev.DrugGiven: _given, ev.InfusionStarted: _infusion, ev.InfusionChanged: _changed, ev.InfusionStopped: _stopped,
    ev.FluidGiven: _fluid, ev.FluidLost: _lost, ev.DrugWasted: _wasted, ev.DrugReturned: _returned,
    ev.ContainerReceived: _received, ev.StockCounted: _counted, ev.EffectNoted: _effect,
    ev.PreoxygenationBegan: _preox, ev.PreoxygenationEnded: _preox_end,
}  # fmt: skip
