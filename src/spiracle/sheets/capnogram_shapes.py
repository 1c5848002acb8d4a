"""A recording of CO2 as plain data: what `spiracle capnogram --format json` prints and what its text and picture are made from.

JSON Schema of this page is doors/capnogram.schema.json, and the tests hold the output to it. Moments are seconds in the file's own
time; end-tidal and inspired CO2 in the file's own unit, and in mmHg beside it.
"""

from __future__ import annotations

import msgspec

from spiracle.sheets.plan_shapes import Cite, Plain


class Value(Plain, frozen=True, kw_only=True):
    """A number with its unit; unit 1 is a plain share or ratio."""

    value: float
    unit: str


class BreathPart(Plain, frozen=True, kw_only=True):
    """One expiration and the inspiration before it. A figure that could not be seen is null."""

    expiration_start_s: float
    expiration_end_s: float
    inspiration_start_s: float | None
    etco2: Value
    fico2: Value | None
    etco2_mmhg: Value
    fico2_mmhg: Value | None
    rate: Value | None
    ie_ratio: Value | None
    upstroke: Value
    upstroke_slope: Value
    plateau_slope: Value
    plateau_fraction: Value
    alpha_angle: Value
    area: Value
    downstroke: Value | None
    ripple: Value
    ripple_rate: Value | None
    missing: Value
    quality: str
    doubts: tuple[str, ...]


class MeasuredPart(Plain, frozen=True, kw_only=True):
    """A figure behind a finding."""

    what: str
    value: float
    unit: str


class CheckPart(Plain, frozen=True, kw_only=True):
    """One thing to look at first, and whose word it is."""

    says: str
    sources: tuple[Cite, ...]


class FindingPart(Plain, frozen=True, kw_only=True):
    """What a stretch of trace shows. One that still stood when the recording ended has `standing`, and ends with it."""

    name: str
    title: str
    from_s: float
    to_s: float
    standing: bool
    degree: str
    why: str
    means: str
    measured: tuple[MeasuredPart, ...]
    checks: tuple[CheckPart, ...]
    causes: tuple[str, ...]


class TroublePart(Plain, frozen=True, kw_only=True):
    """A stretch of the signal that is no breathing: samples missing, off scale, stuck or noise."""

    kind: str
    from_s: float
    to_s: float


class CapnogramPart(Plain, frozen=True, kw_only=True):
    """The whole recording. `rate` is the middle of the breaths' own rates, null where no two breaths follow each other. `notes` say
    what was assumed and what was left unread."""

    file: str
    unit: str
    sampling_rate: Value
    start_s: float
    duration: Value
    rate: Value | None
    etco2: Value | None
    fico2: Value | None
    notes: tuple[str, ...]
    findings: tuple[FindingPart, ...]
    troubles: tuple[TroublePart, ...]
    breaths: tuple[BreathPart, ...]


def capnogram_json(made: CapnogramPart) -> bytes:
    """The page as JSON, two spaces in, ending in a line break."""
    return msgspec.json.format(msgspec.json.encode(made), indent=2) + b"\n"
