"""Pulse oximeters over Bluetooth: the two measurements of the GATT pulse oximeter service (0x1822), octets in, `Heard` out.

Layout of the characteristics "PLX Continuous Measurement" (0x2A5F) and "PLX Spot-Check Measurement" (0x2A5E): Bluetooth SIG, GATT
definitions of 2015-07-14 and Pulse Oximeter Service 1.0.1. The octets of SFLOAT (IEEE 11073-20601) and of Date Time are from memory;
the worked packets in the tests were worked apart from this file. A probe on a tongue or a paw is one source among others: nothing
here makes it the first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.monitors.heard import Heard, Number, Standing

SERVICE = "00001822-0000-1000-8000-00805f9b34fb"
CONTINUOUS = "00002a5f-0000-1000-8000-00805f9b34fb"
SPOT_CHECK = "00002a5e-0000-1000-8000-00805f9b34fb"

LONGEST = 64  # octets; a continuous measurement with every field is 20, more than a probe can mean
SFLOAT = 2

# What an SFLOAT says that is no number: not a number, not at this resolution, above and below what can be told, kept for later.
NO_NUMBER: dict[int, tuple[Standing, str]] = {
    0x07FF: ("unavailable", "not a number"),
    0x0800: ("unavailable", "not at this resolution"),
    0x07FE: ("above scale", "above what the probe can tell"),
    0x0802: ("below scale", "below what the probe can tell"),
    0x0801: ("invalid", "a value kept for later use"),
}

# Bits of the measurement status. The first that stands decides; those without a standing are told and change nothing.
MEASUREMENT: dict[int, tuple[str, Standing | None]] = {
    15: ("invalid measurement", "invalid"),
    13: ("measurement unavailable", "unavailable"),
    14: ("questionable measurement", "questionable"),
    12: ("calibrating", "calibrating"),
    6: ("early estimate", "early"),
    7: ("validated", "validated"),
    5: ("measurement under way", None),
    8: ("fully qualified", None),
    9: ("from the probe's storage", None),
    10: ("for demonstration", None),
    11: ("for testing", None),
}
STORED, UNDER_WAY, DEMONSTRATION, TESTING = 9, 5, 10, 11

# Bits of the device and sensor status. Which of them leave no value and which a doubtful one is our decision.
SENSOR: dict[int, tuple[str, Standing | None]] = {
    1: ("equipment malfunction", "invalid"),
    7: ("no pulse in the signal", "invalid"),
    11: ("sensor not on the patient", "invalid"),
    12: ("unknown sensor", "invalid"),
    13: ("sensor displaced", "questionable"),
    14: ("sensor malfunction", "invalid"),
    15: ("sensor disconnected", "invalid"),
    2: ("irregular signal", "questionable"),
    3: ("inadequate signal", "questionable"),
    4: ("poor signal", "questionable"),
    5: ("low perfusion", "questionable"),
    6: ("erratic signal", "questionable"),
    8: ("questionable pulse", "questionable"),
    9: ("analysing the signal", "questionable"),
    10: ("interference", "questionable"),
    0: ("display slower than the signal", None),
}

VALUELESS: frozenset[Standing] = frozenset({"invalid", "unavailable", "measuring"})
WORST: tuple[Standing, ...] = (
    "invalid",
    "unavailable",
    "measuring",
    "questionable",
    "calibrating",
    "early",
    "validated",
)

# What the three quantities can be at all; outside is a fault of the packet, not a reading.
BOUNDS = {
    "spo2": (Decimal(0), Decimal(100)),
    "pulse_rate": (Decimal(0), Decimal(1000)),
    "perfusion_index": (Decimal(0), Decimal(100)),
}
MEANING = {
    "spo2": (150456, "MDC_PULS_OXIM_SAT_O2", "%"),
    "pulse_rate": (149530, "MDC_PULS_OXIM_PULS_RATE", "/min"),
    "perfusion_index": (None, "pulse amplitude index", "%"),
}
Kind = Literal["spo2", "pulse_rate", "perfusion_index"]


def sfloat(octets: bytes) -> Decimal | Standing:
    """Two octets, low one first: a number, or the standing that its special value means.

    >>> sfloat(bytes.fromhex("CFF3")), sfloat(bytes.fromhex("6100")), sfloat(bytes.fromhex("FF07"))
    (Decimal('97.5'), Decimal('97'), 'unavailable')
    """
    word = int.from_bytes(octets, "little")
    if word in NO_NUMBER:
        return NO_NUMBER[word][0]
    power, figure = word >> 12, word & 0x0FFF
    signed = figure - 0x1000 if figure & 0x0800 else figure
    exponent = power - 16 if power & 8 else power
    return Decimal(signed).scaleb(exponent)


@dataclass
class _Read:
    """A packet being read: where we are, and what was said on the way."""

    octets: bytes
    at: int = 1
    problems: list[str] = field(default_factory=list)

    @property
    def flags(self) -> int:
        return self.octets[0]

    def take(self, count: int) -> bytes:
        part = self.octets[self.at : self.at + count]
        self.at += count
        return part


def read_continuous(octets: bytes, monitor: str, name: str = "", place: str = "", message_id: str = "") -> Heard:
    """One notification of PLX Continuous Measurement: normal values, and fast and slow ones held beside them.

    >>> heard = read_continuous(bytes.fromhex("046100B600" "0040"), "A4:C1:38:00:00:01")
    >>> [(n.reading, str(n.value), n.standing) for n in heard.numbers]
    [('spo2', '97', 'questionable'), ('pulse_rate', '182', 'questionable')]
    """
    sizes = ((0, 2 * SFLOAT), (1, 2 * SFLOAT), (2, 2), (3, 3), (4, SFLOAT))
    fault = _fault(octets, sizes, reserved=0xE0)
    if fault:
        return Heard(monitor=monitor, name=name, place=place, message_id=message_id, problems=(fault,))
    read = _Read(octets, problems=list(_reserved(octets, 0xE0)))
    pairs = [("", read.take(SFLOAT), read.take(SFLOAT))]
    pairs += [
        (speed, read.take(SFLOAT), read.take(SFLOAT))
        for bit, speed in ((0, "fast"), (1, "slow"))
        if read.flags >> bit & 1
    ]
    measurement = int.from_bytes(read.take(2), "little") if read.flags & 4 else 0
    sensor = int.from_bytes(read.take(3), "little") if read.flags & 8 else 0
    index = read.take(SFLOAT) if read.flags & 16 else b""
    return _heard(monitor, name, place, message_id, _Told(pairs, measurement, sensor, index, spot=False), read.problems)


def read_spot_check(octets: bytes, monitor: str, name: str = "", place: str = "", message_id: str = "") -> Heard:
    """One indication of PLX Spot-Check Measurement. Its own clock has no zone: the moment is that of arrival, and a value out of the
    probe's storage, whose moment is not known, is held."""
    sizes = ((0, 7), (1, 2), (2, 3), (3, SFLOAT))
    fault = _fault(octets, sizes, reserved=0xE0)
    if fault:
        return Heard(monitor=monitor, name=name, place=place, message_id=message_id, problems=(fault,))
    read = _Read(octets, problems=list(_reserved(octets, 0xE0)))
    pairs = [("", read.take(SFLOAT), read.take(SFLOAT))]
    if read.flags & 1:
        clock = date_time(read.take(7))
        unset = ", and says that it was not set" if read.flags & 16 else ""
        read.problems.append(f"The probe's clock says {clock} without a zone{unset}: the time of arrival is taken.")
    measurement = int.from_bytes(read.take(2), "little") if read.flags & 2 else 0
    sensor = int.from_bytes(read.take(3), "little") if read.flags & 4 else 0
    index = read.take(SFLOAT) if read.flags & 8 else b""
    return _heard(monitor, name, place, message_id, _Told(pairs, measurement, sensor, index, spot=True), read.problems)


def date_time(octets: bytes) -> str:
    """The GATT Date Time as it stands, year first (low octet first), no zone. Zero is "not known" and stays zero.

    >>> date_time(bytes.fromhex("EA07" "030C" "0A0F" "00"))
    '2026-03-12 10:15:00'
    """
    year = int.from_bytes(octets[:2], "little")
    month, day, hour, minute, second = octets[2:7]
    return f"{year:04d}-{month:02d}-{day:02d} {hour:02d}:{minute:02d}:{second:02d}"


@dataclass(frozen=True)
class _Told:
    """The fields of either measurement. pairs: (speed, SpO2, pulse rate)."""

    pairs: list[tuple[str, bytes, bytes]]
    measurement: int
    sensor: int
    index: bytes
    spot: bool


def _fault(octets: bytes, sizes: tuple[tuple[int, int], ...], reserved: int) -> str:
    """Why a packet cannot be read, or "". Octets over are a broken packet, unless bits kept for later may have brought them."""
    if len(octets) > LONGEST:
        return f"The packet has {len(octets)} octets, more than {LONGEST}: not read."
    if len(octets) < 1:
        return "The packet is empty."
    needed = 1 + 2 * SFLOAT + sum(size for bit, size in sizes if octets[0] >> bit & 1)
    if len(octets) < needed:
        return f"The packet has {len(octets)} octets where its flags promise {needed}: cut short, not read."
    if len(octets) > needed and not octets[0] & reserved:
        return f"The packet has {len(octets)} octets where its flags promise {needed}: not read."
    return ""


def _reserved(octets: bytes, reserved: int) -> Iterator[str]:
    if octets[0] & reserved:
        yield "The packet sets bits that are kept for later: they are passed over."


def _heard(monitor: str, name: str, place: str, message_id: str, told: _Told, problems: list[str]) -> Heard:
    standing, flags, why = _standing(told)
    numbers: list[Number] = []
    for speed, spo2, pulse in told.pairs:
        numbers.append(_number("spo2", spo2, standing, flags, why, speed))
        numbers.append(_number("pulse_rate", pulse, standing, flags, why, speed))
    if told.index:
        numbers.append(_number("perfusion_index", told.index, standing, flags, why, ""))
    if told.measurement >> STORED & 1:
        numbers = [_held(n, "kept in the probe and sent later: when it was measured is not known") for n in numbers]
    return Heard(
        monitor=monitor, name=name, place=place, message_id=message_id, numbers=tuple(numbers), problems=tuple(problems),
        test=bool(told.measurement >> DEMONSTRATION & 1 or told.measurement >> TESTING & 1),
    )  # fmt: skip


def _standing(told: _Told) -> tuple[Standing, tuple[str, ...], str]:
    """The worst that measurement and sensor status say, all that they say, and the reason where no value is left."""
    said = [text for bit, text in _said(told.measurement, MEASUREMENT)] + [
        text for bit, text in _said(told.sensor, SENSOR)
    ]
    stands: list[tuple[Standing, str]] = []
    for word, table in ((told.measurement, MEASUREMENT), (told.sensor, SENSOR)):
        stands += [(stand, text) for bit, (text, stand) in table.items() if word >> bit & 1 and stand is not None]
    if told.spot and told.measurement >> UNDER_WAY & 1:
        stands.append(("measuring", "the spot check is not over"))
    for worst in WORST:
        reasons = [text for stand, text in stands if stand == worst]
        if reasons:
            return worst, tuple(said), ", ".join(reasons) if worst in VALUELESS else ""
    return "measured", tuple(said), ""


def _said(word: int, table: dict[int, tuple[str, Standing | None]]) -> Iterator[tuple[int, str]]:
    return ((bit, table[bit][0]) for bit in sorted(table) if word >> bit & 1)


def _number(kind: Kind, octets: bytes, standing: Standing, flags: tuple[str, ...], why: str, speed: str) -> Number:
    code, ref, unit = MEANING[kind]
    value: Decimal | None = None
    read = sfloat(octets)
    if isinstance(read, Decimal):
        value, raw = read, f"{read:f} {unit}"
        low, high = BOUNDS[kind]
        if not low <= read <= high:
            standing, why = "invalid", f"{raw} cannot be"
    else:
        raw = NO_NUMBER[int.from_bytes(octets, "little")][1]
        if standing not in VALUELESS:
            standing, why = read, raw
    if standing in VALUELESS:
        value = None
    number = Number(
        code=code,
        ref=ref,
        reading=kind,
        value=value,
        unit=unit,
        raw=raw,
        standing=standing,
        flags=flags,
        why=why,
        channel=speed,
    )
    return _held(number, f"the {speed} value; the normal one is charted") if speed else number


def _held(number: Number, why: str) -> Number:
    """The same without a reading and a value; what was sent stays in `raw`."""
    said = "; ".join(part for part in (number.why, why) if part)
    return msgspec.structs.replace(number, reading="", value=None, unit="", why=said)
