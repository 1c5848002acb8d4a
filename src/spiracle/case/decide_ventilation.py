"""What is set on a ventilator: held first against what a machine can show, then against the animal's lean weight.

Carries A16. Outside the usual it is asked about; over the hard stop it is written with a reason. An arrest waits for nothing.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import in_arrest, species
from spiracle.case.ventilation import judged, lean_weight
from spiracle.refusals import AskAgain, Contradiction, Missing
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


def ventilation_set(case: Case, event: ev.VentilationSet, facts: Facts, _now: datetime) -> None:
    inside("breathing rate", event.rate)
    inside("tidal volume", event.tidal_ml)
    inside("peak pressure", event.peak_cmh2o)
    inside("PEEP", event.peep_cmh2o)
    inside("inspiration", event.inspiration_s)
    if event.mode == "ventilator" and event.rate is None:
        raise Missing("rate", "is not given.", "Read it from the ventilator.")
    if event.peak_cmh2o is not None and event.peep_cmh2o is not None and event.peep_cmh2o >= event.peak_cmh2o:
        raise Contradiction("PEEP", "is not under the peak pressure.", "Read both again.")
    if event.held_by and event.mode != "ventilator":
        raise Contradiction(
            "mode", f"{event.mode} is held to nothing.", "Choose the ventilator, or leave volume and pressure out."
        )
    _fits_in_a_breath(event)
    if not in_arrest(case):
        _judge(case, event, facts)


def _fits_in_a_breath(event: ev.VentilationSet) -> None:
    if event.inspiration_s is not None and event.rate is not None and event.inspiration_s * event.rate >= 60:
        raise Contradiction(
            "inspiration", f"{event.rate} breaths a minute leave no time to breathe out.", "Read both again."
        )


def _judge(case: Case, event: ev.VentilationSet, facts: Facts) -> None:
    """Each setting by itself: a yes to one is no yes to the next."""
    lean = lean_weight(case, facts)
    if lean is None and event.tidal_ml is not None and event.mode != "spontaneous":
        with asking(event):
            raise AskAgain(
                "tidal volume", "cannot be held against the animal: there is no weight.", "Weigh it, or confirm."
            )
    for one in judged(facts, str(species(case)), None if lean is None else lean.weight, event):
        said = one.words if one.name != "tidal volume" or lean is None else f"{one.words} By {lean.basis}."
        if one.zone is Zone.FORBIDDEN:
            if not event.reason.strip():
                raise Missing(one.name, said, "Read it again. If it is meant, say why: it is written with the reason.")
            continue
        with asking(event):
            raise AskAgain(one.name, said, "Read it again, or confirm what is set.")


RULES: Rules = {ev.VentilationSet: ventilation_set}
