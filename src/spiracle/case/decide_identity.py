"""Who the animal is, what it weighs, what is known of it, and who is with it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from spiracle.case import events as ev
from spiracle.case.animal import age_days, described
from spiracle.case.decide_people import need_words, person, veterinarian, word_of
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.ruling import Rules
from spiracle.case.standing import species, weight_in_use
from spiracle.patient import Weight, read_body_condition, read_sex
from spiracle.quantity import figure
from spiracle.refusals import Contradiction, Missing, NotAQuantity, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def opened(_case: Case, event: ev.CaseOpened, facts: Facts, _now: datetime) -> None:
    room(event.room, facts)


def room(name: str, facts: Facts) -> None:
    if name and facts.hospital.rooms and name not in facts.hospital.rooms:
        raise Unknown(
            "room", f"{name!r} is not a room of this hospital.", "One of: " + ", ".join(facts.hospital.rooms) + "."
        )


def patient_described(_case: Case, event: ev.PatientDescribed, _facts: Facts, _now: datetime) -> None:
    if event.sex:
        read_sex(event.sex)


def weighed(case: Case, event: ev.Weighed, facts: Facts, _now: datetime) -> None:
    """Held against the species' bounds, the breed and the last weight; a surprise is asked about once.

    An earlier weight by eye is no measure of the next: only half or double of it is a surprise.
    """
    last = weight_in_use(case)
    if last is not None and last.estimated and last.kg / 2 < event.weight_kg < last.kg * 2:
        last = None
    facts.patient.check_weight(
        str(species(case)),
        event.weight_kg,
        breed=described(case, "breed"),
        age_days=age_days(case, event.happened_at),
        last=None if last is None else Weight(last.kg, last.event.method, last.at),
        confirmed=event.confirmed,
        method=event.method,
    )


def dosing_weight_set(case: Case, event: ev.DosingWeightSet, facts: Facts, _now: datetime) -> None:
    veterinarian(facts, event.by, "hand")
    need_words(event.reason, "reason", "Say why doses are worked on another weight.")
    weight = weight_in_use(case)
    if weight is None:
        raise Missing("weight", "is not known.", "Weigh the patient first.")
    if not weight.kg / 2 <= event.weight_kg <= weight.kg:
        raise OutOfRange("weight", f"{figure(event.weight_kg)} kg for doses does not go with a body of {figure(weight.kg)} kg.",
                         f"Give {figure(weight.kg / 2)} to {figure(weight.kg)} kg.")  # fmt: skip


def body_condition_scored(_case: Case, event: ev.BodyConditionScored, _facts: Facts, _now: datetime) -> None:
    read_body_condition(event.score)


def history_taken(_case: Case, event: ev.HistoryTaken, facts: Facts, _now: datetime) -> None:
    for condition in event.conditions:
        facts.patient.condition(condition)


def fasting_noted(_case: Case, event: ev.FastingNoted, _facts: Facts, _now: datetime) -> None:
    for name in ("food_at", "water_at"):
        at: datetime | None = getattr(event, name)
        if at is not None and at > event.recorded_at:
            raise OutOfRange(name.replace("_at", ""), "lies in the future.", "Give when it was last taken.")


def examined(case: Case, event: ev.Examined, facts: Facts, _now: datetime) -> None:
    for name, value in (("temperature", event.temperature_c), ("heart_rate", event.heart_rate),
                        ("respiratory_rate", event.respiratory_rate)):  # fmt: skip
        if value is not None:
            in_bounds(case, facts, name, value)
    inside("refill", event.refill_s)


def in_bounds(case: Case, facts: Facts, reading: str, value: Any) -> None:
    """Only what cannot be is refused: an examination is not held against a number from another hour."""
    from decimal import Decimal

    facts.circulation.check_reading(reading, Decimal(value), str(species(case)), confirmed=True)


def asa_assigned(_case: Case, event: ev.AsaAssigned, facts: Facts, _now: datetime) -> None:
    word_of(facts, event.assigned_by, event.by, "assigned by")


def scored(_case: Case, event: ev.PainScored | ev.SedationScored, facts: Facts, _now: datetime) -> None:
    """A listed scale keeps its own range; another one must at least keep to its own top."""
    need_words(event.scale, "scale", "Name the scale.")
    if event.out_of <= 0 or event.score > event.out_of:
        raise OutOfRange(
            "score", f"{event.score} of {event.out_of} is not on a scale.", "Give it as a part of its top."
        )
    try:
        facts.recovery.scale(event.scale)
    except Unknown:
        return  # a hospital's own scale: its range is not known here
    facts.recovery.check_score(event.scale, event.score, event.out_of)


def previous_noted(_case: Case, event: ev.PreviousAnaesthesiaNoted, _facts: Facts, _now: datetime) -> None:
    inside("tube, inside diameter", event.tube_id_mm)
    if event.tube_id_mm is None and event.tube_outcome:
        raise Missing(
            "tube, inside diameter",
            "is not given for the tube that was used.",
            "Give its inside diameter, or leave both out.",
        )


def procedure_planned(_case: Case, event: ev.ProcedurePlanned, facts: Facts, _now: datetime) -> None:
    need_words(event.procedure, "procedure", "Say what will be done.")
    inside("minutes", event.minutes)
    room(event.room, facts)


def person_joined(_case: Case, event: ev.PersonJoined, facts: Facts, _now: datetime) -> None:
    if event.part == "supervising veterinarian":
        veterinarian(facts, event.person, "person")
    person(facts, event.person, "person")


def person_left(case: Case, event: ev.PersonLeft, facts: Facts, _now: datetime) -> None:
    person(facts, event.person, "person")
    joined = sum(1 for j in case.live(ev.PersonJoined) if j.person == event.person)
    if joined <= sum(1 for left in case.live(ev.PersonLeft) if left.person == event.person):
        raise Contradiction("person", "is not in the case.", "Note first that they joined.")


def needs(*fields: str) -> Callable[[Case, Any, Any, datetime], None]:
    """A rule for entries that only need some words."""

    def rule(_case: Case, event: Any, _facts: Facts, _now: datetime) -> None:
        for name in fields:
            need_words(getattr(event, name), name.replace("_", " "), "Write it in a few words.")

    return rule


def result_noted(_case: Case, event: ev.ResultNoted, _facts: Facts, _now: datetime) -> None:
    need_words(event.test, "test", "Name the test.")
    need_words(event.value, "value", "Give the result as printed.")
    if event.taken_at is not None and event.taken_at > event.recorded_at:
        raise NotAQuantity("taken at", "lies in the future.", "Give when the sample was taken.")


RULES: Rules = {
    ev.CaseOpened: opened,
    ev.PatientDescribed: patient_described,
    ev.OwnerNamed: needs("name"),
    ev.Weighed: weighed,
    ev.BodyConditionScored: body_condition_scored,
    ev.DosingWeightSet: dosing_weight_set,
    ev.ConsentRecorded: needs("procedure"),
    ev.FastingNoted: fasting_noted,
    ev.HistoryTaken: history_taken,
    ev.MedicineNoted: needs("medicine"),
    ev.AllergiesAsked: needs(),
    ev.PreviousAnaesthesiaNoted: previous_noted,
    ev.TemperamentNoted: needs("temperament"),
    ev.Examined: examined,
    ev.ResultNoted: result_noted,
    ev.AsaAssigned: asa_assigned,
    ev.PainScored: scored,
    ev.SedationScored: scored,
    ev.RiskNoted: needs("risk"),
    ev.ProcedurePlanned: procedure_planned,
    ev.PersonJoined: person_joined,
    ev.PersonLeft: person_left,
}
