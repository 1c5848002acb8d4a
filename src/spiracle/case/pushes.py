"""What went in, read so that nothing stored can break a later decision: drugs by any name, amounts, routes, forms.

Carries U24, D10. An entry that cannot be read adds nothing to a sum; it is never a reason to refuse the next one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.case.prepared import shelf
from spiracle.case.standing import given, species
from spiracle.case.syringes import syringe
from spiracle.drugs import Drug, LocalDose
from spiracle.quantity import Quantity, Unit, unit
from spiracle.refusals import OutOfRange, Refusal, UnlikeUnits

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

PRESERVED = "benzyl alcohol"
LIPID = "lipid"
_PLAIN = re.compile(r"\b(?:without|no|free|unpreserved)\b", re.IGNORECASE)


def drug_id(name: str, facts: Facts) -> str:
    """The drug of an entry by any of its names; nothing for one that the tables do not hold."""
    try:
        return facts.drugs.drug(name).id
    except Refusal:
        return ""


def hand_name(hand: str, facts: Facts) -> str:
    """The name of a hand, as this hospital knows it; as written where it does not."""
    try:
        return facts.hospital.person(hand).name
    except Refusal:
        return hand


def route_of(text: str, facts: Facts) -> str:
    """The route of an entry; of "IV or IO" the first. Nothing for one that cannot be read."""
    for part in (text, re.split(r"\s+or\s+|,", text)[0]):
        try:
            return facts.drugs.route(part)
        except Refusal:
            continue
    return ""


def amount_given(push: ev.DrugGiven | ev.GivenBefore) -> Quantity | None:
    """The amount of an entry; None for a unit that the tables do not know."""
    try:
        return Quantity.of(push.amount, push.unit)
    except Refusal:
        return None


def is_plain_amount(amount: Quantity) -> bool:
    """An amount as it is in a syringe: mg, mcg, IU, mEq, mL. Not one per kg and not one per time."""
    return len(amount.unit.parts) == 1 and amount.unit.parts[0][1] == 1


def emergency_drugs(case: Case, facts: Facts) -> frozenset[str]:
    """What the emergency tables hold for this species."""
    kind = species(case)
    return frozenset(i.drug for i in facts.emergency.table.item if kind in i.species)


def rescue_routes(drug: str, case: Case, facts: Facts) -> frozenset[str]:
    """The ways the emergency tables and the emergency rows give a drug to this species: by another way it is no rescue dose."""
    kind = str(species(case))
    told = [i.route for i in facts.emergency.table.item if i.drug == drug and kind in i.species]
    words = [w for text in told for w in re.split(r"\s+or\s+|,|\s+slow\b", text) if w.strip()]
    rows = [route for row in facts.drugs.every(drug, kind) if row.emergency for route in row.routes]
    return frozenset(found for w in (*words, *rows) if (found := route_of(w.strip(), facts)))


def is_rescue(case: Case, push: ev.DrugGiven, facts: Facts) -> bool:
    """A push that was called an emergency's, of a drug and by a route that the tables have for one."""
    return push.emergency and route_of(push.route, facts) in rescue_routes(drug_id(push.drug, facts), case, facts)


def counted(case: Case, drug: str, facts: Facts) -> tuple[ev.DrugGiven, ...]:
    """The pushes of a drug that count against its limits: all but rescue doses out of the emergency tables."""
    return tuple(g for g in given(case) if drug_id(g.drug, facts) == drug and not is_rescue(case, g, facts))


def summed(pushes: Iterable[ev.DrugGiven], this: Quantity) -> Quantity:
    """Together with this amount; what is of another kind cannot be added."""
    total = this
    for push in pushes:
        amount = amount_given(push)
        if amount is not None and amount.unit.dimension == total.unit.dimension:
            total = total + amount
    return total


def form_of(case: Case, push: ev.DrugGiven, facts: Facts) -> str:
    """Which of several vials of one strength: what stands on its syringe, else as entered, the picked vial's, the only stocked
    one's."""
    drawn = syringe(case, push.syringe) if push.syringe else None
    picked = [p for p in case.live(ev.VialPicked) if p.order and p.order == push.order]
    ordered = [o for o in case.live(ev.DrugOrdered) if o.order and o.order == push.order]
    texts = [drawn.drawn.form, drawn.drawn.vial_concentration] if drawn is not None else []
    texts += [push.form, push.concentration]
    texts += [picked[-1].form, picked[-1].concentration] if picked else []
    texts += [ordered[-1].concentration] if ordered else []
    found = next((words for t in texts if (words := _words(t))), "")
    return found or stocked_form(push.drug, facts)


def _words(text: str) -> str:
    """What is said beside the strength."""
    return re.sub(r"^[\d.,]+\s*(?:\S+/m[lL]|%)", "", text.strip()).strip(" ()")


def stocked_form(name: str, facts: Facts) -> str:
    """The form of a drug that this hospital stocks; nothing where it stocks more than one, or none."""
    drug = drug_id(name, facts)
    own = (
        shelf(facts).strengths.get(drug, ())
        if any(drug_id(d.drug, facts) == drug for d in facts.hospital.drugs)
        else ()
    )
    forms = {_words(text) for text in own}
    return forms.pop() if len(forms) == 1 else ""


def measures(drug: Drug, facts: Facts) -> frozenset[str]:
    """The units a drug is measured in: those of its vials and of its rows. What is given in another can never be added up."""
    units: list[Unit] = [s.quantity.unit for s in drug.strengths if s.quantity is not None]
    units += [row.unit for row in facts.drugs.all_rows() if row.drug == drug.id]
    return frozenset(u.parts[0][0] for u in units)


def readable_amount(amount: Quantity, drug: Drug, facts: Facts) -> None:
    """Refuses what is no amount of this drug."""
    if not is_plain_amount(amount):
        raise UnlikeUnits("unit", f"{amount.unit or 'nothing'} is no amount.", "Give what went in, like 2 mg.")
    able = measures(drug, facts)
    if able and not any(unit(t).dimension == amount.unit.dimension for t in able):
        raise UnlikeUnits(
            "unit", f"{drug.name} is not measured in {amount.unit}.", f"Give it in {' or '.join(sorted(able))}."
        )
    if amount.value <= 0:
        raise OutOfRange("amount", "is zero.", "Give what went in.")


def doses_given(case: Case, drugs: Iterable[str], facts: Facts) -> list[LocalDose]:
    """All that counts in the shared ceilings of these drugs: pushes but for rescue doses, and what was given before."""
    wanted = tuple(drugs)
    pushes = (g for drug in wanted for g in counted(case, drug, facts))
    here = [local_dose(case, g, held, facts) for g in pushes if (held := amount_given(g)) is not None]
    return [*(dose for dose in given_before(case, facts) if dose.drug in wanted), *here]


def rescues(case: Case, drugs: Iterable[str], facts: Facts) -> list[LocalDose]:
    """The pushes that no limit counts: rescue doses out of the emergency tables. They are in the body all the same."""
    able = frozenset(drugs)
    return [
        replace(local_dose(case, g, held, facts), rescue=True)
        for g in given(case)
        if drug_id(g.drug, facts) in able and is_rescue(case, g, facts) and (held := amount_given(g)) is not None
    ]


def given_before(case: Case, facts: Facts) -> list[LocalDose]:
    """Doses of the ward and elsewhere, as the shared ceilings count them: at the time they were given, whoever gave them. Which
    of two forms it was is not told: where this hospital stocks one form only, it is taken to be that."""
    return [
        LocalDose(drug=drug_id(b.drug, facts), amount=Quantity.of(b.amount, b.unit), at=b.given_at,
                  route=route_of(b.route, facts), by=b.by_whom or b.by,
                  strength=form_mark(stocked_form(b.drug, facts)))
        for b in case.live(ev.GivenBefore)
    ]  # fmt: skip


def local_dose(case: Case, push: ev.DrugGiven, amount: Quantity, facts: Facts) -> LocalDose:
    """A push as the shared ceilings count it."""
    return LocalDose(
        drug=drug_id(push.drug, facts), amount=amount, at=push.happened_at, route=route_of(push.route, facts),
        strength=form_mark(form_of(case, push, facts)), purpose=purpose_of(case, push, facts), by=push.by,
    )  # fmt: skip


def form_mark(form: str) -> str:
    """The word of a form that a shared ceiling asks for; nothing for what no ceiling does.

    >>> form_mark("with benzyl alcohol"), form_mark("lipid emulsion"), form_mark("plain emulsion")
    ('benzyl alcohol', 'lipid', '')
    """
    return PRESERVED if is_preserved(form) else LIPID if LIPID in form.casefold() else ""


def is_preserved(form: str) -> bool:
    """Whether the words on a vial say that benzyl alcohol is in it.

    >>> is_preserved("with benzyl alcohol"), is_preserved("without benzyl alcohol"), is_preserved("")
    (True, False, False)
    """
    return PRESERVED in form.casefold() and not _PLAIN.search(form)


def purpose_of(case: Case, push: ev.DrugGiven, facts: Facts) -> str:
    """What it was given for, as the tables call it: as ordered, else as entered; nothing for a word they do not know. The order
    comes first: a block is held to its ceiling whatever its push is called."""
    ordered = [o.purpose for o in case.live(ev.DrugOrdered) if push.order and o.order == push.order]
    for word in (*reversed(ordered), push.purpose):
        try:
            return facts.drugs.purpose(word)
        except Refusal:
            continue
    return ""
