"""Laws of the shared ceilings over random doses: a sum only grows, order is nothing, and what is left fits under it. Carries U24."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from shelf import formulary, weighing
from spiracle.drugs import LocalDose, cumulative, left_of
from spiracle.quantity import Quantity

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
KIND = "local anaesthetic"
# mg/kg in all (vasg_local, vd_regional; ropivacaine from memory): written here again, not read from the formulary.
STOPS = {
    "dog": {"lidocaine": 5, "mepivacaine": 5, "bupivacaine": 2, "ropivacaine": 3},
    "cat": {"lidocaine": 4, "mepivacaine": 2.5, "bupivacaine": 2, "ropivacaine": 1.5},
}
KG = st.integers(5, 800).map(lambda n: Decimal(n) / 10)
SPECIES = st.sampled_from(["dog", "cat"])


@st.composite
def doses(draw: st.DrawFn, species: str) -> LocalDose:
    drug = draw(st.sampled_from(sorted(STOPS[species])))
    planned, running = draw(st.sampled_from([(False, False), (True, False), (False, True)]))
    return LocalDose(
        drug=drug,
        amount=Quantity.of(Decimal(draw(st.integers(1, 3000))) / 10, "mg"),
        at=None if planned else NOW - timedelta(minutes=draw(st.integers(0, 900))),
        planned=planned,
        running=running,
        route=draw(st.sampled_from(["infiltration", "topical", "perineural"])),
        purpose=draw(st.sampled_from(["local block", "arrest", "arrhythmia", ""])),
        rescue=draw(st.booleans()) and not planned,
    )


@st.composite
def cases(draw: st.DrawFn) -> tuple[str, Decimal, list[LocalDose]]:
    species = draw(SPECIES)
    return species, draw(KG), draw(st.lists(doses(species), max_size=6))


@given(cases())
def test_every_dose_stands_in_one_place(case: tuple[str, Decimal, list[LocalDose]]) -> None:
    """U24: nothing vanishes and nothing counts twice: in the sum, beside it, or over."""
    species, kg, some = case
    total = cumulative(KIND, some, weighing(kg), species, formulary(), NOW)
    assert len(total.parts) + len(total.exempt) + len(total.expired) + len(total.apart) == len(some)
    assert abs(total.percent - sum(p.percent for p in total.parts)) < Decimal("1e-20")
    assert not [p for p in total.parts if p.purpose in {"arrest", "arrhythmia"}]


@given(cases(), st.randoms(use_true_random=False))
def test_the_order_of_entries_is_nothing(case: tuple[str, Decimal, list[LocalDose]], chance: object) -> None:
    species, kg, some = case
    mixed = some.copy()
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    one, other = (cumulative(KIND, x, weighing(kg), species, formulary(), NOW) for x in (some, mixed))
    assert abs(one.percent - other.percent) < Decimal("1e-20") and one.state == other.state


@given(cases(), st.data())
def test_another_dose_never_makes_room(case: tuple[str, Decimal, list[LocalDose]], data: st.DataObject) -> None:
    species, kg, some = case
    before = cumulative(KIND, some, weighing(kg), species, formulary(), NOW)
    after = cumulative(KIND, [*some, data.draw(doses(species))], weighing(kg), species, formulary(), NOW)
    assert after.percent >= before.percent
    for drug in STOPS[species]:
        was, is_ = (left_of(x, drug, weighing(kg), species, formulary()) for x in (before, after))
        assert was is not None and is_ is not None and is_.value <= was.value


@given(cases())
def test_by_hand_the_sum_is_the_same(case: tuple[str, Decimal, list[LocalDose]]) -> None:
    """U24: fractions of each drug's own stop, added with floats from a table of this file."""
    species, kg, some = case
    total = cumulative(KIND, some, weighing(kg), species, formulary(), NOW)
    window = {"lidocaine": 6, "mepivacaine": 6, "bupivacaine": 8, "ropivacaine": 8}  # hours, from memory
    own = 0.0
    for dose in some:
        free = dose.rescue or dose.purpose in {"arrest", "arrhythmia"}
        old = dose.at is not None and NOW - dose.at > timedelta(hours=window[dose.drug])
        if not free and not old:
            own += float(dose.amount.value) / (STOPS[species][dose.drug] * float(kg)) * 100
    assert abs(float(total.percent) - own) < 1e-6


@given(cases())
def test_what_is_left_fits(case: tuple[str, Decimal, list[LocalDose]]) -> None:
    """U24: giving all that is left fills the ceiling and does not pass it; over it nothing is left."""
    species, kg, some = case
    total = cumulative(KIND, some, weighing(kg), species, formulary(), NOW)
    for drug in STOPS[species]:
        left = left_of(total, drug, weighing(kg), species, formulary())
        assert left is not None and left.value >= 0
        if total.percent >= 100:
            assert left.value == 0
            continue
        more = LocalDose(drug=drug, amount=left, at=NOW, route="infiltration", purpose="local block")
        full = cumulative(KIND, [*some, more], weighing(kg), species, formulary(), NOW)
        assert abs(full.percent - 100) < Decimal("1e-15")


@given(cases(), st.integers(1, 600))
def test_time_only_makes_room(case: tuple[str, Decimal, list[LocalDose]], minutes: int) -> None:
    species, kg, some = case
    now = cumulative(KIND, some, weighing(kg), species, formulary(), NOW)
    later = cumulative(KIND, some, weighing(kg), species, formulary(), NOW + timedelta(minutes=minutes))
    assert later.percent <= now.percent
