"""Advice on breathing from values alone: a shut valve, low inspired oxygen, dial against agent, no breath, a tube too deep.

No waveform is read here: what needs one stands open in docs/hazards.md. Every threshold is a row of the breathing tables
and most are ours. One condition gives one line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from msgspec.structs import replace

from spiracle.breathing import judge
from spiracle.case import events as ev
from spiracle.case import standing
from spiracle.case.decide_airway import depth_at
from spiracle.case.ventilation import lean_weight, unweighed
from spiracle.quantity import Quantity, figure
from spiracle.sheets.advice_airway import gone
from spiracle.sheets.advice_valve import FRESH, minutes, setting, valve_advice
from spiracle.sheets.airway_proof import tube_in_place, tube_went_in
from spiracle.sheets.calling import call_act
from spiracle.sheets.names import capital, minutes_text
from spiracle.sheets.shapes import Advice
from spiracle.sheets.told import Seen, Told
from spiracle.source import Zone


def breathing_advice(t: Told, said: frozenset[str] = frozenset()) -> tuple[Advice, ...]:
    """While it is asleep or a tube lies there. `said`: lines about the airway that already speak of breaths or CO2."""
    if t.ended_at is not None or standing.in_arrest(t.case):
        return ()
    found: list[Advice] = []
    if tube_in_place(t) is not None:
        valve = valve_advice(t)
        found += [*valve, *_fio2(t), *_vaporiser(t), *_too_deep(t)]
        if all(a.id != "valve" for a in valve):
            found += _over_ventilated(t)
        if not said & {"no co2"}:
            found += _disconnected(t)
    if t.asleep and not said & {"no co2", "no breaths"}:
        found += _no_breath(t)
    return tuple(found)


def joined_by_reading(gas: Sequence[Advice], limits: Sequence[Advice]) -> tuple[Advice, ...]:
    """A falling saturation beyond its limit and a tube too deep are one condition: the limit's line says both."""
    deep = next((a for a in gas if a.id == "too deep"), None)
    if deep is None or not any(a.id == "limit spo2" for a in limits):
        return (*gas, *limits)
    both = tuple(replace(a, body=f"{a.body} {deep.title} {deep.body}") if a.id == "limit spo2" else a for a in limits)
    return (*(a for a in gas if a is not deep), *both)


# ---- values of a window


def _now(t: Told, reading: str) -> Seen | None:
    seen = t.current(reading)
    return seen if seen is not None and t.now - seen.at <= FRESH else None


def _earlier(t: Told, reading: str, last: Seen, since: datetime) -> list[Seen]:
    """Values that may be acted on, before the last one and not before `since`."""
    return [s for s in t.seen.get(reading, ()) if s.current and since <= s.at < last.at]


# ---- A10: what it breathes in


def _fio2(t: Told) -> Iterable[Advice]:
    seen, row = _now(t, "fio2"), t.facts.breathing.setting("fio2-low")
    if seen is None or seen.value >= row.value:
        return
    yield Advice(
        id="fio2 low",
        priority="high",
        title=f"Inspired oxygen {seen.text} %, under {row.quantity}. Too little oxygen reaches it.",
        since=seen.at,
        body="Oxygen by hand from another source; then flowmeter, hose, cylinder, and whether it is oxygen at all.",
        acts=call_act(t, f"inspired oxygen {seen.text} %"),
    )


# ---- A11: dial against agent


def _vaporiser(t: Told) -> Iterable[Advice]:
    """A dial turned up does not begin the wait anew: it counts since it was on, against its lowest of that wait."""
    dials, et = t.case.live(ev.VaporiserSet), _now(t, "agent_et")
    if not dials or et is None:
        return
    dial = dials[-1]
    began = _stands_since(dials)
    if et.at - began < minutes(t, "agent-wait"):
        return
    stood = minutes_text(et.at - began)
    begin = et.at - minutes(t, "agent-wait")
    held = [d for d, after in zip(dials, [*dials[1:], None], strict=True)
            if d.happened_at >= began and d.happened_at < et.at and (after is None or after.happened_at > begin)]  # fmt: skip
    lowest = min((d.percent for d in held), default=dial.percent)
    if dial.percent and et.value * 100 < lowest * setting(t, "agent-share"):
        at = f"Dial {figure(dial.percent)} %" if lowest == dial.percent else f"Dial {figure(lowest)} % or more"
        yield Advice(
            id="vaporiser",
            priority="medium",
            title=f"{at} for {stood if len(held) == 1 else minutes_text(minutes(t, 'agent-wait'))}, end-tidal {et.text} %. "
            "Is the vaporiser empty?",
            since=et.at,
            body="Level in its window, cap, seat, right agent, leak; is it deep enough without it?",
        )
    if not dial.percent and _still_delivered(t, began, et):
        yield Advice(
            id="vaporiser",
            priority="medium",
            title=f"Dial off for {stood}, end-tidal {et.text} %. Is it really off?",
            since=et.at,
            body="Look at every dial, raise the oxygen, empty the bag.",
        )


def _stands_since(dials: Sequence[ev.VaporiserSet]) -> datetime:
    """Since when the vaporiser of the last entry is on, or off, whatever its dial was turned to meanwhile."""
    last = dials[-1]
    since = last.happened_at
    for d in reversed(dials):
        if bool(d.percent) != bool(last.percent) or (d.percent and d.agent != last.agent):
            break
        since = d.happened_at
    return since


def _still_delivered(t: Told, off: datetime, et: Seen) -> bool:
    """More agent goes in than comes out, or much is left long after."""
    left = setting(t, "agent-off-left")
    inspired = _now(t, "agent_in")
    if inspired is not None and inspired.at - off >= minutes(t, "agent-wait") and inspired.value > et.value:
        return inspired.value >= left
    return et.value >= left and et.at - off >= minutes(t, "agent-off-wait")


# ---- A15: no breath


def _no_breath(t: Told) -> Iterable[Advice]:
    """Zeros without a tube, or no breath noted since a drug that takes it away. A breath given by hand or machine is one."""
    assert t.induced_at is not None  # noqa: S101 - asleep
    if tube_went_in(t) is None and (first := gone(t, "respiratory_rate", t.induced_at)) is not None:
        yield Advice(
            id="no breaths",
            priority="high",
            title="Breaths 0. It does not breathe.",
            since=first.at,
            body="Feel the pulse, look at the chest, breathe for it by mask, tube it.",
            acts=call_act(t, "no breaths"),
        )
        return
    drug = max((g for g in t.given if _takes_breath(t, g)), key=lambda g: g.happened_at, default=None)
    if drug is None or _breath_since(t, drug.happened_at):
        return
    if t.now - drug.happened_at >= minutes(t, "breath-unseen"):
        yield Advice(
            id="no breath seen",
            priority="medium",
            title=f"No breath noted for {minutes_text(t.now - drug.happened_at)} since {t.names.drug(drug.drug)}.",
            since=drug.happened_at,
            body="Look at the chest and the bag, note breaths or CO₂, breathe for it if there is none.",
        )


def _takes_breath(t: Told, given: ev.DrugGiven) -> bool:
    """A dose of induction, or an opioid by vein while it is asleep."""
    assert t.induced_at is not None  # noqa: S101 - asleep
    if given in t.induction_given:
        return True
    opioid = t.facts.drugs.class_of(given.drug) == "opioid" and given.route == "IV"
    return opioid and given.happened_at >= t.induced_at


def _breath_since(t: Told, since: datetime) -> bool:
    if any(
        s.current and s.value > 0 and s.at >= since
        for name in ("respiratory_rate", "etco2")
        for s in t.seen.get(name, ())
    ):
        return True
    if any(p.seen and p.happened_at >= since for p in t.case.live(ev.ProofNoted) if p.sign in {"co2", "chest moves"}):
        return True
    set_ = t.case.last(ev.VentilationSet)
    return set_ is not None and set_.mode != "spontaneous"


# ---- A16: too much pressure or volume


def _over_ventilated(t: Told) -> Iterable[Advice]:
    """A read pressure or breath over the animal's limits. What was set was asked about when it was written."""
    set_ = t.case.last(ev.VentilationSet)
    lean = lean_weight(t.case, t.facts)
    peak, breath = _now(t, "peak_pressure"), _now(t, "tidal_volume")
    if lean is None or set_ is None or set_.mode == "spontaneous" or unweighed(t.facts, t.species, lean):
        breath = None  # a breath of its own is its own, and without an animal's weight nothing is judged by it
    found = judge(
        t.facts.breathing,
        t.species,
        None if lean is None else lean.weight,
        peak=None if peak is None else Quantity.of(peak.value, "cmH2O"),
        tidal=None if breath is None or breath.value <= 0 else Quantity.of(breath.value, "mL"),
        weight="lean weight" if lean is None else lean.name,
    )
    over = [one for one in found if one.zone is not Zone.USUAL and one.value >= one.limit.usual_low]
    if not over:
        return
    over.sort(key=lambda one: one.zone is not Zone.FORBIDDEN)  # the worst leads, the other is not hidden by it
    hard = over[0].zone is Zone.FORBIDDEN
    yield Advice(
        id="over-ventilated",
        priority="high" if hard else "medium",
        title=" ".join(capital(one.words) for one in over),
        since=min(s.at for s, name in ((peak, "peak pressure"), (breath, "tidal volume"))
                  if s is not None and any(one.name == name for one in over)),
        body="Lower what is set. Then valve, kink, plug, a tube too deep, air in the chest.",
        acts=call_act(t, ", ".join(f"{one.name} {one.value}" for one in over)) if hard else (),
    )  # fmt: skip


def _disconnected(t: Told) -> Iterable[Advice]:
    """On a ventilator nearly all of the pressure or the breath is gone within the window; what was set anew begins another."""
    set_ = t.case.last(ev.VentilationSet)
    if set_ is None or set_.mode != "ventilator":
        return
    for reading, name, unit in (("peak_pressure", "Peak", "cmH₂O"), ("tidal_volume", "Breath", "mL")):
        last = _now(t, reading)
        if last is None:
            continue
        since = max(last.at - minutes(t, "watch-window"), set_.happened_at)
        best = max(_earlier(t, reading, last, since), key=lambda s: s.value, default=None)
        if best is None or last.value * 100 > best.value * setting(t, "lost-share"):
            continue
        yield Advice(
            id="disconnected",
            priority="medium",
            title=f"{name} {best.text} to {last.text} {unit} on the ventilator. Disconnected?",
            since=last.at,
            body="Tube, connector, hoses, sample line, cuff, bag or bellows. Breathe by hand if the chest does not move.",
        )
        return


# ---- A2: a tube too deep


def _too_deep(t: Told) -> Iterable[Advice]:
    """Saturation falls and CO2 is as it was, soon after the tube went in or the animal was turned."""
    began = _moved(t)
    spo2, co2 = _now(t, "spo2"), _now(t, "etco2")
    if began is None or spo2 is None or co2 is None or not co2.value or min(spo2.at, co2.at) < began[0]:
        return
    at, what = began
    since = at if what == "intubation" else at - minutes(t, "watch-window")
    best = max(_earlier(t, "spo2", spo2, since), key=lambda s: s.value, default=None)
    before = _earlier(t, "etco2", co2, since)
    if best is None or not before or best.value - spo2.value < setting(t, "deep-fall"):
        return
    was = before[0].value
    if abs(co2.value - was) * 100 > setting(t, "deep-co2-same") * was:
        return
    lies = tube_in_place(t)
    depth = None if lies is None else depth_at(t.case, lies.since)
    mark = f" ({figure(depth)} cm)" if depth is not None else ""
    yield Advice(
        id="too deep",
        priority="medium",
        title=f"SpO₂ from {best.text} to {spo2.text} % since {what}, CO₂ as before. Tube too deep?",
        since=spo2.at,
        body=f"Mark at the teeth{mark}, listen to both sides, draw it back to the mark. From values alone: no wave is read.",
    )


def _moved(t: Told) -> tuple[datetime, str] | None:
    """The last intubation or turn, if it is so lately that it may be the cause."""
    went_in = tube_went_in(t)
    if went_in is None:
        return None
    turns = [
        p.happened_at
        for p in t.case.live(ev.Positioned)
        if (p.position.strip() or p.to_room.strip()) and p.happened_at > went_in
    ]
    last = max(turns, default=None)
    found = (went_in, "intubation") if last is None else (last, "the turn")
    return found if t.now - found[0] <= minutes(t, "deep-window") else None
