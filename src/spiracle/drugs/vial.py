"""Which vial: the one in the order, or the only one stocked. Two stocked strengths give no volume until one is picked."""

from __future__ import annotations

from spiracle.drugs.forms import limits_of
from spiracle.drugs.formulary import Formulary
from spiracle.drugs.order import OrderedDose
from spiracle.drugs.rows import DoseRow
from spiracle.drugs.stock import Drug, Stock, Strength, times
from spiracle.quantity import figure, unit
from spiracle.refusals import AskAgain, Contradiction, Missing, OverLimit, UnlikeUnits

_COUNT = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}
_SOLID_ROUTES = {"PO", "skin", "inhaled"}


def vial(
    order: OrderedDose, drug: Drug, row: DoseRow, route: str, stock: Stock, formulary: Formulary
) -> Strength | None:
    """The strength to draw from, or a refusal; None for a tablet, capsule or patch, which has no volume."""
    found = (
        _ordered(order, drug, stock, formulary) if order.strength else _only(order, drug, row, route, stock, formulary)
    )
    if found is None:
        return None
    if not (order.overridden or order.emergency):
        product_fits(found, drug, order.species, route)
    _bound(found, drug, row, order)
    _of_its_form(found, drug, row, route, order, formulary)
    _same_kind(found, drug, order)
    return found


def _ordered(order: OrderedDose, drug: Drug, stock: Stock, formulary: Formulary) -> Strength:
    found = formulary.strength(drug, order.strength, stock.origin)
    if found.quantity is None:
        raise _powder(drug, found.text)
    known = (*formulary.strengths_of(drug, stock), *drug.strengths)
    if known and not any(k.same(found) for k in known) and not order.confirmed:
        raise AskAgain(
            "strength", f"{found.text} of {drug.name} is not stocked and not listed.",
            "Read the vial again, or confirm it. Listed: " + ", ".join(dict.fromkeys(k.printed for k in known)) + ".",
        )  # fmt: skip
    return found


def _only(
    order: OrderedDose, drug: Drug, row: DoseRow, route: str, stock: Stock, formulary: Formulary
) -> Strength | None:
    stocked = [s for s in formulary.strengths_of(drug, stock) if not s.only or route in s.only]
    ready = [s for s in stocked if s.quantity is not None]
    if row.strength:
        bound = formulary.strength(drug, row.strength)
        ready = [s for s in ready if s.same(bound)] or ready
    able = [s for s in ready if not s.trap] or ready
    kinds: list[Strength] = []
    for strength in able:
        if not any(k.same(strength) for k in kinds):
            kinds.append(strength)
    if len(kinds) == 1:
        _one_form(able, drug, stock, formulary)
        return kinds[0]
    if len(kinds) > 1:
        raise Missing(
            "strength", f"No volume yet: {_COUNT.get(len(kinds), str(len(kinds)))} strengths are stocked.",
            "Pick the vial in your hand: " + " or ".join(k.printed for k in kinds) + ".",
        )  # fmt: skip
    if stocked and route in _SOLID_ROUTES:
        return None
    if stocked:
        raise _powder(drug, stocked[0].text)
    raise Missing(
        "strength", f"No volume yet: no strength of {drug.name} is stocked.", "Say what the vial reads, like 10 mg/mL."
    )


def _one_form(able: list[Strength], drug: Drug, stock: Stock, formulary: Formulary) -> None:
    """Two forms of one strength on a told shelf: the same mL, but another ceiling, so the form in the hand is asked for."""
    printed = tuple(dict.fromkeys(s.printed for s in able))
    if len(printed) > 1 and drug.id in stock.own and formulary.forms(drug.id):
        raise Missing(
            "strength", f"No volume yet: {_COUNT.get(len(printed), str(len(printed)))} forms of {drug.name} are stocked.",
            "Pick the vial in your hand: " + " or ".join(printed) + ".",
        )  # fmt: skip


def _powder(drug: Drug, text: str) -> Missing:
    return Missing(
        "strength",
        f"No volume yet: {drug.name} stands here as {text}.",
        "Say the strength it was made up to, like 10 mg/mL.",
    )


def product_fits(found: Strength, drug: Drug, species: str, route: str) -> None:
    """A product that is for one species or one way goes into no other: its strength is made for that way alone."""
    ways = f" by {' or '.join(found.only)}" if found.only else ""
    if (found.species and found.species != species) or (found.only and route not in found.only):
        raise OverLimit(
            "strength", f"{found.printed} of {drug.name} is for {found.species or 'patient'}s{ways}, not for a {species} by {route}.",
            "Pick another vial, or a named veterinarian says so with a reason.",
        )  # fmt: skip


def _bound(found: Strength, drug: Drug, row: DoseRow, order: OrderedDose) -> None:
    """A row that belongs to one product, and vials that do not belong in this room."""
    belongs(found, drug, row)
    if found.trap and not order.overridden:
        raise OverLimit(
            "strength",
            f"{found.printed} of {drug.name} is not a vial for dogs and cats{_far(found, drug)}.",
            "Pick another vial.",
        )


def belongs(found: Strength, drug: Drug, row: DoseRow) -> None:
    """A dose of one product is not drawn from another."""
    bound = next((s for s in drug.strengths if row.strength and s.text == row.strength), None)
    if bound is not None and not bound.same(found):
        raise Contradiction(
            "strength", f"This dose of {drug.name} belongs to the {row.strength} product, not to {found.text}.",
            "Pick that vial, or another row.",
        )  # fmt: skip


def _of_its_form(
    found: Strength, drug: Drug, row: DoseRow, route: str, order: OrderedDose, formulary: Formulary
) -> None:
    """A vial known to be of a form is not given in the ways that form rules out; an emergency is never blocked."""
    if order.overridden or order.emergency or row.emergency:
        return
    for limit in limits_of(drug.id, found, formulary.formulations):
        barred = limit.severity == "never" and route in limit.routes
        if limit.strengths and (barred or (limit.no_infusion and row.infusion)):
            how = f"by {route}" if barred else "as an infusion"
            raise OverLimit(
                "strength", f"{drug.name} {limit.form} is not given {how}: {limit.statement}",
                "Pick another vial, or a named veterinarian says so with a reason.",
            )  # fmt: skip


def _far(found: Strength, drug: Drug) -> str:
    """How many times the weakest ordinary vial this one is."""
    ordinary = [s.quantity for s in drug.strengths if s.quantity is not None and not s.trap]
    if not ordinary or found.quantity is None:
        return ""
    weak = min(ordinary, key=lambda q: q.value * q.unit.factor[0] / q.unit.factor[1])
    return f", {figure(times(found.quantity, weak), 3)} times {weak}"


def _same_kind(found: Strength, drug: Drug, order: OrderedDose) -> None:
    """A dose in units is not drawn from a vial in milligrams."""
    if found.quantity is None:
        return
    top, holds = order.high.unit.parts[0], found.quantity.unit.parts[0]
    if unit(top[0]).dimension != unit(holds[0]).dimension:
        raise UnlikeUnits(
            "strength", f"{drug.name} is ordered in {top[0]} and the vial is marked in {holds[0]}.",
            f"Order it in {holds[0]}, or pick a vial marked in {top[0]}.",
        )  # fmt: skip
