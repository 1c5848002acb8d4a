"""The working of a computed number: what a person would write beside it, with every input and source."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Generic, TypeVar

from spiracle.source.limits import Guardrail

T = TypeVar("T")


class Mark(StrEnum):
    """Who says so: a device, a hand, Spiracle's arithmetic, or Spiracle's expectation."""

    MEASURED = "measured"
    TYPED = "typed"
    WORKED = "worked"
    PREDICTED = "predicted"
    TABLE = "table"


@dataclass(frozen=True, slots=True)
class Input:
    name: str
    text: str
    mark: Mark = Mark.TABLE
    note: str = ""


@dataclass(frozen=True, slots=True)
class Working:
    """`says` is the arithmetic in one line; `held` the limits it was held against, in words; `sources` are source ids."""

    says: str
    inputs: tuple[Input, ...] = ()
    held: tuple[str, ...] = ()
    limit: Guardrail | None = None
    sources: tuple[str, ...] = ()
    memory: bool = False
    estimated: bool = False


@dataclass(frozen=True, slots=True)
class Worked(Generic[T]):
    """A value that can show its working."""

    value: T
    working: Working = field(default_factory=lambda: Working(""))
