"""The tube: attempts in pairs, proof before the word "proven", and a cuff that is measured."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.airway import proof_lacking
from spiracle.case import events as ev
from spiracle.case.decide_people import need_words, person, someone_else
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules
from spiracle.case.standing import dosing_weight_kg
from spiracle.case.tube import signs_since, went_in
from spiracle.refusals import Contradiction, Missing, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

# What is looked at with every tube, whatever proved it; the mark at the teeth must be read in the small,
# in whom the trachea is so short that the tip is soon in one bronchus.
CARD = ("left chest", "right chest", "stylet out", "valve open")
DEPTH, DEPTH_UNDER_KG = "depth", Decimal(5)


def attempt_began(case: Case, event: ev.AttemptBegan, facts: Facts, _now: datetime) -> None:
    need_words(event.attempt, "attempt", "Give the attempt an id.")
    if any(a.attempt == event.attempt for a in case.live(ev.AttemptBegan)):
        raise Contradiction("attempt", f"{event.attempt} began already.", "Give a new attempt a new id.")
    inside("tube, inside diameter", event.tube_id_mm)
    if event.operator:
        person(facts, event.operator, "operator")


def attempt_ended(case: Case, event: ev.AttemptEnded, _facts: Facts, _now: datetime) -> None:
    began = next((a for a in case.live(ev.AttemptBegan) if a.attempt == event.attempt), None)
    if began is None:
        raise Unknown("attempt", f"{event.attempt!r} did not begin.", "Note its beginning first.")
    if any(e.attempt == event.attempt for e in case.live(ev.AttemptEnded)):
        raise Contradiction("attempt", f"{event.attempt} ended already.", "Strike the earlier entry if it was wrong.")
    if event.happened_at < began.happened_at:
        raise Contradiction("attempt", "ends before it began.", "Give the time it ended.")


def tube_placed(case: Case, event: ev.TubePlaced, _facts: Facts, _now: datetime) -> None:
    inside("tube, inside diameter", event.id_mm)
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


def proof_noted(_case: Case, event: ev.ProofNoted, _facts: Facts, _now: datetime) -> None:
    if event.sign == "co2" and event.seen and not event.breaths:
        raise Missing("breaths", "were not counted.", "Count the breaths with CO2.")


def airway_proven(case: Case, event: ev.AirwayProven, facts: Facts, _now: datetime) -> None:
    """Six breaths of CO2, or two other signs before a second person; and the card: depth, both sides, stylet, valve."""
    start = went_in(case)
    if start is None:
        raise Contradiction("airway", "no tube is in place.", "Note the tube first.")
    if event.second_person:
        someone_else(facts, event.second_person, event.by, "second person")
    signs = signs_since(case, start)
    lacking = list(proof_lacking(facts.airway, signs, bool(event.second_person)))
    lacking += [line for line in CARD if line not in signs]
    kg = dosing_weight_kg(case)
    if DEPTH not in signs and (kg is None or kg < DEPTH_UNDER_KG):
        lacking.append("depth at the teeth")
    if lacking:
        raise Missing("airway", "still lacking: " + "; ".join(lacking) + ".", "Note what was seen, then declare it.")


def cuff_checked(case: Case, event: ev.CuffChecked, _facts: Facts, _now: datetime) -> None:
    if event.pressure_cmh2o is None and event.volume_ml is None and event.leak_cmh2o is None:
        raise Missing("cuff", "nothing was measured.", "Give the pressure, the air or the leak.")
    inside("cuff pressure", event.pressure_cmh2o)
    inside("air in the cuff", event.volume_ml)
    inside("leak pressure", event.leak_cmh2o)
    placed = case.last(ev.TubePlaced)
    if placed is not None and not placed.cuffed and event.pressure_cmh2o is not None:
        raise Contradiction("cuff", "the tube in place has none.", "Note only the leak, or the right tube.")


RULES: Rules = {
    ev.AttemptBegan: attempt_began,
    ev.AttemptEnded: attempt_ended,
    ev.TubePlaced: tube_placed,
    ev.ProofNoted: proof_noted,
    ev.AirwayProven: airway_proven,
    ev.CuffChecked: cuff_checked,
}
