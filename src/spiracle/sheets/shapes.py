"""What a page gets: plain data, every number already worked, worded and marked. The tablet draws it and computes no dose.

The TypeScript types of the tablet are generated from this page, so a field exists once.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

import msgspec

MarkName = Literal["measured", "typed", "worked", "predicted", "table"]
ZoneName = Literal["usual", "unusual", "forbidden"]
Priority = Literal["high", "medium", "low"]
PhaseName = Literal["assess", "plan", "prepare", "induce", "maintain", "recover", "record"]
SyringeClass = Literal[
    "induction", "opioid", "hypnotic", "relaxant", "vasopressor", "anticholinergic", "local", "other"
]


class Shape(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=False):
    """Root of everything sent to a page."""


# ---- numbers that show their working


class WorkingInput(Shape, frozen=True, kw_only=True):
    name: str
    text: str
    mark: MarkName = "table"
    note: str = ""


class Cited(Shape, frozen=True, kw_only=True):
    citation: str
    seen: str
    memory: bool = False


class ZoneBar(Shape, frozen=True, kw_only=True):
    """A dose against its order and limits, all in `unit`. `hard` None: no hard stop is known, and that is said."""

    unit: str
    at: float
    usual_low: float
    usual_high: float
    order_high: float | None = None
    hard: float | None = None
    zone: ZoneName = "usual"
    memory: bool = False
    hard_memory: bool = False


class WorkingShape(Shape, frozen=True, kw_only=True):
    title: str
    says: str
    inputs: tuple[WorkingInput, ...] = ()
    held: tuple[str, ...] = ()
    bar: ZoneBar | None = None
    cited: tuple[Cited, ...] = ()
    memory: bool = False
    estimated: bool = False


class Num(Shape, frozen=True, kw_only=True):
    """A figure as printed. `text` is final: the page never formats a number. `at` dates a reading; the page ages it."""

    text: str
    unit: str = ""
    mark: MarkName = "worked"
    memory: bool = False
    estimated: bool = False
    at: datetime | None = None
    by: str = ""
    working: WorkingShape | None = None


# ---- the frame


class Hand(Shape, frozen=True, kw_only=True):
    """A person of the hospital. `initials` is what the collar shows; `id` what the log holds."""

    id: str
    initials: str
    name: str
    role: Literal[
        "technician", "veterinarian", "head of anaesthesia", "controlled-drug officer", "student", "assistant"
    ]


class Allergies(Shape, frozen=True, kw_only=True):
    state: Literal["not asked", "none known", "listed"]
    text: str = ""
    asked_at: datetime | None = None


class Collar(Shape, frozen=True, kw_only=True):
    case: str
    name: str
    species: str
    breed: str = ""
    age: str = ""
    sex: str = ""
    kind: Literal["elective", "emergency"] = "elective"
    practice: bool = False
    weight: Num | None = None
    weight_kg: float | None = None
    weight_basis: str = ""
    weight_at: datetime | None = None
    weight_by: str = ""
    weight_stale: bool = False
    estimated: bool = False
    asa: str = ""
    allergies: Allergies
    planned_at: datetime | None = None
    induced_at: datetime | None = None
    ended_at: datetime | None = None
    draft: bool = True
    draft_reasons: tuple[str, ...] = ()


class PhaseState(Shape, frozen=True, kw_only=True):
    phase: PhaseName
    state: Literal["done", "open", "ahead"]
    gaps: int = 0
    gap_words: tuple[str, ...] = ()


class Due(Shape, frozen=True, kw_only=True):
    """Something that falls due: `at` its time, `from_at` when the wait began, so that a pore can close."""

    id: str
    title: str
    detail: str = ""
    at: datetime
    from_at: datetime | None = None
    phase: PhaseName = "maintain"


class Advice(Shape, frozen=True, kw_only=True):
    """One line in front: what was seen, on whose order it rests, and acts that can be written in one touch."""

    id: str
    priority: Priority
    title: str
    since: datetime | None = None
    body: str = ""
    acts: tuple[Act, ...] = ()


class Act(Shape, frozen=True, kw_only=True):
    """A key that writes one event: `fields` are the event's own fields, worked by the core."""

    label: str
    event: str
    fields: dict[str, str | float | bool | None] = {}
    main: bool = False


# ---- assess


class Fact(Shape, frozen=True, kw_only=True):
    """One row of the assessment: its value as typed, who and when, or not asked yet."""

    id: str
    label: str
    value: str = ""
    event_id: str = ""
    at: datetime | None = None
    by: str = ""
    gap: bool = False
    note: str = ""


class RiskFlag(Shape, frozen=True, kw_only=True):
    title: str
    changes: str
    severity: Literal["never", "avoid", "care"] = "care"
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class AssessSheet(Shape, frozen=True, kw_only=True):
    facts: tuple[Fact, ...]
    results: tuple[Fact, ...] = ()
    medicines: tuple[Fact, ...] = ()
    before: tuple[Fact, ...] = ()
    previous: tuple[Fact, ...] = ()
    flags: tuple[RiskFlag, ...] = ()
    conditions: tuple[str, ...] = ()
    asa: str = ""
    asa_emergency: bool = False
    asa_by: str = ""
    procedure: str = ""
    procedure_minutes: int | None = None
    resuscitation: str = "not asked"


# ---- plan


class Rung(Shape, frozen=True, kw_only=True):
    """One mark of a syringe: what it delivers."""

    ml: float
    text: str
    amount: float
    amount_text: str
    per_kg_text: str
    zone: ZoneName
    over_order: bool = False


class Ladder(Shape, frozen=True, kw_only=True):
    """Every mark of one syringe, worked by the core, so that the tablet needs no arithmetic and works offline."""

    barrel: str
    mark_ml: float
    holds_ml: float
    unit: str
    rungs: tuple[Rung, ...]


class DilutionShape(Shape, frozen=True, kw_only=True):
    """`barrel`: the syringe it is mixed in and given from, on whose marks both the whole and the dose are; empty where no one
    syringe shows both."""

    concentration: str
    drug_volume: Num
    diluent_volume: Num
    diluent: str
    total: Num
    label: str
    memory: bool = False
    barrel: str = ""
    steps: tuple[str, ...] = ()


class OtherBasis(Shape, frozen=True, kw_only=True):
    """The same order worked on another weight than the one in use: shown beside it, never drawn up. `predicted` for an
    estimate such as a lean weight from body condition."""

    basis: str
    weight: Num
    amount: Num | None = None
    volume: Num | None = None
    rate: Num | None = None
    differs_percent: float = 0


class AtPush(Shape, frozen=True, kw_only=True):
    """What is said as a drug is about to go in. `before` are earlier doses of it or its kin, newest first; `onset_at` when
    the last dose is expected to work, `next_due` when the order may be repeated; `with_on_board` what else is in the animal
    and matters; `difference` what was given so far against the order. Times to come are predictions: `times_memory` marks
    those from memory, `times_cited` says where the others are from."""

    order_ref: str = ""
    before: tuple[BeforeLine, ...] = ()
    onset: str = ""
    lasts: str = ""
    onset_at: datetime | None = None
    next_due: datetime | None = None
    with_on_board: tuple[RiskFlag, ...] = ()
    difference: str = ""
    unsigned: str = ""
    times_memory: bool = False
    times_cited: tuple[Cited, ...] = ()


class BeforeLine(Shape, frozen=True, kw_only=True):
    """An earlier dose: the page ages it by `at`. `here` False: before this case, on the ward or elsewhere."""

    event_id: str
    at: datetime
    text: str
    by: str
    here: bool = True


class DropRate(Shape, frozen=True, kw_only=True):
    """Drops for one giving set: per minute, the seconds between two drops, and what whole drops then give."""

    drops_per_ml: int
    per_min: Num
    seconds_between: Num
    gives: Num | None = None
    error_percent: float = 0


class BagRecipe(Shape, frozen=True, kw_only=True):
    """What to add to a bag so that one fluid rate gives what is ordered of every drug in it."""

    bag: str = ""
    fluid: str
    fluid_name: str = ""
    holds: Num
    remove: Num | None = None
    parts: tuple[BagPartShape, ...] = ()
    total: Num
    rate: Num
    lasts: Num | None = None
    label: str = ""
    cautions: tuple[str, ...] = ()
    holds_ml: float = 0
    remove_ml: float = 0
    total_ml: float = 0
    rate_ml_h: float = 0
    mixed: bool = False
    drops: tuple[DropRate, ...] = ()
    no_drops: str = ""
    working: WorkingShape | None = None
    refusal: Refused | None = None


class BagPartShape(Shape, frozen=True, kw_only=True):
    order: str
    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    controlled: str = ""
    vial: str
    add: Num
    add_ml: float = 0
    amount: Num
    strength: str
    gives: Num
    error_percent: float = 0
    memory: bool = False


class InfusionCard(Shape, frozen=True, kw_only=True):
    """An ordered or running infusion in large type: the pump's rate, the same dose in both time bases, drops where it may be
    counted in drops, loading dose, and when syringe or bag is empty. `void`: why the card does not hold any more."""

    order: str
    infusion: str = ""
    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    controlled: str = ""
    strength: str
    diluted: str = ""
    ordered: str
    rate: Num | None = None
    per_min: Num | None = None
    per_hour: Num | None = None
    drops: tuple[DropRate, ...] = ()
    no_drops: str = ""
    loading: str = ""
    loading_volume: Num | None = None
    holds: Num | None = None
    minutes: Num | None = None
    empty_at: datetime | None = None
    speak: str = ""
    void: str = ""
    memory: bool = False
    estimated: bool = False
    working: WorkingShape | None = None


class DrugLine(Shape, frozen=True, kw_only=True):
    """One order as a line of the plan: order in the veterinarian's words, then what goes in the syringe.

    `cautions` are those that name something this animal has; `cautions_at_large` the drug's others, one touch away.
    `vial` is the strength it is drawn from, which a signature names; `strength` what the syringe then holds. `lot` and
    `expires` are the picked vial's, or the shelf's where one lot of this strength stands there; else empty.
    """

    order: str
    event_id: str = ""
    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    reversal: bool = False
    controlled: str = ""
    strength: str = ""
    vial: str = ""
    strengths: tuple[str, ...] = ()
    purpose: str
    route: str
    order_text: str
    when: str = ""
    given_as: str = ""
    ordered_by: str = ""
    infusion: bool = False
    dose: Num | None = None
    amount: Num | None = None
    volume: Num | None = None
    rate: Num | None = None
    delivered: Num | None = None
    error_percent: float | None = None
    bar: ZoneBar | None = None
    barrel: str = ""
    mark_ml: float | None = None
    holds_ml: float | None = None
    volume_ml: float | None = None
    pushes: tuple[float, ...] = ()
    dilution: DilutionShape | None = None
    conditions: tuple[str, ...] = ()
    cautions: tuple[RiskFlag, ...] = ()
    refusal: Refused | None = None
    memory: bool = False
    speak: str = ""
    ladder: Ladder | None = None
    onset: str = ""
    minutes_to_give: str = ""
    cautions_at_large: tuple[RiskFlag, ...] = ()
    other_bases: tuple[OtherBasis, ...] = ()
    hub: str = ""
    scale: str = ""
    needs: tuple[str, ...] = ()
    protocol: str = ""
    at_push: AtPush | None = None
    card: InfusionCard | None = None
    lot: str = ""
    expires: str = ""


class Refused(Shape, frozen=True, kw_only=True):
    """What was not written and why; then what would be accepted. `use` may be offered as a key."""

    name: str
    field: str
    says: str
    accepts: str = ""
    use: str | None = None


class TubeShape(Shape, frozen=True, kw_only=True):
    role: Literal["first choice", "one smaller", "one larger"]
    id_text: str
    id_mm: float
    od_mm: float
    od_memory: bool = False
    cuffed: bool = True
    fits: float | None = None
    why: str = ""


class EstimateRow(Shape, frozen=True, kw_only=True):
    """One way of choosing a tube: its size with one standard deviation."""

    name: str
    text: str
    id_mm: float
    sd_mm: float
    memory: bool = False
    working: WorkingShape | None = None


class RankedTube(Shape, frozen=True, kw_only=True):
    """A tube of the shelf with its chances, which are predicted and sum to one."""

    id_text: str
    id_mm: float
    od_mm: float
    od_memory: bool = False
    cuffed: bool = True
    too_small: float
    fits: float
    too_large: float
    place: str
    why: str


class ChangeRow(Shape, frozen=True, kw_only=True):
    """One change alone and the dead space it takes away, best first."""

    says: str
    saves_ml: float
    memory: bool = False


class ResistanceRow(Shape, frozen=True, kw_only=True):
    """Pressure a quiet breath loses along one tube of the set; predicted. `bench`: what was measured, where it was."""

    role: str
    id_text: str
    lost: Num
    regime: str
    reynolds: int
    times_first: float
    bench: str = ""


class DrawnPlace(Shape, frozen=True, kw_only=True):
    """A place along the tube [mm from the incisors, inward]; None: nobody knows."""

    at_mm: float | None = None
    how: Literal["measured", "predicted", "memory", "not known"]


class DrawnTube(Shape, frozen=True, kw_only=True):
    """The first choice in the patient, as lengths: the connector stands at the incisors, zero."""

    id_text: str
    id_mm: float
    od_mm: float
    od_memory: bool
    cuffed: bool
    trachea_mm: float | None
    larynx: DrawnPlace
    inlet: DrawnPlace
    tip: DrawnPlace
    cuff_top: DrawnPlace
    cuff_bottom: DrawnPlace
    side_hole: DrawnPlace
    has_side_hole: bool
    uncut_end: DrawnPlace
    stylet_tip: DrawnPlace
    fork_low_mm: float | None = None
    fork_high_mm: float | None = None
    questions: tuple[str, ...] = ()


class AirwayPlan(Shape, frozen=True, kw_only=True):
    tubes: tuple[TubeShape, ...]
    why: str = ""
    insertion: Num | None = None
    cut: Num | None = None
    stylet_setback: Num | None = None
    dead_space_before: Num | None = None
    dead_space_after: Num | None = None
    parts: tuple[Part, ...] = ()
    percent_of_breath: float | None = None
    tidal: Num | None = None
    warn_percent: float | None = None
    stop_percent: float | None = None
    warning: str = ""
    cautions: tuple[str, ...] = ()
    mark: Num | None = None
    attempts: tuple[str, ...] = ()
    memory: bool = False
    refusal: Refused | None = None
    working: WorkingShape | None = None
    stylet_bend: Num | None = None
    ml_per_kg: float | None = None
    combined: str = ""
    estimates: tuple[EstimateRow, ...] = ()
    disagreements: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    ranked: tuple[RankedTube, ...] = ()
    changes: tuple[ChangeRow, ...] = ()
    resistances: tuple[ResistanceRow, ...] = ()
    co2_uncut: Num | None = None
    co2: Num | None = None
    co2_from: str = ""
    co2_words: str = ""
    drawing: DrawnTube | None = None


class Part(Shape, frozen=True, kw_only=True):
    name: str
    ml: float
    text: str


class SystemReason(Shape, frozen=True, kw_only=True):
    """One breathing system that is there, and why it stands where it does."""

    name: str
    serves: bool
    first: bool
    says: str


class FlowOpinion(Shape, frozen=True, kw_only=True):
    """One source's fresh gas for this animal [L/min]; without ends where its figure could not be read."""

    source: str
    says: str
    text: str
    low: float | None = None
    high: float | None = None
    measured: bool = False
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class FlowBand(Shape, frozen=True, kw_only=True):
    """A phase's fresh gas as each source has it, side by side; `set` is what is set first, `top` where the scale ends."""

    phase: str
    set: Num
    at: float
    top: float
    opinions: tuple[FlowOpinion, ...]


class WashIn(Shape, frozen=True, kw_only=True):
    """Minutes until a turn of the dial has reached this share in the circle: at most, and as one circle was measured."""

    share: str
    at_most: Num
    measured: Num


class AgentLine(Shape, frozen=True, kw_only=True):
    """Liquid agent in an hour. `cost` is empty without the hospital's own price; `each` is for every per cent on the dial."""

    agent: str
    phase: str
    dial: str
    each: bool = False
    liquid: Num
    rule: str = ""
    cost: str = ""


class AlarmLine(Shape, frozen=True, kw_only=True):
    name: str
    value: Num
    says: str


class VentilatorStart(Shape, frozen=True, kw_only=True):
    """What to set first in one mode, for lean weight; `set_pressure` only where the pressure is what is set."""

    mode: Literal["volume", "pressure"]
    tidal: Num | None = None
    rate: Num | None = None
    inspiration: Num | None = None
    ratio: str = ""
    peep: Num | None = None
    peak: Num | None = None
    set_pressure: Num | None = None
    minute_volume: Num | None = None
    cautions: tuple[str, ...] = ()
    refusal: Refused | None = None


class Change(Shape, frozen=True, kw_only=True):
    """One change of the ventilator and the arterial CO2 it would lead to, once settled: predicted."""

    change: str
    paco2: Num


class VentilatorCard(Shape, frozen=True, kw_only=True):
    """First settings beside what is set. `basis` says which weight; `judged` what lies outside the usual; the alarms are for
    what is set, else for the first settings in volume mode."""

    lean: Num
    basis: str
    starts: tuple[VentilatorStart, ...]
    alarms: tuple[AlarmLine, ...] = ()
    now: str = ""
    now_at: datetime | None = None
    judged: tuple[str, ...] = ()
    compliance: Num | None = None
    co2: str = ""
    changes: tuple[Change, ...] = ()


class BreathingPlan(Shape, frozen=True, kw_only=True):
    circuit: str = ""
    why: str = ""
    systems: tuple[SystemReason, ...] = ()
    bands: tuple[FlowBand, ...] = ()
    apart: str = ""
    least_flow: Num | None = None
    wash_in: tuple[WashIn, ...] = ()
    agent: tuple[AgentLine, ...] = ()
    agent_note: str = ""
    waste: tuple[str, ...] = ()
    supply: str = ""
    drive_gas: Num | None = None
    oxygen_reserve: float | None = None
    ventilator: VentilatorCard | None = None
    bag: Num | None = None
    fresh_gas: tuple[tuple[str, Num], ...] = ()
    oxygen_minutes: Num | None = None
    oxygen_litres: Num | None = None
    oxygen_gauge: float | None = None
    case_minutes: int | None = None
    oxygen_enough: bool | None = None
    refusal: Refused | None = None
    cautions: tuple[str, ...] = ()


class LimitRow(Shape, frozen=True, kw_only=True):
    """One monitoring limit: below or above, what is done, and whose word it is."""

    reading: str
    text: str
    low: float | None = None
    high: float | None = None
    unit: str = ""
    action: str = ""
    whose: str = ""
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class Budget(Shape, frozen=True, kw_only=True):
    """A shared ceiling: planned and given parts in per cent of it. Nothing is over 100 without a veterinarian's word."""

    id: str
    title: str
    warn_percent: float
    planned: tuple[Part, ...] = ()
    given: tuple[Part, ...] = ()
    percent: float = 0
    text: str = ""
    working: WorkingShape | None = None
    state: Literal["room", "warn", "ask", "stop"] = "room"
    running: tuple[Part, ...] = ()
    left: tuple[BudgetLeft, ...] = ()
    exempt: tuple[str, ...] = ()
    expired: tuple[str, ...] = ()
    memory: bool = False


class BudgetLeft(Shape, frozen=True, kw_only=True):
    """What may still be given of one drug under a shared ceiling, from the strength in hand. `volume` None: no strength."""

    drug: str
    name: str
    strength: str = ""
    amount: Num
    volume: Num | None = None


class FluidPlan(Shape, frozen=True, kw_only=True):
    rate: Num | None = None
    bolus: Num | None = None
    bolus_limit: Num | None = None
    blood_volume: Num | None = None
    allowable_loss: Num | None = None
    notes: tuple[str, ...] = ()


class PlanSheet(Shape, frozen=True, kw_only=True):
    lines: tuple[DrugLine, ...]
    airway: AirwayPlan | None = None
    breathing: BreathingPlan | None = None
    fluids: FluidPlan | None = None
    limits: tuple[LimitRow, ...] = ()
    budgets: tuple[Budget, ...] = ()
    cautions: tuple[RiskFlag, ...] = ()
    sent_to: str = ""
    signed_by: str = ""
    signed_how: str = ""
    signed_at: datetime | None = None
    open_lines: int = 0
    weight_basis: str = ""
    lean: Num | None = None
    protocol: str = ""
    bags: tuple[BagRecipe, ...] = ()


# ---- prepare


class ListLine(Shape, frozen=True, kw_only=True):
    id: str
    says: str
    detail: str = ""
    state: Literal["done", "fault", "skipped", "now", "ahead"]
    at: datetime | None = None
    by: str = ""
    note: str = ""


class CheckList(Shape, frozen=True, kw_only=True):
    list: Literal["machine", "patient", "sign-in", "time-out", "recovery"]
    title: str
    lines: tuple[ListLine, ...]
    done: int
    of: int


class DrawnSyringe(Shape, frozen=True, kw_only=True):
    """A syringe that exists: what is in it, what is left, who drew it."""

    syringe: str
    event_id: str
    order: str
    drug: str
    name: str
    syringe_class: SyringeClass
    reversal: bool = False
    controlled: str = ""
    concentration: str
    barrel: str
    mark_ml: float
    holds_ml: float
    drawn: Num
    left: Num
    left_ml: float
    drawn_by: str
    seen_by: str = ""
    at: datetime
    lot: str = ""
    expires: str = ""
    route: str = ""
    purpose: str = ""
    planned_ml: float | None = None
    estimated: bool = False
    void: str = ""
    speak: str = ""
    ladder: Ladder | None = None
    last_given: str = ""
    due: bool = False
    diluted: str = ""
    at_push: AtPush | None = None
    hub: str = ""
    scale: str = ""
    ran: Num | None = None


class ScannedPart(Shape, frozen=True, kw_only=True):
    """One drug of what was scanned, with what is said as it is about to go in."""

    drug: str
    name: str
    strength: str = ""
    order: str = ""
    at_push: AtPush | None = None


class Scanned(Shape, frozen=True, kw_only=True):
    """What a label's code stands for in the open case. `may_give` False: `why_not` says what is wrong with it."""

    kind: Literal["syringe", "bag", "infusion"]
    id: str
    case: str
    patient: str
    event_id: str
    name: str
    state: Literal["stands", "void", "expired", "empty", "thrown away", "given back", "stopped", "struck"]
    says: str
    may_give: bool = True
    why_not: str = ""
    left: Num | None = None
    parts: tuple[ScannedPart, ...] = ()


class PrepareSheet(Shape, frozen=True, kw_only=True):
    lists: tuple[CheckList, ...]
    to_draw: tuple[DrugLine, ...]
    drawn: tuple[DrawnSyringe, ...]
    premedication: tuple[GivenLine, ...] = ()
    sedation: Num | None = None
    premedicated_at: datetime | None = None
    preoxygenation_from: datetime | None = None
    preoxygenation_ended: bool = False
    catheter: str = ""
    machine: str = ""
    oxygen_left: OxygenNow | None = None


class GivenLine(Shape, frozen=True, kw_only=True):
    event_id: str
    at: datetime
    drug: str
    name: str
    amount_text: str
    volume_text: str
    per_kg_text: str
    route: str
    by: str
    phase: str = ""
    struck: bool = False
    note: str = ""


# ---- levels: what a model of a population expects, never a reading


class EffectMark(Shape, frozen=True, kw_only=True):
    """Where, on this model's own scale, something was published to happen."""

    text: str
    low: float
    high: float
    level_text: str
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class Fall(Shape, frozen=True, kw_only=True):
    """If everything stopped now: when the level has fallen so far. `minutes_text` says so too when it is not within sight."""

    text: str
    minutes_text: str
    from_at: datetime | None = None
    to_at: datetime | None = None
    memory: bool = False


class NextPush(Shape, frozen=True, kw_only=True):
    """What the next planned increment would do if it were given now: the band from now on, in the level's own steps."""

    text: str
    low: tuple[float, ...]
    high: tuple[float, ...]


class Level(Shape, frozen=True, kw_only=True):
    """One drug in the body. `none` says why there is no estimate; the sums of what went in are shown all the same.

    `low`, `middle`, `high`: 10, 50 and 90 % of the model's animals at `begin_at` and every `step_s` after it. The page draws
    what has been solid and what is to come dashed, by its own clock; it works nothing out.
    """

    drug: str
    name: str
    sums: str = ""
    none: str = ""
    says: str = ""
    population: str = ""
    quality: str = ""
    site: str = ""
    unit: str = ""
    begin_at: datetime | None = None
    step_s: int = 0
    low: tuple[float, ...] = ()
    middle: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    top: float = 0.0
    as_of: datetime | None = None
    now_text: str = ""
    pushes: tuple[datetime, ...] = ()
    peak_text: str = ""
    peak_from: datetime | None = None
    peak_at: datetime | None = None
    peak_to: datetime | None = None
    next: NextPush | None = None
    marks: tuple[EffectMark, ...] = ()
    unplaced: tuple[str, ...] = ()
    plateau_text: str = ""
    half_text: str = ""
    falls: tuple[Fall, ...] = ()
    cautions: tuple[str, ...] = ()
    memory: bool = False
    working: WorkingShape | None = None


class Pace(Shape, frozen=True, kw_only=True):
    """How fast the agent went in, beside what was published on slow injection. Time never blocks a push.

    `next_at`: from when the next increment keeps to the published pace."""

    text: str = ""
    advice: str = ""
    faster: bool = False
    next_at: datetime | None = None
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class GasLine(Shape, frozen=True, kw_only=True):
    text: str
    minutes_text: str


class MacPart(Shape, frozen=True, kw_only=True):
    """What moved the MAC: temperature, or a drug on board, as published."""

    text: str
    change: str
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class MacPoint(Shape, frozen=True, kw_only=True):
    """A measured end-tidal figure over the MAC range of its moment."""

    at: datetime
    text: str
    low: float
    high: float
    mark: MarkName = "measured"


class MacNow(Shape, frozen=True, kw_only=True):
    """MAC of this species with its spread, corrected as published. A multiple is a number, never a name for a depth."""

    agent: str
    range_text: str
    multiple: Num | None = None
    parts: tuple[MacPart, ...] = ()
    not_counted: tuple[str, ...] = ()
    trend: tuple[MacPoint, ...] = ()
    says: str = ""
    memory: bool = False
    cited: tuple[Cited, ...] = ()


class Inhaled(Shape, frozen=True, kw_only=True):
    """Dial, inspired and end-tidal as a model expects them, beside what was measured. `none` says why there is no estimate."""

    agent: str
    name: str
    none: str = ""
    says: str = ""
    unit: str = "%"
    begin_at: datetime | None = None
    step_s: int = 0
    dial: tuple[float, ...] = ()
    inspired: tuple[float, ...] = ()
    low: tuple[float, ...] = ()
    middle: tuple[float, ...] = ()
    high: tuple[float, ...] = ()
    top: float = 0.0
    as_of: datetime | None = None
    now_text: str = ""
    measured: tuple[MacPoint, ...] = ()
    lines: tuple[GasLine, ...] = ()
    cautions: tuple[str, ...] = ()
    memory: bool = False
    working: WorkingShape | None = None


# ---- induce


class ToEffect(Shape, frozen=True, kw_only=True):
    """The induction agent: running sum and the keys. Volumes and sums were worked by the core."""

    syringe: str
    order: str
    drug: str
    name: str
    syringe_class: SyringeClass
    strength: str
    route: str
    total: Num
    total_amount: Num
    total_volume: Num
    left: Num
    bar: ZoneBar
    blocks: tuple[float, ...]
    push: Push | None = None
    half: Push | None = None
    ladder: Ladder | None = None
    last_at: datetime | None = None
    pushes: int = 0
    gap_s: int = 0
    level: Level | None = None
    pace: Pace | None = None
    state: Literal["ready", "order reached", "over hard stop", "empty"] = "ready"
    state_text: str = ""
    call: str = ""


class Push(Shape, frozen=True, kw_only=True):
    volume_ml: float
    volume_text: str
    amount: float
    unit: str
    amount_text: str
    per_kg_text: str
    then_text: str


class Attempt(Shape, frozen=True, kw_only=True):
    attempt: str
    number: int
    began_at: datetime
    ended_at: datetime | None = None
    outcome: str = ""
    tube: str
    operator: str = ""
    view: str = ""
    changed: str = ""
    aids: tuple[str, ...] = ()
    blade: str = ""
    seconds: int | None = None
    lowest_spo2: str = ""
    came_out: str = ""
    came_out_at: datetime | None = None


class SizeKey(Shape, frozen=True, kw_only=True):
    """A size that may be used in this species, on the shelf or usual: for the hand that takes another one."""

    id_text: str
    id_mm: float
    od_mm: float | None = None
    cuffed: bool
    stocked: bool


class LarynxWait(Shape, frozen=True, kw_only=True):
    """Local anaesthetic on the larynx: what was given, and from when the tube may be passed."""

    text: str
    given_at: datetime
    ready_at: datetime
    why: str
    cited: tuple[Cited, ...] = ()


class Proof(Shape, frozen=True, kw_only=True):
    sign: str
    label: str
    expected: str = ""
    seen_at: datetime | None = None
    by: str = ""
    detail: str = ""
    event_id: str = ""
    part: str = ""


class InduceSheet(Shape, frozen=True, kw_only=True):
    agents: tuple[ToEffect, ...]
    attempts: tuple[Attempt, ...]
    attempt_limit: int = 3
    limit_s: int = 30
    spo2_floor: int = 92
    next_steps: tuple[str, ...] = ()
    tubes: tuple[TubeShape, ...] = ()
    placed: Proof | None = None
    placed_text: str = ""
    breaths: int = 0
    breaths_needed: int = 6
    proofs: tuple[Proof, ...] = ()
    lacking: tuple[str, ...] = ()
    proven_at: datetime | None = None
    proven_by: str = ""
    cuff: Num | None = None
    cuff_band: str = ""
    cuff_volume: Num | None = None
    leak: Num | None = None
    leak_band: str = ""
    cuff_recheck: datetime | None = None
    larynx: LarynxWait | None = None
    tube_in_place: bool = False
    secure_lacking: tuple[str, ...] = ()
    plan_b: str = ""
    sizes: tuple[SizeKey, ...] = ()
    extubated_at: datetime | None = None


# ---- maintain


class Vital(Shape, frozen=True, kw_only=True):
    """One cell of the ribbon. `value` None: nothing known. The page ages it by `at`."""

    reading: str
    title: str
    unit: str
    limit: str = ""
    value: Num | None = None
    extra: str = ""
    foot: str = ""
    priority: Priority | None = None
    stale_after_s: int = 600


class ChartPoint(Shape, frozen=True, kw_only=True):
    event_id: str
    at: datetime
    value: float
    text: str
    mark: MarkName
    by: str = ""
    struck: bool = False
    artefact: bool = False
    late: bool = False
    recorded_at: datetime


class ChartPressure(Shape, frozen=True, kw_only=True):
    event_id: str
    at: datetime
    sap: float | None = None
    map: float | None = None
    dap: float | None = None
    method: str
    text: str
    mark: MarkName
    by: str = ""
    struck: bool = False
    artefact: bool = False
    late: bool = False
    recorded_at: datetime


class ChartRow(Shape, frozen=True, kw_only=True):
    """A row of figures under the plot."""

    reading: str
    title: str
    unit: str
    points: tuple[ChartPoint, ...]


class ChartBand(Shape, frozen=True, kw_only=True):
    """Something that ran: a vaporiser dial, a fluid, an infusion, oxygen."""

    id: str
    title: str
    kind: Literal["vaporiser", "fluid", "infusion", "gas", "warming"]
    parts: tuple[BandPart, ...]
    total_text: str = ""
    running: bool = False


class BandPart(Shape, frozen=True, kw_only=True):
    event_id: str
    from_at: datetime
    to_at: datetime | None = None
    text: str


class ChartMark(Shape, frozen=True, kw_only=True):
    """A numbered event under the plot, or a drug given."""

    event_id: str
    at: datetime
    text: str
    detail: str = ""
    number: int | None = None
    struck: bool = False


class ChartGap(Shape, frozen=True, kw_only=True):
    from_at: datetime
    to_at: datetime
    text: str


class Chart(Shape, frozen=True, kw_only=True):
    """The anaesthetic chart as data: drawn by the tablet and by the printed record alike."""

    from_at: datetime
    to_at: datetime
    every_min: int = 5
    low: float = 40
    high: float = 160
    rate: tuple[ChartPoint, ...] = ()
    pressures: tuple[ChartPressure, ...] = ()
    rows: tuple[ChartRow, ...] = ()
    bands: tuple[ChartBand, ...] = ()
    given: tuple[ChartMark, ...] = ()
    events: tuple[ChartMark, ...] = ()
    gaps: tuple[ChartGap, ...] = ()
    limits: tuple[LimitRow, ...] = ()


class PadLine(Shape, frozen=True, kw_only=True):
    """A line of the five-minute row: choices to touch, or a number to type. Never prefilled."""

    id: str
    title: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    last: str = ""
    low: float | None = None
    high: float | None = None
    ask_low: float | None = None
    ask_high: float | None = None
    places: int = 0


class OxygenNow(Shape, frozen=True, kw_only=True):
    """The oxygen supply as last read, and what charted flows have left of it since: predicted, never a reading.

    `part` and `read_part` are shares of a full cylinder, now and as read; `reserve` the share at which it is changed. A
    pipeline or a concentrator has no minutes. `question` asks about a reading that does not fit the one before. `enough` is None
    while something flows that is not counted. `counted`: this is the supply in use, not one that stands by.
    """

    source: Literal["cylinder", "pipeline", "concentrator"]
    name: str = ""
    read_at: datetime
    by: str = ""
    gauge: str = ""
    litres: Num | None = None
    minutes: Num | None = None
    part: float | None = None
    read_part: float | None = None
    reserve: float | None = None
    flow: str = ""
    reserve_at: datetime | None = None
    empty_at: datetime | None = None
    planned_left: int | None = None
    enough: bool | None = None
    short: bool = False
    question: str = ""
    notes: tuple[str, ...] = ()
    refusal: Refused | None = None
    counted: bool = True


class MaintainSheet(Shape, frozen=True, kw_only=True):
    """`expected`: levels and inhaled were worked out; they are for the page that asks for them."""

    ribbon: tuple[Vital, ...]
    chart: Chart
    row_at: datetime | None = None
    row_lines: tuple[PadLine, ...] = ()
    row_filled: tuple[tuple[str, str, str], ...] = ()
    running: tuple[Running, ...] = ()
    vaporiser: Num | None = None
    vaporiser_agent: str = ""
    oxygen: Num | None = None
    other_gas: str = ""
    other_l_min: Num | None = None
    oxygen_left: OxygenNow | None = None
    ventilator: VentilatorCard | None = None
    expected: bool = False
    levels: tuple[Level, ...] = ()
    inhaled: Inhaled | None = None
    mac: MacNow | None = None
    budgets: tuple[Budget, ...] = ()
    fluids_in: Num | None = None
    losses: Num | None = None
    troubles: tuple[Trouble, ...] = ()


class Running(Shape, frozen=True, kw_only=True):
    infusion: str
    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    fluid: bool
    rate: Num
    dose_rate: Num | None = None
    since: datetime
    total: Num | None = None
    ends_at: datetime | None = None
    over_order: str = ""
    card: InfusionCard | None = None
    bag: str = ""
    parts: tuple[InfusionCard, ...] = ()


class Trouble(Shape, frozen=True, kw_only=True):
    trouble: str
    kind: str
    seen: str = ""
    from_at: datetime
    to_at: datetime | None = None
    treatment: tuple[str, ...] = ()
    response: str = ""


# ---- emergency


class EmergencyDrug(Shape, frozen=True, kw_only=True):
    """`undoes`: what this patient was given that it reverses, as recorded."""

    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    what_for: str
    when: str
    strength: str
    route: str
    dose_text: str
    volume: Num | None = None
    volume_ml: float | None = None
    amount: float | None = None
    unit: str = ""
    amount_text: str = ""
    note: str = ""
    memory: bool = False
    once: bool = False
    every_min: tuple[int, int] | None = None
    given: tuple[datetime, ...] = ()
    refusal: Refused | None = None
    group: Literal["arrest", "reversal", "other", "shock"] = "arrest"
    undoes: str = ""


class EmergencySheet(Shape, frozen=True, kw_only=True):
    """The emergency sheet of one weight. `sheet_id` goes on the print; another weight makes it void.

    `pumps` are start rates in mL/h: read and set on a pump, never a key that writes a dose.
    """

    sheet_id: str
    species: str
    weight: Num
    weight_kg: float
    estimated: bool = False
    drugs: tuple[EmergencyDrug, ...]
    shocks: tuple[EmergencyDrug, ...] = ()
    pumps: tuple[EmergencyDrug, ...] = ()
    breath: Num
    rate_text: str
    cycle_s: int = 120
    beat_per_min: int = 110
    breath_every_s: int = 6
    etco2_aim: str = ""
    steps: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    void_prints: tuple[str, ...] = ()
    cited: tuple[Cited, ...] = ()
    arrest_began: datetime | None = None
    arrest_ended: datetime | None = None
    arrest_outcome: str = ""
    leader: str = ""
    log: tuple[LogLine, ...] = ()


# ---- recover


class Criterion(Shape, frozen=True, kw_only=True):
    id: str
    title: str
    met: bool | None = None
    detail: str = ""
    hard: bool = False


class RecoverSheet(Shape, frozen=True, kw_only=True):
    extubation: tuple[Criterion, ...]
    extubated_at: datetime | None = None
    watcher: str = ""
    place: str = ""
    every_min: int | None = None
    last_look: datetime | None = None
    next_look: datetime | None = None
    overdue: bool = False
    looks: tuple[Look, ...] = ()
    milestones: tuple[tuple[str, datetime | None], ...] = ()
    reversals: tuple[DrugLine, ...] = ()
    analgesia: str = ""
    next_analgesia: datetime | None = None
    handover: tuple[tuple[str, str], ...] = ()
    handed_to: str = ""
    handed_at: datetime | None = None
    discharge: str = ""
    outcome: str = ""
    outcome_due: datetime | None = None
    packs_in: int = 0
    packs_out: int = 0


class Look(Shape, frozen=True, kw_only=True):
    event_id: str
    at: datetime
    by: str
    text: str
    not_right: bool = False
    struck: bool = False


# ---- record


class LogLine(Shape, frozen=True, kw_only=True):
    """One entry in words."""

    event_id: str
    seq: int
    kind: str
    at: datetime
    recorded_at: datetime
    late_min: int = 0
    by: str
    mark: MarkName = "typed"
    text: str
    struck: bool = False
    struck_at: datetime | None = None
    struck_by: str = ""
    struck_reason: str = ""
    artefact: bool = False
    strikeable: bool = True


class RecordGap(Shape, frozen=True, kw_only=True):
    element: str
    title: str
    explained: str = ""
    phase: PhaseName


class DrugBalance(Shape, frozen=True, kw_only=True):
    """Drawn = given + wasted + returned, per syringe of a controlled drug, to 0.01 mL."""

    syringe: str
    name: str
    concentration: str
    drawn: str
    given: str
    wasted: str
    returned: str
    left: str
    left_ml: float
    closed: bool


class Signature(Shape, frozen=True, kw_only=True):
    role: str
    by: str
    at: datetime


class OrderDifference(Shape, frozen=True, kw_only=True):
    """What was ordered and what was given, where they differ; `why` as entered, by whose word."""

    order: str
    name: str
    ordered: str
    given: str
    difference: str
    why: str = ""


class RecordSheet(Shape, frozen=True, kw_only=True):
    gaps: tuple[RecordGap, ...]
    log: tuple[LogLine, ...]
    balances: tuple[DrugBalance, ...]
    signatures: tuple[Signature, ...]
    drug_totals: tuple[tuple[str, str, str], ...] = ()
    amendments: tuple[LogLine, ...] = ()
    given: tuple[GivenLine, ...] = ()
    differences: tuple[OrderDifference, ...] = ()
    protocol: str = ""
    can_sign: bool = True
    pages_hint: int = 2


class CaseView(Shape, frozen=True, kw_only=True):
    """Everything the tablet shows of one case, as of log place `seq`."""

    case: str
    seq: int
    as_of: datetime
    collar: Collar
    phases: tuple[PhaseState, ...]
    advice: tuple[Advice, ...]
    due: tuple[Due, ...]
    assess: AssessSheet
    plan: PlanSheet
    prepare: PrepareSheet
    induce: InduceSheet
    maintain: MaintainSheet
    recover: RecoverSheet
    emergency: EmergencySheet | None
    record: RecordSheet
    versions: tuple[str, ...] = ()


# ---- the day sheet and the hospital


class BoardLine(Shape, frozen=True, kw_only=True):
    case: str
    room: str
    name: str
    about: str
    procedure: str
    state: str
    asks: str = ""
    asks_priority: Priority | None = None
    hand: str = ""
    planned_at: datetime | None = None
    lane: tuple[LanePart, ...] = ()
    last: tuple[Num, ...] = ()
    estimated: bool = False
    draft: bool = False
    weight_text: str = ""
    asa: str = ""
    ended: bool = False


class LanePart(Shape, frozen=True, kw_only=True):
    kind: Literal["sedated", "asleep", "waking", "expected"]
    from_at: datetime
    to_at: datetime | None = None


class Board(Shape, frozen=True, kw_only=True):
    as_of: datetime
    now: tuple[BoardLine, ...]
    to_come: tuple[BoardLine, ...]
    ended: tuple[BoardLine, ...] = ()


class ProtocolShape(Shape, frozen=True, kw_only=True):
    """A named protocol of the hospital in one version: for the list of them, and for approval by a second person."""

    protocol: str
    version: int
    title: str
    species: str
    lines: tuple[ProtocolShapeLine, ...]
    limits: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    note: str = ""
    written_by: str
    written_at: datetime
    approved_by: str = ""
    approved_at: datetime | None = None
    state: Literal["waiting", "in use", "replaced", "retired"]
    changes: tuple[str, ...] = ()
    event_id: str = ""


class ProtocolShapeLine(Shape, frozen=True, kw_only=True):
    drug: str
    name: str
    syringe_class: SyringeClass = "other"
    text: str
    when: str = ""
    note: str = ""
    optional: bool = False
    memory: bool = False
    refusal: Refused | None = None


class ProtocolsSheet(Shape, frozen=True, kw_only=True):
    """All protocols of the hospital. `ledger` is the case id their entries go to."""

    ledger: str
    seq: int
    protocols: tuple[ProtocolShape, ...]


class ProtocolOffer(Shape, frozen=True, kw_only=True):
    """A protocol that may start this case's plan: each line worked for this animal. `why_not` says why it is not offered.
    `start` are the fields of the entry ProtocolStarted; a line's `order` those of its DrugOrdered, whose veterinarian, way of
    ordering and reader the page adds; `limits` those of each LimitOrdered."""

    protocol: str
    version: int
    title: str
    note: str = ""
    written_by: str = ""
    approved_by: str = ""
    why_not: str = ""
    lines: tuple[ProtocolOfferLine, ...] = ()
    limit_texts: tuple[str, ...] = ()
    start: dict[str, str | float | bool | None] = {}
    limits: tuple[dict[str, str | float | bool | None], ...] = ()


class ProtocolOfferLine(Shape, frozen=True, kw_only=True):
    line: DrugLine
    optional: bool = False
    note: str = ""
    order: dict[str, str | float | bool | None] = {}


class ProtocolOffers(Shape, frozen=True, kw_only=True):
    case: str
    offers: tuple[ProtocolOffer, ...]


class ProtocolDraft(Shape, frozen=True, kw_only=True):
    """The fields of a ProtocolWritten as they would stand if a case's orders were kept as a protocol: the page adds a title."""

    protocol: str = ""
    version: int = 1
    title: str = ""
    species: str
    lines: tuple[ProtocolDraftLine, ...] = ()
    limits: tuple[ProtocolDraftLimit, ...] = ()
    conditions: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    note: str = ""


class ProtocolDraftLine(Shape, frozen=True, kw_only=True):
    drug: str
    purpose: str
    route: str
    low: float
    high: float
    unit: str
    row: str = ""
    when: str = ""
    note: str = ""
    optional: bool = False


class ProtocolDraftLimit(Shape, frozen=True, kw_only=True):
    reading: str
    below: float | None = None
    above: float | None = None
    action: str = ""


class PickRow(Shape, frozen=True, kw_only=True):
    """A way to give a drug that may be ordered: purpose, route, what is usual, where it stops."""

    row: str
    drug: str
    name: str
    syringe_class: SyringeClass
    purpose: str
    route: str
    usual_text: str
    low: float
    high: float
    hard: float | None
    unit: str
    default: bool
    memory: bool
    infusion: bool
    conditions: tuple[str, ...] = ()
    note: str = ""
    strengths: tuple[str, ...] = ()
    cited: tuple[Cited, ...] = ()
    controlled: str = ""
    also: tuple[str, ...] = ()
    give: str = ""
    onset: str = ""
    lasts: str = ""
    repeat: str = ""
    ask: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    pick_why: str = ""
    forms: tuple[str, ...] = ()


class CylinderAtHand(Shape, frozen=True, kw_only=True):
    """A cylinder of the hospital's list, as it was printed on it: read again before it is written."""

    name: str
    contents_l: str
    full: str


class Hospital(Shape, frozen=True, kw_only=True):
    """What the tablet must know of the hospital before any case."""

    name: str
    practice: bool
    staff: tuple[Hand, ...]
    rooms: tuple[str, ...]
    machines: tuple[str, ...]
    circuits: tuple[str, ...]
    scales: tuple[str, ...]
    monitors: tuple[str, ...]
    conditions: tuple[tuple[str, str], ...]
    agents: tuple[str, ...]
    fluids: tuple[str, ...]
    pain_scales: tuple[tuple[str, float], ...]
    trouble_kinds: tuple[str, ...]
    emergency_weights: dict[str, tuple[float, ...]]
    cautions: tuple[str, ...]
    version: str
    tables: str
    ledger: str = ""
    label_paper: str = "a4"
    bags: tuple[tuple[str, tuple[str, ...]], ...] = ()
    breathing_bags: tuple[tuple[str, str], ...] = ()
    cylinders: tuple[CylinderAtHand, ...] = ()


class Answer(Shape, frozen=True, kw_only=True):
    """What became of one event: written at `seq` (also for a repeat), or refused."""

    id: str
    written: bool
    seq: int | None = None
    refused: Refused | None = None


class Answers(Shape, frozen=True, kw_only=True):
    answers: tuple[Answer, ...]
    seq: int


# ---- earlier anaesthetics of the same animal


class Earlier(Shape, frozen=True, kw_only=True):
    """One earlier anaesthetic in this hospital's log. Fields are those that an entry of it would take over."""

    case: str
    at: datetime
    when: str
    tube_id: str = ""
    tube_outcome: str = ""
    full_grown: bool | None = None
    airway: str = ""
    trouble: str = ""


class EarlierHere(Shape, frozen=True, kw_only=True):
    """Of the animal with this chip; `chip` empty: none was read, so nothing can be looked up."""

    chip: str = ""
    found: tuple[Earlier, ...] = ()


# ---- machines


class MachineLine(Shape, frozen=True, kw_only=True):
    """One line of a machine's list of today. `fast`: answered sooner than it can be read; marked, never blocked."""

    id: str
    says: str
    detail: str = ""
    state: Literal["done", "fault", "skipped", "now", "ahead"]
    at: datetime | None = None
    by: str = ""
    note: str = ""
    fast: bool = False


class MachineLimit(Shape, frozen=True, kw_only=True):
    """One published limit of a leak, and whether a test keeps to it: None where it cannot be said."""

    most: float
    at: float
    text: str
    says: str
    keeps: bool | None
    memory: bool
    cited: tuple[Cited, ...] = ()


class MachineLeak(Shape, frozen=True, kw_only=True):
    """A leak test as it stands against the limits, side by side. `today`: it counts for today's check; `when` is in the hospital's
    own zone, with the day where it is another."""

    event_id: str
    at: datetime
    when: str
    by: str
    today: bool
    way: Literal["flow", "fall"]
    read: str
    leak: Num | None
    leak_ml_min: float | None
    at_cmh2o: float
    verdict: Literal["passes", "sources differ", "not known", "fault", ""]
    says: str
    limits: tuple[MachineLimit, ...]
    cautions: tuple[str, ...] = ()
    refusal: Refused | None = None


class MachineFault(Shape, frozen=True, kw_only=True):
    fault: str
    event_id: str
    what: str
    at: datetime
    by: str


class MachineMended(Shape, frozen=True, kw_only=True):
    """A fault that was mended on this day."""

    what: str
    how: str
    at: datetime
    by: str


class MachineDay(Shape, frozen=True, kw_only=True):
    """One machine today. `says` is its state in one line; `asks` what is asked of whoever takes it as it is."""

    machine: str
    complete: bool
    done: int
    of: int
    very_fast: int
    says: str
    asks: tuple[str, ...]
    lines: tuple[MachineLine, ...]
    leak: MachineLeak | None
    faults: tuple[MachineFault, ...]
    mended: tuple[MachineMended, ...]
    volume_l: float | None = None
    wall_ml_cmh2o: float | None = None


class MachinesSheet(Shape, frozen=True, kw_only=True):
    """Every machine of the hospital on the day that its own calendar shows. `ledger`: the case id that entries go to."""

    ledger: str
    seq: int
    day: str
    at_low: float
    at_high: float
    machines: tuple[MachineDay, ...]
