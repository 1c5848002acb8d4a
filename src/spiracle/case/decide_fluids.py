"""Fluids given and lost: a bolus counts toward the total that may be given before somebody is asked again."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_people import said
from spiracle.case.fold import Case
from spiracle.case.prepared import dosing_weight
from spiracle.case.ruling import Rules
from spiracle.case.standing import is_emergency, species
from spiracle.refusals import OutOfRange

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def fluid_given(case: Case, event: ev.FluidGiven, facts: Facts, _now: datetime) -> None:
    """A bolus counts toward the total that may be given before somebody is asked again."""
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give how much went in.")
    word = said(facts, event.said_by, event.reason)
    before = [f.volume_ml for f in case.live(ev.FluidGiven)]
    facts.circulation.check_bolus(
        str(species(case)), dosing_weight(case).kg, before, event.volume_ml,
        said_by=event.said_by, reason=event.reason, emergency=word or is_emergency(case),
    )  # fmt: skip


def fluid_lost(_case: Case, event: ev.FluidLost, _facts: Facts, _now: datetime) -> None:
    if event.volume_ml <= 0:
        raise OutOfRange("volume", "is zero.", "Give how much was lost.")


RULES: Rules = {ev.FluidGiven: fluid_given, ev.FluidLost: fluid_lost}
