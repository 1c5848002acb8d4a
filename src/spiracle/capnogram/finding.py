"""What the shape of a stretch of trace means: a name, how strongly, the figures that made it, and words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Name = Literal[
    "normal", "no-breaths", "fading-breaths", "leak", "obstruction", "rebreathing", "cardiogenic-oscillations", "effort-notch",
    "sudden-loss", "exponential-fall", "high-co2", "low-co2", "apnoea", "panting", "artefact",
]  # fmt: skip
Degree = Literal["mild", "moderate", "severe"]


@dataclass(frozen=True, slots=True)
class Measured:
    """One figure behind a finding: in words, value, unit."""

    what: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Finding:
    """From, to (None while it lasts), degree, the figures, and one plain sentence. Checks and causes are looked up by name."""

    name: Name
    from_s: float
    to_s: float | None
    degree: Degree
    why: str
    measured: tuple[Measured, ...]
