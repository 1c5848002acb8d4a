"""A plan of many drugs says what they share once, and what is grave on every line."""

from __future__ import annotations

from spiracle.sheets.said_once import Spoken, said_once, together
from spiracle.sheets.shapes import DrugLine, RiskFlag

SHARED = RiskFlag(title="newborn", changes="Low glucose comes fast.")
GRAVE = RiskFlag(title="open heart valve", changes="Not this drug.", severity="never")


def line(order: str, *flags: RiskFlag) -> DrugLine:
    return DrugLine(order=order, drug=order, name=order, purpose="", route="IV", order_text="", cautions=flags,
                    cautions_at_large=(RiskFlag(title="at large", changes="x"),))  # fmt: skip


def test_a_caution_that_three_drugs_share_stands_on_the_first_and_is_lost_on_none() -> None:
    """U14: a list nobody reads guards nothing; what is folded away is still one touch off. Common practice."""
    first, second, third = said_once((line("a", SHARED), line("b", GRAVE, SHARED), line("c", SHARED, GRAVE)))
    assert first.cautions == (SHARED,)
    assert (second.cautions, second.cautions_at_large[0]) == ((GRAVE,), SHARED)
    assert (third.cautions, third.cautions_at_large[0]) == ((GRAVE,), SHARED), "never is said on every line"


def test_the_plan_names_every_drug_a_caution_is_about() -> None:
    """U14: put together, no drug's name is lost."""
    found = together((Spoken("methadone", SHARED), Spoken("alfaxalone", SHARED), Spoken("alfaxalone", GRAVE)))
    assert [f.title for f in found] == ["methadone, alfaxalone: newborn", "alfaxalone: open heart valve"]
