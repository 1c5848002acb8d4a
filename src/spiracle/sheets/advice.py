"""What a page puts in front of the technician: the finding, the order it rests on, and acts that write one entry.

Priorities are in the manner of IEC 60601-1-8: high asks for action now, medium soon, low for awareness. One condition
gives one line; at most one is in front, the most urgent and then the oldest. Nothing is advised from a value that was
struck, judged an artefact, of doubtful signal, or too old to be now. Limits are only those a veterinarian ordered.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.events import DrugOrdered, LimitOrdered
from spiracle.quantity import Quantity, down_to, figure
from spiracle.sheets.advice_rates import rate_advice
from spiracle.sheets.airway_proof import breaths, proven_since, signs_since, tube_went_in
from spiracle.sheets.given import concentration
from spiracle.sheets.names import clock, joined, minutes_text
from spiracle.sheets.readings import READINGS, ReadingShape
from spiracle.sheets.recover import next_look
from spiracle.sheets.shapes import Act, Advice, DrugLine, InduceSheet, Priority
from spiracle.sheets.told import Seen, Told

NO_CO2_AFTER = timedelta(seconds=10)
LOOK_LATE_HIGH = timedelta(minutes=2)
CURRENT_FOR = timedelta(minutes=10)
ORDER_OF: dict[str, int] = {"high": 0, "medium": 1, "low": 2}
# Sustained limits ask for action soon; a falling temperature for awareness first.
LIMIT_PRIORITY: dict[str, Priority] = {"temperature": "low"}


def advice(t: Told, induce: InduceSheet, lines: tuple[DrugLine, ...]) -> tuple[Advice, ...]:
    """Every line that holds now, the one to show in front first."""
    found = [*_airway(t, induce), *_limits(t, lines), *rate_advice(t), *_recovery(t)]
    found += [*_order_reached(induce), *_awareness(t)]
    return tuple(sorted(found, key=lambda a: (ORDER_OF[a.priority], a.since or t.now, a.id)))


# ---- airway


def _airway(t: Told, sheet: InduceSheet) -> Iterable[Advice]:
    went_in = tube_went_in(t)
    if went_in is None or sheet.proven_at is not None:
        return
    signs = signs_since(t, went_in)
    if not breaths(signs) and not _co2_seen(t, went_in):
        if t.now - went_in >= NO_CO2_AFTER:
            yield Advice(
                id="no co2",
                priority="high",
                title="No CO₂ since the tube went in. It may lie in the oesophagus.",
                since=went_in,
                body="Look again, listen, or take it out and give oxygen.",
                acts=_call_act(t, "no CO₂ after intubation"),
            )
        return
    if t.now - went_in >= timedelta(minutes=1) and proven_since(t, went_in) is None:
        yield Advice(
            id="airway not proven",
            priority="medium",
            title="The airway is not proven yet.",
            since=went_in,
            body=f"Lacking: {joined(sheet.lacking)}." if sheet.lacking else "Say so when it is proven.",
        )


def _co2_seen(t: Told, since: datetime) -> bool:
    return any(s.current and s.at >= since and s.value > 0 for s in t.seen.get("etco2", ()))


def _call_act(t: Told, why: str) -> tuple[Act, ...]:
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


# ---- ordered limits


def _limits(t: Told, lines: tuple[DrugLine, ...]) -> Iterable[Advice]:
    """The last order for each reading; only while the animal is asleep or being watched."""
    if t.induced_at is None or t.ended_at is not None:
        return
    standing = {limit.reading: limit for limit in t.case.live(LimitOrdered)}
    for limit in standing.values():
        shape = READINGS.get(limit.reading)
        seen = t.current(limit.reading)
        if shape is None or seen is None or t.now - seen.at > CURRENT_FOR:
            continue
        side = _broken(limit, seen)
        if side:
            yield _limit_advice(t, limit, shape, seen, side, lines)


def _broken(limit: LimitOrdered, seen: Seen) -> str:
    if limit.below is not None and seen.value < limit.below:
        return "under"
    if limit.above is not None and seen.value > limit.above:
        return "over"
    return ""


def _limit_advice(
    t: Told, limit: LimitOrdered, shape: ReadingShape, seen: Seen, side: str, lines: tuple[DrugLine, ...]
) -> Advice:
    bound = limit.below if side == "under" else limit.above
    assert bound is not None  # noqa: S101 - _broken said so
    since = _since(t, limit, side)
    lasting = f" for {minutes_text(seen.at - since)}" if seen.at - since >= timedelta(minutes=1) else ""
    title = f"{shape.spoken.capitalize()} {seen.text}, {side} {figure(bound)} {shape.printed_unit}{lasting}"
    who = (
        f"Order by {t.names.hand(limit.ordered_by)}, {clock(limit.happened_at)}"
        if limit.ordered_by
        else "Ordered limit"
    )
    body = f"{who}: {limit.action}." if limit.action else f"{who}: no act was ordered with it."
    return Advice(
        id=f"limit {limit.reading}",
        priority=LIMIT_PRIORITY.get(limit.reading, "medium"),
        title=title.rstrip() + ".",
        since=since,
        body=body,
        acts=(*_ordered_acts(t, limit, lines), *_call_act(t, f"{shape.spoken} {seen.text}")),
    )


def _since(t: Told, limit: LimitOrdered, side: str) -> datetime:
    """Since when it has been beyond the limit without a value in between that was not."""
    start = t.now
    for seen in reversed(t.seen.get(limit.reading, ())):
        if not seen.current:
            continue
        if _broken(limit, seen) != side:
            break
        start = seen.at
    return start


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


# ---- recovery and awareness


def _recovery(t: Told) -> Iterable[Advice]:
    at = next_look(t)
    if at is None or at > t.now:
        return
    over = t.now - at
    watch = t.case.last(ev.RecoveryWatchBegan)
    who = f"{t.names.hand(watch.watcher)} watches." if watch else "Nobody is named to watch."
    yield Advice(
        id="look",
        priority="high" if over >= LOOK_LATE_HIGH else "medium",
        title=f"Look now: {minutes_text(over)} over." if over >= timedelta(minutes=1) else "Look now.",
        since=at,
        body=f"{who} Pulse, breathing, colour, temperature.",
    )


def _order_reached(sheet: InduceSheet) -> Iterable[Advice]:
    for agent in sheet.agents:
        if agent.state in {"order reached", "over hard stop"} and sheet.proven_at is None and agent.pushes:
            call = f"Call {agent.call}." if agent.call else "Call the veterinarian."
            yield Advice(
                id=f"order {agent.order}",
                priority="medium",
                title=f"{agent.name}: {agent.state_text}.",
                since=agent.last_at,
                body=f"{agent.total.text} {agent.total.unit} in {agent.pushes} pushes. {call}",
            )


def _awareness(t: Told) -> Iterable[Advice]:
    if not t.case.live(ev.AllergiesAsked) and t.ended_at is None:
        yield Advice(id="allergies", priority="low", title="Allergies not asked.", since=t.opened.happened_at)
