"""FHIR SampledData as a wave: whole numbers, exactly as sent, with the scale that gives the values."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal

import msgspec

from spiracle.monitors.codes import find, number_of
from spiracle.monitors.fhir_shapes import Coding, Concept, Sampled
from spiracle.monitors.heard import Wave
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.topic import INT32, plain
from spiracle.monitors.units import by_ucum

NO_VALUE = frozenset({"E", "U", "L"})  # error, above and below what can be told (from memory): samples that are missing
_DATUM = re.compile(r"[+-]?[0-9]{1,12}(?:\.([0-9]{1,8}))?")


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """The wave, or none and why."""

    wave: Wave | None = None
    problems: tuple[str, ...] = ()


def wave_of(tables: MonitorTables, code: Concept, sampled: Sampled, at: datetime | None) -> Made:
    """Value = origin + datum x factor. Data with decimals become whole numbers of their last place: 2.00 2.01 is 200 201 at 0.01."""
    fault = _fault(tables, sampled)
    if fault:
        return Made(problems=(fault,))
    words = sampled.data.split()
    if len(words) > tables.limit("message-samples"):
        return Made(problems=(f"The wave has {len(words)} samples, more than {tables.limit('message-samples')}.",))
    read = _whole(words)
    if isinstance(read, str):
        return Made(problems=(read,))
    samples, places = read
    step = sampled.factor.scaleb(-places)
    origin = sampled.origin.value or Decimal(0)
    coding = code.mdc() or Coding()
    term = find(tables, number_of(coding.code), coding.display)
    unit = by_ucum(tables, sampled.origin.ucum)
    why, name = term.why, ""
    if term.row is not None:
        fits = unit is not None and unit.ucum in term.row.units
        name = term.row.wave if fits else ""
        why = "" if name else term.row.held or f"the unit {sampled.origin.ucum!r} does not fit"
    wave = Wave(
        code=term.code, ref=coding.display, wave=name, unit=sampled.origin.ucum, rate_hz=float(1000 / sampled.period), scale=float(step),
        offset=float(origin), samples=samples, device_at=at, why=why,
    )  # fmt: skip
    return Made(wave=wave, problems=_outside(sampled, samples, step, origin))


def _fault(tables: MonitorTables, sampled: Sampled) -> str:
    if sampled.dimensions != 1:
        return f"A wave of {sampled.dimensions} values at a time is not read."
    given = (sampled.period, sampled.factor, sampled.origin.value or Decimal(0))
    if not all(plain(value) for value in given) or not sampled.factor:
        return "Period, factor and origin of a wave must be numbers."
    if sampled.period <= 0 or not tables.limit("rate-low") <= 1000 / sampled.period <= tables.limit("rate-high"):
        return f"A wave with a sample every {sampled.period} ms is outside what is read."
    if sampled.origin.value is None:
        return "The wave has no origin."
    return ""


def _whole(words: list[str]) -> tuple[tuple[int | None, ...], int] | str:
    """The data as whole numbers and the places they were moved by, or why not. One word that is no datum spoils the wave."""
    if not words:
        return "The wave has no samples."
    places = 0
    for word in words:
        found = _DATUM.fullmatch(word)
        if found is None and word not in NO_VALUE:
            return f"The wave has a sample {word[:16]!r}, which is no number: not read."
        places = max(places, len(found[1] or "") if found else 0)
    samples = tuple(None if word in NO_VALUE else int(Decimal(word).scaleb(places)) for word in words)
    if any(sample is not None and not -INT32 <= sample < INT32 for sample in samples):
        return "The wave has samples of more than 32 bits."
    return samples, places


def _outside(sampled: Sampled, samples: tuple[int | None, ...], step: Decimal, origin: Decimal) -> tuple[str, ...]:
    """Samples beyond the device's limits are told, and kept as they are."""
    low, high = sampled.lower_limit, sampled.upper_limit
    values = [origin + sample * step for sample in samples if sample is not None]
    count = sum((low is not None and value < low) or (high is not None and value > high) for value in values)
    return (f"{count} samples of the wave lie outside the limits the device gives.",) if count else ()
