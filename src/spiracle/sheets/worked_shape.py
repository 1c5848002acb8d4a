"""From the core's worked numbers to what a page prints: text, unit, marks, working and citations. No arithmetic here."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from spiracle.quantity import Quantity, figure, reading
from spiracle.refusals import Refusal
from spiracle.sheets.plan_shapes import Amount, Cite, amount
from spiracle.sheets.plan_shapes import Refused as PlainRefused
from spiracle.sheets.shapes import Cited, MarkName, Num, Refused, WorkingInput, WorkingShape, ZoneBar
from spiracle.source import Guardrail, Seen, Sources, Worked, Working


def cited(ids: Iterable[str], sources: Sources) -> tuple[Cited, ...]:
    """Each source once, in the order cited."""
    return tuple(
        Cited(citation=s.citation, seen=s.seen.value, memory=s.seen is Seen.MEMORY)
        for s in sources.of(dict.fromkeys(ids))
    )


def cites(ids: Iterable[str], sources: Sources) -> tuple[Cite, ...]:
    """The same for the plan's JSON, with the source's id."""
    return tuple(
        Cite(id=s.id, citation=s.citation, seen=s.seen.value, memory=s.seen is Seen.MEMORY)
        for s in sources.of(dict.fromkeys(ids))
    )


def zone_bar(limit: Guardrail, at: Quantity, order_high: Quantity | None = None) -> ZoneBar:
    """A dose against its order and its limits, all in the limit's unit."""
    unit = limit.usual_high.unit

    def number(q: Quantity | None) -> float | None:
        return None if q is None else float(q.number(unit))

    return ZoneBar(
        unit=str(unit),
        at=float(at.number(unit)),
        usual_low=float(limit.usual_low.number(unit)),
        usual_high=float(limit.usual_high.number(unit)),
        order_high=number(order_high),
        hard=number(limit.hard_high),
        zone=limit.zone(at).value,
        memory=limit.memory,
        hard_memory=limit.hard_memory,
    )


def working_shape(
    working: Working, title: str, sources: Sources, *, at: Quantity | None = None, order_high: Quantity | None = None
) -> WorkingShape:
    """What a person would write beside the number. `at` draws it against the working's own limit."""
    bar = zone_bar(working.limit, at, order_high) if working.limit is not None and at is not None else None
    return WorkingShape(
        title=title,
        says=working.says,
        inputs=tuple(WorkingInput(name=i.name, text=i.text, mark=i.mark.value, note=i.note) for i in working.inputs),
        held=working.held,
        bar=bar,
        cited=cited(working.sources, sources),
        memory=working.memory,
        estimated=working.estimated,
    )


def number(
    worked: Worked[Quantity] | Quantity,
    title: str = "",
    sources: Sources | None = None,
    *,
    places: int | None = None,
    significant: int = 0,
    mark: MarkName = "worked",
    memory: bool | None = None,
    estimated: bool = False,
    at: datetime | None = None,
    by: str = "",
) -> Num:
    """A worked quantity as a printed figure that can show its working.

    `places` prints a fixed number of decimals (tube sizes, temperatures), `significant` rounds what is not drawn up.
    `memory` None takes the working's own mark; a caller who knows that the figure itself rests on nothing remembered
    (only the limits beside it do, and are marked there) says so.
    """
    quantity = worked.value if isinstance(worked, Worked) else worked
    working = worked.working if isinstance(worked, Worked) else None
    text = reading(quantity.value, places) if places is not None else figure(quantity.value, significant)
    shown = (
        working_shape(working, title, sources) if working is not None and working.says and sources is not None else None
    )
    return Num(
        text=text,
        unit=str(quantity.unit),
        mark=mark,
        memory=memory if memory is not None else working is not None and working.memory,
        estimated=estimated or (working is not None and working.estimated),
        at=at,
        by=by,
        working=shown,
    )


def worked_amount(worked: Worked[Quantity], *, predicted: bool = False, estimated: bool = False) -> Amount:
    """A worked quantity for the plan's JSON: its arithmetic, limits and inputs go into the working text."""
    w = worked.working
    return amount(
        worked.value,
        working_text(w),
        memory=w.memory,
        estimated=w.estimated or estimated,
        predicted=predicted,
    )


def worked_or_none(worked: Worked[Quantity] | None, estimated: bool = False) -> Amount | None:
    return None if worked is None else worked_amount(worked, estimated=estimated)


def working_text(working: Working) -> str:
    """One line: the arithmetic, then what it was held against."""
    says = working.says.strip()
    held = "; ".join(h.strip().rstrip(".") for h in working.held if h.strip())
    if not says:
        return held
    return f"{says.rstrip('.')}. Held against: {held}." if held else says


def refused(refusal: Refusal) -> Refused:
    """A refusal as the page gets it."""
    return Refused(name=refusal.name, field=refusal.field, says=refusal.says, accepts=refusal.accepts, use=refusal.use)


def plain_refused(refusal: Refusal) -> PlainRefused:
    """A refusal inside the plan's JSON."""
    return PlainRefused(name=refusal.name, field=refusal.field, says=refusal.says, accepts=refusal.accepts)
