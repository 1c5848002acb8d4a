"""The animal as it is told in the log: signalment, age, named and derived conditions."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case.events import AsaAssigned, BodyConditionScored, HistoryTaken, PatientDescribed
from spiracle.case.fold import Case
from spiracle.case.standing import dosing_weight_kg, species
from spiracle.quantity import read_age_days
from spiracle.refusals import NotAQuantity

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def described(case: Case, field: str) -> str:
    """The latest word on one field of the signalment; an empty one leaves what was said before."""
    return next((v for d in reversed(case.live(PatientDescribed)) if (v := str(getattr(d, field)))), "")


def age_days(case: Case, at: datetime) -> Decimal | None:
    """Age in days by the age as told, else by the date of birth; None where neither can be read."""
    try:
        told = described(case, "age")
        if told:
            return read_age_days(told)
    except NotAQuantity:
        pass
    try:
        born = date.fromisoformat(described(case, "born"))
    except ValueError:
        return None
    return Decimal((at.date() - born).days)


def conditions(case: Case, facts: Facts, at: datetime) -> frozenset[str]:
    """Conditions named in the history, with those that breed, age, weight and body condition bring."""
    kind = species(case)
    if kind is None:
        return frozenset()
    named = tuple(c for h in case.live(HistoryTaken) for c in h.conditions)
    score, asa = case.last(BodyConditionScored), case.last(AsaAssigned)
    return facts.patient.conditions_of(
        kind,
        named=named,
        breed=described(case, "breed"),
        age_days=age_days(case, at),
        kg=dosing_weight_kg(case),
        body_condition=score.score if score is not None else None,
        asa=asa.asa if asa is not None else "",
    )
