"""Rules that the drug tables keep, whoever edits them next."""

from __future__ import annotations

from decimal import Decimal

import pytest

from shelf import formulary, texts, weighing
from spiracle.doors.tables import load_facts
from spiracle.drugs import DoseRow, Formulary, OrderedDose, in_unit
from spiracle.drugs.rows import comparable
from spiracle.drugs.table import FIGURE_KINDS
from spiracle.quantity import unit
from spiracle.quantity.reading import KINDS
from spiracle.refusals import BadTable
from spiracle.source import Sources, read_sources

ROWS = formulary().all_rows()
PICKED = tuple(r for r in ROWS if r.pick != "never")
KG = Decimal(10)


def by_id(row: DoseRow) -> str:
    return row.id


def test_the_tables_hold_what_was_brought_over() -> None:
    """541 rows as first written down, and four more: maropitant by vein and the reversal of an alpha-2 agonist
    written per kg have a row of their own in each species. One fewer: the two rows of methadone by muscle in cats are
    one. One more: the sum of etomidate in propylene glycol that is asked about."""
    figures = sum(len(formulary().figures(kind)) for kind in FIGURE_KINDS)
    assert len(ROWS) + figures == 541 + 4 - 1 + 1
    assert len(formulary().drugs) == 104 and len(formulary().classes) == 29


def test_every_reversible_drug_has_a_reversal_that_can_be_worked_out() -> None:
    """A drug that names a reversal has a row or a multiple of it in each species it may be given to."""
    for drug in (d for d in formulary().drugs if d.reversal):
        formulary().drug(drug.reversal)
        for species in {r.species for r in PICKED if r.drug == drug.id}:
            rows = [r for r in PICKED if r.drug == drug.reversal and r.species == species]
            assert rows or formulary().figures("multiple", species, drug.reversal), (drug.id, species)


@pytest.mark.parametrize("drug", formulary().drugs, ids=lambda d: d.id)
def test_a_drug_says_what_it_must(drug: object) -> None:
    """An opioid, benzodiazepine, dissociative or neurosteroid is controlled (US schedules, from memory, marked so)."""
    from spiracle.drugs import Drug

    assert isinstance(drug, Drug) and drug.sources
    for word in ("mu opioid", "mu agonist", "benzodiazepine", "dissociative", "neurosteroid", "barbiturate"):
        if word in drug.group and "antagonist" not in drug.group.replace("NMDA antagonist", "").replace(
            "mu antagonist", ""
        ):
            assert drug.controlled and drug.controlled_memory, drug.id
    assert all(s.sources for s in drug.strengths) and all(d.sources for d in drug.diluents)
    assert drug.diluents or not drug.made_up, "a strength to make up needs a diluent"


@pytest.mark.parametrize("row", PICKED, ids=by_id)
def test_a_row_that_can_be_picked_is_a_dose(row: DoseRow) -> None:
    assert KINDS["dose"].admits(row.unit)
    assert row.usual_low <= row.usual_high
    assert row.sources and all(s.sources for s in row.stops)
    for stop in row.stops:
        if comparable(stop.at.unit, row.unit):
            assert in_unit(row.usual_high, row.unit, KG) <= in_unit(stop.at, row.unit, KG) or "animal" in str(
                stop.at.unit
            )
    assert row.flag not in {"do-not-use", "historic-label", "study-rates"}


@pytest.mark.parametrize("row", [r for r in ROWS if r.default], ids=by_id)
def test_a_row_shown_first_rests_on_something_and_has_a_stop(row: DoseRow) -> None:
    assert row.stops and row.facts.default_for and not row.pick_why
    assert row.flag in {"", "conflict", "off-label"}
    if row.facts.memory or row.facts.usual_memory or any(s.memory for s in row.stops):
        assert row.memory, "a figure from memory is marked"


@pytest.mark.parametrize("row", [r for r in ROWS if r.pick == "never"], ids=by_id)
def test_a_row_that_is_never_picked_says_why(row: DoseRow) -> None:
    assert len(row.pick_why) > 20


@pytest.mark.parametrize("row", [r for r in PICKED if not r.default and not r.emergency], ids=by_id)
def test_no_row_passes_the_stop_of_its_family(row: DoseRow) -> None:
    """A row picked on purpose cannot exceed the hard stop of the row shown first for the same drug, species and route."""
    state = {"awake", "under anaesthesia"} & set(row.conditions)
    for first in (r for r in ROWS if r.default and (r.drug, r.species) == (row.drug, row.species) and not r.emergency):
        same = set(first.routes) & set(row.routes) and set(first.purposes) & set(row.purposes)
        other_state = {"awake", "under anaesthesia"} & set(first.conditions)
        if not same or not comparable(first.unit, row.unit) or (state and other_state and not state & other_state):
            continue
        if {"Boxer", "ABCB1 mutation", "after an alpha-2 agonist"} & set(first.conditions):
            continue
        hard = [r.guardrail(KG).hard_high for r in _family(row)]
        tops = [in_unit(h, row.unit, KG) for h in hard if h is not None]
        mine = row.guardrail(KG).hard_high
        assert mine is not None and tops and mine <= max(tops, key=lambda q: q.value)
        assert row.high <= max(tops, key=lambda q: q.value)


def _family(row: DoseRow) -> list[DoseRow]:
    return [
        r
        for r in ROWS
        if r.default
        and (r.drug, r.species) == (row.drug, row.species)
        and set(r.routes) & set(row.routes)
        and comparable(r.unit, row.unit)
    ]


def test_every_word_of_a_row_is_a_known_word() -> None:
    for row in ROWS:
        for purpose in row.purposes:
            assert formulary().purpose(purpose) == purpose
        for route in row.routes:
            assert formulary().route(route) == route
        for condition in row.conditions:
            assert condition in formulary().conditions, (row.id, condition)


def test_every_budget_has_a_ceiling_in_both_species_it_speaks_of() -> None:
    for budget in formulary().budgets:
        for row_id in budget.limits:
            found = formulary().cumulative(row_id)
            assert found is not None and found[1], row_id


def test_cautions_name_conditions_that_a_patient_can_have() -> None:
    patient = load_facts().patient
    for drug in formulary().drugs:
        for species in ("dog", "cat"):
            for caution in formulary().cautions_of(drug.id, species):
                for condition in caution.when:
                    assert patient.condition(condition).id == condition
                assert caution.when or not caution.stops


def test_a_row_without_a_source_does_not_load() -> None:
    """U30: no figure without a birth certificate."""
    tables = texts("drugs-")
    sources = Sources(r for name, text in texts("sources-").items() for r in read_sources(text, name))
    broken = tables["drugs-fluids"].replace("sources = [", 'sources = ["nobody", ', 1)
    with pytest.raises(BadTable, match="nobody"):
        Formulary.read({**tables, "drugs-fluids": broken}, sources)


def test_an_unknown_key_does_not_load() -> None:
    tables = texts("drugs-")
    sources = Sources(r for name, text in texts("sources-").items() for r in read_sources(text, name))
    with pytest.raises(BadTable, match="maximum"):
        broken = tables["drugs-fluids"].replace("critical = true", "critical = true\nmaximum = 3", 1)
        Formulary.read({**tables, "drugs-fluids": broken}, sources)


def test_units_are_in_the_house_spelling() -> None:
    for text in texts("drugs-").values():
        assert "ug/" not in text and 'unit = "U/' not in text
    assert str(unit("ug/kg")) == "mcg/kg"


@pytest.mark.parametrize("row", [r for r in ROWS if r.default], ids=by_id)
def test_an_order_that_names_what_a_row_needs_finds_that_row(row: DoseRow) -> None:
    """Every first choice is reached by each of its purposes and routes, without its id."""
    for purpose in row.purposes:
        for route in row.routes:
            asked = OrderedDose(drug=row.drug, species=row.species, purpose=purpose, route=route, low=row.usual_high,
                                high=row.usual_high, conditions=row.conditions)  # fmt: skip
            assert formulary().choose(asked, weighing("2")).id == row.id
