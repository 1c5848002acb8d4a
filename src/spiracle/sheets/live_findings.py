"""A finding of the CO2 trace as the panel tells it: title, sentence, figures, first looks with their sources, what else it could be."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from spiracle.capnogram.finding import Finding, Measured
from spiracle.capnogram.proof import Proof
from spiracle.capnogram.tables import CapnogramTables
from spiracle.sheets.live_shapes import AirwayOffer, LiveCheck, LiveFinding
from spiracle.sheets.shapes import Priority
from spiracle.source import Sources


def live_finding(
    f: Finding, moment: Callable[[float], datetime], tables: CapnogramTables, sources: Sources
) -> LiveFinding:
    row = tables.finding(f.name)
    return LiveFinding(
        name=f.name, title=row.title, why=f.why, degree=f.degree, priority=priority_of(f, urgent=row.urgent), since=moment(f.from_s),
        until=None if f.to_s is None else moment(f.to_s), measured=tuple(map(figure_words, f.measured)),
        checks=tuple(LiveCheck(text=c.says, source="; ".join(s.citation for s in sources.of(c.source)), memory=c.memory)
                     for c in tables.first_checks(f.name)),
        causes=tables.causes(f.name),
    )  # fmt: skip


def priority_of(f: Finding, *, urgent: bool) -> Priority | None:
    """Three levels as everywhere: what kills within minutes comes first, and what is normal is no alert."""
    if f.name == "normal":
        return None
    if urgent:
        return "medium" if f.degree == "mild" else "high"
    return "medium" if f.degree == "severe" else "low"


def figure_words(m: Measured) -> str:
    shown = f"{m.value:.0f}" if abs(m.value) >= 10 else f"{m.value:.1f}"
    return f"{m.what} {shown} {m.unit}".strip()


def airway_offer(proof: Proof, needed: int, since: datetime) -> AirwayOffer:
    """Offered to a person, who looks and declares; nothing writes it by itself (A1)."""
    return AirwayOffer(side=proof.side, breaths=proof.breaths, needed=needed, text=proof.why, since=since)
