"""What the live panel shows, in words: links and their age, numbers and what they are worth, the finding, the offer to the airway card.

Pure: what was heard, what the case says and the time in; a `LiveState` out. D6: nothing old looks new. D7: nothing that may be another
patient's is shown as this one's.
"""

from __future__ import annotations

import dataclasses
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import takewhile
from typing import Literal

from msgspec.structs import replace

from spiracle.monitors.heard import Heard, Number, Standing
from spiracle.sheets.live_shapes import (
    AirwayOffer,
    Candidate,
    LinkState,
    LiveFinding,
    LiveNumber,
    LivePressure,
    LiveState,
    LiveWave,
    NumberState,
)
from spiracle.sheets.readings import READINGS

STALE, LOST = timedelta(seconds=10), timedelta(seconds=30)
AHEAD = timedelta(seconds=2)  # a moment further ahead of our clock than this was written before the clock was set back
FORGOTTEN = timedelta(minutes=10)  # a number this old is in the archive and on the chart, and no longer on the panel
PRESSURES = ("sap", "map", "dap")
ORDER = {name: n for n, name in enumerate(READINGS)}

# What each standing makes of a number (HL7 v2.6 OBX-8 as IHE uses it): solid, hollow, or a gap with its reason.
GOOD: frozenset[Standing] = frozenset({"measured", "validated", "corrected"})
HOLLOW: Mapping[Standing, str] = {
    "early": "early estimate", "calibrating": "calibrating", "questionable": "the device doubts it",
}  # fmt: skip
GAP: Mapping[Standing, str] = {
    "measuring": "measuring now", "unavailable": "not available", "invalid": "invalid", "no information": "no information",
    "above scale": "above the scale", "below scale": "below the scale", "switched off": "switched off",
    "deleted": "taken back by the device",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Kept:
    """A number as last heard: from which device, and the moment it stands for by our clock."""

    number: Number
    monitor: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Link:
    """One paired monitor: `heard_at` is when it was last heard, None while it was not. `held` says why its data are kept apart."""

    monitor: str
    name: str
    place: str
    paired_at: datetime
    heard_at: datetime | None = None
    skew_text: str = ""
    held: str = ""
    refused: str = ""
    moved: str = ""

    @property
    def called(self) -> str:
        return self.name or self.monitor


@dataclass(frozen=True, slots=True)
class Picture:
    """All that one panel is drawn from, but for the samples."""

    case: str
    practice: bool = False
    links: tuple[Link, ...] = ()
    numbers: tuple[Kept, ...] = ()
    waves: tuple[LiveWave, ...] = ()
    findings: tuple[LiveFinding, ...] = ()
    breath_text: str = ""
    airway: AirwayOffer | None = None
    candidates: tuple[Candidate, ...] = ()
    unknown: tuple[str, ...] = ()
    co2_until: datetime | None = None  # the end of the last sample of CO2 that came
    replay: tuple[datetime, datetime, float, datetime] | None = field(default=None)


def state_of(number: Number) -> tuple[NumberState, Literal["good", "questionable", "invalid", ""], str]:
    """Solid, hollow or a gap; the quality as charted; the reason in words."""
    if number.standing in HOLLOW:
        return (
            ("questionable", "questionable", HOLLOW[number.standing])
            if number.value is not None
            else ("gap", "", "no value")
        )
    if number.standing in GAP or number.value is None:
        return "gap", "invalid" if number.standing == "invalid" else "", GAP.get(number.standing, "no value")
    return "good", "good", ""


def charted(number: Number) -> bool:
    """A measurement under a name, in a unit, of ours. A dial's setting is never one; what is not known is charted by nobody."""
    return number.reading in READINGS and not number.setting


def judged_at(kept: Kept, now: datetime) -> tuple[NumberState, Literal["good", "questionable", "invalid", ""], str]:
    """The same at a moment: what lies ahead of our clock is never good, its age cannot be told."""
    state, quality, why = state_of(kept.number)
    why = "; ".join(w for w in (why, kept.number.why) if w)
    if kept.at > now + AHEAD and state == "good":
        return "questionable", "questionable", "its time lies ahead of our clock: how old it is cannot be told"
    return state, quality, why


def live_number(kept: Kept, now: datetime) -> LiveNumber:
    n, shape = kept.number, READINGS[kept.number.reading]
    state, quality, why = judged_at(kept, now)
    value = n.value if state != "gap" else None
    return LiveNumber(
        reading=n.reading, label=shape.title, state=state, text=shape.text(value, n.unit) if value is not None else "",
        value=value, unit=n.unit, raw=n.raw, monitor=kept.monitor, quality=quality, site=n.site, method=n.method, at=kept.at,
        why=why, limits=n.limits, alarm=n.alarm,
    )  # fmt: skip


Set = dict[str, Kept]  # what belongs together, by reading


def live_pressure(numbers: Iterable[Kept], now: datetime) -> LivePressure | None:
    """Those of one device, one way and one moment belong together. A line's comes before a cuff's while it is fresh and has a value;
    else the latest that has one: a line that is silent or pulled hides no cuff."""
    sets: dict[tuple[object, ...], Set] = {}
    for k in numbers:
        if k.number.reading in PRESSURES:
            sets.setdefault((k.monitor, k.number.method, k.number.site, k.at), {})[k.number.reading] = k
    if not sets:
        return None
    best = max(sets.values(), key=lambda same: _pressure_rank(same, now))
    found = {name: judged_at(k, now) for name, k in best.items()}
    worst = max(found.values(), key=lambda s: _STATES.index(s[0]))
    values = {name: best[name].number.value if name in best and found[name][0] != "gap" else None for name in PRESSURES}
    one = next(iter(best.values()))
    method = one.number.method
    return LivePressure(
        sap=values["sap"], map=values["map"], dap=values["dap"],
        method=method if method in {"oscillometric", "Doppler", "arterial line"} else "other",  # type: ignore[arg-type]
        state=worst[0], quality=worst[1], monitor=one.monitor, raw="; ".join(best[n].number.raw for n in PRESSURES if n in best),
        text=_pressure_text(values), at=one.at, site=one.number.site, why=worst[2],
    )  # fmt: skip


_STATES: tuple[NumberState, ...] = ("good", "questionable", "gap")


def _pressure_rank(same: Set, now: datetime) -> tuple[bool, bool, bool, datetime]:
    states = [judged_at(k, now)[0] for k in same.values()]
    first = next(iter(same.values()))
    timely = first.at <= now + AHEAD
    line = first.number.method == "arterial line" and timely and now - first.at <= STALE and "gap" not in states
    return any(s != "gap" for s in states), timely, line, first.at


def _pressure_text(values: Mapping[str, object]) -> str:
    def shown(name: str) -> str:
        value = values[name]
        return "" if value is None else READINGS[name].text(value, "mmHg")  # type: ignore[arg-type]

    pair = "/".join(s or "—" for s in (shown("sap"), shown("dap"))) if shown("sap") or shown("dap") else ""
    return " ".join(w for w in (pair, f"({shown('map')})" if shown("map") else "") if w)


def link_of(links: Sequence[Link], now: datetime) -> tuple[LinkState, str]:
    """The worst of the paired monitors, and which one it is."""
    if not links:
        return "no monitor", "No monitor is paired with this patient."
    ranked = sorted(((*_one_link(link, now), link) for link in links), key=lambda x: _RANK.index(x[0]), reverse=True)
    state, words, _ = ranked[0]
    if state == "live":
        words = "Live from " + ", ".join(link.called for link in links) + "."
    return state, " ".join((words, *(link.moved for link in links if link.moved)))


_RANK: tuple[LinkState, ...] = ("live", "waiting", "stale", "lost", "held back")


def _one_link(link: Link, now: datetime) -> tuple[LinkState, str]:
    if link.held or link.refused:
        return "held back", link.held or link.refused
    if link.heard_at is None:
        return "waiting", f"{link.called} is paired; nothing was heard from it yet."
    silent = now - link.heard_at
    if silent < -AHEAD:
        return (
            "stale",
            f"{link.called} was not heard since our clock was set back: whether it is silent cannot be told.",
        )
    if silent > LOST:
        return "lost", f"{link.called} is silent since {_ago(silent)}. Look at the animal; look at cable and network."
    if silent > STALE:
        return "stale", f"{link.called} is silent since {_ago(silent)}."
    return "live", ""


def _ago(silent: timedelta) -> str:
    seconds = int(silent.total_seconds())
    return f"{seconds} s" if seconds < 120 else f"{seconds // 60} min"


def co2_stands(until: datetime, now: datetime) -> bool:
    """Whether a wave whose last sample this was still counts as coming; one far ahead of our clock was there before it was set back."""
    return -LOST <= now - until <= STALE


def co2_stopped(p: Picture, now: datetime) -> str:
    """D6: numbers that go on do not make a CO2 wave live that has stopped. Empty while it comes."""
    if p.co2_until is None or co2_stands(p.co2_until, now):
        return ""
    if p.co2_until > now:
        return "no CO₂ since our clock was set back"
    return f"no CO₂ since {_ago(now - p.co2_until)}"


def without_co2(p: Picture, now: datetime) -> Picture:
    """Once the wave has stopped nothing found on it stands as if it were so now, and nothing is offered from it."""
    stopped = co2_stopped(p, now)
    if not stopped:
        return p
    ended = (
        replace(
            f,
            until=min(p.co2_until or now, now),
            why=f"{f.why} The CO₂ wave stopped: whether it lasts is not known.".strip(),
        )
        if f.until is None
        else f
        for f in p.findings
        if f.until is not None or f.name != "normal"
    )
    return dataclasses.replace(
        p, findings=tuple(ended), breath_text=f"Not read: {stopped}.", airway=None,
        waves=tuple(w for w in p.waves if w.wave != "co2"),
    )  # fmt: skip


def live_state(p: Picture, now: datetime) -> LiveState:
    link, words = link_of(p.links, now)
    if link == "live" and (stopped := co2_stopped(p, now)):
        words = f"{words} Its numbers come, but {stopped}: look at the animal, the tube and the sampling line."
    p = without_co2(p, now)
    held = " ".join(x.held for x in p.links if x.held)
    shown = {x.monitor for x in p.links if not x.held and not x.refused}
    fresh = [k for k in p.numbers if k.monitor in shown and now - k.at <= FORGOTTEN and charted(k.number)]
    fresh.sort(key=lambda k: (ORDER[k.number.reading], k.monitor, k.number.channel))
    main = next((x for x in p.links if x.monitor in shown), p.links[0] if p.links else None)
    dials = tuple(f"{k.number.ref}: {k.number.raw}" for k in p.numbers if k.number.setting and k.monitor in shown)
    replay = p.replay
    return LiveState(
        case=p.case, as_of=now, link="replay" if replay is not None else link,
        link_text="Replay from the archive: nothing here is now." if replay is not None else words,
        monitor=main.monitor if main else "", monitor_name=main.called if main else "", place=main.place if main else "",
        paired_at=main.paired_at if main else None, skew_text=" ".join(x.skew_text for x in p.links if x.skew_text),
        practice=p.practice, held_back=held,
        waves=p.waves, numbers=tuple(live_number(k, now) for k in fresh if k.number.reading not in PRESSURES),
        pressure=live_pressure(fresh, now),
        findings=p.findings, breath_text=p.breath_text, airway=p.airway, candidates=p.candidates,
        unknown=(*p.unknown, *(unknown_words(k.number) for k in p.numbers if k.monitor in shown and _held_number(k.number))),
        dials=dials,
        replay_from=replay[0] if replay else None, replay_until=replay[1] if replay else None,
        replay_speed=replay[2] if replay else 0.0, replay_at=replay[3] if replay else None,
    )  # fmt: skip


def _held_number(number: Number) -> bool:
    return number.reading not in READINGS and not number.setting


def unknown_words(number: Number) -> str:
    """A number nobody charts: what was sent, and why it is held."""
    code = "" if number.code is None else f" ({number.code})"
    return f"{number.ref or 'no name'}{code}, {number.raw or 'no value'}: {number.why or 'not on our list'}"


def showing(numbers: Iterable[Kept], now: datetime) -> str:
    """What a monitor shows now, for the person who looks which one it is: the numbers of the last ten seconds."""
    fresh = [
        k for k in numbers if -AHEAD <= now - k.at <= STALE and charted(k.number) and state_of(k.number)[0] != "gap"
    ]
    fresh.sort(key=lambda k: ORDER[k.number.reading])
    words = (f"{n.label} {n.text}" for n in (live_number(k, now) for k in fresh) if n.reading not in PRESSURES)
    pressure = live_pressure(fresh, now)
    return " · ".join((*words, *((f"pressure {pressure.text}",) if pressure else ())))


def patient_words(heard: Heard) -> str:
    """What a monitor says of its patient, as it is kept with the pairing."""
    return " ".join(w for w in (*heard.patient_ids, heard.patient_name) if w)


def contradiction(heard: Heard, said_at_pairing: str, number: str, name: str) -> str:
    """Why what the monitor says of its patient is not this one; empty where it says nothing or agrees. A room says nothing.

    An id counts; as a whole it agrees with the case's own number or with an id that was read when a person paired. A name counts only
    where no id is sent, by whole words: all of one stand in the other, so "Leo" is "Leo Smith" and neither "Leona" nor "O".
    """
    now = patient_words(heard)
    if not now or now == said_at_pairing:
        return ""
    if heard.patient_ids:
        agrees = any(_same_id(i, number) or _id_was_read(i, said_at_pairing) for i in heard.patient_ids)
    else:
        said = _name_words(heard.patient_name)
        known = [w for w in (_name_words(name), _name_words(said_at_pairing)) if w]
        agrees = not said or any(said <= w or w <= said for w in known)
    return "" if agrees else now


def _plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def _name_words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"\w+", _plain(text)))


def _same_id(one: str, other: str) -> bool:
    return _plain(one) != "" and _plain(one) == _plain(other)


def _id_was_read(id_: str, said: str) -> bool:
    """What was read when a person paired is ids, then the name. A word without a digit may be one of the name, so it is no id there."""
    one, words = _plain(id_), _plain(said).split()
    ids = list(takewhile(lambda w: any(c.isdigit() for c in w), words))
    if not any(c.isdigit() for c in one):
        return one != "" and one == " ".join(words)
    return one in ids or " ".join(words[: len(one.split())]) == one


def moved_words(called: str, paired_in: str, now_in: str) -> str:
    """A room says nothing of whose a monitor is; that it stands in another one is a reason to look."""
    if not paired_in or not now_in or _plain(paired_in) == _plain(now_in):
        return ""
    return f"{called} was paired in {paired_in} and now says {now_in}: look whether it is still on this animal."


def held_words(called: str, names: str, ours: str) -> str:
    return (f"{called} now names {names}; this case is {ours}. Nothing from it is shown or kept as this patient's: look whose probe "
            "it is, then pair it again or take it off.")  # fmt: skip


def test_data_words(called: str) -> str:
    return f"{called} sends test or demonstration data: it is taken for practice cases only."
