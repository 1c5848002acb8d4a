"""Named conditions: what is the matter with this animal, in ids that plans, cautions and flags share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

import msgspec

from spiracle.refusals import BadTable, Unknown
from spiracle.source import Seen

Severity = Literal["never", "avoid", "care"]
_LISTED = re.compile(r"((?:\w+, )*)(\w+) or (\w+) (disease|failure|impairment)\b")


class Condition(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One condition. `changes` says what it changes; `implies` names what goes with it; `named_in` how cautions speak of it,
    `from_log` that only the log of what was given can say so."""

    id: str
    words: str
    group: str
    implies: tuple[str, ...] = ()
    named_in: tuple[str, ...] = ()
    from_log: bool = False
    changes: str
    severity: Severity
    source: tuple[str, ...]
    seen: Seen
    note: str = ""

    @property
    def memory(self) -> bool:
        return not self.seen.published


@dataclass(frozen=True, slots=True)
class Derived:
    """A condition nobody typed: which, and from what it follows."""

    id: str
    because: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A condition as a line of the assessment: what it changes, and how serious that is."""

    condition: str
    title: str
    changes: str
    severity: Severity
    memory: bool
    source: tuple[str, ...]
    because: str = ""


def spelled_out(text: str) -> str:
    """Gives each noun of a list its own word: "kidney, liver or heart disease" names three diseases.

    >>> spelled_out("kidney, liver or heart disease")
    'kidney disease, liver disease, heart disease'
    """

    def each(found: re.Match[str]) -> str:
        parts = [p for p in found.group(1).split(", ") if p] + [found.group(2), found.group(3)]
        return ", ".join(f"{p} {found.group(4)}" for p in parts)

    return _LISTED.sub(each, text)


class Conditions:
    """The list of conditions by id."""

    def __init__(self, rows: Iterable[Condition]) -> None:
        self.rows = tuple(rows)
        self.by_id: Mapping[str, Condition] = {row.id: row for row in self.rows}
        if len(self.by_id) != len(self.rows):
            raise BadTable("conditions", "an id stands twice.")
        for row in self.rows:
            strange = [i for i in row.implies if i not in self.by_id]
            if strange:
                raise BadTable(f"condition {row.id}", f"implies {strange[0]}, which is not listed.")
        self._phrases = [(re.compile(rf"\b{re.escape(p)}s?\b"), row.id) for row in self.rows for p in row.named_in]

    def __getitem__(self, id_: str) -> Condition:
        if id_ not in self.by_id:
            near = get_close_matches(id_.lower().replace(" ", "-"), self.by_id, n=3, cutoff=0.6)
            accepts = "Nearest: " + ", ".join(near) + "." if near else "See the list of conditions."
            raise Unknown(
                "conditions", f"{id_!r} is not a listed condition.", accepts, near[0] if len(near) == 1 else None
            )
        return self.by_id[id_]

    def closed(self, ids: Iterable[str]) -> frozenset[str]:
        """These conditions and all that go with them; an unlisted one is refused."""
        found: set[str] = set()
        ahead = [self[i].id for i in ids]
        while ahead:
            one = ahead.pop()
            if one not in found:
                found.add(one)
                ahead.extend(self.by_id[one].implies)
        return frozenset(found)

    def named_in(self, text: str) -> frozenset[str]:
        """The conditions a sentence speaks of, by their phrases."""
        plain = spelled_out(text.lower())
        return frozenset(id_ for phrase, id_ in self._phrases if phrase.search(plain))

    def flag(self, id_: str, because: str = "") -> Flag:
        row = self[id_]
        return Flag(row.id, row.words, row.changes, row.severity, row.memory, row.source, because)
