"""What a hospital wants to know before a syringe is drawn: when its vial expires, the lot of a controlled drug, a signed plan.

Carries U27, D20, D22. Asked only where the hospital's file says so, and never in an emergency. What stands on its shelf as one
lot is offered; nothing is filled in that nobody read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.hospital import StockedVial
from spiracle.case.prepared import vial_of
from spiracle.case.signing import alike, waits_for
from spiracle.case.standing import plan_state
from spiracle.drugs import Drug
from spiracle.refusals import Missing, NotAllowed

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.case.fold import Case

NO_DATE = "no date"  # said of a vial that carries none


def asked_of_a_draw(case: Case, event: ev.SyringeDrawn, drug: Drug, order: ev.DrugOrdered | None, facts: Facts) -> None:
    """Refuses a draw that lacks what this hospital asks for, one thing at a time."""
    asks = facts.hospital.draw_asks
    if "expiry" in asks and not (event.expires.strip() or _picked(case, order, "expires")):
        raise Missing("expires", "is not given; this hospital asks when the vial expires.",
                      f"Write it as printed, like 2028-03, or {NO_DATE!r} where the vial carries none.")  # fmt: skip
    if not drug.controlled:
        return
    if "lot of controlled drugs" in asks and not (event.lot.strip() or _picked(case, order, "lot")):
        raise Missing("lot", f"is not given; {drug.name} is a controlled drug.", "Write the lot printed on the vial.")
    if "signed plan for controlled drugs" in asks and (why := _unsigned(case, event, order, facts)):
        raise NotAllowed(
            "order", f"{drug.name} is a controlled drug and {why}.",
            "Have the veterinarian sign the plan, or a named veterinarian says so with a reason.",
        )  # fmt: skip


def _picked(case: Case, order: ev.DrugOrdered | None, field: str) -> str:
    """What was read from the vial when it was picked for the order."""
    picked = [p for p in case.live(ev.VialPicked) if order is not None and p.order == order.order]
    return str(getattr(picked[-1], field)).strip() if picked else ""


def _unsigned(case: Case, event: ev.SyringeDrawn, order: ev.DrugOrdered | None, facts: Facts) -> str:
    """Why no veterinarian's own hand stands under it: the draw itself, the order, or a plan that still holds; empty where one
    does."""
    if facts.hospital.is_veterinarian(event.by):
        return ""
    if order is None:
        return "there is no order for it"
    if facts.hospital.is_veterinarian(order.by):
        return ""
    now = plan_state(case)
    if now.approved is None or now.approved.how != "signed" or waits_for(case, order, facts):
        return "nobody signed its order"
    return f"the signature does not hold: {now.stale[0]}" if now.stale else ""


# ---- what the shelf says


def only_vial(case: Case, order: ev.DrugOrdered, drug: Drug, strength: str, facts: Facts) -> StockedVial | None:
    """The lot to be read from the vial in the hand: the picked one's, else the shelf's where it holds one lot of this strength;
    None where nobody said, or where there are two to tell apart."""
    lot, expires = _picked(case, order, "lot"), _picked(case, order, "expires")
    if lot or expires:
        return StockedVial(strength=vial_of(case, order), lot=lot, expires=expires)
    found = [
        vial
        for row in facts.hospital.drugs
        if facts.drugs.drug(row.drug).id == drug.id
        for vial in row.vials
        if strength and alike(vial.strength, strength)
    ]
    return found[0] if len(found) == 1 else None
