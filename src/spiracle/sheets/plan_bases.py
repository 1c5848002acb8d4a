"""The weights an order can be worked on: the one in use, and beside it what it would be on the others, where that differs."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.drugs import DosingWeight, Prepared
from spiracle.quantity import Quantity
from spiracle.sheets.plan_request import Patient
from spiracle.source import Worked

HOW = {"scale": "scale", "estimated": "estimated", "owner": "as the owner says", "earlier visit": "earlier visit"}
LEAN = "lean weight"
_NEAR = Decimal("0.01")
_HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Basis:
    """One weight: whose it is, and whether it is predicted from the body condition or only estimated."""

    words: str
    weight: Quantity
    predicted: bool = False
    estimated: bool = False
    memory: bool = False
    working: Worked[Quantity] | None = None

    @property
    def dosing(self) -> DosingWeight:
        return DosingWeight(self.weight.number("kg"), self.estimated, self.words, chosen=self.predicted)


@dataclass(frozen=True, slots=True)
class OtherWork:
    """The same order made ready on another weight; `differs_percent` against what the weight in use gives."""

    basis: Basis
    made: Prepared
    differs_percent: Decimal


def on_lean(patient: Patient, lean: Worked[Quantity] | None) -> bool:
    """Whether doses are worked on a lean weight: the veterinarian calls it so, or sets what the body condition estimates."""
    if patient.dosing_weight is None:
        return False
    if "lean" in patient.dosing_reason.casefold():
        return True
    return lean is not None and abs(patient.dosing_weight.number("kg") - lean.value.number("kg")) <= _NEAR


def weight_in_use(patient: Patient, lean: Worked[Quantity] | None) -> DosingWeight:
    """The weight doses are worked on. A lean weight is an estimate, whoever set it, and every figure from it says so."""
    by_lean = on_lean(patient, lean)
    words = patient.dosing_reason or "body weight"
    if by_lean and "lean" not in words.casefold():
        words = f"{LEAN}: {words}"
    return DosingWeight(
        kg=patient.basis.number("kg"),
        estimated=patient.estimated or by_lean,
        basis=words,
        chosen=patient.dosing_weight is not None,
    )


def basis_words(patient: Patient, lean: Worked[Quantity] | None) -> str:
    """The weight in use in words: its kind, the veterinarian's reason, the body's own weight beside it."""
    if patient.dosing_weight is None:
        return f"body weight, {HOW[patient.method]}"
    words = weight_in_use(patient, lean).basis
    estimate = ", estimated" if on_lean(patient, lean) and "estimate" not in words.casefold() else ""
    return f"dosing weight {patient.dosing_weight}: {words}{estimate} (body weight {patient.weight})"


def other_weights(patient: Patient, lean: Worked[Quantity] | None) -> tuple[Basis, ...]:
    """The weights that are known and not in use: the body's own, and the lean estimate from the body condition."""
    used = patient.basis.number("kg")
    found: list[Basis] = []
    if patient.dosing_weight is not None and patient.weight.number("kg") != used:
        words = f"body weight, {HOW[patient.method]}"
        found.append(Basis(words, patient.weight, estimated=patient.estimated))
    if lean is not None and abs(lean.value.number("kg") - used) > _NEAR:
        score = f"{LEAN}, estimated from body condition {patient.body_condition} of 9"
        found.append(Basis(score, lean.value, True, True, lean.working.memory, lean))
    return tuple(found)


def differs(one: Prepared, other: Prepared) -> Decimal | None:
    """By how many per cent another weight's dose differs; None where both read the same mark, step or amount.

    A difference of a mark or less is not one: the syringe cannot show it.
    """
    if one.amount is None or other.amount is None or one.amount.equals(other.amount):
        return None
    share = (other.amount.number(one.amount.unit) - one.amount.value) / one.amount.value * _HUNDRED
    if one.rate is not None and other.rate is not None:
        step = abs(other.rate.value - one.rate.value)
        return None if step <= _PUMP_STEP and _same(one, other) else share
    if one.drawn is None or other.drawn is None or not _same(one, other):
        return share
    mark = max((m.value for m in (one.mark, other.mark) if m is not None), default=Decimal(1))
    return None if abs(other.drawn.value - one.drawn.value) <= mark else share


_PUMP_STEP = Decimal("0.1")


def _same(one: Prepared, other: Prepared) -> bool:
    """Whether two volumes can be held against one another: both of one strength."""
    a, b = one.concentration, other.concentration
    return (a is None and b is None) or (a is not None and b is not None and a.equals(b))
