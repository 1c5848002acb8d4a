"""The tables of the CO2 trace: limits that are acted on, what each finding means, what is looked at first, what else it could be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import cast, get_args

import msgspec

from spiracle.capnogram.finding import Degree, Name
from spiracle.refusals import BadTable, NotOneOf
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import ActedOn, R, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts, read_stated

NAMES = cast(tuple[Name, ...], get_args(Name))
DEGREES = cast(tuple[Degree, ...], get_args(Degree))


class FindingRow(ActedOn, frozen=True, kw_only=True):
    """What a finding means. `rank` orders those that stand at once (1 first); what it `covers` is not told beside it, as it follows
    from it; `causes` are the alternatives by name, likeliest first."""

    title: str
    means: str
    rank: int
    urgent: bool
    covers: tuple[Name, ...]
    causes: tuple[str, ...]


class FirstCheck(ActedOn, frozen=True, kw_only=True):
    """One thing to look at first. The id is `finding.place`."""

    says: str

    @property
    def finding(self) -> str:
        return self.id.rpartition(".")[0]

    @property
    def place(self) -> int:
        return int(self.id.rpartition(".")[2])


class Grades(ActedOn, frozen=True, kw_only=True):
    """From which figure a finding is mild, moderate, severe, and short of which a single breath no longer shows it. The id is the
    finding's name; `what` says what is measured. Grades that fall from clear to severe are for figures that are too low."""

    what: str
    unit: str
    clear: Decimal | int
    mild: Decimal | int
    moderate: Decimal | int
    severe: Decimal | int

    @property
    def ladder(self) -> Ladder:
        sign = 1.0 if self.severe > self.clear else -1.0
        return Ladder(sign, *(sign * float(x) for x in (self.clear, self.mild, self.moderate, self.severe)))


@dataclass(frozen=True, slots=True)
class Ladder:
    """Grades as plain numbers that always climb: a figure is multiplied by `sign` before it is held against them."""

    sign: float
    clear: float
    mild: float
    moderate: float
    severe: float

    def shows(self, figure: float) -> bool:
        return self.sign * figure >= self.mild

    def still(self, figure: float) -> bool:
        return self.sign * figure >= self.clear

    def degree(self, figure: float) -> Degree:
        """The degree of a figure; one short of mild is called mild, for a finding that stands already."""
        if self.sign * figure >= self.severe:
            return "severe"
        return "moderate" if self.sign * figure >= self.moderate else "mild"


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    setting: tuple[Setting, ...] = ()
    grades: tuple[Grades, ...] = ()
    finding: tuple[FindingRow, ...] = ()
    check: tuple[FirstCheck, ...] = ()


SETTINGS = frozenset({
    "looked-at", "looked-for", "shown-by", "notch-shown-by", "cleared-by", "carbon-breaths", "carbon-from",
    "normal-breaths", "low-share-of-fast", "upstroke-own", "upstroke-share", "climb-least", "slurred-share",
    "pant-low", "pant-times", "pant-share",
    "ripple-slow", "ripple-fast", "start-quiet", "placed-quiet", "placed-breaths", "loss-times", "loss-times-steady",
    "steady-spread", "loss-least", "loss-most", "apnoea-times", "apnoea-least", "apnoea-most", "usual-least",
    "fade-breaths", "fade-step", "fade-share", "fade-top", "fade-quiet", "fall-share", "fall-fit", "fall-end",
    "fall-own-rate", "fall-back", "credible-height", "credible-alike",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class CapnogramTables:
    """Everything known and set about the CO2 trace. A gap in the tables does not load."""

    stated: Facts
    settings: Mapping[str, Setting]
    numbers: Mapping[str, float]
    grades: Mapping[str, Grades]
    ladders: Mapping[str, Ladder]
    findings: Mapping[str, FindingRow]
    checks: tuple[FirstCheck, ...]

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> CapnogramTables:
        stated = read_stated(files, "-facts", sources)
        plain = [read_table(t, _File, n) for n, t in sorted(files.items()) if not n.endswith("-facts")]

        def all_of(pick: str, shape: type[R]) -> tuple[R, ...]:
            rows: list[R] = [row for file in plain for row in getattr(file, pick)]
            return checked_rows(rows, stated, sources)

        settings = settings_of(all_of("setting", Setting), SETTINGS, "capnogram")
        grades = all_of("grades", Grades)
        found = cls(
            stated=stated,
            settings=settings,
            numbers={id_: row.number for id_, row in settings.items()},
            grades={row.id: row for row in grades},
            ladders={row.id: row.ladder for row in grades},
            findings={row.id: row for row in sorted(all_of("finding", FindingRow), key=lambda r: r.rank)},
            checks=tuple(sorted(all_of("check", FirstCheck), key=lambda c: (c.finding, c.place))),
        )
        found._whole()
        return found

    def _whole(self) -> None:
        """Every name has its row, every finding but `normal` something to look at first, and grades climb."""
        if set(self.findings) != set(NAMES):
            raise BadTable(
                "capnogram findings", f"are not the ones expected: {sorted(set(self.findings) ^ set(NAMES))}."
            )
        looked = {check.finding for check in self.checks}
        for name in NAMES:
            if (name in looked) is (name == "normal"):
                raise BadTable(f"finding {name}", "has no first check." if name != "normal" else "has a first check.")
        if set(self.grades) != set(NAMES) - {"normal"}:
            raise BadTable("capnogram grades", f"are not the ones expected: {sorted(set(self.grades) ^ set(NAMES))}.")
        for row in self.grades.values():
            step = row.ladder
            if not step.clear < step.mild < step.moderate < step.severe:
                raise BadTable(f"grades {row.id}", "do not climb from clear to severe.")

    def number(self, id_: str) -> float:
        return self.numbers[id_]

    def count(self, id_: str) -> int:
        return int(self.numbers[id_])

    def finding(self, name: str) -> FindingRow:
        if name not in self.findings:
            raise NotOneOf("finding", f"{name!r} is no finding of the CO2 trace.", "Known: " + ", ".join(NAMES) + ".")
        return self.findings[name]

    def first_checks(self, name: str) -> tuple[FirstCheck, ...]:
        """What is looked at first, in that order."""
        self.finding(name)
        return tuple(check for check in self.checks if check.finding == name)

    def causes(self, name: str) -> tuple[str, ...]:
        return self.finding(name).causes
