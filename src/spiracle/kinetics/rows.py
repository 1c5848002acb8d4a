"""The shapes of the rows in the tables of kinetics. Sets of constants stand beside what was printed of them."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from spiracle.source.acted_on import ActedOn

Species = Literal["dog", "cat"]
Quality = Literal["full", "derived", "approximate", "weak", "partial"]
Background = Literal["awake", "isoflurane", "sevoflurane", "another inhaled agent", "intravenous", "any"]
Use = Literal["induction", "infusion"]
Constant = Literal["v1", "cl", "q2", "v2", "q3", "v3"]
Role = Literal[
    "CL", "Q2", "Q3", "V1", "V2", "V3", "Vss", "Vz", "V", "MRT", "half-life", "first half-life", "second half-life"
]
Event = Literal[
    "asleep", "no-swallow", "no-jaw-tone", "intubation", "apnoea", "no-pedal-reflex", "light-anaesthesia", "immobility",
    "extubation", "walking", "recovered", "antinociception",
]  # fmt: skip
Premedication = Literal["none", "opioid", "acepromazine+opioid", "alpha-2+opioid", "alpha-2", "mixed", "any"]
Figure = Decimal | int


class Printed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A figure as its source prints it. `role` says which constant of a disposition it is, where it is one."""

    what: str
    figures: tuple[Figure, ...]
    unit: str
    role: Role | None = None
    sd: tuple[Figure, ...] = ()
    sem: tuple[Figure, ...] = ()
    memory: bool = False


class Constants(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Volumes [L/kg] and clearances [L/kg/min] of one to three compartments. A pair of the same number belongs together."""

    v1: Figure
    cl: Figure
    q2: Figure | None = None
    v2: Figure | None = None
    q3: Figure | None = None
    v3: Figure | None = None

    def named(self) -> dict[str, Figure]:
        """What is there, by name."""
        return {k: v for k in self.__struct_fields__ if (v := getattr(self, k)) is not None}


class Saturating(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Elimination that saturates: the most that can be cleared [mg/kg/min] and the level of half of it [mg/L]."""

    vmax: Figure
    km: Figure


class ModelRow(ActedOn, frozen=True, kw_only=True):
    """One set, whole or in part. Only a row with `runs` can be run; a partial one says in `lacks` what keeps it from that.

    `ours` names the fields of this row that nobody published. `rank` orders the sets of one drug and species; without it a set
    answers to its id alone.
    """

    drug: str
    species: Species
    population: str
    quality: Quality
    compartments: int
    premedicated: bool
    n: int | None = None
    given: str = ""
    runs: Constants | None = None
    saturating: Saturating | None = None
    lacks: str = ""
    says: str = ""
    rank: int | None = None
    background: tuple[Background, ...] = ()
    use: tuple[Use, ...] = ()
    never: tuple[str, ...] = ()
    not_for: tuple[str, ...] = ()
    adult_from_months: int | None = None
    weight_from_kg: Figure | None = None
    asa_at_most: int | None = None
    total_at_most_mg_kg: Figure | None = None
    total_within_min: int | None = None
    total_says: str = ""
    not_before_min: int | None = None
    ours: tuple[str, ...] = ()
    residual_log_sd: Figure | None = None
    residual_says: str = ""
    spread: dict[Constant, Figure] = msgspec.field(default_factory=dict)
    spread_printed: tuple[Constant, ...] = ()
    spread_says: str = ""
    widen_with: tuple[str, ...] = ()
    formula: str = ""
    printed: tuple[Printed, ...] = ()
    derived: tuple[Printed, ...] = ()
    from_memory: bool = msgspec.field(default=False, name="memory")

    @property
    def memory(self) -> bool:
        """Whether the mark for memory goes with it wherever it is shown."""
        return self.from_memory or super().memory

    def figure(self, role: Role) -> Printed | None:
        """The one printed figure of that role, or None."""
        return next((p for p in self.printed if p.role == role), None)


class EffectSiteRow(ActedOn, frozen=True, kw_only=True):
    """A constant of the effect site [1/min], the sets it goes with, and the spread of it; without a figure it says why."""

    drug: str
    species: Species
    models: tuple[str, ...]
    quality: Quality
    ke0: Figure | None = None
    log_sd: Figure | None = None
    lent: tuple[str, ...] = ()
    says: str


class EffectRow(ActedOn, frozen=True, kw_only=True):
    """The level of one event under one set, or in words that none is known. A level is never carried to another set."""

    drug: str
    species: Species
    model: str = ""
    event: Event
    premedication: Premedication
    site: Literal["effect", "plasma"] = "plasma"
    low: Figure | None = None
    high: Figure | None = None
    unit: str = ""
    made: Literal["printed", "derived", "none"]
    says: str


class SlowRow(ActedOn, frozen=True, kw_only=True):
    """Published advice on how slowly an induction agent goes in [mg/kg/min]; without a rate, in words alone."""

    drug: str
    species: Species
    premedication: Premedication
    low: Figure | None = None
    high: Figure | None = None
    says: str


class Dosed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A dose [mg/kg] from a minute on, over minutes; at once without `over`."""

    at: Figure
    dose: Figure
    over: Figure | None = None


class Infused(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rate [mg/kg/min] from one minute to another."""

    start: Figure
    stop: Figure
    rate: Figure


class VerificationRow(ActedOn, frozen=True, kw_only=True):
    """What a set gives at a published moment. `fit`: the moment was used to make the set, so it proves little.

    `published` is a measured level [mg/L]; `predicted` is what was worked out apart from our solver, by matrix exponential.
    `within_percent` is how far prediction and print lie apart, rounded up: the row's own tolerance.
    """

    model: str
    fit: bool
    dosing: str
    doses: tuple[Dosed, ...] = ()
    infusions: tuple[Infused, ...] = ()
    minute: Figure
    event: str
    site: Literal["effect", "plasma"] = "plasma"
    published: Figure | None = None
    published_says: str = ""
    predicted: Figure
    within_percent: Figure | None = None
