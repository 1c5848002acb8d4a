"""The arithmetic of a syringe in one line each, as a person would write it beside the figure."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.quantity import Quantity, figure
from spiracle.source import Guardrail, Input, Mark, Working

_DIGITS = 4


def short(value: Quantity) -> str:
    """A quantity with at most four significant digits where it does not end sooner."""
    return f"{figure(value.value, _DIGITS)} {value.unit}"


def _weight(weight: DosingWeight) -> Input:
    if weight.chosen:  # no scale showed it: somebody chose it, and a lean weight is itself an estimate
        lean = ", estimated" if "lean" in weight.basis.lower() or weight.estimated else ""
        return Input("dosing weight", f"{figure(weight.kg)} kg", Mark.TYPED, f"{weight.basis}{lean}")
    mark = Mark.PREDICTED if weight.estimated else Mark.MEASURED
    return Input("weight", f"{figure(weight.kg)} kg", mark, weight.basis if not weight.estimated else "estimated")


def amount_line(order: OrderedDose, weight: DosingWeight, amount: Quantity) -> Working:
    parts = dict(order.high.unit.parts)
    dose = Input("ordered dose", order.dose_text, Mark.TYPED)
    if parts.get("kg") == -1 or parts.get("lb") == -1:
        says = f"{order.high} × {figure(weight.kg)} kg = {short(amount)}"
        return Working(says, (dose, _weight(weight)))
    return Working(f"ordered {short(amount)}", (dose,))


def volume_line(amount: Quantity, concentration: Quantity | None, volume: Quantity) -> Working:
    if concentration is None:
        return Working(f"{short(volume)} as ordered")
    return Working(f"÷ {concentration} = {short(volume)}", (Input("strength", str(concentration)),))


def delivered_line(
    drawn: Quantity, concentration: Quantity | None, delivered: Quantity, mark: Quantity, error: Decimal, per: Quantity,
    barrel_off: Quantity | None = None,
) -> Working:  # fmt: skip
    """Down to the mark, and what that gives. `barrel_off`: what the barrel itself may be off, which no rounding takes away."""
    off_too = (
        ()
        if barrel_off is None
        else (Input("the barrel may be off", f"± {short(barrel_off)}", Mark.TABLE, "ISO 7886-1"),)
    )
    gives = "" if concentration is None else f"; {drawn} × {concentration} = {short(delivered)}, {short(per)}"
    off = f" ({figure(error)} %)" if error else ""
    return Working(
        f"down to the {mark} mark: {drawn}{gives}{off}",
        (Input("mark", str(mark)), Input("given", short(delivered), Mark.WORKED), *off_too),
    )


def rate_line(
    amount: Quantity, concentration: Quantity | None, rate: Quantity, set_to: Quantity, error: Decimal, per: Quantity
) -> Working:
    """An infusion's rate. The dose rate stays in its own time base; the pump's rate stands beside it."""
    divided = "" if concentration is None else f"÷ {concentration} = "
    off = f" ({figure(error)} %)" if error else ""
    return Working(
        f"{short(amount)} {divided}{short(rate)}; down to {set_to}, {short(per)}{off}".replace("  ", " "),
        (Input("rate", str(set_to), Mark.WORKED),),
    )


def with_base(
    line: Working,
    sources: tuple[str, ...],
    held: tuple[str, ...],
    limit: Guardrail | None,
    *,
    memory: bool,
    estimated: bool,
) -> Working:
    """The line with what it was held against and where its figures come from."""
    return replace(
        line, sources=line.sources or sources, held=held, limit=limit, memory=line.memory or memory, estimated=estimated
    )
