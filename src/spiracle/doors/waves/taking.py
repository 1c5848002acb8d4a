"""What the archive can hold: everything else is refused by name before a byte is written. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

from spiracle.doors.waves.packing import HIGH, LOW
from spiracle.doors.waves.shapes import NUMBERS, KeptNumber, Packet
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange

MOST_SAMPLES = 60_000  # of one packet
MOST_SECONDS = 60  # of one packet: reading looks one minute back, no further
MOST_NUMBERS = 10_000  # of one message
MOST_LETTERS = 300  # of a name or an id
HIGHEST_RATE = 10_000.0
LONGEST_COUNT = 2**53


def checked(packets: Sequence[Packet], numbers: Sequence[KeptNumber], message_id: str) -> str:
    """The monitor all of it is from ("" for an empty message), or a refusal."""
    monitors = {p.monitor for p in packets} | {n.monitor for n in numbers}
    if len(monitors) > 1:
        raise Contradiction("monitor", "one message is from one monitor.", "Keep what two monitors sent apart.")
    if len(numbers) > MOST_NUMBERS:
        raise OutOfRange("numbers", f"{len(numbers)} in one message.", f"At most {MOST_NUMBERS} are kept at once.")
    _name("message id", message_id)
    for name in monitors:
        _name("monitor", name)
        if not name:
            raise Missing("monitor", "a packet does not say which monitor it is from.")
    for packet in packets:
        _packet(packet)
    for number in numbers:
        _zoned(number.at, number.arrived_at)
        _name("case", number.case)
    return next(iter(monitors), "")


def _name(field: str, text: str) -> None:
    if len(text) > MOST_LETTERS or "\0" in text or not text.isprintable():
        raise OutOfRange(field, "is too long, or has signs that cannot be printed.", f"Up to {MOST_LETTERS} letters.")


def _zoned(*moments: object) -> None:
    if any(getattr(at, "tzinfo", None) is None for at in moments):
        raise Missing("time", "a moment has no zone.", "Give every time with its zone.")


def _packet(p: Packet) -> None:
    _name("case", p.case)
    _name("wave", p.wave)
    if not p.wave or p.wave == NUMBERS:
        raise NotOneOf("wave", f"{p.wave!r} is no name of a wave.", 'Such as "co2", "pleth" or "pressure".')
    _zoned(p.first_at, p.arrived_at)
    if not (isfinite(p.rate_hz) and 0 < p.rate_hz <= HIGHEST_RATE and isfinite(p.scale) and isfinite(p.offset)):
        raise OutOfRange(
            "rate", f"{p.rate_hz} samples a second.", f"Above 0, at most {HIGHEST_RATE:g}; scale and offset finite."
        )
    if not p.samples:
        raise Missing("samples", "the packet has none.", "A gap is told by its times, or by samples that are None.")
    if len(p.samples) > MOST_SAMPLES or len(p.samples) > MOST_SECONDS * p.rate_hz:
        raise OutOfRange(
            "samples", f"{len(p.samples)} in one packet.", f"At most {MOST_SECONDS} s and {MOST_SAMPLES} at once."
        )
    if p.seq is not None and not 0 <= p.seq <= LONGEST_COUNT:
        raise OutOfRange("seq", f"{p.seq} is no count of samples.", "A whole number from 0.")
    if any(s is not None and not LOW <= s <= HIGH for s in p.samples):
        raise OutOfRange("samples", "one has more than 32 bits.", "Whole numbers of 32 bits with sign.")
