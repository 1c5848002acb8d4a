"""Messages as a monitor would send them, written from numbers and waves: for playing a recording as a monitor, tests, benchmarks.

The same dialect that `spiracle.monitors.oru` reads. Waves go out as values with attribute rows where their scale is a decimal step,
and in the classic way, with sensitivity and baseline, where it is not: nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal

import msgspec

from spiracle.monitors.codes import dial_code
from spiracle.monitors.segments import escape
from spiracle.monitors.tables import CodeRow, MonitorTables, UnitRow
from spiracle.refusals import Unknown

MDS = "69965^MDC_DEV_MON_PHYSIO_MULTI_PARAM_MDS^MDC"


class Sender(msgspec.Struct, frozen=True, kw_only=True):
    """Who speaks: a made-up monitor. `test` writes processing id T, which no live case takes."""

    eui64: str
    name: str = "PLAYED"
    place: tuple[str, ...] = ()
    patient_id: str = ""
    patient_name: str = ""
    test: bool = False


class OutNumber(msgspec.Struct, frozen=True, kw_only=True):
    """One number: a term of our table by its id ("spo2", "co2-et"), the value as text, its UCUM unit. An empty value is a gap."""

    term: str
    value: str
    unit: str
    flags: tuple[str, ...] = ()
    status: str = "R"
    at: datetime | None = None
    limits: str = ""
    setting: bool = False
    channel: str = ""


class OutWave(msgspec.Struct, frozen=True, kw_only=True):
    """Samples of one wave: value = sample * scale + offset in `unit` (UCUM). None is a missing one. Scale and offset are exact."""

    term: str
    unit: str
    rate_hz: Decimal
    samples: tuple[int | None, ...]
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    flags: tuple[str, ...] = ()


def stamp(at: datetime) -> str:
    """A time as HL7 writes it, to the millisecond or finer where it has more, with its zone. `at` has a zone.

    >>> from datetime import UTC
    >>> stamp(datetime(2026, 3, 12, 10, 14, 57, 250_000, tzinfo=UTC))
    '20260312101457.250+0000'
    """
    if at.tzinfo is None:
        raise ValueError("a time without a zone")
    part = f"{at.microsecond:06d}"
    return f"{at:%Y%m%d%H%M%S}.{part if not part.endswith('000') else part[:3]}{at:%z}"


def write(
    tables: MonitorTables,
    sender: Sender,
    message_id: str,
    sent_at: datetime,
    numbers: Iterable[OutNumber] = (),
    waves: Iterable[OutWave] = (),
    *,
    waves_at: datetime | None = None,
) -> bytes:
    """One message, without its frame. Numbers stand at their own time or at `sent_at`. Each wave is a group of its own that begins
    at `waves_at` (the first sample) and ends where its samples end, so that a reader can count them."""
    lines = _head(sender, message_id, sent_at)
    row = 1
    lines.append(_obr(1, sent_at))
    lines.append(f"OBX|{row}||{MDS}|1.0.0.0|||||||X|||||||{escape(sender.eui64)}^^{escape(sender.eui64)}^EUI-64")
    channels: dict[str, int] = {}
    for metric, number in enumerate(numbers, 1):
        if number.channel and number.channel not in channels:
            channels[number.channel] = len(channels) + 1
            row += 1
            place = f"1.1.{channels[number.channel]}.0"
            lines.append(f"OBX|{row}||69711^MDC_DEV_ANALY_PRESS_BLD_CHAN^MDC|{place}|{escape(number.channel)}||||||X")
        row += 1
        lines.append(_number(tables, number, row, f"1.1.{channels.get(number.channel, 0)}.{metric}"))
    for group, wave in enumerate(waves, 2):
        start = waves_at if waves_at is not None else sent_at
        end = start + timedelta(microseconds=round(len(wave.samples) * 1_000_000 / float(wave.rate_hz)))
        lines.append(_obr(group, start, end))
        made = _wave(tables, wave, row, f"1.2.1.{group}")
        row += len(made)
        lines += made
    return "".join(f"{line}\r" for line in lines).encode("utf-8")


def _head(sender: Sender, message_id: str, sent_at: datetime) -> list[str]:
    who = f"{escape(sender.name)}^{escape(sender.eui64)}^EUI-64"
    lines = [
        f"MSH|^~\\&|{who}||||{stamp(sent_at)}||ORU^R01^ORU_R01|{escape(message_id)}|{'T' if sender.test else 'P'}|2.6|||NE|AL||"
        "UNICODE UTF-8|||IHE_PCD_001^IHE PCD^1.3.6.1.4.1.19376.1.6.1.1.1^ISO"
    ]
    if sender.patient_id or sender.patient_name:
        lines.append(f"PID|||{escape(sender.patient_id)}||{escape(sender.patient_name)}")
    if sender.place:
        lines.append(f"PV1||I|{'^'.join(escape(p) for p in sender.place)}")
    return lines


def _obr(n: int, start: datetime, end: datetime | None = None) -> str:
    return f"OBR|{n}|||182777000^monitoring of patient^SCT|||{stamp(start)}|{stamp(end) if end is not None else ''}".rstrip(
        "|"
    )


def _term(tables: MonitorTables, term: str) -> CodeRow:
    found = next((row for row in tables.codes if row.id == term), None)
    if found is None:
        raise Unknown(
            "term",
            f"{term!r} is not in the table of monitors.",
            "Terms: " + ", ".join(r.id for r in tables.codes) + ".",
        )
    return found


def _unit(tables: MonitorTables, ucum: str) -> UnitRow:
    found = tables.units_by_ucum.get(ucum)
    if found is None:
        raise Unknown(
            "unit", f"{ucum!r} is not in the table of monitors.", "Units: " + ", ".join(tables.units_by_ucum) + "."
        )
    return found


def _triple(unit: UnitRow, separator: str = "^") -> str:
    return separator.join((str(unit.number), unit.ref, "MDC"))


def _number(tables: MonitorTables, number: OutNumber, row: int, place: str) -> str:
    term = _term(tables, number.term)
    code, ref = dial_code(term) if number.setting else (term.number, term.ref)
    unit = _triple(_unit(tables, number.unit)) if number.value and number.unit else ""
    at = stamp(number.at) if number.at is not None else ""
    flags = "~".join(number.flags)
    return (
        f"OBX|{row}|{'NM' if number.value else ''}|{code}^{ref}^MDC|{place}|{escape(number.value)}|{unit}|{escape(number.limits)}|"
        f"{flags}|||{number.status}|||{at}"
    ).rstrip("|")


def _wave(tables: MonitorTables, wave: OutWave, row: int, place: str) -> list[str]:
    decimals = _decimals(wave)
    return (
        _attributes(tables, wave, row, place, decimals) if decimals is not None else _classic(tables, wave, row, place)
    )


def _decimals(wave: OutWave) -> int | None:
    """How many decimals write this wave exactly (scale 1, 0.1, ... 0.000001 and no offset), or None."""
    for decimals in range(7):
        if wave.scale == Decimal(1).scaleb(-decimals) and wave.offset == 0:
            return decimals
    return None


def _attributes(tables: MonitorTables, wave: OutWave, row: int, place: str, decimals: int) -> list[str]:
    term, flags = _term(tables, wave.term), "~".join(wave.flags)
    if decimals:
        samples = "^".join(
            "" if s is None else f"{'-' if s < 0 else ''}{_shifted(abs(s), decimals)}" for s in wave.samples
        )
    else:
        samples = "^".join("" if s is None else str(s) for s in wave.samples)
    return [
        f"OBX|{row + 1}|NA|{term.number}^{term.ref}^MDC|{place}|{samples}|{_triple(_unit(tables, wave.unit))}||{flags}|||R",
        f"OBX|{row + 2}|NM|0^MDC_ATTR_SAMP_RATE^MDC|{place}.1|{wave.rate_hz:f}|{_triple(_unit(tables, 'Hz'))}|||||R",
    ]


def _shifted(whole: int, decimals: int) -> str:
    digits = str(whole).rjust(decimals + 1, "0")
    return f"{digits[:-decimals]}.{digits[-decimals:]}"


def _classic(tables: MonitorTables, wave: OutWave, row: int, place: str) -> list[str]:
    """Value = (sample - baseline) * sensitivity; an offset that is no whole number of steps is refused rather than rounded."""
    baseline = -wave.offset / wave.scale
    if baseline * wave.scale != -wave.offset:
        raise Unknown(
            "offset", f"{wave.offset} is no exact multiple of the scale {wave.scale}.", "Give them so that it is."
        )
    term, flags = _term(tables, wave.term), "~".join(wave.flags)
    sensitivity = f"{wave.scale:f}&{_triple(_unit(tables, wave.unit), '&')}"
    samples = "^".join("" if s is None else str(s) for s in wave.samples)
    code = f"{term.number}&{{}}^{term.ref}^MDC"
    return [
        f"OBX|{row + 1}|CD|{code.format('CHN')}|{place}|1^^{sensitivity}^1&{baseline:f}&0^{wave.rate_hz:f}||||||R",
        f"OBX|{row + 2}|NA|{code.format('WAV')}|{place}|{samples}|||{flags}|||R",
    ]
