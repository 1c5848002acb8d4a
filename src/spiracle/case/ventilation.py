"""What is set on a ventilator, held against the animal: which weight counts, and what lies outside the usual."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle import breathing
from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.case.fold import Case
from spiracle.quantity import Quantity
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


@dataclass(frozen=True, slots=True)
class Lean:
    """The weight a breath is worked from, in words where it comes from, and whether it is only an estimate of it.

    `name` is that of the weight; `scored`: somebody looked how much of it is fat.
    """

    weight: Quantity
    basis: str
    estimate: bool
    name: str = "lean weight"
    scored: bool = True


def lean_of(facts: Facts, species: str, kg: Decimal, score: int | None, dosing: Decimal | None = None) -> Lean:
    """Lean weight where a condition was scored, else the dosing weight, and said so.

    A lean weight under what any animal of the species weighs is no weight to work from: then it is body weight.
    """
    body = Quantity.of(kg, "kg")
    if score is None:
        words = "no body condition scored: dosing weight, too much in a fat animal"
        name = "body weight" if dosing in (None, kg) else "dosing weight"
        return Lean(Quantity.of(kg if dosing is None else dosing, "kg"), words, True, name, scored=False)
    lean = facts.patient.lean(species, kg, score)
    if lean is None:
        words = f"body weight, condition {score} of 9: nothing is taken off"
        return Lean(body, words, estimate=False, name="body weight")
    if not breathing.weighable(facts.breathing, species, lean.value) and breathing.weighable(
        facts.breathing, species, body
    ):
        words = f"body weight: {lean.value} lean at condition {score} of 9 is too little to work from"
        return Lean(body, words, estimate=True, name="body weight")
    return Lean(lean.value, f"lean weight at condition {score} of 9", estimate=True)


def lean_weight(case: Case, facts: Facts) -> Lean | None:
    """The same for a case; None while nobody has said a species and a weight."""
    weight, opened = standing.weight_in_use(case), standing.opened(case)
    if weight is None or opened is None:
        return None
    score = case.last(ev.BodyConditionScored)
    return lean_of(
        facts, opened.species, weight.kg, None if score is None else score.score, standing.dosing_weight_kg(case)
    )


def judged(facts: Facts, species: str, lean: Lean | None, set_: ev.VentilationSet) -> tuple[breathing.Judged, ...]:
    """What was typed beside the limits of this animal: only what lies outside the usual.

    A breath is judged by a weight that an animal has (`unweighed` says when there is none). An animal that breathes for
    itself is not judged: its breath and rate are its own.
    """
    if set_.mode == "spontaneous":
        return ()
    counts = lean if unweighed(facts, species, lean) == "" else None
    found = breathing.judge(
        facts.breathing,
        species,
        None if counts is None else counts.weight,
        tidal=None if counts is None or not set_.tidal_ml else typed(set_.tidal_ml, "mL"),
        peak=typed(set_.peak_cmh2o, "cmH2O"),
        rate=None if set_.rate is None or set_.mode != "ventilator" else Quantity.of(set_.rate, "/min"),
        peep=typed(set_.peep_cmh2o, "cmH2O"),
        weight="lean weight" if counts is None else counts.name,
        scored=counts is None or counts.scored,
    )
    return tuple(j for j in found if j.zone is not Zone.USUAL)


def unweighed(facts: Facts, species: str, lean: Lean | None) -> str:
    """Why no breath can be held against this animal; empty where one can."""
    if lean is None:
        return "there is no weight"
    if not breathing.weighable(facts.breathing, species, lean.weight):
        return f"{lean.weight} is not the weight of a {species}"
    return ""


def typed(value: Decimal | None, symbol: str) -> Quantity | None:
    return None if value is None else Quantity.of(value, symbol)
