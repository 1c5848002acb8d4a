"""What stands on the live CO2 wave, told among the advice: it asks for a hand as any other line does, and it answers for the tube."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from spiracle.sheets.calling import call_act
from spiracle.sheets.live_shapes import AirwayOffer, LiveFinding
from spiracle.sheets.shapes import Advice
from spiracle.sheets.told import Told

# What a line about the tube says already, where there is one.
TUBE_SAYS = frozenset({"no-breaths", "fading-breaths", "apnoea", "sudden-loss"})


class OnWave(msgspec.Struct, frozen=True, kw_only=True):
    """The findings that stand now and the breaths since the tube went in, of a wave that still comes."""

    airway: AirwayOffer | None = None
    findings: tuple[LiveFinding, ...] = ()

    @property
    def asks(self) -> tuple[bool, tuple[tuple[str, str], ...]]:
        """What the advice makes of it: a page asks for its sheet again when this changes."""
        return self.breathes, tuple((f.name, f.degree) for f in self.findings if f.priority is not None)

    @property
    def breathes(self) -> bool:
        """Whether breaths of CO2 were read since the tube went in, and nothing speaks against them."""
        return self.airway is not None and self.airway.side != "doubt" and self.airway.breaths > 0


def wave_advice(t: Told, wave: OnWave, tube_said: bool) -> Iterable[Advice]:
    """A line for each finding that asks for something; `tube_said`: a line about the tube stands already."""
    for f in wave.findings:
        if f.priority is None or f.until is not None or (tube_said and f.name in TUBE_SAYS):
            continue
        looks = " ".join(c.text for c in f.checks[:3])
        yield Advice(
            id=f"wave {f.name}",
            priority=f.priority,
            title=f"{f.title}, {f.degree}, on the CO₂ wave.",
            since=f.since,
            body=f"{f.why} {looks}".strip(),
            acts=call_act(t, f.title),
        )
