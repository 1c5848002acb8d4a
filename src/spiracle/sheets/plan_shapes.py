"""The plan of one patient as plain data: what `spiracle plan --format json` prints and what the printed plan is drawn from.

Eight keys: patient, drugs, airway, breathing, fluids, limits, emergency, cautions. Every quantity is an `Amount`. The
JSON Schema of this page is doors/plan.schema.json, and the tests hold the output to it.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

import msgspec

from spiracle.quantity import Quantity, figure
from spiracle.sheets.shapes import ZoneName

_ENCODER = msgspec.json.Encoder(decimal_format="number")


class Plain(msgspec.Struct, frozen=True, kw_only=True):
    """Root of everything on this page."""


class Cite(Plain, frozen=True, kw_only=True):
    """A source as cited: `memory` says that nothing was read."""

    id: str
    citation: str
    seen: str
    memory: bool = False


class Amount(Plain, frozen=True, kw_only=True):
    """A number with its unit; `ucum` is the same unit in the case-sensitive code of that standard."""

    value: Decimal
    unit: str
    ucum: str
    working: str = ""
    memory: bool = False
    estimated: bool = False
    predicted: bool = False

    @property
    def text(self) -> str:
        """As printed: never more digits than mean something, never fewer than a syringe shows."""
        value = self.value if abs(self.value.adjusted()) < 4 and -self.value.as_tuple().exponent <= 3 else None  # type: ignore[operator]
        return f"{figure(self.value) if value is not None else figure(self.value, 4)} {self.unit}".strip()


class Refused(Plain, frozen=True, kw_only=True):
    """What was not worked out and why; then what would be accepted."""

    name: str
    field: str
    says: str
    accepts: str = ""

    @property
    def sentence(self) -> str:
        tail = f" {self.accepts}" if self.accepts else ""
        return f"{self.says}{tail}"


class Caution(Plain, frozen=True, kw_only=True):
    """`kind`: standing (always there), patient, drug or plan. `severity`: never, avoid, care or note."""

    kind: str
    text: str
    severity: str = "care"
    about: str = ""
    memory: bool = False
    source: tuple[Cite, ...] = ()


class PatientPart(Plain, frozen=True, kw_only=True):
    name: str
    species: str
    breed: str
    sex: str
    age: str
    weight: Amount
    method: str
    estimated: bool
    weighed: datetime | None
    dosing_weight: Amount
    dosing_reason: str
    lean_weight: Amount | None
    body_condition: int | None
    asa: str
    conditions: tuple[str, ...]
    planned_at: datetime
    version: str


class DilutionPart(Plain, frozen=True, kw_only=True):
    concentration: Amount
    drug_volume: Amount
    diluent_volume: Amount
    diluent: str
    total: Amount
    label: str = ""
    memory: bool = False
    working: str = ""


class SyringePart(Plain, frozen=True, kw_only=True):
    name: str
    holds: Amount
    mark: Amount


class LimitsPart(Plain, frozen=True, kw_only=True):
    """The bounds a dose was held against. `hard` null: no hard stop is known, and the sentence says so."""

    usual_low: Amount
    usual_high: Amount
    hard: Amount | None
    sentence: str
    row: str
    memory: bool = False
    also: tuple[str, ...] = ()


class OtherPart(Plain, frozen=True, kw_only=True):
    """The same order worked on another known weight, where it differs: shown beside it, never drawn up."""

    basis: str
    weight: Amount
    amount: Amount | None
    volume: Amount | None
    rate: Amount | None
    differs_percent: Decimal


class DrugPart(Plain, frozen=True, kw_only=True):
    """One order, worked out. With `refused` there is no volume; the sentence says what would give one."""

    order: str
    drug: str
    name: str
    purpose: str
    route: str
    dose: Amount
    dose_low: Amount
    amount: Amount | None
    concentration: Amount | None
    dilution: DilutionPart | None
    volume: Amount | None
    syringe: SyringePart | None
    delivered: Amount | None
    delivered_dose: Amount | None
    error_percent: Decimal | None
    rate: Amount | None
    zone: ZoneName | None
    limits: LimitsPart | None
    source: tuple[Cite, ...]
    working: tuple[str, ...]
    refused: Refused | None = None
    infusion: bool = False
    memory: bool = False
    estimated: bool = False
    reversal: str = ""
    controlled: str = ""
    time_to_give: str = ""
    when: str = ""
    ordered_by: str = ""
    over_hard_by: str = ""
    cautions: tuple[Caution, ...] = ()
    others: tuple[OtherPart, ...] = ()


class TubePart(Plain, frozen=True, kw_only=True):
    role: str
    id: Amount
    od: Amount
    cuffed: bool


class DeadSpacePart(Amount, frozen=True, kw_only=True):
    """What lies outside the incisors: protruding tube and parts. `value` is that after cutting (before, if no length to
    cut to is known); `before` and `after` stand beside it. `tube_before` and `tube_after`: what the whole tube holds."""

    before: Amount | None = None
    after: Amount | None = None
    tube_before: Amount | None = None
    tube_after: Amount | None = None
    parts: tuple[NamedAmount, ...] = ()
    breath: Amount | None = None
    percent_of_breath: Decimal | None = None
    ml_per_kg: Decimal | None = None
    co2_if_unanswered: Amount | None = None
    minute_volume_more: Amount | None = None
    no_answer: str = ""
    warn_percent: Decimal | None = None
    stop_percent: Decimal | None = None
    warning: str = ""


class NamedAmount(Plain, frozen=True, kw_only=True):
    name: str
    amount: Amount


class EstimatePart(Plain, frozen=True, kw_only=True):
    """One way of choosing a tube: the size it gives and one standard deviation."""

    name: str
    id: Amount
    spread: Amount
    source: tuple[Cite, ...] = ()


class RankedPart(Plain, frozen=True, kw_only=True):
    """A tube of the shelf; the three shares sum to one and are predicted."""

    id: Amount
    od: Amount
    cuffed: bool
    place: str
    too_small: Decimal
    fits: Decimal
    too_large: Decimal
    why: str


class ChangePart(Plain, frozen=True, kw_only=True):
    what: str
    part: str
    saves: Amount
    saves_percent: Decimal
    says: str


class ResistancePart(Plain, frozen=True, kw_only=True):
    role: str
    id: Amount
    lost: Amount
    regime: str
    times_first: Decimal


class AirwayPart(Plain, frozen=True, kw_only=True):
    tubes: tuple[TubePart, ...]
    insertion_depth: Amount | None
    cut_length: Amount | None
    dead_space: DeadSpacePart | None
    stylet_setback: Amount | None
    stylet_bend: Amount | None = None
    estimates: tuple[EstimatePart, ...] = ()
    combined: str = ""
    disagreements: tuple[str, ...] = ()
    ranked: tuple[RankedPart, ...] = ()
    changes: tuple[ChangePart, ...] = ()
    resistances: tuple[ResistancePart, ...] = ()
    why: str = ""
    refused: tuple[Refused, ...] = ()
    notes: tuple[str, ...] = ()
    source: tuple[Cite, ...] = ()


class SystemPart(Plain, frozen=True, kw_only=True):
    """A breathing system that is there: whether it serves this animal, and why."""

    id: str
    name: str
    serves: bool
    first: bool
    says: str


class OpinionPart(Plain, frozen=True, kw_only=True):
    """One source's fresh gas in one phase, for this animal; null where its figure could not be read."""

    phase: str
    low: Amount | None
    high: Amount | None
    says: str
    measured: bool = False
    memory: bool = False
    source: tuple[Cite, ...] = ()


class WashInPart(Plain, frozen=True, kw_only=True):
    share: Amount
    at_most: Amount
    measured: Amount


class AgentPart(Plain, frozen=True, kw_only=True):
    """Liquid agent in an hour at one dial and flow; `cost_per_hour` null without the hospital's own price."""

    agent: str
    phase: str
    dial: Amount
    liquid: Amount
    by_rule: Amount
    cost_per_hour: Decimal | None = None
    currency: str = ""


class VentilatorPart(Plain, frozen=True, kw_only=True):
    """First settings of a ventilator in one mode, from lean weight (the dosing weight where no condition was scored)."""

    mode: str
    lean_weight: Amount
    basis: str
    tidal: Amount | None = None
    rate: Amount | None = None
    inspiration: Amount | None = None
    ratio: str = ""
    peep: Amount | None = None
    peak: Amount | None = None
    set_pressure: Amount | None = None
    minute_volume: Amount | None = None
    alarms: tuple[NamedAmount, ...] = ()
    notes: tuple[str, ...] = ()
    refused: Refused | None = None


class BreathingPart(Plain, frozen=True, kw_only=True):
    circuit: str
    fresh_gas: dict[str, Amount]
    bag: Amount | None
    oxygen_minutes: Amount | None
    why: str = ""
    systems: tuple[SystemPart, ...] = ()
    opinions: tuple[OpinionPart, ...] = ()
    apart: str = ""
    least_flow: Amount | None = None
    wash_in: tuple[WashInPart, ...] = ()
    agent: tuple[AgentPart, ...] = ()
    waste: tuple[str, ...] = ()
    supply: str = ""
    drive_gas: Amount | None = None
    ventilator: tuple[VentilatorPart, ...] = ()
    oxygen_minutes_to_empty: Amount | None = None
    oxygen_litres: Amount | None = None
    case_minutes: int | None = None
    oxygen_enough: bool | None = None
    refused: tuple[Refused, ...] = ()
    notes: tuple[str, ...] = ()
    source: tuple[Cite, ...] = ()


class FluidsPart(Plain, frozen=True, kw_only=True):
    rate: Amount | None
    rate_limit: Amount | None
    bolus: Amount | None
    bolus_largest: Amount | None
    bolus_limit: Amount | None
    blood_volume: Amount | None
    allowable_loss: Amount | None
    refused: tuple[Refused, ...] = ()
    notes: tuple[str, ...] = ()
    source: tuple[Cite, ...] = ()


class LimitPart(Plain, frozen=True, kw_only=True):
    """One monitoring limit. `ordered`: the veterinarian's word for this case; else a starting point from the tables."""

    reading: str
    name: str
    below: Decimal | None
    above: Decimal | None
    unit: str
    action: str
    ordered: bool
    whose: str = ""
    memory: bool = False
    source: tuple[Cite, ...] = ()


class EmergencyDrugPart(Plain, frozen=True, kw_only=True):
    drug: str
    name: str
    group: str
    what_for: str
    when: str
    route: str
    dose: str
    concentration: str
    amount: Amount | None
    volume: Amount | None
    syringe: str = ""
    dilution: str = ""
    note: str = ""
    memory: bool = False
    refused: Refused | None = None


class EmergencyPart(Plain, frozen=True, kw_only=True):
    sheet_id: str
    weight: Amount
    drugs: tuple[EmergencyDrugPart, ...]
    shocks: tuple[EmergencyDrugPart, ...]
    breath: Amount
    rate: str
    etco2_aim: str
    steps: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    source: tuple[Cite, ...] = ()


class Plan(Plain, frozen=True, kw_only=True):
    patient: PatientPart
    drugs: tuple[DrugPart, ...]
    airway: AirwayPart
    breathing: BreathingPart
    fluids: FluidsPart
    limits: tuple[LimitPart, ...]
    emergency: EmergencyPart
    cautions: tuple[Caution, ...]


def plain(value: Decimal) -> Decimal:
    """The same number without exponent or trailing zeros, at most nine decimals: what a JSON reader expects.

    >>> plain(Decimal("1E+1")), plain(Decimal("0.1600")), plain(Decimal(10) / 3)
    (Decimal('10'), Decimal('0.16'), Decimal('3.333333333'))
    """
    if -value.as_tuple().exponent > 9:  # type: ignore[operator]
        value = round(value, 9)
    short = value.normalize()
    return short.quantize(Decimal(1)) if short.as_tuple().exponent > 0 else short  # type: ignore[operator]


def amount(
    quantity: Quantity, working: str = "", *, memory: bool = False, estimated: bool = False, predicted: bool = False
) -> Amount:
    """A quantity as an `Amount`."""
    return Amount(
        value=plain(quantity.value),
        unit=str(quantity.unit),
        ucum=quantity.unit.ucum,
        working=working,
        memory=memory,
        estimated=estimated,
        predicted=predicted,
    )


def plan_json(plan: Plan) -> bytes:
    """The plan's JSON, indented; decimals are JSON numbers, exactly as worked."""
    return msgspec.json.format(_ENCODER.encode(plan), indent=2) + b"\n"


def emergency_json(species: str, sheet: EmergencyPart) -> bytes:
    """The emergency sheet alone: the same part as in a plan, with its species in front."""
    return msgspec.json.format(_ENCODER.encode({"species": species, "emergency": sheet}), indent=2) + b"\n"
