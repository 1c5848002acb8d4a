"""The hospital's named protocols as the ledger has them: every version ever written, what became of it, which one is in use.

A version is never edited. What happened to it depends on its number and on who said what, not on the order in which entries
arrived, so that two tablets that write at once end with one list.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.quantity import figure

State = Literal["waiting", "in use", "replaced", "retired"]
REFERENCE = re.compile(r"([a-z0-9]+(?:-[a-z0-9]+)*) ([1-9][0-9]{0,5})")


@dataclass(frozen=True, slots=True)
class Version:
    """One version: as written, who approved it, and whether plans may start from it."""

    written: ev.ProtocolWritten
    state: State
    approved: ev.ProtocolApproved | None = None
    retired: ev.ProtocolRetired | None = None

    @property
    def reference(self) -> str:
        """How an order names it."""
        return reference(self.written.protocol, self.written.version)


@dataclass(frozen=True, slots=True)
class Protocols:
    """All versions, oldest first within a protocol; `numbers` counts struck ones too: a number is never used twice."""

    versions: tuple[Version, ...] = ()
    numbers: tuple[tuple[str, int, str], ...] = ()

    def of(self, protocol: str) -> tuple[Version, ...]:
        return tuple(v for v in self.versions if v.written.protocol == protocol)

    def version(self, protocol: str, number: int) -> Version | None:
        return next((v for v in self.of(protocol) if v.written.version == number), None)

    def in_use(self, protocol: str) -> Version | None:
        return next((v for v in self.of(protocol) if v.state == "in use"), None)

    def every_in_use(self, species: str) -> Iterator[Version]:
        return (v for v in self.versions if v.state == "in use" and v.written.species == species)

    def next_number(self, protocol: str, entry: str = "") -> int:
        """The number a new version gets; `entry` is the id of the very entry that asks, so that it does not count itself."""
        return 1 + max((n for name, n, id_ in self.numbers if name == protocol and id_ != entry), default=0)


NO_PROTOCOLS = Protocols()


def protocols(ledger: Case) -> Protocols:
    """What the ledger says. The highest approved version is in use; older ones are replaced, unless all are retired."""
    retired = {r.protocol: r for r in ledger.live(ev.ProtocolRetired)}
    approvals: dict[tuple[str, int], ev.ProtocolApproved] = {}
    for approval in ledger.live(ev.ProtocolApproved):
        approvals.setdefault((approval.protocol, approval.version), approval)
    written = sorted(ledger.live(ev.ProtocolWritten), key=lambda w: (w.protocol, w.version, w.id))
    newest = {w.protocol: w.version for w in written if (w.protocol, w.version) in approvals}
    found = []
    for w in written:
        approved, gone = approvals.get((w.protocol, w.version)), retired.get(w.protocol)
        found.append(Version(w, _state(w, approved, gone, newest), approved, gone))
    numbers = tuple((e.protocol, e.version, e.id) for line in ledger.every(ev.ProtocolWritten)
                    if isinstance(e := line.event, ev.ProtocolWritten))  # fmt: skip
    return Protocols(tuple(found), numbers)


def _state(
    w: ev.ProtocolWritten, approved: ev.ProtocolApproved | None, gone: ev.ProtocolRetired | None, newest: dict[str, int]
) -> State:
    if gone is not None:
        return "retired"
    newer = w.version < newest.get(w.protocol, 0)
    if approved is None:
        return "replaced" if newer else "waiting"
    return "replaced" if newer else "in use"


def reference(protocol: str, version: int) -> str:
    """A version as an order carries it.

    >>> reference("cat-dental", 3), read_reference("cat-dental 3"), read_reference("Cat dental, 3")
    ('cat-dental 3', ('cat-dental', 3), None)
    """
    return f"{protocol} {version}"


def read_reference(text: str) -> tuple[str, int] | None:
    found = REFERENCE.fullmatch(text)
    return (found[1], int(found[2])) if found else None


def started(case: Case, protocol: str, version: int) -> ev.ProtocolStarted | None:
    """The entry by which this case started from a version, if it did."""
    return next(
        (s for s in reversed(case.live(ev.ProtocolStarted)) if (s.protocol, s.version) == (protocol, version)), None
    )


def title_of(start: ev.ProtocolStarted) -> str:
    """As printed: "Cat dental, version 3"."""
    return f"{start.title}, version {start.version}"


def reference_title(case: Case, text: str) -> str:
    """The printed name of the version an order came from; the reference itself where the start was struck."""
    read = read_reference(text)
    found = started(case, *read) if read is not None else None
    return text if found is None else title_of(found)


def plan_title(case: Case) -> str:
    """The versions this case's plan started from, as printed."""
    return "; ".join(dict.fromkeys(title_of(s) for s in case.live(ev.ProtocolStarted)))


# ---- words


def dose_words(low: object, high: object, unit: str) -> str:
    """A dose or a range as ordered.

    >>> from decimal import Decimal
    >>> dose_words(Decimal("2"), Decimal("4.0"), "mg/kg"), dose_words(Decimal("0.2"), Decimal("0.20"), "mg/kg")
    ('2 to 4 mg/kg', '0.2 mg/kg')
    """
    return f"{figure(high)} {unit}" if low == high else f"{figure(low)} to {figure(high)} {unit}"  # type: ignore[arg-type]


def line_words(line: ev.ProtocolLine) -> str:
    """One line in words, without the drug."""
    parts = (dose_words(line.low, line.high, line.unit), line.route, line.purpose, line.when)
    return ", ".join(p for p in parts if p) + (" (optional)" if line.optional else "")


def limit_words(limit: ev.ProtocolLimit | ev.LimitOrdered) -> str:
    """A limit in words: "map below 60: fluid bolus"."""
    sides = [f"below {figure(limit.below)}" if limit.below is not None else "",
             f"above {figure(limit.above)}" if limit.above is not None else ""]  # fmt: skip
    said = f"{limit.reading.replace('_', ' ')} " + " or ".join(s for s in sides if s)
    return f"{said}: {limit.action}" if limit.action else said


def changes(old: ev.ProtocolWritten, new: ev.ProtocolWritten, names: dict[str, str] | None = None) -> tuple[str, ...]:
    """What a version changes against the one before it, a sentence for each difference. Empty: nothing."""
    called = names or {}
    said: list[str] = []
    before, after = _keyed(old.lines), _keyed(new.lines)
    for key, line in after.items():
        name, was = called.get(line.drug, line.drug), before.get(key)
        if was is None:
            said.append(f"added: {name}, {line_words(line)}")
        elif was != line:
            said.append(_changed_line(name, was, line))
    said += [f"left out: {called.get(was.drug, was.drug)}, {line_words(was)}"
             for key, was in before.items() if key not in after]  # fmt: skip
    if not said and old.lines != new.lines:
        said.append("the order of the lines")
    was_limits, limits = dict.fromkeys(map(limit_words, old.limits)), dict.fromkeys(map(limit_words, new.limits))
    said += [f"limit added: {words}" for words in limits if words not in was_limits]
    said += [f"limit left out: {words}" for words in was_limits if words not in limits]
    for title, was_ids, ids in (("for", old.conditions, new.conditions), ("not with", old.unless, new.unless)):
        said += [f"{title} {c.replace('-', ' ')}: added" for c in ids if c not in was_ids]
        said += [f"{title} {c.replace('-', ' ')}: left out" for c in was_ids if c not in ids]
    if old.title != new.title:
        said.append(f"name: {old.title} is now {new.title}")
    if old.note != new.note:
        said.append("the note" if new.note else "the note was left out")
    return tuple(said)


def _keyed(lines: tuple[ev.ProtocolLine, ...]) -> dict[tuple[str, str, str, int], ev.ProtocolLine]:
    """Lines by drug, purpose and route; the second of two alike by its place among them."""
    found: dict[tuple[str, str, str, int], ev.ProtocolLine] = {}
    for line in lines:
        nth = sum(key[:3] == (line.drug, line.purpose, line.route) for key in found)
        found[line.drug, line.purpose, line.route, nth] = line
    return found


def _changed_line(name: str, was: ev.ProtocolLine, line: ev.ProtocolLine) -> str:
    dose_was, dose = dose_words(was.low, was.high, was.unit), dose_words(line.low, line.high, line.unit)
    parts = [f"{dose_was} is now {dose}" if dose_was != dose else ""]
    if was.optional != line.optional:
        parts.append("now optional" if line.optional else "no longer optional")
    if was.when != line.when:
        parts.append(f"when: {line.when or 'not said'}, was {was.when or 'not said'}")
    if was.row != line.row:
        parts.append("held against another row")
    if was.note != line.note:
        parts.append("another note")
    return f"{name}, {line.route}: " + ", ".join(p for p in parts if p)
