"""What a plan is made from: the patient, the veterinarian's orders and what stands on the shelf, already read and in units.

A plan file and a stored case both become a `PlanRequest`, so that both are worked out by the same code.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Literal

from spiracle.airway import Measured, TubeInStock
from spiracle.breathing import Price, Supply
from spiracle.quantity import Quantity

Species = Literal["dog", "cat"]
Method = Literal["scale", "estimated", "owner", "earlier visit"]
METHODS: tuple[Method, ...] = ("scale", "estimated", "owner", "earlier visit")
GRADES = ("I", "II", "III", "IV", "V")


@dataclass(frozen=True, slots=True, kw_only=True)
class Patient:
    """The animal as told and weighed. `weight` is the body weight, `dosing_weight` a veterinarian's other basis,
    `pcv` the packed cell volume in per cent."""

    species: Species
    weight: Quantity
    method: Method
    weighed: datetime | None = None
    name: str = ""
    breed: str = ""
    sex: str = ""
    age: str = ""
    age_days: Decimal | None = None
    body_condition: int | None = None
    asa: str = ""
    conditions: tuple[str, ...] = ()
    dosing_weight: Quantity | None = None
    dosing_reason: str = ""
    pcv: Decimal | None = None

    @property
    def basis(self) -> Quantity:
        """The weight doses are worked on."""
        return self.dosing_weight or self.weight

    @property
    def estimated(self) -> bool:
        """True for every weight that is not the scale's; every figure made from it says so."""
        return self.method != "scale"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderAsked:
    """One order. `low` and `high` are equal for a single dose; the syringe is filled for `high`, never above it."""

    field: str
    order: str
    drug: str
    purpose: str
    route: str
    low: Quantity
    high: Quantity
    event_id: str = ""
    row: str = ""
    concentration: Quantity | None = None
    when: str = ""
    given_as: str = ""
    ordered_by: str = ""
    over_hard_by: str = ""
    reason: str = ""

    @property
    def words(self) -> str:
        """The order as the veterinarian said it.

        >>> q = Quantity.of
        >>> OrderAsked(field="order 1", order="o", drug="d", purpose="p", route="IV", low=q("1", "mg/kg"),
        ...            high=q("2", "mg/kg")).words
        '1 to 2 mg/kg'
        """
        if self.low.equals(self.high):
            return str(self.high)
        if self.low.unit == self.high.unit:
            return f"{str(self.low).rsplit(' ', 1)[0]} to {self.high}"
        return f"{self.low} to {self.high}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """An oxygen cylinder as printed and read; `gauge` None: not read yet, so no minutes."""

    contents: Quantity
    full: Quantity
    gauge: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What is on the shelf and on the machine. An absent list means not told, and is not the same as an empty shelf.

    `circuit` is the system in use, `circuits` those that are there; `bag_on_ml` the bag on the machine, `bags_ml` those that
    are there. `drive_gas` is what the ventilator takes, `volume` what the system's own circle holds. `agent` and `dial` belong
    together: what is on the vaporiser, or meant to be.
    """

    strengths: Mapping[str, tuple[Quantity, ...]] = field(default_factory=dict)
    syringes: tuple[str, ...] = ()
    tubes: tuple[TubeInStock, ...] = ()
    cylinders: tuple[Cylinder, ...] = ()
    case_minutes: int | None = None
    parts: tuple[tuple[str, Quantity], ...] = ()
    circuit: str = ""
    circuits: tuple[str, ...] = ()
    bags_ml: tuple[int, ...] = ()
    bag_on_ml: int | None = None
    supply: Supply | None = None
    drive_gas: Quantity | None = None
    ventilated: bool = False
    volume: Quantity | None = None
    agent: str = ""
    dial: Quantity | None = None
    prices: Mapping[str, Price] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitAsked:
    """A reading the veterinarian wants acted on."""

    reading: str
    below: Decimal | None = None
    above: Decimal | None = None
    action: str = ""
    ordered_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrugInBody:
    """A drug this animal was given, and how many minutes ago, as recorded."""

    drug: str
    amount: Quantity | None
    minutes: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRequest:
    patient: Patient
    orders: tuple[OrderAsked, ...] = ()
    stock: Stock = Stock()
    airway: Measured = field(default_factory=Measured)
    limits: tuple[LimitAsked, ...] = ()
    given: tuple[DrugInBody, ...] = ()
    urgent: bool = False
