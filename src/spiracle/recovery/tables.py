"""Recovery: the tube, the watch, the scores, the way out. Nobody is unwatched in the first three hours."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.quantity import figure, reading
from spiracle.recovery.rows import Line, Scale, Table, Watch
from spiracle.refusals import BadTable, Contradiction, OutOfRange, Unknown
from spiracle.source import Input, Mark, Sources, Worked, Working, need_sources, read_table
from spiracle.source.stated import Facts, read_stated


class RecoveryTables:
    """The recovery room's tables and answers."""

    def __init__(self, table: Table, facts: Facts) -> None:
        self.table, self.facts = table, facts
        for row in table.rows():
            for fact in row.facts:
                facts[fact]
        for state in (False, True):
            _no_gap([w for w in table.watch if w.sternal_and_warm is state], table.watching.first_minutes)

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> RecoveryTables:
        if "recovery" not in files:
            raise BadTable("recovery", "is not among the tables.")
        table = read_table(files["recovery"], Table, "recovery")
        for row in table.rows():
            need_sources(getattr(row, "id", type(row).__name__), row.source)
            sources.of(row.source)
        return cls(table, read_stated(files, "-facts", sources))

    # ---- the tube and the way out

    def extubation(self, species: str, conditions: Collection[str] = (), procedure: str = "") -> tuple[Line, ...]:
        """Signs to see before the tube comes out. A short-nosed animal's own sign takes the place of the usual one."""
        lines = [row for row in self.table.extubation if row.suits(species, conditions, procedure)]
        if any(row.id == "awake-chewing" for row in lines):
            lines = [row for row in lines if row.id not in {"swallows", "first-reflex"}]
        return tuple(lines)

    def ready_to_leave(self, species: str, conditions: Collection[str] = ()) -> tuple[Line, ...]:
        return tuple(row for row in self.table.leave if row.suits(species, conditions, ""))

    def sign_out(self, species: str = "any") -> tuple[Line, ...]:
        return self.table.sign_out

    def outcome_due(self, ended_at: datetime) -> datetime:
        """When the owner is asked how the animal is."""
        return ended_at + timedelta(hours=self.table.outcome.hours)

    # ---- the watch

    @property
    def first_minutes(self) -> int:
        return self.table.watching.first_minutes

    def is_warm(self, temp_c: Decimal | None) -> bool:
        """Warm enough for the longer interval; an unknown temperature is not warm."""
        return temp_c is not None and temp_c >= self.table.watching.warm_from_c

    def watch(self, minutes_since: int, *, sternal: bool = False, warm: bool = False) -> Worked[int]:
        """Minutes to the next look. After the first three hours the last interval goes on until someone ends the watch."""
        if minutes_since < 0:
            raise OutOfRange(
                "minutes", f"{minutes_since} is before the tube came out.", "Give minutes since extubation."
            )
        well = sternal and warm
        rows = [w for w in self.table.watch if w.sternal_and_warm is well]
        row = next((w for w in rows if w.from_min <= minutes_since < w.to_min), rows[-1])
        state = Input("state", "sternal and warm" if well else "not yet sternal and warm", Mark.TYPED)
        working = Working(f"every {row.every_min} min while {row.when}", (Input("since extubation", f"{minutes_since} min"), state),
                          held=(f"watched at least {self.first_minutes} min",), sources=row.source, memory=row.memory)  # fmt: skip
        return Worked(row.every_min, working)

    def next_look(
        self,
        extubated_at: datetime,
        last_look: datetime | None,
        *,
        sternal: bool = False,
        warm: bool = False,
        agreed_every: int | None = None,
    ) -> datetime | None:
        """When someone must look next; None only past the three hours with the animal sternal and warm.

        An interval agreed for the case may only shorten the table's: the first three hours are never empty.
        """
        start = extubated_at if last_look is None else max(extubated_at, last_look)
        since = int((start - extubated_at).total_seconds() // 60)
        if since >= self.first_minutes and sternal and warm:
            return None
        every = self.watch(since, sternal=sternal, warm=warm).value
        return start + timedelta(minutes=min(every, agreed_every) if agreed_every and agreed_every > 0 else every)

    def overdue(self, next_look: datetime | None, now: datetime) -> str:
        """Words once a look is overdue; past two minutes somebody else is called."""
        if next_look is None or now <= next_look:
            return ""
        late = int((now - next_look).total_seconds() // 60)
        limit = self.table.watching.late_after_min
        if late >= limit:
            return f"Nobody has looked for {late} min past the time: tell the lead."
        return "A look is due now."

    def temperature_wanted(self, last_c: Decimal | None, before_c: Decimal | None) -> str:
        """Why a temperature is still to be taken: unknown, not rising, or too low; empty when it rises and is near normal."""
        rule = self.table.watching
        if last_c is None:
            return "No temperature since the tube came out."
        if last_c >= rule.stop_temperature_from_c:
            return ""
        words = f"{reading(last_c, 1)} °C, under {reading(rule.stop_temperature_from_c, 1)} °C"
        if before_c is not None and last_c - before_c < rule.rising_by_c:
            return words + " and not rising."
        return words + "."

    # ---- scores

    def scales(self, kind: str = "pain", species: str | None = None) -> tuple[Scale, ...]:
        wanted = {species, "any"} if species else {"dog", "cat", "any"}
        return tuple(s for s in self.table.scale if s.kind == kind and s.species in wanted)

    def scale(self, name: str) -> Scale:
        """A scale by id or by name."""
        plain = name.strip().lower()
        for row in self.table.scale:
            if plain in {row.id, row.name.lower()}:
                return row
        raise Unknown(
            "scale", f"{name!r} is not a listed scale.", "Scales: " + ", ".join(s.name for s in self.table.scale) + "."
        )

    def check_score(self, scale: str, score: Decimal, out_of: Decimal) -> None:
        """A score must lie on its scale, and `out_of` must be that scale's top."""
        row = self.scale(scale)
        if out_of != row.high:
            same = [
                s.name for s in self.table.scale if s.high == out_of and s.species == row.species and s.kind == row.kind
            ]
            hint = f" {same[0]} has that range." if same else ""
            raise Contradiction(
                "score",
                f"{row.name} goes to {figure(row.high)}, not {figure(out_of)}.",
                f"Give it of {figure(row.high)}.{hint}",
            )
        if not score.is_finite() or score != score.to_integral_value() or not row.low <= score <= row.high:
            raise OutOfRange(
                "score",
                f"{score} is not on {row.name}.",
                f"Give a whole number, {figure(row.low)} to {figure(row.high)}.",
            )

    def wants_relief(self, scale: str, score: Decimal, out_of: Decimal) -> bool | None:
        """Whether the score is one at which relief is due; None where the scale has no such point."""
        self.check_score(scale, score, out_of)
        row = self.scale(scale)
        return None if row.act_at is None else score >= row.act_at


def _no_gap(rows: Iterable[Watch], first_minutes: int) -> None:
    """The watch must hold from the first minute to the end of the first three hours, with no hole."""
    at = 0
    for row in sorted(rows, key=lambda w: w.from_min):
        if row.from_min > at:
            raise BadTable(
                "watch", f"is empty from minute {at} to {row.from_min}.", "Nobody is unwatched in the first hours."
            )
        at = max(at, row.to_min)
    if at < first_minutes:
        raise BadTable(
            "watch", f"ends at minute {at}, before {first_minutes}.", "Nobody is unwatched in the first hours."
        )
