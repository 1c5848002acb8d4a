"""Limits are values: a usual band and a hard one, each with its source. Classify and say which; never clamp."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from spiracle.quantity import Quantity, figure
from spiracle.refusals import BadTable


class Zone(StrEnum):
    USUAL = "usual"
    UNUSUAL = "unusual"
    FORBIDDEN = "forbidden"


@dataclass(frozen=True, slots=True)
class Guardrail:
    """Bounds of one figure. `hard_high` None means that no hard stop was found, and the screen says so.

    `memory` is the row's, `hard_memory` that of the stop itself.
    Inconsistent bounds are refused when the guardrail is made, so a later check can trust it.
    """

    name: str
    usual_low: Quantity
    usual_high: Quantity
    hard_high: Quantity | None = None
    hard_low: Quantity | None = None
    sources: tuple[str, ...] = ()
    memory: bool = False
    hard_memory: bool = False

    def __post_init__(self) -> None:
        if self.usual_low > self.usual_high:
            raise BadTable(self.name, f"usual {self.usual_low} to {self.usual_high} runs backwards.")
        if self.hard_high is not None and self.usual_high > self.hard_high:
            raise BadTable(self.name, f"usual top {self.usual_high} is over the hard stop {self.hard_high}.")
        if self.hard_low is not None and self.usual_low < self.hard_low:
            raise BadTable(self.name, f"usual bottom {self.usual_low} is under the hard floor {self.hard_low}.")

    def zone(self, x: Quantity) -> Zone:
        """Which zone a value lies in; a bound belongs to the kinder side."""
        if self.hard_high is not None and x > self.hard_high:
            return Zone.FORBIDDEN
        if self.hard_low is not None and x < self.hard_low:
            return Zone.FORBIDDEN
        return Zone.USUAL if self.usual_low <= x <= self.usual_high else Zone.UNUSUAL

    @property
    def sentence(self) -> str:
        stop = f"hard stop {_brief(self.hard_high)}" if self.hard_high is not None else "no published hard stop"
        return f"usual {_brief(self.usual_low)} to {_brief(self.usual_high)}, {stop}"


def _brief(bound: Quantity) -> str:
    """A bound as printed: four digits are more than any limit means; the comparison itself stays exact."""
    return f"{figure(bound.value, 4)} {bound.unit}".strip()
