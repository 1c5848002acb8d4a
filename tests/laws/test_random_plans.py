"""Laws of the whole plan over random patients, orders and shelves; first as a plan, then told entry by entry in a case.

Carries U4, U6, U7, U11, U24. The arithmetic held against is in `plan_laws` and in this file, in fractions of its own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plan_laws import broken, floats, lost
from small_house import Telling, house
from spiracle.case import events as ev
from spiracle.case.standing import orders as standing_orders
from spiracle.drugs import DoseRow
from spiracle.patient import Weight
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal, StaleReading, every_refusal
from spiracle.sheets.case_view import case_view
from spiracle.sheets.plan import laid_out
from spiracle.sheets.plan_request import OrderAsked, Patient, PlanRequest, Stock
from spiracle.sheets.plan_sheet import plan_sheet
from spiracle.sheets.plan_work import PlanWork, work_out

NOW = datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
FACTS = house()
ROWS = {s: tuple(r for r in FACTS.drugs.pickable(s) if r.unit.parts) for s in ("dog", "cat")}
SLIPS = tuple(Decimal(x) for x in ("1",) * 12 + ("2", "3", "10", "0.1", "1000", "60"))
SHELVES = (
    ("1 mL", "3 mL", "5 mL", "10 mL", "20 mL"),
    ("0.3 mL insulin", "1 mL", "3 mL", "20 mL", "60 mL"),
    ("5 mL",),
    (),
)
CONDITIONS = ("kidney-disease", "hypovolaemia", "pregnant", "brachycephalic", "seizures", "abcb1-mutation")
SLOW = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large]}
KG = {"dog": st.decimals("0.4", "90", places=2), "cat": st.decimals("0.3", "9", places=2)}


@cache
def known(drug: str) -> tuple[Quantity, ...]:
    return tuple(s.quantity for s in FACTS.drugs.drug(drug).strengths if s.quantity is not None)


@st.composite
def asked(draw: st.DrawFn, species: str, n: int) -> tuple[OrderAsked, DoseRow]:
    """One order: mostly what its row holds usual, at times slipped; its row named or left to be found."""
    row = draw(st.sampled_from(ROWS[species]))
    low, high = row.usual_low.value, row.usual_high.value
    parts = sorted(draw(st.tuples(st.integers(0, 8), st.integers(0, 8))))
    slip = draw(st.sampled_from(SLIPS))
    bottom, top = (max(Decimal("0.0001"), low + (high - low) * p / 8) * slip for p in parts)
    return OrderAsked(
        field=f"order {n}", order=f"o{n}", drug=row.drug, purpose=draw(st.sampled_from(row.purposes)),
        route=draw(st.sampled_from(row.routes)), low=Quantity(bottom, row.unit), high=Quantity(top, row.unit),
        row=draw(st.sampled_from([row.id, ""])),
    ), row  # fmt: skip


@st.composite
def requests(draw: st.DrawFn) -> PlanRequest:
    species = draw(st.sampled_from(["dog", "cat"]))
    kg = draw(KG[species])
    found = [draw(asked(species, n)) for n in range(draw(st.integers(1, 7)))]
    strengths = {
        row.drug: tuple(draw(st.lists(st.sampled_from(known(row.drug)), min_size=1, max_size=2, unique=True)))
        for _, row in found
        if known(row.drug) and draw(st.integers(0, 4))
    }
    lean = draw(st.sampled_from([None, None, None, Decimal("0.8")]))
    patient = Patient(
        species=species, weight=Quantity.of(kg, "kg"), method=draw(st.sampled_from(["scale", "scale", "estimated", "owner"])),
        weighed=NOW, asa="II", body_condition=draw(st.sampled_from([None, 3, 5, 8])),
        conditions=tuple(draw(st.lists(st.sampled_from(CONDITIONS), max_size=2, unique=True))),
        dosing_weight=None if lean is None else Quantity.of((kg * lean).quantize(Decimal("0.01")), "kg"),
        dosing_reason="" if lean is None else "lean",
    )  # fmt: skip
    return PlanRequest(
        patient=patient,
        orders=tuple(o for o, _ in found),
        stock=Stock(strengths=strengths, syringes=draw(st.sampled_from(SHELVES))),
    )


@settings(max_examples=120, **SLOW)
@given(requests())
def test_a_random_plan_breaks_no_law(request: PlanRequest) -> None:
    """U4, U11: each order has its line; a refusal is named, says why and shows no volume; a volume is on a mark, fits, gives
    what it says, never more than was ordered and never over a stop; and no figure of it is a float."""
    work = work_out(request, FACTS)
    assert lost(work) == ""
    kg = Fraction(request.patient.basis.number("kg"))
    for line in work.orders:
        assert broken(line, kg) == "", (line.asked.drug, line.asked.words, kg)
        assert line.made.refusal is None or type(line.made.refusal) in every_refusal()
        assert line.made.refusal is not None or line.made.amount is not None, line.asked
        assert not list(floats(line, line.asked.drug))


@settings(max_examples=40, **SLOW)
@given(requests())
def test_a_plan_as_it_is_handed_out_keeps_every_order(request: PlanRequest) -> None:
    """U11: what goes out as data has one entry per order, each with a figure to prepare or a refusal; twice is the same."""
    work = work_out(request, FACTS)
    plan = laid_out(work, FACTS, NOW)
    assert [d.order for d in plan.drugs] == [o.order for o in request.orders]
    for part, line in zip(plan.drugs, work.orders, strict=True):
        shown = part.volume is not None or part.rate is not None
        assert (part.refused is not None) == (line.made.refusal is not None)
        assert not (shown and part.refused is not None)
    assert laid_out(work_out(request, FACTS), FACTS, NOW) == plan


@settings(max_examples=40, **SLOW)
@given(requests())
def test_a_weight_that_is_not_of_the_scale_marks_every_line(request: PlanRequest) -> None:
    """U7: estimated stays estimated on every line, whatever the veterinarian doses on; the scale's own weight is no estimate."""
    work: PlanWork = work_out(request, FACTS)
    for line, part in zip(work.orders, laid_out(work, FACTS, NOW).drugs, strict=True):
        assert line.made.estimated or not request.patient.estimated
        assert part.estimated == line.made.estimated
        if request.patient.method == "scale" and request.patient.dosing_weight is None:
            assert not line.made.estimated


@settings(max_examples=40, **SLOW)
@given(requests(), st.integers(0, 40 * 60))
def test_the_plan_says_when_its_weight_is_old(request: PlanRequest, minutes: int) -> None:
    """U6: said in the plan's cautions exactly when the weight holds no longer: 12 h under 3 kg, 24 h else (house limit)."""
    later = NOW + timedelta(minutes=minutes)
    plan = laid_out(work_out(request, FACTS), FACTS, later)
    hours = 12 if request.patient.weight.number("kg") < 3 else 24
    weight = Weight(request.patient.weight.number("kg"), request.patient.method, NOW)
    words = FACTS.patient.weight_stale(weight, request.patient.species, later)
    assert bool(words) == (minutes > hours * 60), (minutes, words)
    assert bool(words) == any(c.text == words for c in plan.cautions if c.kind == "plan")


# ---- told in a case

# mg/kg in all: written here again, not read from the formulary (dog lidocaine 5, bupivacaine 2; cat 4 and 2: vasg_local).
CEILING = {
    "dog": {"lidocaine": Fraction(5), "bupivacaine": Fraction(2)},
    "cat": {"lidocaine": Fraction(4), "bupivacaine": Fraction(2)},
}
HOLDS = {"lidocaine": 20, "bupivacaine": 5, "methadone": 10, "propofol": 10}
POOL = (("lidocaine", "local block", "infiltration", "2"), ("bupivacaine", "local block", "infiltration", "0.7"),
        ("methadone", "premedication", "IM", "0.3"), ("propofol", "induction", "IV", "4"))  # fmt: skip
TENTHS = st.sampled_from(["0.1", "0.5", "0.9", "1", "1.4", "2.5", "10"])


@st.composite
def told(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Orders as they are typed, some of them far too much, some with a veterinarian's own word over a stop."""
    found = []
    for n in range(draw(st.integers(1, 6))):
        drug, purpose, route, dose = draw(st.sampled_from(POOL))
        high = Decimal(dose) * Decimal(draw(TENTHS))
        word = (
            {"by": "vet", "over_hard_by": "vet", "reason": "tried on purpose"} if draw(st.integers(0, 9)) == 0 else {}
        )
        found.append({"order": f"o{n}", "drug": drug, "purpose": purpose, "route": route, "low": high, "high": high,
                      "unit": "mg/kg", "ordered_by": "vet", **word})  # fmt: skip
    return found


def share(t: Telling, species: str, kg: Fraction, *, given: bool) -> Fraction:
    """How full the local anaesthetic ceiling is, in whole fractions: what went in, or what stands ordered without a word over it."""
    if given:
        doses = [(g.drug, Fraction(g.amount) / kg) for g in t.case.live(ev.DrugGiven)]
    else:
        doses = [(o.drug, Fraction(o.high)) for o in standing_orders(t.case) if not o.over_hard_by]
    return sum((per_kg / CEILING[species][drug] for drug, per_kg in doses if drug in CEILING[species]), Fraction(0))


def tries(t: Telling, kind: type[ev.Event], **fields: Any) -> str:
    """What was written, or the name of the refusal; a refusal says where, why and what would do."""
    try:
        t.tell(kind, **fields)
    except Refusal as refusal:
        assert type(refusal) in every_refusal() and refusal.field and refusal.says and refusal.accepts, refusal.sentence
        return refusal.name
    return ""


def push_all(t: Telling, species: str, kg: Fraction) -> None:
    """Every volume the plan shows is drawn and pushed, each time to the last mark; what is refused is not given."""
    for n, line in enumerate(plan_sheet(t.case, t.facts, t.now).lines):
        if line.volume_ml is None or line.dilution is not None or line.refusal is not None:
            continue
        ml, holds = Decimal(str(line.volume_ml)), HOLDS[line.drug]
        drawn = {"syringe": f"s{n}", "order": line.order, "drug": line.drug, "vial_concentration": f"{holds} mg/mL",
                 "concentration": f"{holds} mg/mL", "volume_ml": ml, "drug_volume_ml": ml, "barrel": line.barrel}  # fmt: skip
        if tries(t, ev.SyringeDrawn, **drawn):
            continue
        tries(t, ev.DrugGiven, confirmed=True, drug=line.drug, amount=ml * holds, unit="mg", volume_ml=ml, route=line.route,
              purpose=line.purpose, order=line.order, syringe=f"s{n}", concentration=f"{holds} mg/mL")  # fmt: skip
    for g in t.case.live(ev.DrugGiven):
        order = next(o for o in standing_orders(t.case) if o.order == g.order)
        assert Fraction(g.amount) <= Fraction(order.high) * kg, "more than was ordered"


@settings(max_examples=25, **SLOW)
@given(st.sampled_from(["dog", "cat"]), st.data())
def test_orders_told_in_a_case_are_kept_or_refused_and_no_ceiling_is_passed(species: str, data: st.DataObject) -> None:
    """U11, U24: an order stands or was refused by name; every one that stands has a line; without a veterinarian's word over
    it neither what is planned nor what is pushed passes the ceiling, by this file's own fractions."""
    kg = data.draw(st.decimals("2", "8" if species == "cat" else "60", places=1))
    t = Telling(species, str(kg))
    wanted = data.draw(told())
    refused = {o["order"]: tries(t, ev.DrugOrdered, **o) for o in wanted}
    kept = [name for name, refusal in refused.items() if not refusal]
    assert sorted(o.order for o in standing_orders(t.case)) == sorted(kept)
    sheet = plan_sheet(t.case, t.facts, t.now)
    assert sorted(line.order for line in sheet.lines) == sorted(kept)
    assert all((line.refusal is None) == (line.volume is not None or line.rate is not None) for line in sheet.lines)
    over = any(o.over_hard_by for o in standing_orders(t.case))
    assert share(t, species, Fraction(kg), given=False) <= 1 or over
    t.at(20)
    push_all(t, species, Fraction(kg))
    assert share(t, species, Fraction(kg), given=True) <= 1 or over


@settings(max_examples=25, **SLOW)
@given(st.sampled_from(["dog", "cat"]), st.data())
def test_on_an_old_weight_a_case_is_a_draft_that_nobody_signs(species: str, data: st.DataObject) -> None:
    """U6: past the hours a weight holds the plan is a draft again, says so first, and its signature is refused by name."""
    kg = data.draw(st.decimals("1", "8" if species == "cat" else "60", places=1))
    t = Telling(species, str(kg))
    for order in data.draw(told()):
        tries(t, ev.DrugOrdered, **order)
    names = tuple(o.order for o in standing_orders(t.case))
    minutes = data.draw(st.integers(0, 60 * 48))
    t.at(minutes)
    old = minutes > (12 if kg < 3 else 24) * 60
    collar = case_view(t.case, 1, t.facts, t.now).collar
    assert collar.draft
    assert any("weigh" in r.lower() for r in collar.draft_reasons) == old, collar.draft_reasons
    signature = {"by": "vet", "signed_by": "vet", "how": "signed", "weight_kg": kg, "orders": names, "asa": ""}
    if not old:
        return
    with pytest.raises(StaleReading) as stale:
        t.tell(ev.PlanApproved, **signature)
    assert "weight" in stale.value.field or "weight" in stale.value.says
