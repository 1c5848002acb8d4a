"""Bags for the plan: what to add to each bag on the shelf so that the ordered fluid rate gives every ordered infusion in it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from spiracle.case import events as ev
from spiracle.case.prepared import prepared, shelf
from spiracle.case.running import FLUID_GROUPS, PLAIN, is_drug, per_time
from spiracle.case.streams import part_holds, streams
from spiracle.case.syringes import MixedBag, bags
from spiracle.drugs import DosingWeight, Drug, Prepared, dose_rate_of
from spiracle.drugs.bags import Added, Bag, Wanted, bag_rate, mix
from spiracle.drugs.mixing import clashes, said_of_bag
from spiracle.quantity import Quantity, figure, read, unit
from spiracle.refusals import Refusal
from spiracle.sheets.infusion_cards import drops_of_all, weight_at
from spiracle.sheets.names import capital
from spiracle.sheets.shapes import BagPartShape, BagRecipe, Num
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import number, refused, working_shape
from spiracle.source import Worked, Working

DEFER = "What may share a bag is from memory here: the pharmacist and the leaflet go before it."
FULL = "A bag holds a little more than is printed on it; worked from the printed volume."


@dataclass(frozen=True, slots=True)
class _In:
    """An order that goes into the bag."""

    order: ev.DrugOrdered
    made: Prepared
    drug: Drug
    vial: Quantity


def bag_recipes(t: Told) -> tuple[BagRecipe, ...]:
    """Bags that were mixed, as they are, then one recipe for each volume on the shelf. None without a fluid order or a weight."""
    return (*(_mixed(t, b) for b in bags(t.case, t.now)), *_offered(t))


def _offered(t: Told) -> tuple[BagRecipe, ...]:
    fluid = _fluid_order(t)
    if fluid is None or t.kg is None:
        return ()
    carrier = t.facts.drugs.drug(fluid.drug)
    able, left_out = _orders_in(t, fluid, carrier)
    if not able:
        return ()
    return tuple(_recipe(t, fluid, carrier, able, left_out, ml) for ml in _volumes(t, carrier))


def _fluid_order(t: Told) -> ev.DrugOrdered | None:
    """The latest order of a plain fluid that is a rate."""
    found = [o for o in t.orders.values() if _group(t, o.drug) == PLAIN and per_time(unit(o.unit))]
    return found[-1] if found else None


def _group(t: Told, name: str) -> str:
    try:
        return t.facts.drugs.drug(name).group
    except Refusal:
        return ""


def _orders_in(t: Told, fluid: ev.DrugOrdered, carrier: Drug) -> tuple[list[_In], tuple[str, ...]]:
    """The rates that share the fluid's route and may share the bag, and why the others stay out of it."""
    begun = {s.order for s in streams(t.case, t.facts)}
    able: list[_In] = []
    out: list[str] = []
    for order in t.orders.values():
        if order.order == fluid.order or order.order in begun or not per_time(unit(order.unit)):
            continue
        made = _prepared(t, order)
        if made is None or made.drug is None or made.row is None or not made.row.infusion or made.row.emergency:
            continue
        if made.route != t.facts.drugs.route(fluid.route) or _group(t, made.drug.id) in FLUID_GROUPS:
            continue
        if made.strength is None or made.strength.quantity is None:
            told = made.refusal.accepts if made.refusal is not None else "Pick the vial."
            out.append(f"Not in it yet: {made.drug.name}. {told}")
            continue
        why = _why_out(t, carrier, [i.drug.id for i in able], made)
        if why:
            out.append(f"Not in it: {why}")
        else:
            able.append(_In(order, made, made.drug, made.strength.quantity))
    return able, tuple(out)


def _prepared(t: Told, order: ev.DrugOrdered) -> Prepared | None:
    try:
        return prepared(t.case, order, t.facts, t.now)
    except Refusal:
        return None


def _why_out(t: Told, carrier: Drug, beside: list[str], made: Prepared) -> str:
    if made.drug is None:
        return "a drug nobody knows."
    if made.refusal is not None and made.refusal.name in {"OverLimit", "AskAgain", "NotAllowed"}:
        return f"{made.drug.name}: {made.refusal.says}"
    found = clashes(carrier.id, (*beside, made.drug.id), t.species, t.facts.drugs)
    return capital(found[0].says) if found else ""


def _volumes(t: Told, carrier: Drug) -> tuple[Decimal, ...]:
    """Bags on the hospital's shelf; where it names none, those the tables list."""
    own = [v for b in t.facts.hospital.bags if is_drug(t.facts, b.fluid, carrier.id) for v in b.volumes]
    texts = own or [s.text.removesuffix(" bag") for s in carrier.strengths if s.text.endswith(" bag")]
    found = []
    for text in texts:
        try:
            found.append(read(text, "bag", "volume").number("mL"))
        except Refusal:
            continue
    return tuple(sorted(dict.fromkeys(found)))


def _recipe(
    t: Told, fluid: ev.DrugOrdered, carrier: Drug, able: list[_In], left_out: tuple[str, ...], ml: Decimal
) -> BagRecipe:
    drugs, kg = t.facts.drugs, t.kg or Decimal(0)
    holds = Quantity.of(ml, "mL")
    wanted = [Wanted(i.drug.id, i.drug.name, Quantity.of(i.order.high, i.order.unit), i.vial) for i in able]
    cautions = (*left_out, *said_of_bag(tuple(i.drug.id for i in able), drugs), FULL, DEFER)
    rate = bag_rate(Quantity.of(fluid.high, fluid.unit), kg, drugs.fineness)
    try:
        made = mix(wanted, rate, holds, kg, drugs.barrels_of(shelf(t.facts)), drugs.fineness, drugs.swap_share)
    except Refusal as refusal:
        return BagRecipe(
            fluid=carrier.id, fluid_name=carrier.name, holds=number(holds), total=number(holds), holds_ml=float(ml),
            rate=number(rate, estimated=t.estimated), cautions=cautions, refusal=refused(refusal),
        )  # fmt: skip
    working = working_shape(made.working, f"{figure(ml)} mL bag", t.facts.sources)
    drops, why = drops_of_all(t, (carrier.id, *(i.drug.id for i in able)), rate)
    return BagRecipe(
        fluid=carrier.id,
        fluid_name=carrier.name,
        holds=number(holds),
        remove=_shown(made.remove, made.working, t, "take out first") if made.remove is not None else None,
        parts=tuple(_part(t, i, a) for i, a in zip(able, made.parts, strict=True)),
        total=_shown(made.total, made.working, t, "in the bag then"),
        rate=_shown(made.rate, made.working, t, "fluid rate"),
        lasts=_hours(t, made),
        label=_label(carrier, made.parts, made.total),
        cautions=cautions,
        holds_ml=float(ml),
        remove_ml=float(made.remove.value) if made.remove is not None else 0,
        total_ml=float(made.total.value),
        rate_ml_h=float(made.rate.value),
        drops=drops,
        no_drops=why,
        working=working,
    )


def _shown(value: Quantity, working: Working, t: Told, title: str) -> Num:
    return number(Worked(value, working), title, t.facts.sources, estimated=t.estimated)


def _hours(t: Told, made: Bag) -> Num:
    says = f"{figure(made.total.value)} mL ÷ {figure(made.rate.value)} mL/h = {figure(made.hours, 3)} h"
    return Num(
        text=figure(made.hours, 3),
        unit="h",
        mark="predicted",
        working=working_shape(Working(says), "lasts", t.facts.sources),
    )


def _part(t: Told, i: _In, a: Added) -> BagPartShape:
    says = (
        f"{a.volume} × {a.wanted.vial} = {a.amount}; in the bag {_short(a.strength)}; gives {_short(a.gives)} "
        f"of {a.wanted.dose} ({figure(a.error_percent)} %)"
    )
    if a.fills > 1:
        says = f"{a.fills} fills of a {a.barrel.name}; {says}"
    working = Working(says, held=i.made.limits, sources=i.made.sources, memory=i.made.memory, estimated=t.estimated)
    return BagPartShape(
        order=i.order.order,
        drug=i.drug.id,
        name=capital(i.drug.name),
        syringe_class=i.drug.syringe_class,
        controlled=i.drug.controlled,
        vial=str(i.vial),
        add=_shown(a.volume, working, t, f"{i.drug.name}, to add"),
        add_ml=float(a.volume.value),
        amount=_shown(a.amount, working, t, f"{i.drug.name}, in the bag"),
        strength=_short(a.strength),
        gives=number(Worked(a.gives, working), f"{i.drug.name}, given", t.facts.sources, significant=4),
        error_percent=float(a.error_percent),
        memory=i.made.memory,
    )


def _label(carrier: Drug, parts: tuple[Added, ...], total: Quantity) -> str:
    """What is written on the bag: each drug with its amount and strength, the fluid and the volume."""
    drugs = "; ".join(f"{a.wanted.name} {_short(a.amount)} ({_short(a.strength)})" for a in parts)
    return f"{drugs}; in {figure(total.value)} mL {carrier.name}"


# ---- mixed


def _mixed(t: Told, bag: MixedBag) -> BagRecipe:
    """A bag as it was mixed, and what it gives at the rate it runs at, or at the fluid rate that is ordered."""
    mixed, drugs = bag.mixed, t.facts.drugs
    try:
        carrier = drugs.drug(mixed.fluid)
        known = [drugs.drug(p.drug) for p in mixed.parts]
    except Refusal as refusal:  # an entry of another time: shown as it stands
        held = number(Quantity.of(mixed.bag_ml, "mL"), mark="typed")
        return BagRecipe(bag=mixed.bag, fluid=mixed.fluid, fluid_name=mixed.fluid, holds=held, total=held, mixed=True,
                         rate=Num(text="not known"), refusal=refused(refusal))  # fmt: skip
    rate = _rate_of(t, bag, carrier)
    parts = tuple(_mixed_part(t, mixed, p, rate) for p in mixed.parts)
    total = Quantity.of(mixed.volume_ml, "mL")
    ids = tuple(d.id for d in known)
    drops, why = drops_of_all(t, (carrier.id, *ids), rate)
    hours = bag.left_ml / rate.value if rate.value else None
    drugs_in = "; ".join(f"{p.name} {p.amount.text} {p.amount.unit} ({p.strength})" for p in parts)
    return BagRecipe(
        bag=mixed.bag,
        fluid=carrier.id,
        fluid_name=carrier.name,
        holds=number(Quantity.of(mixed.bag_ml, "mL"), mark="typed"),
        remove=number(Quantity.of(mixed.removed_ml, "mL"), mark="typed") if mixed.removed_ml else None,
        parts=parts,
        total=number(total, mark="typed"),
        rate=number(rate, mark="typed"),
        lasts=Num(text=figure(hours, 3), unit="h", mark="predicted") if hours is not None else None,
        label=f"{drugs_in}; in {figure(mixed.volume_ml)} mL {carrier.name}",
        cautions=(*_for_another_weight(t, mixed), *said_of_bag(ids, drugs), DEFER),
        holds_ml=float(mixed.bag_ml),
        remove_ml=float(mixed.removed_ml),
        total_ml=float(mixed.volume_ml),
        rate_ml_h=float(rate.value),
        mixed=True,
        drops=drops,
        no_drops=why,
    )


def _for_another_weight(t: Told, mixed: ev.BagMixed) -> tuple[str, ...]:
    """What is in a bag stays true; the rate it was made for does not, once the animal weighs something else."""
    then = weight_at(t, mixed.happened_at)
    if then is None or t.kg is None or then == t.kg:
        return ()
    return (
        f"Mixed for doses on {figure(then)} kg, they are on {figure(t.kg)} kg now: at the same rate it gives another dose.",
    )


def _rate_of(t: Told, bag: MixedBag, carrier: Drug) -> Quantity:
    runs = next((i for i in reversed(t.infusions) if i.running and i.started.bag == bag.mixed.bag), None)
    if runs is not None:
        return Quantity.of(runs.rate_ml_h, "mL/h")
    fluid = _fluid_order(t)
    if fluid is None or t.kg is None or t.facts.drugs.drug(fluid.drug).id != carrier.id:
        return Quantity.of(0, "mL/h")
    return bag_rate(Quantity.of(fluid.high, fluid.unit), t.kg, t.facts.drugs.fineness)


def _mixed_part(t: Told, mixed: ev.BagMixed, part: ev.BagPart, rate: Quantity) -> BagPartShape:
    drug = t.facts.drugs.drug(part.drug)
    vial = _vial(t, drug, part.vial_concentration)
    holds = part_holds(mixed, part, t.facts)
    order = t.orders.get(part.order)
    amount = (Quantity.of(part.drug_volume_ml, "mL") * vial).to(vial.unit.parts[0][0]) if vial is not None else None
    gives = _gives(t, holds, order, rate)
    return BagPartShape(
        order=part.order,
        drug=drug.id,
        name=capital(drug.name),
        syringe_class=drug.syringe_class,
        controlled=drug.controlled,
        vial=part.vial_concentration,
        add=number(Quantity.of(part.drug_volume_ml, "mL"), mark="typed"),
        add_ml=float(part.drug_volume_ml),
        amount=number(amount) if amount is not None else Num(text="not known"),
        strength=_short(holds) if holds is not None else "not known",
        gives=number(gives, significant=4, estimated=t.estimated) if gives is not None else Num(text="not known"),
        error_percent=_error(gives, order),
    )


def _vial(t: Told, drug: Drug, text: str) -> Quantity | None:
    try:
        return t.facts.drugs.strength(drug, text).quantity
    except Refusal:
        return None


def _gives(t: Told, holds: Quantity | None, order: ev.DrugOrdered | None, rate: Quantity) -> Quantity | None:
    if holds is None or order is None or t.kg is None:
        return None
    try:
        return dose_rate_of(rate, DosingWeight(t.kg, t.estimated), holds, order.unit)
    except Refusal:
        return None


def _error(gives: Quantity | None, order: ev.DrugOrdered | None) -> float:
    if gives is None or order is None or not order.high:
        return 0
    return float(((gives.value - order.high) / order.high * 100).quantize(Decimal("0.01")))


def _short(q: Quantity) -> str:
    return f"{figure(q.value, 4)} {q.unit}"
