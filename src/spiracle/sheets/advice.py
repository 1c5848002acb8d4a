"""What a page puts in front of the technician: the finding, the order it rests on, and acts that write one entry.

Priorities are in the manner of IEC 60601-1-8: high asks for action now, medium soon, low for awareness. One condition
gives one line; at most one is in front, the most urgent and then the oldest. Nothing is advised from a value that was
struck, judged an artefact, of doubtful signal, or too old to be now. A limit that nobody ordered says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.case.streams import streams
from spiracle.quantity import figure
from spiracle.sheets.advice_airway import airway_advice
from spiracle.sheets.advice_breathing import breathing_advice, joined_by_reading
from spiracle.sheets.advice_limits import limit_advice
from spiracle.sheets.advice_rates import rate_advice
from spiracle.sheets.airway_proof import tube_in_place
from spiracle.sheets.calling import call_act
from spiracle.sheets.names import capital, joined, minutes_text
from spiracle.sheets.on_wave import OnWave, wave_advice
from spiracle.sheets.oxygen_now import oxygen_advice
from spiracle.sheets.recover import next_look
from spiracle.sheets.shapes import Act, Advice, DrugLine, InduceSheet
from spiracle.sheets.told import Told

LOOK_LATE_HIGH = timedelta(minutes=2)
ORDER_OF: dict[str, int] = {"high": 0, "medium": 1, "low": 2}
# A shut valve kills within minutes and is opened in a second: it stands before whatever else is as urgent.
FIRST = "valve"
# The readings of which a line about airway or breathing already speaks.
SPOKEN: dict[str, frozenset[str]] = {
    "no co2": frozenset({"etco2", "respiratory_rate"}),
    "no breaths": frozenset({"respiratory_rate"}),
    "no breath seen": frozenset({"respiratory_rate"}),
    "fio2 low": frozenset({"fio2"}),
    "over-ventilated": frozenset({"peak_pressure", "tidal_volume"}),
    "valve": frozenset({"peak_pressure", "peep"}),
    "peep high": frozenset({"peep"}),
}


def advice(t: Told, induce: InduceSheet, lines: tuple[DrugLine, ...], wave: OnWave | None = None) -> tuple[Advice, ...]:
    """Every line that holds now, the one to show in front first. `wave`: what the live CO2 wave shows, where one comes."""
    airway = airway_advice(t, induce, wave)
    gas = breathing_advice(t, frozenset(a.id for a in airway))
    said = frozenset[str]().union(*(SPOKEN.get(a.id, frozenset()) for a in (*airway, *gas)))
    found = [
        *airway,
        *(wave_advice(t, wave, any(a.id in {"no co2", "no breaths"} for a in airway)) if wave is not None else ()),
        *_packs(t),
        *_oxygen(t),
        *oxygen_advice(t),
        *joined_by_reading(gas, tuple(limit_advice(t, lines, said))),
        *rate_advice(t),
        *_recovery(t),
        *_order_reached(induce),
        *_withdrawn(t),
        *_awareness(t),
    ]
    return tuple(sorted(found, key=lambda a: (ORDER_OF[a.priority], a.id != FIRST, a.since or t.now, a.id)))


def _packs(t: Told) -> Iterable[Advice]:
    """Out before the packs were counted out: one may lie in the throat."""
    packs_in, packs_out = standing.packs(t.case)
    if t.extubated_at is None or packs_in <= packs_out:
        return
    left = packs_in - packs_out
    yield Advice(
        id="pack",
        priority="high",
        title=f"{left} pack{'s' if left > 1 else ''} not counted out. Look in the throat.",
        since=t.extubated_at,
        body=f"{packs_in} in, {packs_out} out, and the tube is out. Count them out when found.",
        acts=call_act(t, "a pack was not counted out"),
    )


def _oxygen(t: Told) -> Iterable[Advice]:
    """An oxygen flow of nothing, last set that way, with a tube in and the animal asleep."""
    gas = t.case.last(ev.GasSet)
    if gas is None or gas.oxygen_l_min > 0 or not t.asleep or tube_in_place(t) is None:
        return
    yield Advice(
        id="oxygen off",
        priority="medium",
        title="Oxygen flow is set to 0 with the tube in.",
        since=gas.happened_at,
        body="Set the flow, or say what it breathes.",
        acts=call_act(t, "oxygen flow 0"),
    )


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


def _withdrawn(t: Told) -> Iterable[Advice]:
    """An order was withdrawn, and its drug still runs, or lies drawn up where somebody could pick it up."""
    for gone in t.case.live(ev.OrderWithdrawn):
        if gone.order in t.orders:
            continue  # ordered anew since
        said = joined((f"Withdrawn by {t.names.hand(gone.by)}", gone.reason), ": ") + "."
        drug = next((o.drug for o in reversed(t.case.live(ev.DrugOrdered)) if o.order == gone.order), "")
        for running in streams(t.case, t.facts, t.infusions):
            if running.running and running.order == gone.order:
                name = capital(t.names.drug(drug)) + (" in the bag" if running.part is not None else "")
                stop: dict[str, str | float | bool | None] = {"infusion": running.id}
                yield Advice(
                    id=f"withdrawn {running.id} {gone.order}",
                    priority="high",
                    title=f"{name} still runs. Its order was withdrawn.",
                    since=gone.happened_at,
                    body=f"{said} Stop it, or have it ordered again.",
                    acts=(Act(label="Stop it", event="InfusionStopped", fields=stop, main=True),),
                )
        for syringe in t.syringes:
            if syringe.drawn.order == gone.order and syringe.left_ml > 0:
                yield Advice(
                    id=f"withdrawn {syringe.drawn.syringe}",
                    priority="medium",
                    title=f"{capital(t.names.drug(drug))} is drawn up. Its order was withdrawn.",
                    since=gone.happened_at,
                    body=f"{said} Set the syringe aside: {figure(syringe.left_ml)} mL to be wasted or returned.",
                )


def _awareness(t: Told) -> Iterable[Advice]:
    if not t.case.live(ev.AllergiesAsked) and t.ended_at is None:
        yield Advice(id="allergies", priority="low", title="Allergies not asked.", since=t.opened.happened_at)
