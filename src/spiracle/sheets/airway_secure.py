"""Proven is not yet secure: what still keeps a tube in its place and its cuff from harm; and the wait after a numbed larynx."""

from __future__ import annotations

from datetime import timedelta

from spiracle.airway import larynx_wait, proofs
from spiracle.case import events as ev
from spiracle.case.attempts import larynx_numbed
from spiracle.case.tube import cuff_cmh2o, signs_since, went_in
from spiracle.quantity import figure
from spiracle.sheets.names import joined, ml
from spiracle.sheets.shapes import LarynxWait
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited


def secure_lacking(t: Told) -> tuple[str, ...]:
    """What is not yet noted for the tube that lies there; empty when none lies there.

    A cuff is made safe by its pressure or by the pressure at which it leaks; both are asked, the second tells whether it seals.
    """
    start = went_in(t.case)
    if start is None:
        return ()
    signs = signs_since(t.case, start)
    lacking = [row.label for row in proofs(t.facts.airway) if row.part == "secure" and row.sign not in signs]
    checks = [c for c in t.case.live(ev.CuffChecked) if c.happened_at >= start]
    placed = t.case.last(ev.TubePlaced)
    cuffed = placed is not None and placed.cuffed and placed.happened_at >= start
    if cuffed and not any(cuff_cmh2o(c) is not None for c in checks):
        lacking.append("cuff pressure")
    if not any(c.leak_cmh2o is not None for c in checks):
        lacking.append("leak pressure")
    return tuple(lacking)


def larynx_part(t: Told) -> LarynxWait | None:
    """Shown until a tube lies there: what was put on the larynx, and when the wait is over."""
    wait = larynx_wait(t.facts.airway)
    found = larynx_numbed(t.case, timedelta(seconds=float(wait.value.number("s"))))
    if found is None or went_in(t.case) is not None:
        return None
    g = found.given
    amount = (
        f"{figure(g.amount)} {g.unit}" if g.volume_ml is None else f"{ml(g.volume_ml)} ({figure(g.amount)} {g.unit})"
    )
    held = wait.working.held
    return LarynxWait(
        text=joined((t.names.drug(g.drug), amount), " "),
        given_at=g.happened_at,
        ready_at=found.ready_at,
        why=joined((wait.working.says, *held), " "),
        cited=cited(wait.working.sources, t.facts.sources),
    )
