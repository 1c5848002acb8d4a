"""The laws of a dose, checked on a worked plan by arithmetic of its own: whole fractions, apart from the decimals of the core.

Used by the laws over random plans and by the soak; each check says in words which law is broken, or nothing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from typing import Any

import msgspec

from spiracle.drugs import Prepared
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal
from spiracle.sheets.plan_work import OrderWork, PlanWork

# How many of the smallest unit of its kind each symbol is; written here again, not read from the quantity room.
SIZES = {
    "g": Fraction(10**9), "mg": Fraction(10**6), "mcg": Fraction(10**3), "ng": Fraction(1), "IU": Fraction(1000), "mIU": Fraction(1),
    "mEq": Fraction(1), "mmol": Fraction(1), "mL": Fraction(1), "L": Fraction(1000), "dL": Fraction(100), "kg": Fraction(10**8),
    "lb": Fraction(45359237), "s": Fraction(1), "min": Fraction(60), "h": Fraction(3600), "day": Fraction(86400),
    "animal": Fraction(1), "site": Fraction(1), "puff": Fraction(1), "J": Fraction(1), "%": Fraction(1), "drop": Fraction(1),
}  # fmt: skip
BODY = {"kg", "lb"}


def exact(q: Quantity) -> Fraction:
    """The number in the smallest units as a whole fraction."""
    value = Fraction(q.value)
    for symbol, power in q.unit.parts:
        value *= SIZES[symbol] ** power
    return value


def whole(q: Quantity, kg: Fraction) -> Fraction:
    """A dose for this animal: per kg (or lb) times its weight, per animal as it is."""
    body = any(symbol in BODY and power == -1 for symbol, power in q.unit.parts)
    return exact(q) * kg * SIZES["kg"] if body else exact(q)


def broken(work: OrderWork, kg: Fraction) -> str:
    """The law this line breaks, if it breaks one."""
    made = work.made
    if made.refusal is not None:
        return _refused(made, made.refusal)
    if made.delivered is None:
        return ""
    return _amounts(work, made, made.delivered, kg) or _marks(made) or _recipe(made)


def lost(plan: PlanWork) -> str:
    """An order without a line of its own, in its own place, is lost."""
    asked = [o.order for o in plan.request.orders]
    lines = [o.asked.order for o in plan.orders]
    return "" if asked == lines else f"orders {asked} became lines {lines}"


def _refused(made: Prepared, refusal: Refusal) -> str:
    """A refusal has a name, says where and why and what would be taken, in a sentence; and shows no volume."""
    if made.drawn is not None or made.rate is not None or made.pushes:
        return "a refused line shows a volume"
    if type(refusal) is Refusal:
        return "a refusal without a name"
    if not (refusal.field.strip() and refusal.says.strip() and refusal.accepts.strip()):
        return f"a refusal says too little: {refusal.sentence}"
    if not (refusal.says.rstrip().endswith((".", "?")) and "\n" not in refusal.sentence):
        return f"a refusal is no sentence: {refusal.sentence}"
    return ""


def _amounts(work: OrderWork, made: Prepared, delivered: Quantity, kg: Fraction) -> str:
    """What is delivered: never over the order, what volume times strength gives, under every stop of one dose."""
    given, shown = exact(delivered), made.rate if made.rate is not None else made.drawn
    if given > whole(work.asked.high, kg):
        return f"delivers {delivered} of {made.amount}"
    if shown is None:
        return "an amount without a volume"
    if made.concentration is not None and exact(shown) * exact(made.concentration) != given:
        return f"{shown} of {made.concentration} is not {delivered}"
    row = made.row
    for stop in () if row is None or row.emergency or work.asked.over_hard_by else row.stops:
        alike = stop.at.unit.dimension == work.asked.high.unit.dimension
        if stop.basis == "single" and not stop.ask and alike and given > whole(stop.at, kg):
            return f"{delivered} is over the {stop.words}"
    return ""


def _marks(made: Prepared) -> str:
    if made.barrel is None or made.drawn is None:
        return ""
    if Fraction(made.drawn.value) % Fraction(made.barrel.mark.value):
        return f"{made.drawn} is no mark of {made.barrel.name}"
    return f"{made.drawn} does not fit {made.barrel.name}" if made.drawn > made.barrel.holds else ""


def _recipe(made: Prepared) -> str:
    mix = made.dilution
    if mix is None:
        return ""
    if mix.drug_volume + mix.diluent_volume != mix.total:
        return "a recipe does not add up"
    for part, barrel in ((mix.drug_volume, mix.drug_barrel), (mix.diluent_volume, mix.diluent_barrel)):
        if Fraction(part.value) % Fraction(barrel.mark.value):
            return f"{part} of a recipe is no mark of {barrel.name}"
    return ""


def floats(thing: Any, where: str = "", seen: set[int] | None = None) -> Iterator[str]:
    """Where in a worked plan a float hides: a figure of a dose is a decimal until it goes out of the door."""
    seen = set() if seen is None else seen
    if isinstance(thing, float):
        yield f"{where} = {thing!r}"
    if isinstance(thing, (str, bytes, int, float)) or thing is None or id(thing) in seen:
        return
    seen.add(id(thing))
    for name, inner in _inside(thing):
        yield from floats(inner, f"{where}.{name}", seen)


def _inside(thing: Any) -> Iterable[tuple[str, Any]]:
    if dataclasses.is_dataclass(thing):
        return [(f.name, getattr(thing, f.name)) for f in dataclasses.fields(thing)]
    if isinstance(thing, msgspec.Struct):
        return [(f, getattr(thing, f)) for f in thing.__struct_fields__]
    if isinstance(thing, Mapping):
        return [(str(k), v) for k, v in thing.items()]
    if isinstance(thing, (list, tuple, set, frozenset)):
        return [(str(n), v) for n, v in enumerate(thing)]
    return ()
