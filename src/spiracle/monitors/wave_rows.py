"""Wave rows into waves, in two ways of writing them, both partly from memory.

With attributes: one NA row of values in the unit of its OBX-6, and rows one level under its OBX-4 that say how it is sampled.
Classic (HL7 v2 chapter 7): rows with the suffixes TIM, CHN, WAV, ANO under one OBX-4; the channel row gives sensitivity, unit,
baseline and sampling frequency, and the samples are whole counts.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

import msgspec

from spiracle.monitors.heard import Wave
from spiracle.monitors.tables import CodeRow, MonitorTables, UnitRow
from spiracle.monitors.units import decimal_of
from spiracle.refusals import OutOfRange

_ONE = r"(?:[+-]?(?:[0-9]{1,9}(?:\.[0-9]{0,6})?|\.[0-9]{1,6}))?"
_BLOCK = re.compile(rf"{_ONE}(?:\^{_ONE})*")
BLOCK = 4096
MOST = 2**31 - 1  # the archive keeps samples in 32 bits


class Sampling(msgspec.Struct, frozen=True, kw_only=True):
    """How a wave was sampled: rate [Hz], unit, and value = (sample - baseline) * sensitivity."""

    rate_hz: Decimal | None = None
    unit: UnitRow | None = None
    sensitivity: Decimal = Decimal(1)
    baseline: Decimal = Decimal(0)
    resolution: Decimal | None = None


class Samples(msgspec.Struct, frozen=True, kw_only=True):
    """One vector as whole numbers with the decimals they were written with, or why it cannot be read."""

    whole: tuple[int | None, ...] = ()
    decimals: int = 0
    why: str = ""


def vector(text: str) -> Samples:
    """Samples parted by ^; an empty one is missing, so an empty field is one missing sample. One that is no number makes the whole
    vector unreadable.

    >>> vector("4.1^4^^40.25").whole
    (410, 400, None, 4025)
    """
    parts = text.split("^")
    for start in range(0, len(parts), BLOCK):
        if not _BLOCK.fullmatch("^".join(parts[start : start + BLOCK])):
            return Samples(why="a sample is no number")
    if "." not in text:
        whole = [int(p) if p else None for p in parts]
        return Samples(whole=tuple(whole))
    decimals = max(len(p) - p.index(".") - 1 for p in parts if "." in p)
    times = 10**decimals
    # At most nine digits before the point and six after: the product is exact once rounded.
    whole = [round(float(p) * times) if p else None for p in parts]
    if any(w is not None and abs(w) > MOST for w in whole):
        return Samples(why="a sample has more digits than are kept")
    return Samples(whole=tuple(whole), decimals=decimals)


def vectors(kind: str, text: str, tables: MonitorTables) -> tuple[Samples, ...]:
    """The channels of an array row: NA has one vector a channel, MA one group an instant (ch1^ch2~ch1^ch2)."""
    most = tables.limit("message-samples")
    count = text.count("^") + text.count("~") + 1
    if count > most:
        raise OutOfRange("OBX-5", f"holds {count} samples.", f"At most {most} a message are read.")
    if kind == "NA":
        return tuple(vector(one) for one in text.split("~"))
    groups = [group.split("^") for group in text.split("~")]
    if len({len(group) for group in groups}) != 1:
        return (Samples(why="groups of unlike length"),)
    return tuple(vector("^".join(channel)) for channel in zip(*groups, strict=True))


def resolution_why(samples: Samples, resolution: Decimal | None) -> str:
    """Why a resolution contradicts its samples, or "". A row that gives a step finer than one beside samples written without
    decimals may mean counts or values: nobody can tell, so neither is taken."""
    if resolution is None or resolution == 1:
        return ""
    step = resolution * 10**samples.decimals
    if step <= 0:
        return "its resolution is no step"
    if samples.decimals == 0 or step != step.to_integral_value():
        return f"counts or values? the samples do not show the resolution of {resolution}"
    return (
        ""
        if all(w is None or w % int(step) == 0 for w in samples.whole)
        else "samples lie between steps of the resolution"
    )


def held_why(tables: MonitorTables, row: CodeRow | None, sampling: Sampling, status: str, why: str) -> str:
    """Why a wave is held, or ""."""
    low, high = tables.limit("rate-low"), tables.limit("rate-high")
    if why or row is None:
        return why or "number and name are not in our table"
    if sampling.rate_hz is None:
        return "no sampling rate"
    if not low <= sampling.rate_hz <= high:
        return f"{sampling.rate_hz} Hz is no sampling rate we take ({low} to {high})"
    if sampling.unit is None:
        return "no unit that we know"
    if sampling.unit.ucum not in row.units:
        return f"{sampling.unit.ucum} does not fit {row.says}"
    if not row.wave:
        return row.held or "no wave"
    return "" if status else "no result status"


def count_gap(samples: Sequence[object], sampling: Sampling, span: tuple[datetime, datetime] | None) -> str:
    """What is wrong with the count of samples against rate and duration (from OBR-7 to OBR-8), or ""."""
    if span is None or sampling.rate_hz is None:
        return ""
    seconds = Decimal(str((span[1] - span[0]).total_seconds()))
    expected = round(seconds * sampling.rate_hz)
    if seconds < 0:
        return "its end lies before its start"
    return "" if len(samples) == expected else f"{expected} samples expected, {len(samples)} came"


def wave_of(
    *,
    code: int | None,
    ref: str,
    row: CodeRow | None,
    sampling: Sampling,
    samples: Samples,
    why: str,
    gap: str,
    no_value: bool,
    device_at: datetime | None,
) -> Wave:
    """The wave as heard; `no_value` (a flag that leaves no value) makes every sample a missing one."""
    scale = sampling.sensitivity / 10**samples.decimals
    whole = tuple(None for _ in samples.whole) if no_value else samples.whole
    return Wave(
        code=code,
        ref=ref,
        wave="" if row is None or why else row.wave,
        unit=sampling.unit.ucum if sampling.unit is not None else "",
        rate_hz=float(sampling.rate_hz or 0),
        scale=float(scale),
        offset=float(-sampling.baseline * sampling.sensitivity),
        samples=whole,
        device_at=device_at,
        gap=gap,
        why=why,
    )


def positive(text: str) -> Decimal | None:
    """A number above nought, or None."""
    value = decimal_of(text)
    return value if value is not None and value > 0 else None
