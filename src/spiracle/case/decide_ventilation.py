"""What is set on a ventilator: held first against what a machine can show, then against the animal's lean weight.

Carries A16. Outside the usual it is asked about; over the hard stop it is written with a reason. An arrest waits for nothing.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.decide_spans import inside
from spiracle.case.fold import Case
from spiracle.case.questions import asking
from spiracle.case.ruling import Rules
from spiracle.case.standing import in_arrest, species
from spiracle.case.ventilation import Lean, judged, lean_weight, unweighed
from spiracle.refusals import AskAgain, Contradiction, Missing
from spiracle.source import Zone

if TYPE_CHECKING:
    from spiracle.breathing import Judged
    from spiracle.case.facts import Facts

# A point or a dash is no reason.
WORD = re.compile(r"[^\W\d_]{3}")
TIDAL = "tidal volume"


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
    """Each setting by itself: a yes to one is no yes to the next. All that is forbidden is named at once: a reason covers
    what was read, not what was not shown."""
    lean, animal = lean_weight(case, facts), str(species(case))
    why = unweighed(facts, animal, lean) if event.tidal_ml is not None and event.mode != "spontaneous" else ""
    if why:
        with asking(event):
            raise AskAgain("tidal volume", f"cannot be held against the animal: {why}.", "Weigh it, or confirm.")
    found = judged(facts, animal, lean, event)
    said = {one.name: _said(one, lean) for one in found}
    over = [one.name for one in found if one.zone is Zone.FORBIDDEN]
    if over and not WORD.search(event.reason):
        rest = (f"Also {name}: {said[name]}" for name in over[1:])
        raise Missing(
            over[0],
            " ".join((said[over[0]], *rest)),
            "Read it again. If it is meant, say why in words: it is written with the reason.",
        )
    for name in (one.name for one in found if one.zone is not Zone.FORBIDDEN):
        with asking(event):
            raise AskAgain(name, said[name], "Read it again, or confirm what is set.")


def _said(one: Judged, lean: Lean | None) -> str:
    """With the weight's basis, where the words do not say it themselves."""
    return one.says if one.name != TIDAL or lean is None or not lean.scored else f"{one.says} By {lean.basis}."


RULES: Rules = {ev.VentilationSet: ventilation_set}
