"""Breaths, troubles and findings of a recording laid out as plain data, in the unit and the time of its file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.finding import Finding
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.tables import CapnogramTables
from spiracle.sheets.capnogram_shapes import (
    BreathPart,
    CapnogramPart,
    CheckPart,
    FindingPart,
    MeasuredPart,
    TroublePart,
    Value,
)
from spiracle.sheets.worked_shape import cites
from spiracle.source import Sources

WRITTEN = {"mmHg": "mmHg", "kPa": "kPa", "percent": "%"}


@dataclass(frozen=True, slots=True)
class Recorded:
    """What is known of the file beside its samples."""

    file: str
    setup: Setup
    start_s: float
    seconds: float
    notes: tuple[str, ...] = ()


def capnogram_part(
    recorded: Recorded, breaths: Sequence[Breath], troubles: Sequence[Trouble], findings: Sequence[Finding],
    tables: CapnogramTables, sources: Sources,
) -> CapnogramPart:  # fmt: skip
    """Everything that was read. Where nothing was seen a figure is None, never nought."""
    page = _Page(recorded, tables, sources)
    rates = [b.rate_per_min for b in breaths if b.rate_per_min is not None]
    inspired = [b.fico2 for b in breaths if b.fico2 is not None]
    return CapnogramPart(
        file=recorded.file, unit=WRITTEN[recorded.setup.unit], sampling_rate=_value(recorded.setup.rate_hz, "Hz", 6),
        start_s=recorded.start_s, duration=_value(recorded.seconds, "s", 3),
        rate=_value(median(rates), "/min", 2) if rates else None,
        etco2=page.own(median(b.etco2 for b in breaths)) if breaths else None,
        fico2=page.own(median(inspired)) if inspired else None, notes=recorded.notes,
        findings=tuple(page.finding(f) for f in findings), troubles=tuple(page.trouble(t) for t in troubles),
        breaths=tuple(page.breath(b) for b in breaths),
    )  # fmt: skip


def _value(number: float, unit: str, places: int = 4) -> Value:
    return Value(value=round(float(number), places), unit=unit)


def _seen(number: float | None, unit: str, places: int = 4) -> Value | None:
    return None if number is None else _value(number, unit, places)


class _Page:
    def __init__(self, recorded: Recorded, tables: CapnogramTables, sources: Sources) -> None:
        self.recorded, self.tables, self.sources = recorded, tables, sources

    def own(self, mmhg: float) -> Value:
        """In the file's unit."""
        setup = self.recorded.setup
        return _value(mmhg / setup.to_mmhg, WRITTEN[setup.unit])

    def at(self, moment_s: float) -> float:
        return round(self.recorded.start_s + moment_s, 4)

    def breath(self, b: Breath) -> BreathPart:
        inspired = None if b.fico2 is None else self.own(b.fico2)
        return BreathPart(
            expiration_start_s=self.at(b.start_s), expiration_end_s=self.at(b.end_s),
            inspiration_start_s=None if b.before_s is None else self.at(b.before_s),
            etco2=self.own(b.etco2), fico2=inspired, etco2_mmhg=_value(b.etco2, "mmHg", 3), fico2_mmhg=_seen(b.fico2, "mmHg", 3),
            rate=_seen(b.rate_per_min, "/min", 3), ie_ratio=_seen(b.ie_ratio, "1"), upstroke=_value(b.upstroke_s, "s"),
            upstroke_slope=_value(b.upstroke_slope, "mmHg/s", 3), plateau_slope=_value(b.plateau_slope, "mmHg/s", 3),
            plateau_fraction=_value(b.plateau_fraction, "1"), alpha_angle=_value(b.alpha_deg, "deg", 2),
            area=_value(b.area, "mmHg.s", 3), downstroke=_seen(b.downstroke_s, "s"), ripple=_value(b.ripple, "mmHg", 3),
            ripple_rate=_seen(b.ripple_per_min, "/min", 2), missing=_value(b.missing, "1"), quality=b.quality, doubts=b.doubts,
        )  # fmt: skip

    def finding(self, f: Finding) -> FindingPart:
        row = self.tables.findings[f.name]
        checks = tuple(
            CheckPart(says=c.says, sources=cites(c.source, self.sources))
            for c in self.tables.checks
            if c.finding == f.name
        )
        to_s = self.recorded.seconds if f.to_s is None else f.to_s
        return FindingPart(
            name=f.name, title=row.title, from_s=self.at(f.from_s), to_s=self.at(to_s), standing=f.to_s is None, degree=f.degree,
            why=f.why, means=row.means, checks=checks, causes=row.causes,
            measured=tuple(MeasuredPart(what=m.what, value=round(m.value, 3), unit=m.unit) for m in f.measured),
        )  # fmt: skip

    def trouble(self, t: Trouble) -> TroublePart:
        to_s = self.recorded.seconds if t.to_s is None else t.to_s
        return TroublePart(kind=t.kind, from_s=self.at(t.from_s), to_s=self.at(to_s))
