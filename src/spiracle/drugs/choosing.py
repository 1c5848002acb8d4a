"""Which row an order is held against. Nothing is guessed: no fitting row is a refusal that lists what there is."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.drugs.rows import DoseRow, comparable
from spiracle.drugs.table import ConditionFacts, RowFacts
from spiracle.refusals import Contradiction, OutOfRange, OverLimit, Unknown, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.drugs.formulary import Formulary


def choose(order: OrderedDose, weight: DosingWeight, formulary: Formulary) -> DoseRow:
    """The row for an order: named by the order, or the safest default that fits purpose, route, unit and conditions."""
    drug = formulary.drug(order.drug, order.species)
    purpose, route = formulary.purpose(order.purpose), formulary.route(order.route)
    if order.row:
        return _named(order, drug.id, route, formulary)
    _refuse_traps(drug.id, order, purpose, route, formulary)
    able = formulary.rows(drug.id, order.species, purpose, route)
    if not able:
        raise _none(order, drug.id, drug.name, purpose, route, formulary)
    like = [r for r in able if comparable(r.unit, order.high.unit)]
    if not like:
        ways = ", ".join(dict.fromkeys(str(r.unit) for r in able))
        raise UnlikeUnits(
            "dose", f"{order.dose_text} does not fit: {drug.name} for {purpose} by {route} is written in {ways}.",
            f"Write it like {able[0].usual_low}.",
        )  # fmt: skip
    banded = [r for r in like if r.fits(weight.kg)]
    if not banded:
        raise OutOfRange(
            "weight", f"no band of {drug.name} by {route} holds {weight.kg} kg.",
            "Bands: " + "; ".join(f"{r.facts.weight_kg[0]} kg and up: {r.usual_text}" for r in like) + ".",
        )  # fmt: skip
    said = frozenset(plain(c) for c in order.conditions)
    return min(banded, key=lambda r: _rank(r, said, weight.kg, formulary.conditions))


def plain(text: str) -> str:
    """A condition in plain words, so that "abcb1-mutation" and "ABCB1 mutation" are one."""
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


class Conditions:
    """The conditions that rows carry: their other names, which are of the moment, and which exclude each other."""

    def __init__(self, facts: Iterable[ConditionFacts]) -> None:
        self._names: dict[str, frozenset[str]] = {}
        self._moment: set[str] = set()
        self._not_with: dict[str, str] = {}
        for fact in facts:
            name = plain(fact.name)
            self._names[name] = frozenset(plain(w) for w in (fact.name, *fact.also))
            if fact.moment:
                self._moment.add(name)
            if fact.not_with:
                self._not_with[name] = plain(fact.not_with)

    def __contains__(self, condition: str) -> bool:
        return plain(condition) in self._names

    def holds(self, condition: str, said: frozenset[str]) -> bool:
        """Whether an order that says so much meets a row's condition."""
        name = plain(condition)
        return bool(self._names.get(name, frozenset({name})) & said)

    def must_be_said(self, condition: str) -> bool:
        return plain(condition) not in self._moment

    def denied(self, condition: str, said: frozenset[str]) -> bool:
        """Whether the order says the opposite."""
        return self._not_with.get(plain(condition), "") in said


def _rank(
    row: DoseRow, said: frozenset[str], kg: Decimal, known: Conditions
) -> tuple[int, int, int, int, Decimal, Decimal, str]:
    """Fewer contradicted conditions first, then more met ones, default rows, fewer unsaid ones, the lowest stop."""
    met = sum(known.holds(c, said) for c in row.conditions)
    against = sum(known.denied(c, said) or (known.must_be_said(c) and not known.holds(c, said)) for c in row.conditions)
    rail = row.guardrail(kg)
    hard = rail.hard_high.value if rail.hard_high is not None else Decimal(10) ** 9
    unsaid = len(row.conditions) - met
    return (against, -met, 0 if row.default else 1, unsaid, hard, rail.usual_high.value, row.id)


def _named(order: OrderedDose, drug: str, route: str, formulary: Formulary) -> DoseRow:
    row = formulary.row(order.row)
    if row.drug != drug or row.species != order.species:
        names = formulary.printed_names
        raise Contradiction(
            "row",
            f"{row.id} is {names[row.drug]} for a {row.species}, not {names[drug]} for a {order.species}.",
            "Pick the row again.",
        )
    if row.pick == "never":
        raise OverLimit("row", f"{row.id} is not given: {row.pick_why}.", "Pick another row.")
    if route not in row.routes:
        raise Contradiction(
            "route", f"{row.id} is given {', '.join(row.routes)}, not {route}.", "Pick the route again."
        )
    return row


def _refuse_traps(drug: str, order: OrderedDose, purpose: str, route: str, formulary: Formulary) -> None:
    """Zero rows: ways in which this drug is never given to this species."""
    rate = any(s in {"h", "min"} for s, _ in order.high.unit.parts)
    fact = zero_row(drug, order.species, purpose, route, order.conditions, formulary, rate=rate)
    if fact is not None:
        name = formulary.printed_names[drug]
        raise OverLimit(
            "drug", f"{name} is never given to a {order.species} for {fact.purpose} by {route}. {fact.note}".strip(),
            "Choose another drug or route.",
        )  # fmt: skip


def zero_row(
    drug: str, species: str, purpose: str, route: str, conditions: Iterable[str], formulary: Formulary, *, rate: bool = False
) -> RowFacts | None:  # fmt: skip
    """The row that says never to this way of giving a drug, if there is one. Without a purpose every purpose is looked at."""
    said = frozenset(plain(c) for c in conditions)
    for fact in formulary.figures("never", species, drug):
        purposes, routes = set(fact.purposes), set(fact.routes)
        if (purpose and not purposes & {purpose, "any"}) or not routes & {route, "any"}:
            continue
        needs = [c for c in fact.conditions if formulary.conditions.must_be_said(c)]
        alike = any(s in fact.unit for s in ("/h", "/min")) == rate
        if alike and all(formulary.conditions.holds(c, said) for c in needs):
            return fact
    return None


def _none(order: OrderedDose, drug: str, name: str, purpose: str, route: str, formulary: Formulary) -> Unknown:
    """No row fits: name the kept-but-never row if there is one, else what there is."""
    kept = [r for r in formulary.every(drug, order.species) if purpose in r.purposes and route in r.routes]
    if kept:
        return Unknown(
            "purpose", f"{name} for {purpose} by {route} in a {order.species} is kept only as a warning: {kept[0].pick_why}.",
            "Choose another way.",
        )  # fmt: skip
    by_purpose = formulary.routes(drug, order.species, purpose)
    if by_purpose:
        return Unknown(
            "route", f"{name} for {purpose} in a {order.species} is not listed by {route}.",
            "Listed: " + ", ".join(by_purpose) + ".",
        )  # fmt: skip
    listed = formulary.purposes(drug, order.species)
    return Unknown(
        "purpose", f"{name} for {purpose} in a {order.species} is not listed.",
        "Listed: " + ", ".join(listed) + "." if listed else "It is never given to this species here.",
    )  # fmt: skip
