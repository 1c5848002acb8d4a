"""The machines' own book as the ledger has it: what was read of each machine's list today, its last leak test, its open faults.

Carries A9, A19. The list belongs to a machine and a day of the hospital's own calendar: yesterday's is no check of today, and
its order turns with the date, so that nobody says it by heart. The relief valve OPEN stands last on every day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from spiracle.breathing import DropLeak, LeakVerdict, ListRow, leak_from_drop, leak_verdict, lists
from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Missing, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

LEAK_LINE = "machine.leak"
VERY_FAST = Decimal(1)  # seconds on the screen: our own choice, nobody reads a line, looks and answers in less
State = Literal["done", "fault", "skipped", "now", "ahead"]


@dataclass(frozen=True, slots=True)
class MachineBook:
    """What stands in the ledger about machines, oldest first."""

    lines: tuple[ev.MachineLineDone, ...] = ()
    leaks: tuple[ev.MachineLeakTested, ...] = ()
    found: tuple[ev.MachineFaultFound, ...] = ()
    mended: tuple[ev.MachineFaultMended, ...] = ()

    def faults(self, machine: str) -> tuple[ev.MachineFaultFound, ...]:
        """Those nobody has mended: they stay with the machine over every midnight."""
        over = {m.fault for m in self.mended}
        return tuple(f for f in self.found if f.machine == machine and f.fault not in over)

    def machines(self) -> tuple[str, ...]:
        """Every machine that was ever written about."""
        written: tuple[ev.MachineLineDone | ev.MachineLeakTested | ev.MachineFaultFound, ...] = (
            *self.lines, *self.leaks, *self.found,
        )  # fmt: skip
        return tuple(dict.fromkeys(e.machine for e in written))


NO_BOOK = MachineBook()


def machine_book(ledger: Case) -> MachineBook:
    return MachineBook(
        ledger.live(ev.MachineLineDone), ledger.live(ev.MachineLeakTested), ledger.live(ev.MachineFaultFound),
        ledger.live(ev.MachineFaultMended),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class LeakFound:
    """A leak test held against the published limits. `refusal` where today's tables would not take it any more."""

    test: ev.MachineLeakTested
    leak: Quantity | None = None
    held: LeakVerdict | None = None
    fall: DropLeak | None = None
    refusal: Refusal | None = None

    @property
    def fails(self) -> bool:
        return self.held is None or self.held.verdict == "fault"


@dataclass(frozen=True, slots=True)
class DayLine:
    row: ListRow
    state: State
    entry: ev.MachineLineDone | None = None


@dataclass(frozen=True, slots=True)
class DayCheck:
    """One machine on one day. `lacks` says in words what a whole check still wants; the open faults stand by themselves."""

    machine: str
    day: date
    lines: tuple[DayLine, ...]
    leak: LeakFound | None
    faults: tuple[ev.MachineFaultFound, ...]

    @property
    def following(self) -> DayLine | None:
        """The line to read now."""
        return next((line for line in self.lines if line.state == "now"), None)

    @property
    def done(self) -> int:
        return sum(line.state in {"done", "skipped"} for line in self.lines)

    @property
    def of(self) -> int:
        return len(self.lines)

    @property
    def very_fast(self) -> int:
        return sum(line.entry is not None and read_very_fast(line.entry.seconds_shown) for line in self.lines)

    @property
    def last_at(self) -> datetime | None:
        return max((line.entry.happened_at for line in self.lines if line.entry is not None), default=None)

    @property
    def lacks(self) -> tuple[str, ...]:
        faulty = sum(line.state == "fault" for line in self.lines)
        answered = self.done + faulty
        said = []
        if answered < self.of:
            said.append(f"{answered} of {self.of} lines read today" if answered else "its list was not read today")
        if faulty:
            said.append("1 line is at fault" if faulty == 1 else f"{faulty} lines are at fault")
        if self.leak is None:
            said.append("no leak test today")
        elif self.leak.fails:
            said.append("the leak test did not pass")
        return tuple(said)

    @property
    def complete(self) -> bool:
        return not self.lacks


def day_of(at: datetime, facts: Facts) -> date:
    """The day on the hospital's own calendar."""
    return at.astimezone(facts.zone).date()


def reading_order(facts: Facts, day: date) -> tuple[ListRow, ...]:
    """The machine list as it is read on a day: turned by the date, and by the week so that a weekday has no order of its own."""
    *turning, last = lists(facts.breathing, "machine")
    first = (day.toordinal() + day.toordinal() // 7) % len(turning)
    return (*turning[first:], *turning[:first], last)


def read_very_fast(seconds: Decimal | None) -> bool:
    """Answered sooner than it can be read: marked wherever the line is shown, never blocked."""
    return seconds is not None and seconds < VERY_FAST


def day_check(book: MachineBook, facts: Facts, machine: str, day: date) -> DayCheck:
    """One machine's list on one day; the last answer to a line counts, and only that day's."""
    read: dict[str, ev.MachineLineDone] = {}
    for entry in reversed(book.lines):
        on = day_of(entry.happened_at, facts)
        if on < day:
            break
        if on == day and entry.machine == machine:
            read.setdefault(entry.line, entry)
    lines: list[DayLine] = []
    waits = True
    for row in reading_order(facts, day):
        found = read.get(row.id)
        lines.append(DayLine(row, found.outcome if found else "now" if waits else "ahead", found))
        waits = waits and found is not None
    tested = [t for t in book.leaks if t.machine == machine and day_of(t.happened_at, facts) == day]
    return DayCheck(machine, day, tuple(lines), _as_tested(tested[-1], facts) if tested else None, book.faults(machine))


def last_leak(book: MachineBook, facts: Facts, machine: str) -> LeakFound | None:
    """The last leak test of a machine, of whatever day."""
    tested = [t for t in book.leaks if t.machine == machine]
    return _as_tested(tested[-1], facts) if tested else None


def _as_tested(test: ev.MachineLeakTested, facts: Facts) -> LeakFound:
    try:
        return leak_found(test, facts)
    except Refusal as refusal:
        return LeakFound(test, refusal=refusal)


def leak_found(test: ev.MachineLeakTested, facts: Facts) -> LeakFound:
    """The leak in mL/min and how it stands. Refused by name: a fall without time, volume, bag or walls; a pressure no limit speaks of."""
    at = Quantity.of(test.at_cmh2o, "cmH2O")
    if test.flow_ml_min is not None:
        leak = Quantity.of(test.flow_ml_min, "mL/min")
        return LeakFound(test, leak, leak_verdict(facts.breathing, leak, at))
    if test.to_cmh2o is None or test.seconds is None:
        raise Missing("leak test, time", "was not given: a fall is a fall in so many seconds.", "Time it, like 30 s.")
    fall = leak_from_drop(
        facts.breathing, before=at, after=Quantity.of(test.to_cmh2o, "cmH2O"), seconds=test.seconds, bag_on=test.bag_on,
        volume=_given(test.volume_l, "L"), wall=_given(test.wall_ml_cmh2o, "mL/cmH2O"),
    )  # fmt: skip
    return LeakFound(test, fall.flow.value, fall.verdict, fall)


def _given(value: Decimal | None, unit: str) -> Quantity | None:
    return None if value is None else Quantity.of(value, unit)


def leak_words(found: LeakFound) -> str:
    """What a test came to: "150 mL/min at 30 cmH2O"."""
    leak = "leak not worked" if found.leak is None else str(found.leak)
    return f"{leak} at {figure(found.test.at_cmh2o)} cmH2O"


def unready(book: MachineBook, facts: Facts, machine: str, day: date) -> tuple[str, ...]:
    """What is asked about before this machine serves a patient, each by itself: today's list, and its open faults."""
    check = day_check(book, facts, machine, day)
    said = []
    if check.lacks:
        said.append(f"{machine} is not checked: {', '.join(check.lacks)}.")
    if check.faults:
        named = "; ".join(f.what.rstrip(".") for f in check.faults)
        said.append(f"{machine} has an open fault: {named}." if len(check.faults) == 1
                    else f"{machine} has {len(check.faults)} open faults: {named}.")  # fmt: skip
    return tuple(said)
