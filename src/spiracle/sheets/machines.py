"""The machines of the hospital today: each one's list in the day's order, its leak against the limits, its faults."""

from __future__ import annotations

from datetime import date, datetime

from spiracle.case import events as ev
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.ledger import LEDGER
from spiracle.case.machines import (
    DayCheck,
    DayLine,
    LeakFound,
    MachineBook,
    day_check,
    day_of,
    last_leak,
    leak_words,
    machine_book,
    read_very_fast,
    unready,
)
from spiracle.quantity import figure, read
from spiracle.sheets.names import Names, joined, unit_text
from spiracle.sheets.shapes import (
    MachineDay,
    MachineFault,
    MachineLeak,
    MachineLimit,
    MachineLine,
    MachineMended,
    MachinesSheet,
    Num,
)
from spiracle.sheets.worked_shape import cited, number, refused, working_shape

PRESSURE, FLOW = "cmH2O", "mL/min"


def machines_sheet(ledger: Case, seq: int, facts: Facts, now: datetime) -> MachinesSheet:
    """Those the hospital names; where it names none, those that were ever written about."""
    book, day = machine_book(ledger), day_of(now, facts)
    low, high = (facts.breathing.setting(f"leak-pressure-{end}").quantity.number(PRESSURE) for end in ("low", "high"))
    return MachinesSheet(
        ledger=LEDGER,
        seq=seq,
        day=day.isoformat(),
        at_low=float(low),
        at_high=float(high),
        machines=tuple(_machine(book, facts, name, day) for name in facts.hospital.machines or book.machines()),
    )


def _machine(book: MachineBook, facts: Facts, machine: str, day: date) -> MachineDay:
    check = day_check(book, facts, machine, day)
    leak = check.leak or last_leak(book, facts, machine)
    own = next((m for m in facts.hospital.machine_figures if m.name == machine), None)
    litres = read(own.volume, "volume", "volume").number("L") if own is not None and own.volume else None
    return MachineDay(
        machine=machine,
        complete=check.complete,
        done=check.done,
        of=check.of,
        very_fast=check.very_fast,
        says=state_words(check, facts),
        asks=unready(book, facts, machine, day),
        lines=tuple(_line(line, facts) for line in check.lines),
        leak=_leak(leak, facts, today=leak is check.leak) if leak is not None else None,
        faults=tuple(
            MachineFault(fault=f.fault, event_id=f.id, what=f.what, at=f.happened_at, by=_initials(f.by, facts))
            for f in check.faults
        ),
        mended=_mended(book, facts, machine, day),
        volume_l=None if litres is None else float(litres),
        wall_ml_cmh2o=None if own is None or own.wall_ml_cmh2o is None else float(own.wall_ml_cmh2o),
    )


def state_words(check: DayCheck, facts: Facts) -> str:
    """The book's state in one line: "checked today at 07:42, leak 150 mL/min at 30 cmH₂O"."""
    clock = Names(zone=facts.zone).clock
    if check.complete and check.last_at is not None and check.leak is not None:
        said = f"checked today, last line {clock(check.last_at)}, leak {_printed(leak_words(check.leak))}"
        if check.leak.held is not None and check.leak.held.verdict == "sources differ":
            said += " where the limits differ"
    else:
        said = joined(check.lacks)
    fast = f"{check.very_fast} read very fast" if check.very_fast else ""
    faults = f"{len(check.faults)} open fault{'' if len(check.faults) == 1 else 's'}" if check.faults else ""
    return joined((said, faults, fast))


def _line(line: DayLine, facts: Facts) -> MachineLine:
    e = line.entry
    return MachineLine(
        id=line.row.id,
        says=line.row.says,
        detail=_printed(line.row.detail),
        state=line.state,
        at=e.happened_at if e is not None else None,
        by=_initials(e.by, facts) if e is not None else "",
        note=e.detail if e is not None else "",
        fast=e is not None and read_very_fast(e.seconds_shown),
    )


def _leak(found: LeakFound, facts: Facts, *, today: bool) -> MachineLeak:
    test = found.test
    return MachineLeak(
        event_id=test.id,
        at=test.happened_at,
        by=_initials(test.by, facts),
        today=today,
        way="flow" if test.flow_ml_min is not None else "fall",
        read=_as_read(test),
        leak=_worked(found, facts),
        leak_ml_min=float(found.leak.number(FLOW)) if found.leak is not None else None,
        at_cmh2o=float(test.at_cmh2o),
        verdict=found.held.verdict if found.held is not None else "",
        says=_printed(found.held.words) if found.held is not None else "",
        limits=_limits(found, facts),
        cautions=tuple(map(_printed, found.fall.cautions)) if found.fall is not None else (),
        refusal=refused(found.refusal) if found.refusal is not None else None,
    )


def _worked(found: LeakFound, facts: Facts) -> Num | None:
    """A flow that was read is a measurement; a flow from a fall shows how it was worked."""
    if found.fall is not None:
        return number(found.fall.flow, "Leak from a fall of pressure", facts.sources)
    if found.leak is None or found.held is None:
        return None
    shape = working_shape(found.held.working, "Leak against the limits", facts.sources)
    return Num(text=figure(found.leak.value), unit=str(found.leak.unit), mark="typed", working=shape)


def _as_read(e: ev.MachineLeakTested) -> str:
    if e.flow_ml_min is not None:
        return joined((f"{figure(e.flow_ml_min)} mL/min held {figure(e.at_cmh2o)} {unit_text(PRESSURE)}", e.circuit))
    fell = f"from {figure(e.at_cmh2o)} to {figure(e.to_cmh2o)} {unit_text(PRESSURE)}" if e.to_cmh2o is not None else ""
    took = f"in {figure(e.seconds)} s" if e.seconds is not None else ""
    volume = f"{figure(e.volume_l)} L" if e.volume_l is not None else ""
    wall = f"walls {figure(e.wall_ml_cmh2o)} mL/{unit_text(PRESSURE)}" if e.wall_ml_cmh2o is not None else ""
    bag = {True: "bag on", False: "bag off", None: ""}[e.bag_on]
    return joined((joined((fell, took), " "), volume, bag, wall, e.circuit))


def _limits(found: LeakFound, facts: Facts) -> tuple[MachineLimit, ...]:
    """Each limit by itself, as the verdict read it: a test below its pressure can break a limit but not keep it."""
    return tuple(
        MachineLimit(
            most=row.most,
            at=row.at,
            text=f"{row.most} mL/min at {row.at} {unit_text(PRESSURE)}",
            says=row.says,
            keeps=_keeps(found, row.most, row.at),
            memory=row.memory,
            cited=cited(row.source, facts.sources),
        )
        for row in facts.breathing.leaks
    )


def _keeps(found: LeakFound, most: int, at: int) -> bool | None:
    if found.leak is None:
        return None
    if found.leak.number(FLOW) > most:
        return False
    return True if found.test.at_cmh2o >= at else None


def _mended(book: MachineBook, facts: Facts, machine: str, day: date) -> tuple[MachineMended, ...]:
    what = {f.fault: f.what for f in book.found if f.machine == machine}
    return tuple(
        MachineMended(what=what[m.fault], how=m.how, at=m.happened_at, by=_initials(m.by, facts))
        for m in book.mended
        if m.fault in what and day_of(m.happened_at, facts) == day
    )


def _printed(text: str) -> str:
    """Words of a room or a table with the unit as a page prints it."""
    return text.replace(PRESSURE, unit_text(PRESSURE))


def _initials(id_: str, facts: Facts) -> str:
    return next((p.initials for p in facts.hospital.people if p.id == id_), id_)
