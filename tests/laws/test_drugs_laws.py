"""Laws of drawing up: whatever the row, the weight and the vial, nothing is ever more than was ordered or allowed."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shelf import formulary, weighing
from spiracle.drugs import DoseRow, DosingWeight, OrderedDose, Prepared, Strength, amount_of, ladder, prepare, rungs
from spiracle.drugs.syringe import measurable, shown
from spiracle.quantity import Quantity, down_to
from spiracle.refusals import AskAgain, Missing, NotMeasurable, OutOfRange, OverLimit
from spiracle.source import Zone

ROWS = tuple(r for species in ("dog", "cat") for r in formulary().pickable(species))
MEANT = (AskAgain, Missing, NotMeasurable, OutOfRange, OverLimit)
WEIGHTS = st.decimals("0.2", "100", places=2)


def vials(row: DoseRow) -> tuple[str, ...]:
    """The strengths a row may be drawn from; one empty text where the dose needs none or only a powder is listed."""
    able: list[Strength] = [s for s in formulary().drug(row.drug).strengths if s.quantity is not None and not s.trap]
    bound = [s for s in able if s.text == row.strength] or able
    return tuple(s.printed for s in bound if not s.only or set(s.only) & set(row.routes)) or ("",)


@st.composite
def orders(draw: st.DrawFn, top: int = 1) -> tuple[OrderedDose, DoseRow, DosingWeight]:
    row = draw(st.sampled_from(ROWS))
    kg = draw(WEIGHTS)
    part = draw(st.decimals("0", "1", places=3))
    dose = row.usual_low.value + (row.usual_high.value - row.usual_low.value) * part
    ordered = Quantity(dose * top, row.unit)
    asked = OrderedDose(
        drug=row.drug, species=row.species, purpose=row.purposes[0], route=draw(st.sampled_from(row.routes)),
        low=ordered, high=ordered, row=row.id, strength=draw(st.sampled_from(vials(row))),
    )  # fmt: skip
    return asked, row, weighing(kg)


def made_of(asked: OrderedDose, weight: DosingWeight) -> Prepared:
    return prepare(asked, weight, formulary().stock(), formulary())


@settings(max_examples=600, deadline=None)
@given(orders())
def test_what_is_delivered_is_never_over_the_order_nor_over_a_hard_stop(
    case: tuple[OrderedDose, DoseRow, DosingWeight],
) -> None:
    """U11: for any row, weight and vial."""
    asked, row, weight = case
    made = made_of(asked, weight)
    if made.refusal is not None:
        assert isinstance(made.refusal, MEANT), made.refusal.sentence
        return
    assert made.amount is not None
    if made.delivered is None:
        return
    assert made.delivered <= made.amount
    for stop in row.stops:
        limit = amount_of(stop.at, weight.kg)
        if limit.unit.dimension == made.delivered.unit.dimension and not row.emergency:
            assert made.delivered <= limit, stop.words


@settings(max_examples=400, deadline=None)
@given(orders())
def test_every_volume_of_a_syringe_and_of_a_recipe_is_on_a_mark(
    case: tuple[OrderedDose, DoseRow, DosingWeight],
) -> None:
    """U10: for any row, weight and vial."""
    asked, _, weight = case
    made = made_of(asked, weight)
    assume(made.refusal is None)
    fine = formulary().fineness
    if made.barrel is not None and made.drawn is not None:
        assert made.drawn.value == down_to(made.drawn.value, made.barrel.mark.value)
        assert fine.least_volume <= made.drawn or made.drawn.value >= fine.least_marks * made.barrel.mark.value
        assert sum((p.value for p in made.pushes), Decimal(0)) in {Decimal(0), made.drawn.value}
    recipe = made.dilution
    if recipe is not None:
        for volume, barrel in (
            (recipe.drug_volume, recipe.drug_barrel),
            (recipe.diluent_volume, recipe.diluent_barrel),
        ):
            assert measurable(volume, barrel, fine) and shown(volume, barrel).error_percent == 0
        assert recipe.total.value == recipe.drug_volume.value + recipe.diluent_volume.value
        assert made.strength is not None and made.strength.quantity is not None
        first = made.strength.quantity.number(recipe.concentration.unit) / (recipe.concentration.value * recipe.factor)
        assert first == 1 if len(recipe.steps) == 1 else first in {10, 100}
        assert made.drawn is None or made.drawn <= recipe.total


@settings(max_examples=150, deadline=None)
@given(orders())
def test_a_ladder_only_rises(case: tuple[OrderedDose, DoseRow, DosingWeight]) -> None:
    """More volume is more drug; once forbidden or over the order, never less again."""
    asked, _, weight = case
    made = made_of(asked, weight)
    steps = ladder(made, weight)
    assume(steps)
    assert made.barrel is not None and len(steps) == made.barrel.marks
    for low, high in pairwise(steps):
        assert low.amount < high.amount and low.per_kg < high.per_kg
        assert not low.over_order or high.over_order
        assert low.zone is not Zone.FORBIDDEN or high.zone is Zone.FORBIDDEN
    drawn = next(s for s in steps if made.drawn is not None and s.volume.equals(made.drawn))
    assert not drawn.over_order


@settings(max_examples=500, deadline=None)
@given(orders(top=10))
def test_ten_times_a_usual_dose_is_stopped_or_asked_about(case: tuple[OrderedDose, DoseRow, DosingWeight]) -> None:
    """U4: a slipped point never passes in silence."""
    asked, row, weight = case
    assume(row.fits(weight.kg) and asked.high > row.guardrail(weight.kg).usual_high)
    made = made_of(asked, weight)
    assert made.judgement is not None
    if row.emergency:
        assert made.zone is not Zone.USUAL
        return
    assert isinstance(made.refusal, (AskAgain, OverLimit)) or made.judgement.asks, made.working.says


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.id)
def test_ten_times_the_usual_top_gives_no_volume(row: DoseRow) -> None:
    """U4: The plainest slip of all, for every row that can be picked, at a weight its band allows."""
    kg = Decimal(2) if row.fits(Decimal(2)) else Decimal(5)
    if not row.fits(kg):
        kg = Decimal(25) if row.fits(Decimal(25)) else Decimal(40)
    ten = Quantity(row.usual_high.value * 10, row.unit)
    asked = OrderedDose(drug=row.drug, species=row.species, purpose=row.purposes[0], route=row.routes[0], low=ten,
                        high=ten, row=row.id, strength=vials(row)[0])  # fmt: skip
    made = made_of(asked, weighing(kg))
    assert made.judgement is not None
    assert made.judgement.slip or made.zone is Zone.FORBIDDEN
    assert row.emergency or (isinstance(made.refusal, (AskAgain, OverLimit)) and made.volume is None)


@given(st.sampled_from(formulary().barrels), WEIGHTS, st.decimals("0.1", "500", places=1))
def test_a_syringe_without_a_row_calls_nothing_usual(barrel: object, kg: Decimal, mg_per_ml: Decimal) -> None:
    steps = rungs(Quantity.of(mg_per_ml, "mg/mL"), barrel, weighing(kg), None, None)  # type: ignore[arg-type]
    assert all(s.zone is Zone.UNUSUAL and not s.over_order for s in steps)


@given(st.sampled_from(ROWS), WEIGHTS)
def test_a_guardrail_is_always_in_order(row: DoseRow, kg: Decimal) -> None:
    rail = row.guardrail(kg)
    assert rail.usual_low <= rail.usual_high
    assert rail.hard_high is None or rail.usual_high <= rail.hard_high
