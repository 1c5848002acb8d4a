"""The table of what monitors say: terms and units by number and name, flags, and our own limits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import msgspec

from spiracle.monitors.heard import Standing
from spiracle.refusals import BadTable
from spiracle.source import Sources, read_table
from spiracle.source.acted_on import ActedOn, Setting, checked_rows, settings_of
from spiracle.source.stated import Facts

Mark = Literal["S", "C", "M"]
MARKS: dict[Mark, str] = {
    "S": "seen in a specification page, a published guide or its examples",
    "C": "seen only in third-party code or a test message",
    "M": "from memory",
}
SETTINGS = frozenset({
    "message-bytes", "message-lines", "message-parts", "message-samples", "rate-low", "rate-high", "clock-window", "clock-needed",
    "clock-spread", "clock-jump", "clock-most", "value-age-most",
})  # fmt: skip
SETTING_BIT = 0x0100_0000  # a dial's term: the measured term with this added, and _SETTING after its name (the 2013 note on gases)


class CodeRow(ActedOn, frozen=True, kw_only=True):
    """One term. `reading` is the chart's word or "" (`held` says why), `wave` the panel's; `units` are the UCUM units it may
    come in; `also` are further names of the same number."""

    ref: str
    number: int
    says: str
    mark: Mark
    units: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    reading: str = ""
    wave: Literal["co2", "pleth", "pressure", ""] = ""
    site: str = ""
    method: str = ""
    loinc: tuple[str, ...] = ()
    held: str = ""
    contradicted: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        return (self.ref, *self.also)


class UnitRow(ActedOn, frozen=True, kw_only=True):
    """One unit: MDC number and name, UCUM code, and how the chart writes it ("" for a pure number)."""

    number: int
    ref: str
    ucum: str
    log: str
    mark: Mark


class FlagRow(ActedOn, frozen=True, kw_only=True):
    """One flag. `kind` "quality" sets the standing; "test" bars the message from a live case; "alarm" and "view" are shown as the
    device's own."""

    means: str
    standing: Standing
    kind: Literal["quality", "test", "alarm", "view"]
    mark: Mark


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    code: tuple[CodeRow, ...]
    unit: tuple[UnitRow, ...]
    flag: tuple[FlagRow, ...]
    setting: tuple[Setting, ...]


class MonitorTables:
    """The rows by what is looked up: number and name of a term, number or UCUM code of a unit, a flag's word."""

    def __init__(self, file: _File, sources: Sources) -> None:
        none = Facts(())
        self.codes = checked_rows(file.code, none, sources)
        self.units = checked_rows(file.unit, none, sources)
        self.flags = {row.id: row for row in checked_rows(file.flag, none, sources)}
        self.settings = settings_of(checked_rows(file.setting, none, sources), SETTINGS, "monitors")
        self.by_number: dict[int, CodeRow] = {}
        self.by_name: dict[str, CodeRow] = {}
        self.units_by_number: dict[int, tuple[UnitRow, ...]] = {}
        self.units_by_ucum: dict[str, UnitRow] = {}
        self._spans = {id_: float(row.quantity.number("s")) for id_, row in self.settings.items() if row.unit == "s"}
        self._index()

    def _index(self) -> None:
        for row in self.codes:
            self._check(row)
            if row.number in self.by_number or any(name in self.by_name for name in row.names):
                raise BadTable(f"row {row.id}", "has a number or name that stands already.")
            self.by_number[row.number] = row
            self.by_name.update(dict.fromkeys(row.names, row))
        for unit in self.units:
            self.units_by_number[unit.number] = (*self.units_by_number.get(unit.number, ()), unit)
            self.units_by_ucum.setdefault(unit.ucum, unit)

    def _check(self, row: CodeRow) -> None:
        known = {unit.ucum for unit in self.units}
        if not set(row.units) <= known:
            raise BadTable(f"row {row.id}", f"has a unit that is not listed: {sorted(set(row.units) - known)}.")
        if not (row.reading or row.wave or row.held):
            raise BadTable(f"row {row.id}", "says neither what it is charted as nor why it is held.")
        if (row.reading or row.wave) and not row.units:
            raise BadTable(f"row {row.id}", "is charted without a unit.")

    def limit(self, id_: str) -> int:
        """A whole-number setting."""
        return int(self.settings[id_].value)

    def seconds(self, id_: str) -> float:
        """A setting that is a span of time [s]."""
        span = self._spans.get(id_)
        return float(self.settings[id_].quantity.number("s")) if span is None else span

    @classmethod
    def read(cls, texts: Mapping[str, str], sources: Sources) -> MonitorTables:
        return cls(read_table(texts["monitors"], _File, "monitors"), sources)
