"""A value that is said to be a monitor's: the monitor was on this patient when it was measured, and what it sent agrees (D7, D17)."""

from __future__ import annotations

import re
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.standing import ended_at
from spiracle.quantity import Quantity, figure
from spiracle.quantity.units import UCUM, Unit, unit
from spiracle.refusals import Contradiction, Missing, Refusal

_SENT = re.compile(r"\s*([+-]?[0-9]{1,12}(?:\.[0-9]{1,18})?)(?:\s+|(?=[%°A-Za-z/]))(\S{1,40})\s*", re.ASCII)
_REMARK = re.compile(r"\{[^{}]*\}")  # what UCUM lets one add to a unit: {beat}/min
_SPELT = {code: symbol for symbol, code in UCUM.items()}


def from_device(
    case: Case, event: ev.ReadingTaken | ev.PressureTaken, values: tuple[tuple[Decimal, str], ...], facts: Facts
) -> None:
    """Refused by name: no monitor, no raw text, a monitor that was not on this patient, a value that is not what was sent.

    Monitor, raw text and pairing are asked for once a monitor was ever paired with this case, struck or not. A case without any
    pairing has no monitor on the wire: there "device" is said of a number that a person read off a screen, as in records kept
    before monitors were paired, and a raw text that is given has to agree all the same. A monitor that is on another patient lends
    this one no value.
    """
    if case.every(ev.MonitorPaired):
        if not event.monitor.strip():
            raise Missing("monitor", "is not named.", "Say which monitor it is from, or enter the value by hand.")
        if not event.raw.strip():
            raise Missing("raw", "is empty: what the monitor sent is not said.",
                          "Give its text as sent, or enter the value by hand.")  # fmt: skip
        if not _was_on(case, event):
            raise Contradiction("monitor", f"{event.monitor[:60]!r} was not on this patient when this was measured.",
                                "Chart from a monitor that is paired, or enter the value by hand.")  # fmt: skip
    elif event.monitor:
        taken = next((other for other in facts.other_cases if event.monitor in other.monitors), None)
        if taken is not None:
            raise Contradiction("monitor", f"{event.monitor[:60]!r} is on {taken.words}.",
                                "Pair it with this patient first, or enter the value by hand.")  # fmt: skip
    _agrees(event.raw, values)


def _was_on(case: Case, event: ev.ReadingTaken | ev.PressureTaken) -> bool:
    """By the log, at the moment of measuring: one taken off since may still have its values of before charted late.

    As in `pairings`: a struck pairing is none, and taking off holds though it was struck.
    """
    over = ended_at(case)
    if over is not None and event.happened_at > over:
        return False
    steps = [line for line in case.every(ev.MonitorPaired) if line.struck is None]
    steps += case.every(ev.MonitorUnpaired)
    on = False
    for line in sorted(steps, key=lambda x: (x.event.happened_at, x.event.recorded_at, x.entry.seq)):
        step = line.event
        if step.happened_at <= event.happened_at and getattr(step, "monitor", "") == event.monitor:
            on = isinstance(step, ev.MonitorPaired)
    return on


def _agrees(raw: str, values: tuple[tuple[Decimal, str], ...]) -> None:
    """Each value is one of the numbers that were sent (a pressure sends up to three, with "; " between), in its own unit."""
    sent = [part for part in raw[:1000].split(";") if part.strip()]
    for value, symbol in values:
        if sent and not any(_is_it(part, value, symbol) for part in sent):
            raise Contradiction("raw", f"{raw.strip()[:60]!r} was sent: that is not {figure(value)} {symbol}.",
                                "Chart the value as the monitor sent it, in its unit.")  # fmt: skip


def _is_it(part: str, value: Decimal, symbol: str) -> bool:
    """Whether what was sent is this value, to half a step of the value's last place (no coarser than one).

    True where it cannot be told: a text that is no number with a unit that we know. 5.2 kPa is 39.0 mmHg, and not 5.2.
    """
    found = _SENT.fullmatch(part)
    if found is None:
        return True
    one, other = _unit(found[2]), _unit(symbol)
    if one is None or other is None or not value.is_finite():
        return True  # a value that is no number is refused by its bounds
    try:
        meant = Quantity.of(Decimal(found[1]), one).number(other)
    except Refusal:
        return False  # units of another kind
    places = value.as_tuple().exponent
    step = Decimal(1).scaleb(min(places, 0)) if isinstance(places, int) else Decimal(1)
    return abs(meant - value) <= step / 2


def _unit(text: str) -> Unit | None:
    bare = _REMARK.sub("", text)
    try:
        return unit(_SPELT.get(bare, bare))
    except Refusal:
        return None
