"""What a practice learns from its own cases: figures with their intervals, of cases and never of a person."""

from spiracle.audit.inductions import (
    KINDS,
    Induction,
    Key,
    Kind,
    Left,
    Reason,
    alike,
    band,
    by_asa,
    premedication_words,
)
from spiracle.audit.ranks import FEWEST
from spiracle.audit.summary import NEXT, SPREAD_FROM, Summary, summarise

__all__ = ["FEWEST", "KINDS", "NEXT", "SPREAD_FROM", "Induction", "Key", "Kind", "Left", "Reason", "Summary", "alike", "band",
           "by_asa", "premedication_words", "summarise"]  # fmt: skip
