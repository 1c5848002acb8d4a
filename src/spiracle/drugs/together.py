"""All orders of one animal at once: each prepared by itself, then small drugs diluted alike so that one recipe is remembered."""

from __future__ import annotations

from collections.abc import Sequence

from spiracle.drugs.dilution import Small, Wish, alike
from spiracle.drugs.formulary import Formulary
from spiracle.drugs.order import DosingWeight, OrderedDose
from spiracle.drugs.prepare import prepare
from spiracle.drugs.prepared import Prepared
from spiracle.drugs.stock import Stock


def prepare_all(
    orders: Sequence[OrderedDose], weight: DosingWeight, stock: Stock, formulary: Formulary
) -> tuple[tuple[Prepared, Wish | None], ...]:
    """Every order made ready, in the order given, with the recipe it shares with others if it does.

    Which recipe is shared does not depend on the order of the lines. A dose that cannot be measured in the shared recipe keeps
    its own; an infusion's syringe is a bag of its own and shares none.
    """
    made = [prepare(o, weight, stock, formulary) for o in orders]
    smalls = {n: small for n, m in enumerate(made) if (small := _small(m)) is not None}
    shared = alike(tuple(smalls.values()), formulary.barrels_of(stock), formulary.fineness)
    wishes = dict(zip(smalls, shared, strict=True))
    found: list[tuple[Prepared, Wish | None]] = []
    for n, (order, own) in enumerate(zip(orders, made, strict=True)):
        wish = wishes.get(n)
        if wish is None or (own.dilution is not None and _is(own, wish)):
            found.append((own, wish))
            continue
        found.append((prepare(order, weight, stock, formulary, wish), wish))
    return tuple(found)


def _is(made: Prepared, wish: Wish) -> bool:
    mix = made.dilution
    one_step = mix is not None and len(mix.steps) == 1
    return one_step and mix is not None and mix.factor == wish.factor and mix.total.value == wish.total


def _small(made: Prepared) -> Small | None:
    """A dose that was diluted to be measured; one drawn with a barrel of its own choice keeps it."""
    strength = None if made.strength is None else made.strength.quantity
    if made.dilution is None or made.rate is not None or made.refusal is not None or made.order.barrel:
        return None
    if made.amount is None or strength is None or made.drug is None:
        return None
    return Small((made.amount / strength).to("mL"), strength, made.drug)
