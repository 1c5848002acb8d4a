"""How a predicted level is said: its unit, its rounding, a span with ≈, and minutes that are never more exact than they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from spiracle.kinetics.choosing import Model
from spiracle.quantity import figure
from spiracle.sheets.told import Told

NANO = frozenset({"ng/mL", "ng/ml", "mcg/L"})


@dataclass(frozen=True, slots=True)
class Scale:
    """The unit on the screen and how many of it are in one mg/L."""

    unit: str
    factor: float

    def points(self, row: Iterable[float]) -> list[float]:
        """Three figures: a prediction has no more. Just before a first push an even grid leaves a rounding under zero: that is none."""
        return [float(f"{max(0.0, value * self.factor):.3g}") for value in row]

    def top(self, highest: float, marks: Iterable[float]) -> float:
        """The top of the paper: the band and the marks that lie within twice of it, with a little room."""
        near = [m for m in marks if m <= 2 * highest]
        return float(f"{max([highest, *near], default=1.0) * 1.12 or 1.0:.2g}")


def scale_of(t: Told, drug: str, model: Model) -> Scale:
    """ng/mL for what its formulary rows dose in mcg, else mcg/mL."""
    rows = [r for r in t.facts.drugs.all_rows() if r.drug == drug and t.species in r.species]
    in_mcg = [r for r in rows if str(r.unit).startswith("mcg")]
    return Scale("ng/mL", 1000.0) if rows and len(in_mcg) * 2 > len(rows) else Scale("mcg/mL", 1.0)


def in_scale(scale: Scale, value: float, unit: str) -> float:
    """A printed level in the unit of the screen. ug/mL and mg/L are one and the same."""
    mg_l = value / 1000 if unit in NANO else value
    return mg_l * scale.factor


def span_words(scale: Scale, low: float, high: float) -> str:
    """From levels [mg/L] to ≈ 1.2 to 2.6 mcg/mL."""
    a, b = (figure(Decimal(str(x * scale.factor)), 2) for x in (low, high))
    return f"≈ {a} to {b} {scale.unit}" if a != b else f"≈ {a} {scale.unit}"


def minutes_words(low: float, high: float) -> str:
    """A span of minutes: seconds under two minutes in tens, hours over two."""
    if high < 2:
        first, last = (10 * round(x * 6) for x in (low, high))
        return f"{first} to {last} s" if first != last else f"{last} s"
    if low >= 120:
        a, b = (figure(Decimal(str(x / 60)), 2) for x in (low, high))
        return f"{a} to {b} h" if a != b else f"{a} h"
    a, b = (figure(Decimal(str(x)), 2) for x in (low, high))
    return f"{a} to {b} min" if a != b else f"{a} min"


def clock(t: Told, at: datetime) -> str:
    """The time of day; of another day than now's, with its date."""
    local, today = at.astimezone(t.names.zone), t.now.astimezone(t.names.zone)
    day = "" if local.date() == today.date() else f"{local.day} {local:%b} "
    return f"{day}{local:%H:%M:%S}"
