"""The findings that stand, and what is told of them: begun, become worse, ended. What follows from another is not told beside it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from spiracle.capnogram.finding import Degree, Finding, Measured, Name
from spiracle.capnogram.latch import WORSE
from spiracle.capnogram.tables import CapnogramTables


@dataclass(frozen=True, slots=True)
class Said:
    """One plain sentence, and the figures behind it: the first is the one that is held against the grades."""

    why: str
    measured: tuple[Measured, ...]


@dataclass(slots=True)
class Standing:
    """`tick_s` is one sample: the shortest a finding can last. `now_s` is the moment of the trace that is being told."""

    tables: CapnogramTables
    tick_s: float
    open: dict[Name, Finding] = field(default_factory=dict)
    told: list[Finding] = field(default_factory=list)
    ended: dict[Name, float] = field(default_factory=dict)
    now_s: float = 0.0
    troubled: bool = False
    """Whether anything stands beside `normal`."""
    _hidden: frozenset[Name] = frozenset()

    def has(self, *names: Name) -> bool:
        return not self.open.keys().isdisjoint(names)

    @property
    def lost_height(self) -> float | None:
        """How high breaths were before a sudden loss that stands, or before the apnoea that it has become; else None."""
        stood = self.open.get("apnoea") or self.open.get("sudden-loss")
        return None if stood is None else next((m.value for m in stood.measured if m.what == "height before"), None)

    def covered(self, name: Name) -> bool:
        return name in self._hidden

    def begin(self, name: Name, from_s: float, degree: Degree, said: Said) -> bool:
        """A finding begins, unless it stands or follows from one that does. What follows from it ends."""
        if name in self.open or self.covered(name):
            return False
        from_s = max(from_s, self.ended.get(name, from_s))
        row = self.tables.finding(name)
        for other in list(self.open):
            if other in row.covers or other == "normal":
                self.end(other, from_s if from_s > self.open[other].from_s else self.now_s)
        self._tell(Finding(name, from_s, None, degree, said.why, said.measured))
        return True

    def worse(self, name: Name, degree: Degree) -> bool:
        return WORSE[degree] > WORSE[self.open[name].degree]

    def worsen(self, name: Name, degree: Degree, said: Said) -> None:
        """It has become worse than it was; one that eases keeps the degree it had."""
        stood = self.open[name]
        if self.worse(name, degree):
            self._tell(replace(stood, degree=degree, why=said.why, measured=said.measured))

    def end(self, name: Name, to_s: float) -> None:
        stood = self.open.pop(name, None)
        if stood is None:
            return
        to_s = max(to_s, stood.from_s + self.tick_s)
        self.ended[name] = to_s
        self.told.append(replace(stood, to_s=to_s))
        self._changed()

    def _tell(self, finding: Finding) -> None:
        self.open[finding.name] = finding
        self.told.append(finding)
        self._changed()

    def _changed(self) -> None:
        """Asked for with every breath, so worked out only when what stands has changed."""
        self.troubled = any(name != "normal" for name in self.open)
        self._hidden = frozenset(name for other in self.open for name in self.tables.finding(other).covers)

    def ranked(self) -> tuple[Finding, ...]:
        return tuple(sorted(self.open.values(), key=lambda f: self.tables.finding(f.name).rank))
