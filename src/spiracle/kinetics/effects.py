"""Levels at which something was seen under one set, and published advice on slow injection."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from spiracle.kinetics.rows import EffectRow, Event, Premedication, SlowRow
from spiracle.kinetics.tables import KineticsTables

# What an animal was given before, from the nearest to the farthest row that may speak for it.
STANDS_FOR: Mapping[Premedication, tuple[Premedication, ...]] = {
    "none": ("none", "any"),
    "opioid": ("opioid", "any"),
    "acepromazine+opioid": ("acepromazine+opioid", "mixed", "any"),
    "alpha-2+opioid": ("alpha-2+opioid", "alpha-2", "any"),
    "alpha-2": ("alpha-2", "any"),
    "mixed": ("mixed", "any"),
    "any": ("any",),
}
# A slower pace than need be does no harm, so advice for an alpha-2 agonist with an opioid stands for one alone too.
SLOWEST_FOR: Mapping[Premedication, tuple[Premedication, ...]] = {"alpha-2": ("alpha-2", "alpha-2+opioid", "any")}


@dataclass(frozen=True, slots=True)
class Level:
    """One event on the screen: its span [the row's unit], or None where nothing is known, and the words beside it."""

    event: Event
    row: EffectRow
    low: float | None
    high: float | None
    words: str
    memory: bool


def levels(tables: KineticsTables, model: str, premedication: Premedication) -> tuple[Level, ...]:
    """Levels of one set for one premedication, in the order of the table; where none is known, the row that says so."""
    set_ = tables.model(model)
    rows = [r for r in tables.effects if r.premedication in STANDS_FOR[premedication]]
    known = [r for r in rows if r.model == model]
    unknown = [r for r in rows if not r.model and (r.drug, r.species) == (set_.drug, set_.species)]
    told = {r.event for r in known}
    kept = {r.id for r in (*known, *(r for r in unknown if r.event not in told))}
    return tuple(_level(r) for r in tables.effects if r.id in kept)


def slow_advice(tables: KineticsTables, drug: str, species: str, premedication: Premedication) -> tuple[SlowRow, ...]:
    """Published advice for a drug and species, nearest premedication first; empty where there is none."""
    order = SLOWEST_FOR.get(premedication, STANDS_FOR[premedication])
    rows = [r for r in tables.slow if r.drug == drug and r.species == species and r.premedication in order]
    return tuple(sorted(rows, key=lambda r: order.index(r.premedication)))


def _level(row: EffectRow) -> Level:
    low, high = (None if x is None else float(x) for x in (row.low, row.high))
    return Level(row.event, row, low, high, row.says, row.memory)
