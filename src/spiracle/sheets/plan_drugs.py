"""One worked order in the plan's JSON: amount, strength, dilution, volume at a mark, what is then delivered, and why."""

from __future__ import annotations

from spiracle.case.facts import Facts
from spiracle.drugs import Barrel, CautionHit, Dilution
from spiracle.quantity import Quantity
from spiracle.sheets.plan_bases import OtherWork
from spiracle.sheets.plan_shapes import (
    Amount,
    Caution,
    DilutionPart,
    DrugPart,
    LimitsPart,
    OtherPart,
    SyringePart,
    amount,
)
from spiracle.sheets.plan_work import OrderWork
from spiracle.sheets.worked_shape import cites, plain_refused, working_text
from spiracle.source import Guardrail, Working, Zone

SPIRACLES_LIST = "Spiracle's list"


def drug_part(work: OrderWork, facts: Facts) -> DrugPart:
    """The entry of one order. A refused one keeps all that was known up to the refusal, and no volume."""
    made, asked = work.made, work.asked
    working = made.workings

    def shown(value: Quantity | None, name: str) -> Amount | None:
        if value is None:
            return None
        text = working[name].says if name in working else ""
        return amount(value, text, memory=memory_of(work, name), estimated=made.estimated)

    return DrugPart(
        order=asked.order,
        drug=asked.drug if made.drug is None else made.drug.id,
        name=asked.drug if made.drug is None else made.drug.name,
        purpose=made.purpose or asked.purpose,
        route=made.route or asked.route,
        dose=amount(asked.high, "as ordered"),
        dose_low=amount(asked.low, "as ordered"),
        amount=shown(made.amount, "amount"),
        concentration=None if made.concentration is None else amount(made.concentration, strength_words(work)),
        dilution=None if made.dilution is None else _dilution(made.dilution, made.estimated),
        volume=shown(made.drawn, "volume"),
        syringe=None if made.barrel is None else _syringe(made.barrel),
        delivered=shown(made.delivered, "delivered"),
        delivered_dose=delivered_dose(work),
        error_percent=None if made.error_percent is None else round(made.error_percent, 2),
        rate=shown(made.rate, "rate"),
        zone=None if made.zone is None else made.zone.value,
        limits=None if made.guardrail is None else _limits(made.guardrail, made.limits, work),
        source=cites(made.sources, facts.sources),
        working=working_lines(work),
        refused=None if made.refusal is None else plain_refused(made.refusal),
        infusion=made.row.infusion if made.row is not None else False,
        memory=made.memory,
        estimated=made.estimated,
        reversal=made.reversal,
        controlled=made.controlled,
        time_to_give=give_words(work),
        when=asked.when,
        ordered_by=asked.ordered_by,
        over_hard_by=asked.over_hard_by,
        cautions=drug_cautions(work, facts),
        others=tuple(_other(o) for o in work.others),
    )


def _other(other: OtherWork) -> OtherPart:
    made, basis = other.made, other.basis

    def shown(value: Quantity | None, name: str) -> Amount | None:
        if value is None:
            return None
        text = made.workings[name].says if name in made.workings else ""
        return amount(value, text, memory=basis.memory, estimated=basis.estimated, predicted=basis.predicted)

    return OtherPart(
        basis=basis.words,
        weight=amount(basis.weight, memory=basis.memory, estimated=basis.estimated, predicted=basis.predicted),
        amount=shown(made.amount, "amount"),
        volume=shown(made.drawn, "volume"),
        rate=shown(made.rate, "rate"),
        differs_percent=round(other.differs_percent, 1),
    )


def memory_of(work: OrderWork, name: str) -> bool:
    """Whether this figure itself rests on memory. The amount does not: it is the order times the weight.

    Limits from memory are marked where the limits stand.
    """
    made = work.made
    vial = made.strength is not None and made.strength.memory
    recipe = made.dilution is not None and made.dilution.memory
    return name != "amount" and (vial or recipe)


def delivered_dose(work: OrderWork) -> Amount | None:
    """What is then really given, in the unit of the order, so that it can be held against the order."""
    made = work.made
    if made.delivered is None or made.amount is None or not made.amount.value:
        return None
    share = made.delivered.number(made.amount.unit) / made.amount.value
    return amount(Quantity(round(work.asked.high.value * share, 6), work.asked.high.unit), estimated=made.estimated)


def strength_words(work: OrderWork) -> str:
    """Whose word the strength is, so that nobody takes our list for their shelf."""
    if work.made.dilution is not None:
        return "in the syringe, after dilution"
    if work.shelf == SPIRACLES_LIST:
        return "from Spiracle's list of strengths, not from your shelf: read the vial"
    return f"strength from: {work.shelf}" if work.shelf else ""


def give_words(work: OrderWork) -> str:
    """How long to take over giving it; never how long it works."""
    made = work.made
    if made.give_over_min is None:
        return made.give_how
    low, high = made.give_over_min
    span = f"{low:f}" if low == high else f"{low:f} to {high:f}"
    return f"over {span} min" + (f", {made.give_how}" if made.give_how else "")


def working_lines(work: OrderWork) -> tuple[str, ...]:
    """The arithmetic of each step in the order it is done, then the limits it was held against."""
    made = work.made
    steps = [w for n, w in made.workings.items() if w.says] or ([made.working] if made.working.says else [])
    lines = [w.says for w in steps]
    lines += [f"held against {held}" for held in dict.fromkeys(_held(steps, made.working))]
    if made.estimated:
        lines.append("the weight is estimated, and so is every figure made from it")
    return tuple(dict.fromkeys(lines))


def _held(steps: list[Working], whole: Working) -> list[str]:
    return [h for w in (*steps, whole) for h in w.held]


def drug_cautions(work: OrderWork, facts: Facts) -> tuple[Caution, ...]:
    """Cautions of this drug, those matched to this patient first, and the plan's own words about it."""
    name = work.asked.drug if work.made.drug is None else work.made.drug.name
    hits = sorted(work.cautions, key=lambda h: (not h.matched, ("never", "avoid", "care").index(h.severity)))
    found = [_hit(hit, name, facts) for hit in hits]
    own: list[Caution] = []
    judgement = work.made.judgement
    if judgement is not None and judgement.slip:
        own.append(Caution(kind="plan", text=f"{judgement.slip.rstrip('.')}.", severity="avoid", about=name))
    elif judgement is not None and judgement.zone is Zone.UNUSUAL:
        text = f"The order lies outside the usual band ({judgement.words[0]})."
        own.append(Caution(kind="plan", text=text, severity="care", about=name))
    if work.made.strength is not None and work.shelf == SPIRACLES_LIST:
        text = f"The strength {work.made.strength.text} is from Spiracle's list, not from your shelf: read the vial."
        own.append(Caution(kind="plan", text=text, severity="care", about=name))
    if work.asked.over_hard_by:
        over = judgement is not None and judgement.zone is Zone.FORBIDDEN
        what = "Over the hard stop" if over else "Meant as ordered,"
        text = f"{what} on the word of {work.asked.over_hard_by}: {work.asked.reason}."
        own.append(Caution(kind="plan", text=text, severity="avoid", about=name))
    return (*own, *found)


def _hit(hit: CautionHit, name: str, facts: Facts) -> Caution:
    return Caution(
        kind="patient" if hit.matched else "drug",
        text=hit.statement,
        severity=hit.severity,
        about=f"{name}, {hit.condition}" if hit.condition else name,
        memory=hit.memory,
        source=cites(hit.sources, facts.sources),
    )


def _limits(limit: Guardrail, also: tuple[str, ...], work: OrderWork) -> LimitsPart:
    return LimitsPart(
        usual_low=amount(limit.usual_low, memory=limit.memory),
        usual_high=amount(limit.usual_high, memory=limit.memory),
        hard=None if limit.hard_high is None else amount(limit.hard_high, memory=limit.hard_memory),
        sentence=also[0] if also else limit.sentence,
        row=work.made.row.id if work.made.row is not None else "",
        memory=limit.memory,
        also=also[1:],
    )


def _dilution(dilution: Dilution, estimated: bool) -> DilutionPart:
    return DilutionPart(
        concentration=amount(dilution.concentration, memory=dilution.memory),
        drug_volume=amount(dilution.drug_volume, memory=dilution.memory),
        diluent_volume=amount(dilution.diluent_volume, memory=dilution.memory),
        diluent=dilution.diluent,
        total=amount(dilution.total, memory=dilution.memory),
        label=dilution.label,
        memory=dilution.memory,
        working=working_text(dilution.working),
    )


def _syringe(barrel: Barrel) -> SyringePart:
    return SyringePart(name=barrel.name, holds=amount(barrel.holds), mark=amount(barrel.mark))
