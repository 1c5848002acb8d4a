"""The most dangerous figures are each held against another page than the one they came from, and what it said is kept."""

from __future__ import annotations

import pytest

from spiracle.doors.tables import load_facts
from spiracle.drugs.table import SecondFacts

FACTS = load_facts()
SECOND = FACTS.drugs.second_sources
FOUND = tuple(s for s in SECOND if s.source)

# By harm and by the findings of a second reader: each has a record, found or not.
DANGEROUS = (
    "epinephrine", "insulin_regular", "potassium_chloride", "dexmedetomidine", "medetomidine", "atipamezole", "propofol",
    "alfaxalone", "ketamine", "tiletamine_zolazepam", "lidocaine", "bupivacaine", "fentanyl", "methadone", "hydromorphone",
    "morphine_preservative_free", "buprenorphine", "naloxone", "norepinephrine", "vasopressin", "dopamine", "dobutamine",
    "hypertonic_saline", "dextrose_10", "calcium_gluconate", "amiodarone", "esmolol", "phenylephrine", "neostigmine",
    "rocuronium",
)  # fmt: skip


def by_id(second: SecondFacts) -> str:
    return second.id


@pytest.mark.parametrize("drug", DANGEROUS)
def test_each_of_thirty_dangerous_drugs_has_a_record(drug: str) -> None:
    """U30: a second page was looked for; where none was found, that is said."""
    records = [s for s in SECOND if any(FACTS.drugs.row(r).drug == drug for r in s.rows)]
    assert records and all(s.says for s in records)


def test_thirty_records_name_a_page() -> None:
    assert len(DANGEROUS) == 30 and len(FOUND) >= 30
    assert len({s.id for s in SECOND}) == len(SECOND)


@pytest.mark.parametrize("second", FOUND, ids=by_id)
def test_the_second_page_is_another_page_than_the_first(second: SecondFacts) -> None:
    """U30: another id, another address, and not memory; it says a figure or why it has none."""
    page = FACTS.sources[second.source]
    assert page.seen.published
    for row_id in second.rows:
        first = FACTS.sources[FACTS.drugs.row(row_id).sources[0]]
        assert first.id != page.id
        assert not page.url or first.url != page.url
    assert any(ch.isdigit() for ch in second.says) or "A quarter" in second.says


@pytest.mark.parametrize("second", [s for s in SECOND if not s.agrees], ids=by_id)
def test_where_they_disagree_the_safer_figure_stands(second: SecondFacts) -> None:
    """U30: what was done is written, and the row still has a stop or is picked on purpose."""
    assert second.done
    for row_id in second.rows:
        row = FACTS.drugs.row(row_id)
        assert row.stops or not row.default


def test_a_row_gives_its_second_source() -> None:
    told = FACTS.drugs.second_of("potassium_chloride-cat-hypokalaemia-supplement-iv")
    assert [s.source for s in told] == ["tvp_fluids2018"] and told[0].agrees
    assert FACTS.drugs.second_of("atropine-dog-cpr-iv-io") == ()
