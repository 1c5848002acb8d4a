"""The tube: attempts in pairs, proof before the word "proven", and a cuff that is measured."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.airway import attempt_rules, breaths_needed, check_bore, cuff_volume_limit, fit, proof_lacking
from spiracle.airway.measured import depth_bounds_cm
from spiracle.case import events as ev
from spiracle.case.decide_people import need_words, person, someone_else
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import dosing_weight_kg, in_arrest, species
from spiracle.case.tube import cuff_cmh2o, signs_since, went_in
from spiracle.quantity import Quantity, figure
from spiracle.refusals import AskAgain, Contradiction, Missing, OutOfRange, OverLimit, Unknown
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

# What is looked at with every tube, whatever proved it; the mark at the teeth must be read in the small,
# in whom the trachea is so short that the tip is soon in one bronchus.
CARD = ("left chest", "right chest", "stylet out", "valve open")
DEPTH, DEPTH_UNDER_KG = "depth", Decimal(5)


def attempt_began(case: Case, event: ev.AttemptBegan, facts: Facts, _now: datetime) -> None:
    """One try at a time, none beside a tube that lies; and the same thing again, or one try too many, is asked about."""
    need_words(event.attempt, "attempt", "Give the attempt an id.")
    if any(a.attempt == event.attempt for a in case.live(ev.AttemptBegan)):
        raise Contradiction("attempt", f"{event.attempt} began already.", "Give a new attempt a new id.")
    inside("tube, inside diameter", event.tube_id_mm)
    check_bore(facts.airway, str(species(case)), Quantity.of(event.tube_id_mm, "mm"))
    if event.operator:
        person(facts, event.operator, "operator")
    _one_at_a_time(case)
    with asking(event):
        _one_thing_changed(case, event)
    with asking(event):
        _handed_over(case, event, facts)


def _one_at_a_time(case: Case) -> None:
    ended = {e.attempt for e in case.live(ev.AttemptEnded)}
    number = next((n for n, a in enumerate(case.live(ev.AttemptBegan), 1) if a.attempt not in ended), None)
    if number is not None:
        raise Contradiction("attempt", f"{number} is still open.", "End it first: in, out, or oesophagus.")
    if went_in(case) is not None:
        raise Contradiction("attempt", "a tube lies in place.", "Say first why it came out, or note the extubation.")


def _one_thing_changed(case: Case, event: ev.AttemptBegan) -> None:
    """After a try that failed, what is new in this one; the same again is asked about."""
    outcomes = {e.attempt: e.outcome for e in case.live(ev.AttemptEnded)}
    before = case.last(ev.AttemptBegan)
    if before is None or outcomes.get(before.attempt) == "in":
        return

    def what(a: ev.AttemptBegan) -> tuple[object, ...]:
        return (a.tube_id_mm, a.operator, a.blade, set(a.aids))

    if not event.changed and what(event) == what(before):
        raise AskAgain("attempt", "nothing is changed since the last try.",
                       "Change one thing (size, aid, position, hand, blade, lidocaine), or confirm it.")  # fmt: skip


def _handed_over(case: Case, event: ev.AttemptBegan, facts: Facts) -> None:
    """After the hospital's limit another hand takes over; the same hand is asked."""
    tries = case.live(ev.AttemptBegan)
    limit = min(attempt_rules(facts.airway).attempts, facts.hospital.attempt_limit)
    if len(tries) < limit:
        return
    new_hand = bool(event.operator) and event.operator not in {t.operator for t in tries}
    if not new_hand:
        raise AskAgain("attempt", f"{len(tries)} tries were used, {limit} is the limit: who takes over?",
                       "Oxygenate and hand over, or confirm the try.")  # fmt: skip


def attempt_ended(case: Case, event: ev.AttemptEnded, facts: Facts, _now: datetime) -> None:
    began = next((a for a in case.live(ev.AttemptBegan) if a.attempt == event.attempt), None)
    if began is None:
        raise Unknown("attempt", f"{event.attempt!r} did not begin.", "Note its beginning first.")
    if any(e.attempt == event.attempt for e in case.live(ev.AttemptEnded)):
        raise Contradiction("attempt", f"{event.attempt} ended already.", "Strike the earlier entry if it was wrong.")
    if event.happened_at < began.happened_at:
        raise Contradiction("attempt", "ends before it began.", "Give the time it ended.")
    if event.lowest_spo2 is not None:
        facts.circulation.check_reading("spo2", event.lowest_spo2, str(species(case)), confirmed=True)


def tube_withdrawn(case: Case, event: ev.TubeWithdrawn, _facts: Facts, _now: datetime) -> None:
    """A tube comes out of a sleeping animal only where one lies; at what pressure it leaked belongs to a leak."""
    if went_in(case) is None:
        raise Contradiction("tube", "none is in place.", "Note the tube first, or end the attempt.")
    inside("leak pressure", event.leak_cmh2o)
    if event.leak_cmh2o is not None and event.reason != "leak":
        raise Contradiction(
            "leak pressure", f"is given, but the tube came out for: {event.reason}.", "Choose leak, or leave it out."
        )


def tube_placed(case: Case, event: ev.TubePlaced, facts: Facts, _now: datetime) -> None:
    """A tube that a failed attempt left is not in place; and no tube is wider than this animal can take."""
    _after_a_good_attempt(case, event)
    inside("tube, inside diameter", event.id_mm)
    check_bore(facts.airway, str(species(case)), Quantity.of(event.id_mm, "mm"))
    inside("tube, outside diameter", event.od_mm)
    if event.od_mm is not None and event.od_mm <= event.id_mm:
        raise Contradiction(
            "outside diameter", f"{event.od_mm} mm is not larger than the inside.", "Read the tube again."
        )
    inside("depth", event.depth_cm)
    inside("cut length", event.cut_length_cm)
    if event.depth_cm is not None and event.cut_length_cm is not None and event.depth_cm > event.cut_length_cm:
        raise Contradiction(
            "depth", f"{event.depth_cm} cm is deeper than the tube is long.", "Read the mark at the teeth again."
        )
    if event.attempt and not any(a.attempt == event.attempt for a in case.live(ev.AttemptBegan)):
        raise Unknown("attempt", f"{event.attempt!r} did not begin.", "Choose the attempt, or leave it out.")
    kg = dosing_weight_kg(case)
    if kg is not None:
        fit(facts.airway, str(species(case)), Quantity.of(kg, "kg"), Quantity.of(event.id_mm, "mm"))


def _after_a_good_attempt(case: Case, event: ev.TubePlaced) -> None:
    began, ended = case.live(ev.AttemptBegan), {e.attempt: e.outcome for e in case.live(ev.AttemptEnded)}
    name = event.attempt or (began[-1].attempt if began else "")
    if ended.get(name, "in") != "in":
        raise Contradiction("attempt", f"the last one ended: {ended[name]}.", "Note the attempt that put this tube in.")


def proof_noted(case: Case, event: ev.ProofNoted, facts: Facts, _now: datetime) -> None:
    if event.sign == "co2" and event.seen and not event.breaths:
        raise Missing("breaths", "were not counted.", "Count the breaths with CO2.")
    if event.depth_cm is not None:
        if event.sign != DEPTH:
            raise Contradiction("depth", f"does not belong to: {event.sign}.", "Note it with the mark at the incisors.")
        with asking(event):
            _not_past_the_inlet(case, event.depth_cm, facts)


def _not_past_the_inlet(case: Case, depth_cm: Decimal, facts: Facts) -> None:
    """A tip past the thoracic inlet may lie in one bronchus: asked, for the inlet may have been measured wrongly."""
    inside("depth", depth_cm)
    kg = dosing_weight_kg(case)
    if kg is not None:
        low, high = depth_bounds_cm(facts.airway, str(species(case)), float(kg))
        if not low <= depth_cm <= high:
            raise OutOfRange("depth", f"{figure(depth_cm)} cm at the incisors cannot be in this animal.",
                             f"Read the mark again: {low} to {high} cm is possible.")  # fmt: skip
    measured = [m.incisors_to_inlet_cm for m in case.live(ev.AirwayMeasured) if m.incisors_to_inlet_cm is not None]
    if measured and depth_cm > measured[-1]:
        raise AskAgain("depth", f"{figure(depth_cm)} cm is past the thoracic inlet at {figure(measured[-1])} cm: one lung?",
                       "Draw it back and listen on both sides, or confirm the mark.")  # fmt: skip


def airway_proven(case: Case, event: ev.AirwayProven, facts: Facts, _now: datetime) -> None:
    """Six breaths of CO2, or two other signs before a second person; and the card: depth, both sides, stylet, valve."""
    start = went_in(case)
    if start is None:
        raise Contradiction("airway", "no tube is in place.", "Note the tube first.")
    if event.second_person:
        someone_else(facts, event.second_person, event.by, "second person")
    signs = signs_since(case, start)
    _trace_agrees(case, event, facts, start)
    lacking = list(proof_lacking(facts.airway, signs, bool(event.second_person)))
    lacking += [line for line in CARD if line not in signs]
    kg = dosing_weight_kg(case)
    if (kg is None or kg < DEPTH_UNDER_KG) and (DEPTH not in signs or depth_at(case, start) is None):
        lacking.append("depth at the teeth, in cm")
    if lacking:
        raise Missing("airway", "still lacking: " + "; ".join(lacking) + ".", "Note what was seen, then declare it.")
    _method_agrees(case, event, facts, start)


def depth_at(case: Case, start: datetime) -> Decimal | None:
    """The mark read at the incisors with the tube that lies there: noted with the sign, else with the tube."""
    noted = [p for p in case.live(ev.ProofNoted) if p.sign == DEPTH and p.happened_at >= start]
    if noted and noted[-1].seen and noted[-1].depth_cm is not None:
        return noted[-1].depth_cm
    placed = [p.depth_cm for p in case.live(ev.TubePlaced) if p.happened_at >= start and p.depth_cm is not None]
    return placed[-1] if placed and (not noted or noted[-1].seen) else None


def _trace_agrees(case: Case, event: ev.AirwayProven, facts: Facts, start: datetime) -> None:
    """No CO2 where it was looked for is the oesophagus until proven otherwise: no other sign outweighs it.

    In an arrest little CO2 reaches the lung; then the tube must have been seen between the cords, by two people.
    """
    looked = [p for p in case.live(ev.ProofNoted) if p.sign == "co2" and p.happened_at >= start]
    read = [line.event for line in case.every(ev.ReadingTaken) if not line.struck and not line.artefact]
    shown = [r for r in read if isinstance(r, ev.ReadingTaken) and r.reading == "etco2" and r.happened_at >= start]
    missing = (bool(looked) and not (looked[-1].seen and looked[-1].breaths)) or (bool(shown) and shown[-1].value == 0)
    seen = any(p.sign == "direct view" and p.seen and p.happened_at >= start for p in case.live(ev.ProofNoted))
    if missing and not (in_arrest(case) and seen and event.second_person):
        raise Contradiction("airway", "CO2 was looked for and not seen: the tube is in the wrong place until proven otherwise.",
                            "Take it out, or look between the cords; declare it when CO2 is seen.")  # fmt: skip


def _method_agrees(case: Case, event: ev.AirwayProven, facts: Facts, start: datetime) -> None:
    counted = signs_since(case, start).get("co2") or 0
    if "co2" in event.method.casefold().replace("₂", "2") and counted < breaths_needed(facts.airway):
        raise Contradiction(
            "method", f"says CO2, and {counted} breaths were counted.", "Count the breaths, or name what was seen."
        )


def cuff_checked(case: Case, event: ev.CuffChecked, facts: Facts, _now: datetime) -> None:
    if event.pressure_cmh2o is not None and event.pressure_mmhg is not None:
        raise Contradiction("cuff pressure", "is given in two units.", "Give it once, in the unit of the gauge.")
    pressure = cuff_cmh2o(event)
    if pressure is None and event.volume_ml is None and event.leak_cmh2o is None:
        raise Missing("cuff", "nothing was measured.", "Give the pressure, the air or the leak.")
    inside("cuff pressure", pressure)
    inside("air in the cuff", event.volume_ml)
    inside("leak pressure", event.leak_cmh2o)
    placed = case.last(ev.TubePlaced)
    if placed is not None and not placed.cuffed and pressure is not None:
        raise Contradiction("cuff", "the tube in place has none.", "Note only the leak, or the right tube.")
    with asking(event):
        _pressure(case, event, facts)
    _air(case, event, facts)


def _pressure(case: Case, event: ev.CuffChecked, facts: Facts) -> None:
    """A pressure outside what every source takes is asked about, and whether the gauge reads in the other unit."""
    pressure = cuff_cmh2o(event)
    if pressure is None:
        return
    said, low, high = f"{figure(pressure)} cmH2O", *cuff_asked(facts, str(species(case)))
    if event.pressure_mmhg is not None:
        said = f"{figure(event.pressure_mmhg)} mmHg ({said})"
    if low <= pressure <= high:
        return
    side = "under" if pressure < low else "over"
    other = "cmH2O" if event.pressure_mmhg is not None else "mmHg"
    raise AskAgain("cuff pressure", f"{said} is {side} the {figure(low)} to {figure(high)} cmH2O that sources take. Does the gauge "
                   f"read {other}?", "Let air out or in, write it in the gauge's own unit, or confirm it.")  # fmt: skip


def cuff_asked(facts: Facts, species_: str) -> tuple[Decimal, Decimal]:
    """Between which pressures [cmH2O] nothing is asked: the sources' widest span in dogs, the narrower proposal in cats,
    for whom one source gives a single target and tears are reported."""
    wide, narrow = facts.airway.stated["K1"].span("any"), facts.airway.stated["K2"].span("any")
    low = min(Decimal(str(wide.low)), Decimal(str(narrow.low)))
    return low, Decimal(str(narrow.high if species_ == "cat" else wide.high))


def _air(case: Case, event: ev.CuffChecked, facts: Facts) -> None:
    """Air in a cat's cuff: asked about above the usual, and above the hard figure only with a reason."""
    band = cuff_volume_limit(facts.airway, str(species(case)))
    if band is None or event.volume_ml is None:
        return
    air = Quantity.of(event.volume_ml, "mL")
    zone = band.zone(air)
    if zone is Zone.FORBIDDEN and not event.reason.strip():
        raise OverLimit(
            "air in the cuff", f"{air} can tear the trachea: {band.sentence}.", "Let air out, or say why it is there."
        )
    if zone is not Zone.USUAL and not event.reason.strip():
        with asking(event):
            raise AskAgain(
                "air in the cuff", f"{air} is more than usual: {band.sentence}.", "Let air out, or confirm it."
            )


RULES: Rules = {
    ev.AttemptBegan: attempt_began,
    ev.AttemptEnded: attempt_ended,
    ev.TubePlaced: tube_placed,
    ev.ProofNoted: proof_noted,
    ev.TubeWithdrawn: tube_withdrawn,
    ev.AirwayProven: airway_proven,
    ev.CuffChecked: cuff_checked,
}
