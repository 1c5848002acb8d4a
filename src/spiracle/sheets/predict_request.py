"""What a prediction is asked for: the animal, the model, what was or will be given, and for which moments.

Everything is still a quantity as it was written; the sums are done in `predicted`. Each part keeps the name of its field, so
that a refusal can say which line of the file it means.
"""

from __future__ import annotations

from dataclasses import dataclass

from spiracle.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter, and the very text in which it was written down."""

    name: str
    value: Quantity
    written: str


@dataclass(frozen=True, slots=True)
class GivenModel:
    """A model whose parameters stand in the file, per kilogram of the animal. `spread` is a coefficient of variation."""

    parameters: tuple[Parameter, ...]
    spread: Quantity | None = None
    name: str = ""

    def of(self, name: str) -> Quantity | None:
        return next((p.value for p in self.parameters if p.name == name), None)

    @property
    def saturable(self) -> bool:
        return self.of("vmax") is not None


@dataclass(frozen=True, slots=True)
class BolusAsked:
    """A dose at one moment, or spread evenly `over` a short time."""

    field: str
    at: Quantity
    dose: Quantity
    over: Quantity | None = None


@dataclass(frozen=True, slots=True)
class InfusionAsked:
    """A constant rate from one moment to another."""

    field: str
    start: Quantity
    stop: Quantity
    rate: Quantity


@dataclass(frozen=True, slots=True)
class PredictRequest:
    """One prediction. `model` is the id of a sourced row, or the parameters given in its place."""

    species: str
    weight: Quantity
    model: str | GivenModel
    until: Quantity
    every: Quantity
    boluses: tuple[BolusAsked, ...] = ()
    infusions: tuple[InfusionAsked, ...] = ()
    fall_to: tuple[Quantity, ...] = ()
    now: Quantity | None = None
    name: str = ""
    weight_confirmed: bool = False
