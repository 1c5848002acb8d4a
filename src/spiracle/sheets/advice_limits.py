"""Advice on readings beyond a limit: the ordered one, else the usual one of the tables, which says that it is not ordered.

One condition gives one line: of the pressures the mean before the systolic, the systolic before the diastolic, whichever
is known now; an ordered limit always stands before the usual one of its reading.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.events import DrugOrdered, LimitOrdered
from spiracle.circulation import Limit
from spiracle.quantity import Quantity, down_to, figure
from spiracle.refusals import Refusal
from spiracle.sheets.airway_proof import tube_in_place
from spiracle.sheets.calling import call_act
from spiracle.sheets.given import concentration
from spiracle.sheets.names import capital, minutes_text
from spiracle.sheets.plan_sheet import orderer
from spiracle.sheets.readings import READINGS, ReadingShape
from spiracle.sheets.shapes import Act, Advice, DrugLine, Priority
from spiracle.sheets.told import Seen, Told

CURRENT_FOR = timedelta(minutes=10)
# Sustained limits ask for action soon; a falling temperature for awareness first.
LIMIT_PRIORITY: dict[str, Priority] = {"temperature": "low"}
PRESSURES = ("map", "sap", "dap")
# Where the tables name no graver figure, these ask for action soon when they fall under the usual limit.
GRAVE_WHEN_LOW = frozenset({"heart_rate", "map", "dap"})


def limit_advice(t: Told, lines: tuple[DrugLine, ...], said: frozenset[str] = frozenset()) -> Iterable[Advice]:
    """Ordered limits while the animal is asleep or being watched; usual ones while it is asleep and no arrest runs.

    `said`: readings of which a graver line already speaks.
    """
    if t.ended_at is not None:
        return
    standing = {limit.reading: limit for limit in t.case.live(LimitOrdered) if limit.reading in READINGS}
    if t.induced_at is not None:
        for limit in standing.values():
            seen = _now(t, limit.reading)
            if limit.reading in said or seen is None:
                continue
            side = _broken(limit, seen)
            if side:
                yield _ordered_line(t, limit, READINGS[limit.reading], seen, side, lines)
    if _under_anaesthesia(t):
        yield from _usual(t, said | frozenset(standing))


def _now(t: Told, reading: str) -> Seen | None:
    """The latest value that may be acted on, if it is young enough to be now."""
    seen = t.current(reading)
    return seen if seen is not None and t.now - seen.at <= CURRENT_FOR else None


def _broken(limit: LimitOrdered, seen: Seen) -> str:
    if limit.below is not None and seen.value < limit.below:
        return "under"
    if limit.above is not None and seen.value > limit.above:
        return "over"
    return ""


def _ordered_line(
    t: Told, limit: LimitOrdered, shape: ReadingShape, seen: Seen, side: str, lines: tuple[DrugLine, ...]
) -> Advice:
    bound = limit.below if side == "under" else limit.above
    assert bound is not None  # noqa: S101 - _broken said so
    since = _since(t, limit.reading, lambda s: _broken(limit, s) == side)
    whose = orderer(limit, t.facts)
    who = f"Order by {t.names.hand(whose)}, {t.names.clock(limit.happened_at)}" if whose else "Ordered limit"
    return Advice(
        id=f"limit {limit.reading}",
        priority=LIMIT_PRIORITY.get(limit.reading, "medium"),
        title=_title(shape, seen, side, bound, since),
        since=since,
        body=f"{who}: {limit.action}." if limit.action else f"{who}: no act was ordered with it.",
        acts=(*_ordered_acts(t, limit, lines), *call_act(t, f"{shape.spoken} {seen.text}")),
    )


def _title(shape: ReadingShape, seen: Seen, side: str, bound: Decimal, since: datetime) -> str:
    lasting = f" for {minutes_text(seen.at - since)}" if seen.at - since >= timedelta(minutes=1) else ""
    name = capital(shape.spoken)
    return f"{name} {seen.text}, {side} {figure(bound)} {shape.printed_unit}{lasting}".rstrip() + "."


def _since(t: Told, reading: str, beyond: Callable[[Seen], bool]) -> datetime:
    """Since when it has been beyond the limit without a value in between that was not."""
    start = t.now
    for seen in reversed(t.seen.get(reading, ())):
        if not seen.current:
            continue
        if not beyond(seen):
            break
        start = seen.at
    return start


# ---- usual limits


def _under_anaesthesia(t: Told) -> bool:
    """Asleep, or with a tube in place that nobody gave a drug for; in an arrest the arrest's own page leads."""
    began, ended = t.case.last(ev.ArrestBegan), t.case.last(ev.ArrestEnded)
    arrest = began is not None and (ended is None or ended.happened_at < began.happened_at)
    return not arrest and (t.asleep or tube_in_place(t) is not None)


def _usual(t: Told, spoken_for: frozenset[str]) -> Iterable[Advice]:
    for row in usual_limits(t):
        seen = _now(t, row.reading) or (_now(t, "pulse_rate") if row.reading == "heart_rate" else None)
        if row.reading not in READINGS or row.reading in spoken_for or seen is None or _pressure_said(t, row.reading):
            continue
        side = row.side(seen.value)
        if side:
            yield _usual_line(t, row, READINGS[seen.reading], seen, side)


def usual_limits(t: Told) -> tuple[Limit, ...]:
    """The tables' limits for this animal; without a weight those that hold for any size."""
    rows = t.facts.circulation.limits(t.species, "cat" if t.species == "cat" else "")
    if t.weight is None:
        return rows
    try:
        size = t.facts.patient.size_class(t.species, t.weight.kg, t.breed)
    except Refusal:
        return rows
    return t.facts.circulation.limits(t.species, size)


def _pressure_said(t: Told, reading: str) -> bool:
    """A pressure is one condition: another figure of it that stands before this one is known now."""
    earlier = PRESSURES[: PRESSURES.index(reading)] if reading in PRESSURES else ()
    return any(_now(t, name) is not None for name in earlier)


def _usual_line(t: Told, row: Limit, shape: ReadingShape, seen: Seen, side: str) -> Advice:
    under = side.endswith("low")
    bound = row.low if under else row.high
    assert bound is not None  # noqa: S101 - a severe figure stands beyond the usual one
    since = _since(t, seen.reading, lambda s: row.side(s.value).endswith("low" if under else "high"))
    memory = " from memory" if row.memory else ""
    return Advice(
        id=f"limit {row.reading}",
        priority=usual_priority(row, side),
        title=_title(shape, seen, "under" if under else "over", bound, since),
        since=since,
        body=f"Usual limit{memory}, not ordered. {row.action}".rstrip(),
        acts=call_act(t, f"{shape.spoken} {seen.text}"),
    )


def usual_priority(row: Limit, side: str) -> Priority:
    """Soon where the tables' graver figure is passed, or where they name none for a slow pulse or a low pressure."""
    if side.startswith("very") or (side == "low" and row.severe_low is None and row.reading in GRAVE_WHEN_LOW):
        return "medium"
    return "low"


# ---- acts of an order


def _ordered_acts(t: Told, limit: LimitOrdered, lines: tuple[DrugLine, ...]) -> tuple[Act, ...]:
    """Keys for what the order itself names: a drug of the plan in mL, a fluid in mL, a dial. Nothing else is offered."""
    return (*_drug_act(t, limit, lines), *_dial_act(t, limit), *_fluid_act(t, limit))


def _drug_act(t: Told, limit: LimitOrdered, lines: tuple[DrugLine, ...]) -> tuple[Act, ...]:
    """The ordered drug from the syringe drawn for it: the planned volume, and the amount that this strength makes of it.

    No key where the syringe holds another strength than the plan was worked for, or less than the planned volume.
    """
    order: DrugOrdered | None = t.orders.get(limit.order)
    line = next((x for x in lines if x.order == limit.order), None)
    if order is None or line is None or line.volume_ml is None:
        return ()
    syringe = next((s for s in t.syringes if s.drawn.order == order.order and s.left_ml > 0), None)
    volume = Decimal(str(line.volume_ml))
    if syringe is None or volume > syringe.left_ml:
        return ()
    strength, planned = concentration(syringe.drawn.concentration), concentration(line.strength)
    if strength is None or planned is None or not strength.equals(planned):
        return ()
    amount = Quantity.of(volume, "mL") * strength
    fields: dict[str, str | float | bool | None] = {
        "drug": order.drug,
        "amount": float(amount.value),
        "unit": str(amount.unit),
        "volume_ml": float(volume),
        "concentration": syringe.drawn.concentration,
        "route": order.route,
        "purpose": order.purpose,
        "order": order.order,
        "syringe": syringe.drawn.syringe,
    }
    return (Act(label=f"Given {line.name} {figure(volume)} mL", event="DrugGiven", fields=fields, main=True),)


def _dial_act(t: Told, limit: LimitOrdered) -> tuple[Act, ...]:
    """ "dial to 1 %" in the ordered act, for the agent that is on."""
    found = re.search(r"dial (?:set )?to (\d+(?:\.\d+)?) ?%", limit.action)
    dial = t.case.last(ev.VaporiserSet)
    if found is None or dial is None or dial.percent == Decimal(found.group(1)):
        return ()
    percent = found.group(1)
    fields: dict[str, str | float | bool | None] = {"agent": dial.agent, "percent": float(percent)}
    return (Act(label=f"Dial set to {percent} %", event="VaporiserSet", fields=fields, main=True),)


BOLUS = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?) mL(/kg)?(?![/\w])(?:[^;,]*? (?:over|in) (\d+) min)?")


def _fluid_act(t: Told, limit: LimitOrdered) -> tuple[Act, ...]:
    """ "20 mL over 10 min" or "5 mL/kg over 15 min" in the ordered act, where exactly one fluid runs.

    A volume per kg is worked on the weight in use, down to a whole mL (to a tenth under 10 mL); it is never rounded up.
    """
    found = BOLUS.findall(limit.action)
    fluids = [i for i in t.infusions if i.running and i.started.fluid]
    if len(found) != 1 or len(fluids) != 1:
        return ()
    number, per_kg, minutes = found[0]
    volume = Decimal(number)
    if per_kg:
        if not t.kg:
            return ()
        whole = volume * t.kg
        volume = down_to(whole, Decimal(1) if whole >= 10 else Decimal("0.1"))
    fields: dict[str, str | float | bool | None] = {
        "fluid": fluids[0].started.drug,
        "volume_ml": float(volume),
        "order": limit.order,
    }
    if minutes:
        fields["minutes"] = int(minutes)
    return (Act(label=f"{figure(volume)} mL started", event="FluidGiven", fields=fields),)
