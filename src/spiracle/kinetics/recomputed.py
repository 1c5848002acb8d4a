"""Every row worked out again: what its constants give, beside what its paper printed, and how far a set misses measured levels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

from spiracle.kinetics.choosing import by_id
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.rows import ModelRow, Printed, Role, VerificationRow
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels
from spiracle.kinetics.tables import KineticsTables

LN2 = log(2)
IN_OURS = {
    "L/kg": 1.0, "mL/kg": 1e-3, "L/kg/min": 1.0, "mL/kg/min": 1e-3, "L/kg/h": 1 / 60, "min": 1.0, "h": 60.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Recomputed:
    """One figure of one row: as printed and as worked out, both in the printed unit. `bound`: the print must be at least `got`."""

    row: str
    what: str
    printed: float
    got: float
    unit: str
    bound: bool = False

    @property
    def off_percent(self) -> float:
        """How far what was worked out lies from the print [% of the print]."""
        return 100 * (self.got / self.printed - 1)

    def disagrees(self, within_percent: float) -> bool:
        return self.got > self.printed if self.bound else abs(self.off_percent) > within_percent


@dataclass(frozen=True, slots=True)
class Verified:
    """One published moment under one set: the level our solver gives [mg/L] beside the measured one, if one was."""

    row: VerificationRow
    got: float

    @property
    def off_percent(self) -> float | None:
        """Against the measured level [%]; None where none was measured."""
        return None if self.row.published is None else 100 * (self.got / float(self.row.published) - 1)

    @property
    def holds(self) -> bool:
        """Whether a measured level is met within the row's own tolerance."""
        off, within = self.off_percent, self.row.within_percent
        return off is None or within is None or abs(off) <= float(within)


def recompute(tables: KineticsTables) -> tuple[Recomputed, ...]:
    """Half-lives, volumes, clearance and mean residence time of every row whose print allows it, in the order of the tables."""
    return tuple(found for row in tables.models for found in _recomputed(row, tables))


def disagreements(tables: KineticsTables) -> tuple[Recomputed, ...]:
    """Those farther from their print than the setting allows, or under a bound that no set can pass."""
    within = tables.settings["recomputed-within"].number
    return tuple(r for r in recompute(tables) if r.disagrees(within))


def verify(tables: KineticsTables) -> tuple[Verified, ...]:
    """Every verification row by the solver."""
    return tuple(Verified(row, _level(row, tables)) for row in tables.verifications)


def area_volume(clearance: float, half_life: float) -> float:
    """Area volume [L/kg] = clearance x half-life / ln 2, what many papers print as volume of distribution [L/kg/min, min].

    >>> round(area_volume(0.027, 77), 3)
    2.999
    """
    return clearance * half_life / LN2


def least_half_life(vss: float, clearance: float) -> float:
    """No set that is cleared from its centre has a terminal half-life [min] under ln 2 x Vss / clearance [L/kg, L/kg/min].

    >>> round(least_half_life(0.93574, 0.02602), 1)
    24.9
    """
    return LN2 * vss / clearance


def _recomputed(row: ModelRow, tables: KineticsTables) -> Iterator[Recomputed]:
    if row.runs is not None and row.saturating is None:
        given = constants_of(by_id(tables, row.id).disposition)
        for printed in row.printed:
            if printed.role in given:
                yield _beside(row, printed, given[printed.role], printed.what)
    clearance, half_life, vss = (_canonical(row.figure(role)) for role in ("CL", "half-life", "Vss"))
    if clearance and half_life:
        for role in ("V", "Vz"):
            volume = row.figure(role)
            if volume is not None and not (row.runs and role == "Vz"):
                yield _beside(row, volume, area_volume(clearance, half_life), f"{volume.what}, as area volume")
    mrt = row.figure("MRT")
    if clearance and vss and mrt is not None and row.runs is None:
        yield _beside(row, mrt, vss / clearance, "mean residence time, as Vss / clearance")
    end = row.figure("half-life")
    if clearance and vss and end is not None:
        least = _beside(row, end, least_half_life(vss, clearance), f"{end.what}, at least ln 2 x Vss / clearance")
        yield Recomputed(least.row, least.what, least.printed, least.got, least.unit, bound=True)


def constants_of(disposition: Disposition) -> dict[Role | None, float]:
    """What a set's constants come to [L/kg, L/kg/min, min], under the names that printed figures have."""
    half_lives = [float(t) for t in disposition.half_lives()]
    clearance = float(disposition.clearance)
    found: dict[Role | None, float] = {
        "CL": clearance,
        "V1": float(disposition.v1),
        "Vss": float(disposition.vss()),
        "MRT": float(disposition.mrt()),
        "half-life": half_lives[-1],
        "Vz": area_volume(clearance, half_lives[-1]),
    }
    if len(half_lives) > 1:
        found["first half-life"] = half_lives[0]
    if len(half_lives) > 2:
        found["second half-life"] = half_lives[1]
    names: tuple[tuple[Role, Role], ...] = (("Q2", "V2"), ("Q3", "V3"))
    for (q, v), (flow, volume) in zip(names, disposition.exchange, strict=False):
        found[q], found[v] = float(flow), float(volume)
    return found


def _level(row: VerificationRow, tables: KineticsTables) -> float:
    doses = tuple(Bolus(float(d.at), float(d.dose), float(d.over or 0)) for d in row.doses)
    runs = tuple(Infusion(float(i.start), float(i.stop), float(i.rate)) for i in row.infusions)
    found = levels(by_id(tables, row.model).disposition, Schedule(doses, runs), [float(row.minute)])
    level = found.plasma if row.site == "plasma" or found.effect is None else found.effect
    return float(level[..., 0])


def _canonical(printed: Printed | None) -> float | None:
    if printed is None or printed.unit not in IN_OURS:
        return None
    return float(printed.figures[0]) * IN_OURS[printed.unit]


def _beside(row: ModelRow, printed: Printed, got: float, what: str) -> Recomputed:
    return Recomputed(row.id, what, float(printed.figures[0]), got / IN_OURS[printed.unit], printed.unit)
