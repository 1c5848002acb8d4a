"""From the unit on the wire to the chart's. No unit, no value; a unit that does not fit the term, no value; never a guess."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

import msgspec

from spiracle.monitors.tables import CodeRow, MonitorTables, UnitRow
from spiracle.quantity import Quantity

NUMBER = re.compile(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,18})?|\.[0-9]{1,18})")
PRINTED = {"Cel": "°C"}  # as the chart's own table writes it


class Charted(msgspec.Struct, frozen=True, kw_only=True):
    """A value in the chart's unit, or why there is none."""

    value: Decimal | None = None
    unit: str = ""
    why: str = ""


def decimal_of(text: str) -> Decimal | None:
    """A plain decimal number as HL7 writes one: no exponent, no blanks, at most twelve digits before the point and eighteen after."""
    return Decimal(text) if NUMBER.fullmatch(text) else None


def by_mdc(tables: MonitorTables, number: int | None, ref: str) -> UnitRow | None:
    """The unit of a number and a name that agree, or None."""
    rows = tables.units_by_number.get(number, ()) if number is not None else ()
    return next((row for row in rows if row.ref == ref), None)


def by_ucum(tables: MonitorTables, ucum: str) -> UnitRow | None:
    """The unit of a UCUM code, case and brackets as UCUM has them, or None."""
    return tables.units_by_ucum.get(ucum)


def charted(row: CodeRow, value: Decimal, unit: UnitRow | None) -> Charted:
    """`value` in the unit the chart uses for this term. kPa becomes mmHg, to a tenth: a step of 0.1 kPa is 0.75 mmHg.

    Per cent of a gas that is charted as a pressure needs the ambient pressure, which no message says: such a value is held.
    """
    if unit is None:
        return Charted(why="no unit that we know")
    if unit.ucum not in row.units:
        return Charted(why=f"{unit.ucum} does not fit {row.says}")
    if unit.ucum == "%" and "mm[Hg]" in row.units:
        return Charted(why="per cent needs the ambient pressure to become mmHg")
    if unit.ucum == "kPa":
        return Charted(value=mmhg_of_kpa(value), unit="mmHg")
    return Charted(value=value, unit=PRINTED.get(unit.log, unit.log))


def mmhg_of_kpa(kpa: Decimal) -> Decimal:
    """Pressure in mmHg, to a tenth: kPa times 1000 over 133.322387415 (NIST SP 811, conventional millimetre of mercury).

    >>> mmhg_of_kpa(Decimal("5.0"))
    Decimal('37.5')
    """
    return Decimal(str(Quantity.of(kpa, "kPa").number("mmHg"))).quantize(Decimal("0.1"), ROUND_HALF_EVEN)
