"""Proven is not yet secure: what still keeps a tube in its place and its cuff from harm; and the wait after a numbed larynx."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from spiracle.airway import larynx_wait, proofs
from spiracle.case import events as ev
from spiracle.case.attempts import larynx_numbed
from spiracle.case.tube import cuff_cmh2o, lying, signs_since, went_in
from spiracle.quantity import figure, printed_size
from spiracle.sheets.names import joined, ml
from spiracle.sheets.plan_airway import tubes_of
from spiracle.sheets.shapes import LarynxWait, SizeKey
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited


def secure_lacking(t: Told) -> tuple[str, ...]:
    """What is not yet noted for the tube that lies there; empty when none lies there.

    A cuff is made safe by its pressure or by the pressure at which it leaks; both are asked, the second tells whether it seals.
    """
    lies = lying(t.case)
    if lies is None:
        return ()
    start = lies.since
    signs = signs_since(t.case, start)
    lacking = [row.label for row in proofs(t.facts.airway) if row.part == "secure" and row.sign not in signs]
    checks = [c for c in t.case.live(ev.CuffChecked) if c.happened_at >= start]
    cuffed = lies.placed is not None and lies.placed.cuffed
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


def sizes(t: Told) -> tuple[SizeKey, ...]:
    """Every size of the species' reach, the shelf's as they stand there: a tube is used that no plan laid out, or without one."""
    reach = t.facts.airway.reach(t.species)
    found: dict[tuple[Decimal, bool], SizeKey] = {}
    for tube in t.facts.airway.tubes:
        found[tube.id_mm, tube.cuffed] = SizeKey(id_text=printed_size(tube.id_mm), id_mm=float(tube.id_mm), cuffed=tube.cuffed,
                                                 stocked=False)  # fmt: skip
    for stock in tubes_of(t.hospital):
        found[stock.id_mm, stock.cuffed] = SizeKey(
            id_text=printed_size(stock.id_mm), id_mm=float(stock.id_mm), cuffed=stock.cuffed, stocked=True,
            od_mm=None if stock.od_mm is None else float(stock.od_mm))  # fmt: skip
    able = {k: v for k, v in found.items() if reach.id_low_mm <= k[0] <= reach.id_high_mm}
    return tuple(able[k] for k in sorted(able))
