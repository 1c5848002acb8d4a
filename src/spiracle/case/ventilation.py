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
from spiracle.refusals import OutOfRange
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


@dataclass(frozen=True, slots=True)
class Lean:
    """The weight a breath is worked from, in words where it comes from, and whether it is only an estimate of it."""

    weight: Quantity
    basis: str
    estimate: bool


def lean_of(facts: Facts, species: str, kg: Decimal, score: int | None, dosing: Decimal | None = None) -> Lean:
    """Lean weight where a condition was scored, else the dosing weight, and said so."""
    if score is None:
        words = "no body condition scored: dosing weight, too much in a fat animal"
        return Lean(Quantity.of(kg if dosing is None else dosing, "kg"), words, estimate=True)
    lean = facts.patient.lean(species, kg, score)
    if lean is None:
        return Lean(Quantity.of(kg, "kg"), f"body weight, condition {score} of 9: nothing is taken off", estimate=False)
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


def judged(facts: Facts, species: str, lean: Quantity | None, set_: ev.VentilationSet) -> tuple[breathing.Judged, ...]:
    """What was typed beside the limits of this animal: only what lies outside the usual. A breath needs a lean weight.

    An animal that breathes for itself is not judged: its breath and rate are its own.
    """
    if set_.mode == "spontaneous":
        return ()
    try:
        found = breathing.judge(
            facts.breathing,
            species,
            lean,
            tidal=None if lean is None else typed(set_.tidal_ml, "mL"),
            peak=typed(set_.peak_cmh2o, "cmH2O"),
            rate=None if set_.rate is None or set_.mode != "ventilator" else Quantity.of(set_.rate, "/min"),
            peep=typed(set_.peep_cmh2o, "cmH2O"),
        )
    except OutOfRange:  # a weight or breath of an older entry that no animal has: the rest is still judged
        return judged(facts, species, None, set_) if lean is not None else ()
    return tuple(j for j in found if j.zone is not Zone.USUAL)


def typed(value: Decimal | None, symbol: str) -> Quantity | None:
    return None if value is None else Quantity.of(value, symbol)
