"""Whom to call: the veterinarian who supervises or approved the plan. Nobody is guessed."""

from __future__ import annotations

from spiracle.case import events as ev
from spiracle.sheets.shapes import Act
from spiracle.sheets.told import Told


def call_act(t: Told, why: str) -> tuple[Act, ...]:
    """Calling the veterinarian who approved the plan, or supervises; nobody is guessed."""
    vet = veterinarian(t)
    if vet is None:
        return ()
    return (Act(label=f"Call {t.names.hand(vet)}", event="HelpCalled", fields={"whom": vet, "why": why}),)


def veterinarian(t: Told) -> str | None:
    supervising = [p.person for p in t.case.live(ev.PersonJoined) if p.part == "supervising veterinarian"]
    if supervising:
        return supervising[-1]
    plan = t.case.last(ev.PlanApproved)
    return plan.signed_by if plan is not None else None
