"""A plan worked out, before it is worded: the one piece of work behind the plan file's JSON and a stored case's plan.

Rooms do not know one another; here they meet. The patient room names this animal's conditions, the drug room works each
order, the airway, breathing, circulation and emergency rooms answer for the same animal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial

from spiracle.breathing import BreathingChoice, Price, systems
from spiracle.breathing import Cylinder as OxygenCylinder
from spiracle.breathing import plan as breathing_plan
from spiracle.case.facts import Facts
from spiracle.circulation import Bolus
from spiracle.drugs import CautionHit, OrderedDose, Prepared, Stock, cautions, prepare, read_strength
from spiracle.drugs.dilution import Wish
from spiracle.drugs.together import prepare_all
from spiracle.emergency import EmergencyPlan
from spiracle.patient import Flag, PatientTables
from spiracle.quantity import Quantity, read
from spiracle.refusals import Contradiction, Missing, NotMeasurable, OverLimit, Refusal
from spiracle.sheets.plan_airway import AirwayWork, airway_work
from spiracle.sheets.plan_bases import Basis, OtherWork, differs, other_weights, weight_in_use
from spiracle.sheets.plan_moments import moments
from spiracle.sheets.plan_request import LimitAsked, OrderAsked, Patient, PlanRequest
from spiracle.source import Worked


@dataclass(frozen=True, slots=True)
class OrderWork:
    """One order with what the drug room made of it. `shelf` says whose list of strengths was used; `others` what it would
    be on the other known weights, where that differs."""

    asked: OrderAsked
    made: Prepared
    cautions: tuple[CautionHit, ...] = ()
    shelf: str = ""
    others: tuple[OtherWork, ...] = ()


def conditions_of(patient: Patient, facts: Facts) -> frozenset[str]:
    """Every condition id that holds for this animal: named ones and those its breed, age and weight bring."""
    return facts.patient.conditions_of(
        patient.species,
        named=patient.conditions,
        breed=patient.breed,
        age_days=patient.age_days,
        kg=patient.weight.number("kg"),
        body_condition=patient.body_condition,
    )


def shelf_of(request: PlanRequest, facts: Facts) -> tuple[Stock, Mapping[str, str]]:
    """What stands on the shelf: the plan file's list over the hospital's over Spiracle's, and whose word each drug is."""
    base = facts.drugs.stock()
    hospital = {facts.drugs.drug(d.drug).id: d.strengths for d in facts.hospital.drugs}
    told = {facts.drugs.drug(d).id: tuple(str(q) for q in qs) for d, qs in request.stock.strengths.items()}
    whose = {drug: "Spiracle's list" for drug in base.strengths}
    whose |= dict.fromkeys(hospital, facts.hospital.name) | dict.fromkeys(told, "plan file")
    barrels = request.stock.syringes or facts.hospital.barrels
    return base.over({**hospital, **told}, barrels), whose


def work_orders(
    request: PlanRequest, facts: Facts, conditions: frozenset[str], lean: Worked[Quantity] | None = None
) -> tuple[OrderWork, ...]:
    """Every order worked, in the order given. Never raises for an order: its refusal stands in its own line.

    Small drugs share one recipe where they can; each order is worked on the other known weights too, by the same way.
    """
    stock, whose = shelf_of(request, facts)
    weight = weight_in_use(request.patient, lean)
    asked = [(o, _ordered(o, request, conditions | moments(o, request, facts))) for o in request.orders]
    made = prepare_all([ordered for _, ordered in asked], weight, stock, facts.drugs)
    others = other_weights(request.patient, lean)
    works = []
    for (order, ordered), (one, wish) in zip(asked, made, strict=True):
        if one.drug is None:
            works.append(OrderWork(order, one))
            continue
        said = frozenset(ordered.conditions)
        hits = cautions(one.drug.id, request.patient.species, said, facts.drugs, partial(_spoken, facts.patient))
        shelf = "vial named in the order" if order.concentration is not None else whose.get(one.drug.id, "")
        beside = tuple(_on_another(one, ordered, basis, stock, wish, facts) for basis in others)
        works.append(OrderWork(order, one, hits, shelf, tuple(o for o in beside if o is not None)))
    return tuple(works)


def _on_another(
    one: Prepared, ordered: OrderedDose, basis: Basis, stock: Stock, wish: Wish | None, facts: Facts
) -> OtherWork | None:
    """The same order on another weight, in the same recipe where it fits; None where it comes to the same mark."""
    other = prepare(ordered, basis.dosing, stock, facts.drugs, wish)
    share = differs(one, other)
    return None if share is None else OtherWork(basis, other, share)


def _ordered(order: OrderAsked, request: PlanRequest, said: frozenset[str]) -> OrderedDose:
    return OrderedDose(
        drug=order.drug,
        species=request.patient.species,
        purpose=order.purpose,
        route=order.route,
        low=order.low,
        high=order.high,
        row=order.row,
        strength="" if order.concentration is None else str(order.concentration),
        conditions=tuple(sorted(said)),
        over_hard_by=order.over_hard_by,
        reason=order.reason,
        urgent=request.urgent,
    )


@lru_cache(maxsize=1024)
def _spoken(tables: PatientTables, words: str) -> frozenset[str]:
    """Condition ids that a caution's words speak of. The same words of the same tables always say the same."""
    return tables.conditions_in(words)


def strengths_of(request: PlanRequest, facts: Facts) -> dict[str, tuple[str, ...]]:
    """Strengths really on the shelf (file, else hospital) for the emergency sheet; absent drugs keep the printed one."""
    told = {facts.drugs.drug(d).id: tuple(str(q) for q in qs) for d, qs in request.stock.strengths.items()}
    return hospital_strengths(facts) | told


def hospital_strengths(facts: Facts) -> dict[str, tuple[str, ...]]:
    """The hospital's liquids by drug id, as plain strengths: a powder has none until it is made up."""
    found: dict[str, tuple[str, ...]] = {}
    for row in facts.hospital.drugs:
        read_ones = (read_strength(text)[0] for text in row.strengths)
        liquids = tuple(str(q) for q in read_ones if q is not None)
        if liquids:
            found[facts.drugs.drug(row.drug).id] = liquids
    return found


def in_body(request: PlanRequest, works: Iterable[OrderWork]) -> tuple[str, ...]:
    """Drug ids this animal had or is ordered to have, those given first: what a reversal may be wanted for."""
    ids = [d.drug for d in request.given] + [w.made.drug.id for w in works if w.made.drug is not None]
    return tuple(dict.fromkeys(ids))


INSIDE = ("strength", "concentration", "volume", "syringe", "vial")


def stands_inside(refusal: Refusal) -> bool:
    """True when only this drug's volume is withheld; False when the order itself cannot be what was meant."""
    if isinstance(refusal, OverLimit):  # a way in which a drug is never given is a fault of the order itself
        return refusal.field.endswith(("dose", "caution"))
    return isinstance(refusal, NotMeasurable) or any(w in refusal.field for w in INSIDE)


def named(refusal: Refusal, order: OrderAsked) -> Refusal:
    """The same refusal with the order's place in front of its field: "order 2, dose"."""
    field = refusal.field.split(",")[-1].strip()
    return type(refusal)(f"{order.field}, {field}", refusal.says, refusal.accepts, refusal.use)


# ---- around the drugs


@dataclass(frozen=True, slots=True)
class FluidWork:
    """Rate and bolus of crystalloid, and the blood that may be lost before someone is called."""

    rate: Worked[Quantity]
    ceiling: Worked[Quantity]
    bolus: Bolus
    blood: Worked[Quantity]
    loss: Worked[Quantity] | None = None


@dataclass(frozen=True, slots=True)
class PlanWork:
    """Everything worked out for one animal. A room that refused leaves its refusal instead of its answer.

    `for_emergency` works the emergency sheet when somebody reads it: a case has a sheet of its own, and most plans need none.
    """

    request: PlanRequest
    conditions: frozenset[str]
    size: str
    orders: tuple[OrderWork, ...]
    flags: tuple[Flag, ...]
    airway: AirwayWork | None
    breathing: BreathingChoice | None
    fluids: FluidWork
    for_emergency: Callable[[], EmergencyPlan]
    lean: Worked[Quantity] | None = None
    limits: tuple[LimitAsked, ...] = ()
    refusals: Mapping[str, Refusal] = field(default_factory=dict)

    @property
    def emergency(self) -> EmergencyPlan:
        return self.for_emergency()


def work_out(request: PlanRequest, facts: Facts) -> PlanWork:
    """The whole plan. Pure; the same request and tables give the same plan."""
    patient = request.patient
    conditions = conditions_of(patient, facts)
    lean = _lean(patient, facts)
    orders = work_orders(request, facts, conditions, lean)
    refusals: dict[str, Refusal] = {}
    return PlanWork(
        request=request,
        conditions=conditions,
        size=facts.patient.size_class(patient.species, patient.weight.number("kg"), patient.breed),
        orders=orders,
        flags=facts.patient.flags(conditions),
        airway=airway_work(request, facts, conditions, refusals),
        breathing=_breathing(request, facts, refusals),
        fluids=_fluids(request, facts, conditions),
        for_emergency=partial(emergency_work, request, facts, orders),
        lean=lean,
        limits=request.limits,
        refusals=refusals,
    )


def emergency_work(request: PlanRequest, facts: Facts, orders: Iterable[OrderWork]) -> EmergencyPlan:
    return facts.emergency.plan(
        request.patient.species,
        request.patient.weight.number("kg"),
        estimated=request.patient.estimated,
        on_board=in_body(request, orders),
        strengths=strengths_of(request, facts),
    )


def _lean(patient: Patient, facts: Facts) -> Worked[Quantity] | None:
    if patient.body_condition is None:
        return None
    return facts.patient.lean(patient.species, patient.weight.number("kg"), patient.body_condition)


def _breathing(request: PlanRequest, facts: Facts, refusals: dict[str, Refusal]) -> BreathingChoice | None:
    stock, patient = request.stock, request.patient
    there = stock.circuits or facts.hospital.circuits or None
    liquid = stock.agent.casefold() in {a.name for a in facts.breathing.agents} and stock.dial is not None
    try:
        choice = breathing_plan(
            facts.breathing,
            patient.species,
            patient.weight,
            circuits=[stock.circuit] if stock.circuit else there,
            bags_ml=stock.bags_ml or facts.hospital.breathing_bags or None,
            cylinder=_cylinder(request, refusals),
            planned_minutes=stock.case_minutes,
            drive_gas=stock.drive_gas,
            ventilated=stock.ventilated,
            supply=stock.supply,
            agent=stock.agent if liquid else None,
            percent=stock.dial if liquid else None,
            price=price_of(request, facts, stock.agent),
            volume=stock.volume,
        )
    except Refusal as refusal:
        refusals["breathing"] = refusal
        return None
    if stock.circuit:  # the one in use leads; what else is there still has its reason
        room = facts.breathing
        names = dict.fromkeys(room.circuit(c).id for c in (stock.circuit, *(there or (x.id for x in room.circuits))))
        choice = replace(choice, systems=systems(room, patient.weight, tuple(names), stock.ventilated))
    return choice


def _cylinder(request: PlanRequest, refusals: dict[str, Refusal]) -> OxygenCylinder | None:
    """The one cylinder whose gauge was read; none where another supply is used, and a refusal where it is not clear."""
    stock = request.stock
    read_ones = [c for c in stock.cylinders if c.gauge is not None]
    if len(read_ones) == 1 and read_ones[0].gauge is not None:
        one = read_ones[0]
        return OxygenCylinder(contents=one.contents, full_pressure=one.full, gauge=read_ones[0].gauge)
    if len(read_ones) > 1:
        refusals["oxygen"] = Contradiction(
            "oxygen", f"{len(read_ones)} cylinders have a gauge reading.", "Keep the one that will be used."
        )
    elif stock.cylinders:
        refusals["oxygen"] = Missing("oxygen", "the gauge was not read.", "Read the gauge to see how long it lasts.")
    return None


def price_of(request: PlanRequest, facts: Facts, agent: str) -> Price | None:
    """A bottle of this agent as the plan file or the hospital's own file has it; there is no price of ours."""
    told = {name.casefold(): price for name, price in request.stock.prices.items()}
    if agent.casefold() in told:
        return told[agent.casefold()]
    row = next((b for b in facts.hospital.agent_bottles if b.agent.casefold() == agent.casefold()), None)
    if row is None:
        return None
    bottle = read(row.bottle, f"hospital, bottle of {row.agent}", "volume").number("mL")
    return Price(amount=row.price, currency=row.currency, bottle_ml=bottle)


def _fluids(request: PlanRequest, facts: Facts, conditions: frozenset[str]) -> FluidWork:
    species, kg = request.patient.species, request.patient.weight.number("kg")
    room = facts.circulation
    return FluidWork(
        rate=room.fluid_rate(species, kg, conditions=conditions),
        ceiling=room.rate_ceiling(species, kg),
        bolus=room.bolus(species, kg),
        blood=room.blood_volume(species, kg),
        loss=None if request.patient.pcv is None else room.allowable_loss(species, kg, request.patient.pcv),
    )


def breathing_refusals(work: PlanWork) -> tuple[Refusal, ...]:
    """What the breathing part could not answer; where the plan knows why no cylinder was read, its word stands."""
    own = tuple(work.refusals[k] for k in ("breathing", "oxygen") if k in work.refusals)
    room = () if work.breathing is None else work.breathing.refusals
    return (*own, *(r for r in room if not (r.field == "oxygen" and "oxygen" in work.refusals)))
