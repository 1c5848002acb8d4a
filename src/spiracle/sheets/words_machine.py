"""Words for the machine's own book: lines of the day, leak tests, faults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.case import events as ev
from spiracle.case.machines import read_very_fast
from spiracle.quantity import figure
from spiracle.sheets.names import Names, joined


def _line(e: ev.MachineLineDone, n: Names) -> str:
    outcome = {"done": "", "fault": "FAULT", "skipped": "skipped"}[e.outcome]
    return joined((f"{e.machine}: {n.line(e.line)}", outcome, e.detail, fast_words(e.seconds_shown)))


def fast_words(seconds: Decimal | None) -> str:
    """A line answered sooner than it can be read says so wherever it is told."""
    return "read very fast" if read_very_fast(seconds) else ""


def _leak(e: ev.MachineLeakTested, n: Names) -> str:
    if e.flow_ml_min is not None:
        return joined((f"{e.machine}: leaks {figure(e.flow_ml_min)} mL/min at {figure(e.at_cmh2o)} cmH₂O", e.circuit))
    fell = f"fell to {figure(e.to_cmh2o)}" if e.to_cmh2o is not None else ""
    took = f"in {figure(e.seconds)} s" if e.seconds is not None else ""
    return joined((joined((f"{e.machine}: {figure(e.at_cmh2o)} cmH₂O", fell, took), " "), e.circuit))


def _fault(e: ev.MachineFaultFound, n: Names) -> str:
    return f"{e.machine}, fault: {e.what}"


def _mended(e: ev.MachineFaultMended, n: Names) -> str:
    return f"fault mended: {e.how}"


SAYS: Mapping[type[ev.Event], Callable[[Any, Names], str]] = {
    ev.MachineLineDone: _line,
    ev.MachineLeakTested: _leak,
    ev.MachineFaultFound: _fault,
    ev.MachineFaultMended: _mended,
}
