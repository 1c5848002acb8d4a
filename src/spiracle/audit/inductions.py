"""Inductions as an audit counts them: which animals belong together, and why one was left out. No name of anybody is in it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, TypeAlias

Kind: TypeAlias = Literal["opioid", "alpha-2 agonist", "acepromazine", "benzodiazepine", "another sedative"]
KINDS: tuple[Kind, ...] = ("opioid", "alpha-2 agonist", "acepromazine", "benzodiazepine", "another sedative")

# Why an induction is not counted, in the order in which it is looked for: the first that holds is the one that is told.
Reason: TypeAlias = Literal[
    "a practice case",
    "emergency",
    "no tube was placed",
    "the tube was never proven",
    "the agent was given for another purpose too",
    "an anaesthetic also ran as an infusion before the tube",
    "no induction agent before the tube",
    "not given by the vein",
    "more than 30 min between two pushes",
    "an inhaled anaesthetic was on before the tube",
    "an amount cannot be read",
    "no weight at the first push",
    "the weight was estimated",
    "the premedication was reversed before induction",
    "given before the case, and the tables do not say how long it lasts",
]

BANDS: dict[str, tuple[str, ...]] = {"I-II": ("I", "II"), "III": ("III",), "IV-V": ("IV", "V"), "not graded": ("",)}


@dataclass(frozen=True, slots=True)
class Key:
    """What makes inductions alike. `agent` is the drug given to effect, `beside` what was given with it to induce."""

    species: str
    agent: str
    premedication: tuple[Kind, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Induction:
    """One animal's, from the first push of the agent to the first tube that was proven. `asa` empty: not graded by then."""

    key: Key
    asa: str
    mg_per_kg: Decimal
    minutes: Decimal
    pushes: int
    day: date


@dataclass(frozen=True, slots=True)
class Left:
    """An induction that is not counted, and why."""

    reason: Reason
    day: date


def premedication_words(kinds: Iterable[str]) -> str:
    """
    >>> premedication_words(("opioid", "alpha-2 agonist")), premedication_words(())
    ('opioid + alpha-2 agonist', 'none')
    """
    return " + ".join(kinds) or "none"


def band(asa: str) -> str:
    """The band of a class.

    >>> band("II"), band("V"), band("")
    ('I-II', 'IV-V', 'not graded')
    """
    return next(name for name, classes in BANDS.items() if asa in classes)


def alike(found: Iterable[Induction]) -> dict[Key, tuple[Induction, ...]]:
    """Those that belong together, the largest group first; equal ones by their names."""
    groups: dict[Key, list[Induction]] = defaultdict(list)
    for one in found:
        groups[one.key].append(one)
    ordered = sorted(
        groups.items(), key=lambda g: (-len(g[1]), g[0].species, g[0].agent, g[0].premedication, g[0].beside)
    )
    return {key: tuple(group) for key, group in ordered}


def by_asa(group: Iterable[Induction]) -> dict[str, tuple[Induction, ...]]:
    """A group by bands of ASA class, and by the class itself beside a band of two; empty ones are left out."""
    held = tuple(group)
    parts: dict[str, tuple[Induction, ...]] = {}
    for name, classes in BANDS.items():
        parts[name] = tuple(i for i in held if i.asa in classes)
        if len(classes) > 1:
            parts |= {one: tuple(i for i in held if i.asa == one) for one in classes}
    return {name: part for name, part in parts.items() if part}
