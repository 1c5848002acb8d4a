"""Temperature: its grade by a named scale, the fall to expect, and when hands are put to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from spiracle.quantity import Quantity, figure, nearest, reading, unit
from spiracle.refusals import BadTable, NotOneOf, OutOfRange, Unknown
from spiracle.source import Input, Mark, Sources, Worked, Working, need_sources, read_table
from spiracle.source.stated import Facts, read_stated
from spiracle.warmth.rows import Band, Course, Table, WarmLimit

_TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class Grade:
    """A grade is worth nothing without its scale: `sentence` says both."""

    scale: str
    id: str
    words: str
    index: int
    scale_words: str
    source: tuple[str, ...]
    memory: bool

    @property
    def sentence(self) -> str:
        return f"{self.words}, {self.scale_words}"


def expected_fall(course: Course, minutes: int) -> tuple[Decimal, Decimal]:
    """Mean fall [°C] since before premedication, and the spread (one SD) of the series at that minute.

    Straight lines between the published points at 0, 60, 120 and 180 min; beyond the last nothing is known. Most of
    the series' animals were not warmed as one would today. Source: rows H3, H6, H8.
    """
    points = course.points
    if not points[0].minute <= minutes <= points[-1].minute:
        raise OutOfRange("minutes", f"{minutes} min lies outside the series.", f"Give 0 to {points[-1].minute} min.")
    for left, right in pairwise(points):
        if minutes <= right.minute:
            share = Decimal(minutes - left.minute) / (right.minute - left.minute)
            mean = left.mean + (right.mean - left.mean) * share
            return points[0].mean - mean, left.sd + (right.sd - left.sd) * share
    raise OutOfRange("minutes", f"{minutes} min lies outside the series.")


def from_fahrenheit(f: Decimal) -> Decimal:
    """Degrees Celsius of a Fahrenheit reading: (F - 32) x 5/9, by definition.

    >>> round(from_fahrenheit(Decimal(98)), 2)
    Decimal('36.67')
    """
    return (f - 32) * 5 / 9


def band_of(bands: Iterable[Band], c: Decimal) -> Band:
    """The warmest band that holds a temperature; the coldest band of a scale is open below."""

    def warmest_first(band: Band) -> tuple[int, Decimal]:
        if band.above is not None:
            return (0, -band.above)
        return (1, -band.start) if band.start is not None else (2, Decimal(0))

    return next(b for b in sorted(bands, key=warmest_first) if b.holds(c))


class WarmthTables:
    """The warmth room's tables and answers."""

    def __init__(self, table: Table, facts: Facts) -> None:
        self.table, self.facts = table, facts
        known = {s.id for s in table.scale}
        for band in table.grade:
            if band.scale not in known:
                raise BadTable(f"grade {band.id}", f"belongs to no scale {band.scale!r}.")
        for row in table.rows():
            for fact in row.facts:
                facts[fact]
        for course in table.course:
            minutes = [p.minute for p in course.points]
            if minutes != sorted(set(minutes)) or minutes[0] != 0:
                raise BadTable(f"course of the {course.species}", "must run from minute 0 upward.")

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> WarmthTables:
        if "warmth" not in files:
            raise BadTable("warmth", "is not among the tables.")
        table = read_table(files["warmth"], Table, "warmth")
        for row in table.rows():
            need_sources(getattr(row, "id", type(row).__name__), row.source)
            sources.of(row.source)
        return cls(table, read_stated(files, "-facts", sources))

    @property
    def scales(self) -> tuple[str, ...]:
        return tuple(s.id for s in self.table.scale)

    def grade(self, temp_c: Decimal, scale: str = "series-2012") -> Grade:
        """The grade of a temperature on one scale."""
        row = next((s for s in self.table.scale if s.id == scale), None)
        if row is None:
            raise NotOneOf(
                "scale", f"{scale!r} is not a scale of temperature.", "Scales: " + ", ".join(self.scales) + "."
            )
        if not 15 <= temp_c <= 45:
            raise OutOfRange("temperature", f"{figure(temp_c)} °C is no body temperature.", "Give 15 to 45 °C.")
        band = band_of((b for b in self.table.grade if b.scale == scale), temp_c)
        return Grade(scale, band.id, band.words, band.index, row.words, row.source, row.memory)

    def _course(self, species: str) -> Course:
        found = next((c for c in self.table.course if c.species == species), None)
        if found is None:
            raise Unknown("species", f"{species!r} has no series of temperatures.", 'Say "dog" or "cat".')
        return found

    def expected_fall(self, species: str, minutes: int) -> Worked[Quantity]:
        """The mean fall of the published series by then; a prediction, never a reading."""
        course = self._course(species)
        fall, spread = expected_fall(course, minutes)
        return Worked(Quantity(nearest(fall, _TENTH), unit("Cel")), self._working(course, minutes, spread))

    def expected(self, species: str, start_c: Decimal, minutes: int) -> Worked[Quantity]:
        """Where a temperature may be by then: this animal's start less the series' mean fall. A prediction."""
        course = self._course(species)
        fall, spread = expected_fall(course, minutes)
        working = self._working(course, minutes, spread)
        start = Input("before", f"{reading(start_c, 1)} °C", Mark.MEASURED)
        return Worked(Quantity(nearest(start_c - fall, _TENTH), unit("Cel")),
                      Working(working.says, (start, *working.inputs), working.held, sources=working.sources,
                              memory=working.memory, estimated=True))  # fmt: skip

    def _working(self, course: Course, minutes: int, spread: Decimal) -> Working:
        says = f"mean fall of {course.animals} {course.species}s by {minutes} min after induction, a prediction"
        held = (f"one animal of three lies outside ± {reading(spread, 1)} °C",)
        return Working(says, (Input("minutes", str(minutes)),), held, sources=course.source, memory=course.memory,
                       estimated=True)  # fmt: skip

    def limits(self, species: str) -> tuple[WarmLimit, ...]:
        return tuple(row for row in self.table.limit if row.species in {species, "any"})

    def met(self, species: str, temp_c: Decimal) -> tuple[WarmLimit, ...]:
        """The limits a temperature has reached, in the table's order."""
        return tuple(row for row in self.limits(species) if row.met(temp_c))

    @property
    def rewarming_rate(self) -> Worked[Quantity]:
        rules = self.table.rules
        working = Working(
            "about this much an hour with warm air", sources=rules.source, memory=rules.memory, estimated=True
        )
        return Worked(Quantity(rules.rewarm_c_per_h, unit("Cel/h")), working)

    @property
    def probe_prompt_min(self) -> int:
        return self.table.rules.probe_prompt_min

    @property
    def look_every_min(self) -> int:
        return self.table.rules.look_every_min
