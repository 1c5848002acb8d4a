"""The language of the log: every fact a case can hold, in the past tense, with two clocks, a hand and a device.

An event is never edited and never deleted; a mistake is struck by an `EntryStruck` and stays visible. Numbers carry their
unit in the field's name, or stand beside a `unit` field where a drug decides it (mg, mcg, IU, mEq, mL). The class
docstring is the manual's entry, `covers` names the record elements it carries (the groups A to J of docs/record.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import ClassVar, Literal, Union

import msgspec

Species = Literal["dog", "cat"]
Phase = Literal["assess", "plan", "prepare", "induce", "maintain", "recover", "record"]


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="event", tag=True, forbid_unknown_fields=True):
    """`id` is made where the fact is entered (a UUID) and makes a repeat harmless. `happened_at` is when it was true,
    `recorded_at` when it was entered; both carry a time zone. `by` is the acting hand's id, `device` the tablet or door."""

    covers: ClassVar[tuple[str, ...]] = ()
    id: str
    case: str
    happened_at: datetime
    recorded_at: datetime
    by: str
    device: str = ""


# ---- identity, admission, assessment (A, B)


class CaseOpened(Event, frozen=True, kw_only=True):
    """A case was opened, planned or as an emergency. Species is required: there is no default."""

    covers = ("A1", "J1")
    species: Species
    kind: Literal["elective", "emergency"] = "elective"
    name: str = ""
    practice: bool = False
    room: str = ""
    number: str = ""
    planned_at: datetime | None = None


class PatientDescribed(Event, frozen=True, kw_only=True):
    """Signalment as told or read from the hospital's system. Empty fields leave what was said before."""

    covers = ("A2",)
    name: str = ""
    breed: str = ""
    sex: str = ""
    born: str = ""
    age: str = ""
    chip: str = ""
    description: str = ""


class OwnerNamed(Event, frozen=True, kw_only=True):
    """The owner or keeper, with a telephone reachable all day."""

    covers = ("A3",)
    name: str
    phone: str = ""
    address: str = ""


class Weighed(Event, frozen=True, kw_only=True):
    """Body weight. `estimated` is inherited by every figure made from it. `confirmed`: a surprising value said twice."""

    covers = ("A4",)
    weight_kg: Decimal
    method: Literal["scale", "estimated", "owner", "earlier visit"]
    scale: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class BodyConditionScored(Event, frozen=True, kw_only=True):
    """Body condition of nine, by hand."""

    covers = ("A5",)
    score: int


class DosingWeightSet(Event, frozen=True, kw_only=True):
    """The weight a veterinarian wants doses worked on, where it is not the scale's."""

    covers = ("A5",)
    weight_kg: Decimal
    reason: str


class ConsentRecorded(Event, frozen=True, kw_only=True):
    """What the owner agreed to, and the wish about resuscitation."""

    covers = ("A6",)
    procedure: str
    consent: Literal["written", "oral", "not obtained"]
    resuscitation: Literal["full", "closed chest", "open chest", "none", "not asked"] = "not asked"


class FastingNoted(Event, frozen=True, kw_only=True):
    """When food and water were last taken, as told."""

    covers = ("A7",)
    food_at: datetime | None = None
    water_at: datetime | None = None
    note: str = ""


class HistoryTaken(Event, frozen=True, kw_only=True):
    """Presenting problem, history and named conditions (ids of the conditions list)."""

    covers = ("A8",)
    problem: str = ""
    history: str = ""
    conditions: tuple[str, ...] = ()


class MedicineNoted(Event, frozen=True, kw_only=True):
    """A medicine the animal was on: last time, and what was decided about it."""

    covers = ("A8",)
    medicine: str
    dose: str = ""
    last_at: datetime | None = None
    decision: Literal["stop", "given", "watch", "not decided"] = "not decided"


class AllergiesAsked(Event, frozen=True, kw_only=True):
    """Allergies were asked after: an empty list means none known, not unasked."""

    covers = ("A8",)
    allergies: tuple[str, ...] = ()
    reaction: str = ""


class PreviousAnaesthesiaNoted(Event, frozen=True, kw_only=True):
    """What an earlier anaesthetic taught: tube and how it served, airway, trouble. `full_grown`: whether it was then."""

    covers = ("A8",)
    when: str = ""
    tube_id_mm: Decimal | None = None
    tube_outcome: Literal["", "served", "leaked", "tight"] = ""
    full_grown: bool | None = None
    airway: str = ""
    trouble: str = ""


class TemperamentNoted(Event, frozen=True, kw_only=True):
    """Handling, and any sedation given at home."""

    covers = ("A9",)
    temperament: str
    home_sedation: str = ""


class Examined(Event, frozen=True, kw_only=True):
    """Examination before anaesthesia. A finding left empty was not looked at."""

    covers = ("B1", "B2")
    temperature_c: Decimal | None = None
    heart_rate: int | None = None
    respiratory_rate: int | None = None
    membranes: str = ""
    refill_s: Decimal | None = None
    heart: str = ""
    lungs: str = ""
    airway: str = ""
    note: str = ""


class ResultNoted(Event, frozen=True, kw_only=True):
    """A laboratory or imaging result that was used."""

    covers = ("B3",)
    test: str
    value: str
    unit: str = ""
    taken_at: datetime | None = None


class AsaAssigned(Event, frozen=True, kw_only=True):
    """Physical status, by the veterinarian."""

    covers = ("B4",)
    asa: Literal["I", "II", "III", "IV", "V"]
    emergency: bool = False
    assigned_by: str = ""


class PainScored(Event, frozen=True, kw_only=True):
    """A pain score: the scale's name and the number, no item wording."""

    covers = ("B5", "H3")
    scale: str
    score: Decimal
    out_of: Decimal
    phase: Phase = "assess"


class SedationScored(Event, frozen=True, kw_only=True):
    """A sedation score, or the effect of premedication."""

    covers = ("D4", "H3")
    scale: str
    score: Decimal
    out_of: Decimal
    phase: Phase = "prepare"


class RiskNoted(Event, frozen=True, kw_only=True):
    """A risk seen and what it changes."""

    covers = ("B6",)
    risk: str
    plan: str = ""


class LimitOrdered(Event, frozen=True, kw_only=True):
    """A reading the veterinarian wants acted on, and the act."""

    covers = ("B6",)
    reading: str
    below: Decimal | None = None
    above: Decimal | None = None
    action: str = ""
    order: str = ""
    ordered_by: str = ""


class ProcedurePlanned(Event, frozen=True, kw_only=True):
    """What will be done, about how long it takes, where."""

    covers = ("A6", "J3")
    procedure: str
    minutes: int | None = None
    side: str = ""
    room: str = ""


class PersonJoined(Event, frozen=True, kw_only=True):
    """Someone took a part in the case."""

    covers = ("B8",)
    person: str
    part: Literal["anaesthetist", "supervising veterinarian", "surgeon", "relief", "assistant", "student"]


class PersonLeft(Event, frozen=True, kw_only=True):
    """Someone left the case."""

    covers = ("B8",)
    person: str


# ---- orders (B7)


class DrugOrdered(Event, frozen=True, kw_only=True):
    """An order for one drug: dose or range, route, purpose; written, or oral with who said it and who read it back.

    `low` and `high` are equal for a single dose. `unit` is the ordered unit (mg/kg, mcg/kg/min ...). `over_hard_by` and
    `reason` carry a veterinarian's word where the order lies over a hard stop. `concentration` is text like "10 mg/mL".
    `protocol` is the version of a named protocol it came from, like "cat-dental 3".
    """

    covers = ("B7",)
    order: str
    drug: str
    purpose: str
    route: str
    low: Decimal
    high: Decimal
    unit: str
    row: str = ""
    concentration: str = ""
    when: str = ""
    given_as: Literal["written", "oral"] = "written"
    ordered_by: str = ""
    read_back_by: str = ""
    over_hard_by: str = ""
    reason: str = ""
    protocol: str = ""


class OrderWithdrawn(Event, frozen=True, kw_only=True):
    """An order no longer holds."""

    covers = ("B7",)
    order: str
    reason: str = ""


class ProtocolLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One drug of a named protocol, as an order would say it. `optional`: left out unless it is picked."""

    drug: str
    purpose: str
    route: str
    low: Decimal
    high: Decimal
    unit: str
    row: str = ""
    when: str = ""
    note: str = ""
    optional: bool = False


class ProtocolLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A reading a protocol wants acted on."""

    reading: str
    below: Decimal | None = None
    above: Decimal | None = None
    action: str = ""


class ProtocolWritten(Event, frozen=True, kw_only=True):
    """A version of one of the hospital's named protocols was written. It may be used once somebody else, a veterinarian, has
    approved it. Case is the hospital's own ledger, not a patient. `unless`: conditions with which it is not offered."""

    covers = ("B7",)
    protocol: str
    version: int
    title: str
    species: Species
    lines: tuple[ProtocolLine, ...]
    limits: tuple[ProtocolLimit, ...] = ()
    conditions: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    note: str = ""


class ProtocolApproved(Event, frozen=True, kw_only=True):
    """A veterinarian who did not write it approved a version. Case is the hospital's own ledger."""

    covers = ("B7",)
    protocol: str
    version: int
    note: str = ""


class ProtocolRetired(Event, frozen=True, kw_only=True):
    """A protocol is not offered any more, in any version. Case is the hospital's own ledger."""

    covers = ("B7",)
    protocol: str
    reason: str


class ProtocolStarted(Event, frozen=True, kw_only=True):
    """A plan started from a version of a protocol; its orders follow as orders of their own, each to be changed or withdrawn.
    `left_out`: drugs of it that were not ordered. `said_by` and `reason` carry a veterinarian's word where the protocol is not
    meant for an animal with these conditions."""

    covers = ("B7",)
    protocol: str
    version: int
    title: str
    left_out: tuple[str, ...] = ()
    said_by: str = ""
    reason: str = ""


class AirwayMeasured(Event, frozen=True, kw_only=True):
    """Lengths and diameters measured on the animal or its pictures, for tube choice."""

    covers = ("E1",)
    incisors_to_inlet_cm: Decimal | None = None
    tracheal_diameter_mm: Decimal | None = None
    tube_id_mm: Decimal | None = None
    incisors_to_larynx_cm: Decimal | None = None
    ultrasound_diameter_mm: Decimal | None = None
    palpated_diameter_mm: Decimal | None = None
    septum_width_mm: Decimal | None = None
    occiput_to_tail_cm: Decimal | None = None
    trachea_to_inlet: Decimal | None = None


class PlanSent(Event, frozen=True, kw_only=True):
    """The plan went to a veterinarian to be signed."""

    covers = ("B7",)
    to: str


class PlanApproved(Event, frozen=True, kw_only=True):
    """A veterinarian signed the plan, or said so and was read back. Weight and ASA it was signed for stand beside it, and the
    vial strength of each order in the order of `orders`, empty where the line had none."""

    covers = ("B6", "B7")
    signed_by: str
    how: Literal["signed", "oral"] = "signed"
    read_back_by: str = ""
    weight_kg: Decimal
    asa: str = ""
    orders: tuple[str, ...] = ()
    strengths: tuple[str, ...] = ()


# ---- machine, room, lists (C, G5)


class CheckLineDone(Event, frozen=True, kw_only=True):
    """One line of a list was done aloud, found faulty, or skipped with a reason. Lists: machine, patient, sign-in,
    time-out, recovery. The last line of machine and patient is always the relief valve OPEN."""

    covers = ("C1", "C2", "C3", "C4", "C5", "G5")
    list: Literal["machine", "patient", "sign-in", "time-out", "recovery"]
    line: str
    outcome: Literal["done", "fault", "skipped"] = "done"
    detail: str = ""
    spoken_by: str = ""
    seconds_shown: Decimal | None = None


class MachineAssigned(Event, frozen=True, kw_only=True):
    """Which machine and breathing system serve this patient."""

    covers = ("C1", "C3")
    machine: str
    circuit: str = ""
    bag_ml: int | None = None
    reason: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class OxygenRead(Event, frozen=True, kw_only=True):
    """The oxygen source as read: cylinder contents and full pressure as printed, gauge now; or pipeline, or concentrator.

    `drive_l_min` is what a ventilator takes from the same source; `max_l_min` and `percent` are a concentrator's, as printed.
    `use`: whether it is the supply in use or stands by; not said, it is the one in use.
    """

    covers = ("C2",)
    source: Literal["cylinder", "pipeline", "concentrator"]
    contents_l: Decimal | None = None
    full_pressure: str = ""
    gauge: str = ""
    cylinder: str = ""
    drive_l_min: Decimal | None = None
    max_l_min: Decimal | None = None
    percent: Decimal | None = None
    use: Literal["", "in use", "standing by"] = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class MachineLineDone(Event, frozen=True, kw_only=True):
    """One line of a machine's own list, in the hospital's book: it belongs to the machine and the day, not to a patient.

    `seconds_shown`: how long the line stood on the screen before it was answered.
    """

    covers = ("C1",)
    machine: str
    line: str
    outcome: Literal["done", "fault", "skipped"] = "done"
    detail: str = ""
    seconds_shown: Decimal | None = None


class MachineLeakTested(Event, frozen=True, kw_only=True):
    """A leak test: the flow that holds the pressure, or how far the pressure fell in how many seconds.

    A fall is a leak only with the system's gas volume, and the give of its walls where a bag was on.
    """

    covers = ("C1",)
    machine: str
    circuit: str = ""
    at_cmh2o: Decimal
    flow_ml_min: Decimal | None = None
    to_cmh2o: Decimal | None = None
    seconds: Decimal | None = None
    volume_l: Decimal | None = None
    bag_on: bool | None = None
    wall_ml_cmh2o: Decimal | None = None


class MachineFaultFound(Event, frozen=True, kw_only=True):
    """Something is wrong with a machine. It stays with the machine until somebody mends it."""

    covers = ("C1",)
    fault: str
    machine: str
    what: str


class MachineFaultMended(Event, frozen=True, kw_only=True):
    """A fault was mended: how."""

    covers = ("C1",)
    fault: str
    how: str


class MonitorsApplied(Event, frozen=True, kw_only=True):
    """Monitors attached and working."""

    covers = ("C4",)
    monitors: tuple[str, ...]


# ---- drugs, fluids, lines (D, I)


class CatheterPlaced(Event, frozen=True, kw_only=True):
    """A vein or artery was cannulated, or the line found patent."""

    covers = ("D8",)
    site: str
    size: str
    line: Literal["vein", "artery", "bone"] = "vein"
    patent: bool = True
    attempts: int = 1


class VialPicked(Event, frozen=True, kw_only=True):
    """The vial in the hand for one order: its strength as printed, lot and expiry. The plan's volumes follow it.

    `form` tells apart vials of one strength, like propofol "with benzyl alcohol". `opened` is the date written on a vial
    that was opened before.
    """

    covers = ("D3",)
    order: str
    drug: str
    concentration: str
    lot: str = ""
    expires: str = ""
    form: str = ""
    opened: str = ""


class SyringeDrawn(Event, frozen=True, kw_only=True):
    """A syringe was filled: vial in hand (strength, lot, expiry), volume, dilution, who drew and who saw it.

    `concentration` is what is in the syringe after any dilution. Volumes are whole marks of `syringe`. `confirmed`: a
    strength or diluent off the list, meant as entered. `said_by` and `reason` carry a veterinarian's word.
    """

    covers = ("D3", "C5")
    syringe: str
    order: str = ""
    drug: str
    vial_concentration: str
    concentration: str
    volume_ml: Decimal
    drug_volume_ml: Decimal
    diluent: str = ""
    diluent_volume_ml: Decimal = Decimal(0)
    barrel: str = ""
    lot: str = ""
    expires: str = ""
    seen_by: str = ""
    form: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()
    said_by: str = ""
    reason: str = ""
    opened: str = ""


class BagPart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One drug in a bag: what went in of which vial, and the order it runs under."""

    drug: str
    vial_concentration: str
    drug_volume_ml: Decimal
    order: str = ""
    lot: str = ""
    expires: str = ""


class BagMixed(Event, frozen=True, kw_only=True):
    """Drugs were added to a bag or a large syringe of fluid: what it held, what was taken out of it first, what went in.

    Each drug's strength in the bag is worked out from these; `volume_ml` is what the bag then holds. `confirmed`: a fluid the
    drug is not listed to be mixed with, meant as entered. `said_by` and `reason` carry a veterinarian's word.
    """

    covers = ("D3", "D5", "D6")
    bag: str
    fluid: str
    bag_ml: Decimal
    removed_ml: Decimal = Decimal(0)
    volume_ml: Decimal
    parts: tuple[BagPart, ...]
    seen_by: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()
    said_by: str = ""
    reason: str = ""


class GivenBefore(Event, frozen=True, kw_only=True):
    """A drug given before this case began, on the ward or elsewhere, with its dose and time: it counts with what is given here."""

    covers = ("A8", "D1")
    drug: str
    amount: Decimal
    unit: str
    route: str
    given_at: datetime
    where: str = ""
    by_whom: str = ""


class DrugGiven(Event, frozen=True, kw_only=True):
    """A drug went in: each increment its own event. `amount` with `unit` is worked out again from the volume by the core.

    `said_by` and `reason` carry a veterinarian's word over a limit. `emergency` marks arrest and rescue doses, which are
    never blocked for a limit. `giver` is who pushed, when not the acting hand. `form` as on the vial.
    """

    covers = ("D1", "D2", "D7", "F8")
    drug: str
    amount: Decimal
    unit: str
    volume_ml: Decimal | None = None
    concentration: str = ""
    route: str
    site: str = ""
    side: str = ""
    purpose: str = ""
    order: str = ""
    syringe: str = ""
    giver: str = ""
    emergency: bool = False
    said_by: str = ""
    reason: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()
    form: str = ""


class InfusionStarted(Event, frozen=True, kw_only=True):
    """A drug or fluid began to run. `rate_ml_h` is what the pump was read to say.

    `syringe` names the drawn syringe it runs from; its label then says what each mL holds. `bag` names a bag with drugs in it:
    `drug` is then its fluid, and each drug in it runs under its own order. `purpose` is for what runs without an order.
    `said_by` and `reason` carry a veterinarian's word over a limit.
    """

    covers = ("D5", "D6")
    infusion: str
    drug: str
    rate_ml_h: Decimal
    concentration: str = ""
    dose_rate: Decimal | None = None
    dose_unit: str = ""
    bag_ml: Decimal | None = None
    route: str = "IV"
    order: str = ""
    fluid: bool = False
    syringe: str = ""
    bag: str = ""
    purpose: str = ""
    said_by: str = ""
    reason: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class InfusionChanged(Event, frozen=True, kw_only=True):
    """The rate of a running infusion was changed."""

    covers = ("D5", "D6")
    infusion: str
    rate_ml_h: Decimal
    dose_rate: Decimal | None = None
    dose_unit: str = ""
    reason: str = ""
    said_by: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class InfusionStopped(Event, frozen=True, kw_only=True):
    """An infusion was stopped; the total read from the pump, if read."""

    covers = ("D5", "D6")
    infusion: str
    total_ml: Decimal | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class FluidGiven(Event, frozen=True, kw_only=True):
    """A bolus of fluid, blood, or a flush. `bag` is the bag it came from; `confirmed`: from another bag than the one that
    hangs."""

    covers = ("D6",)
    fluid: str
    volume_ml: Decimal
    minutes: int | None = None
    order: str = ""
    said_by: str = ""
    reason: str = ""
    bag: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class FluidLost(Event, frozen=True, kw_only=True):
    """Blood or other fluid lost, and how it was judged."""

    covers = ("D6",)
    kind: str
    volume_ml: Decimal
    judged: str = ""


class DrugWasted(Event, frozen=True, kw_only=True):
    """Drug thrown away: how much, how, and who saw it."""

    covers = ("I2",)
    syringe: str = ""
    drug: str
    volume_ml: Decimal
    manner: str = ""
    witness: str = ""


class DrugReturned(Event, frozen=True, kw_only=True):
    """An unused syringe or vial went back."""

    covers = ("I3",)
    syringe: str = ""
    drug: str
    volume_ml: Decimal
    to: str = ""


class ContainerReceived(Event, frozen=True, kw_only=True):
    """A controlled container came in: substance, finished form, number, supplier and its registration. Case is the
    hospital's ledger, not a patient."""

    covers = ("I1",)
    drug: str
    form: str
    containers: int
    volume_ml_each: Decimal
    concentration: str
    supplier: str = ""
    supplier_registration: str = ""
    lot: str = ""
    expires: str = ""


class StockCounted(Event, frozen=True, kw_only=True):
    """A controlled drug was counted by two people."""

    covers = ("I1", "I3")
    drug: str
    volume_ml: Decimal
    second_person: str
    note: str = ""


class EffectNoted(Event, frozen=True, kw_only=True):
    """How premedication or induction went."""

    covers = ("D4",)
    of: Literal["premedication", "induction", "recovery"]
    quality: str
    adverse: str = ""


class PreoxygenationBegan(Event, frozen=True, kw_only=True):
    """Oxygen by mask or flow-by began."""

    covers = ("D9",)
    way: str = "mask"
    flow_l_min: Decimal | None = None


class PreoxygenationEnded(Event, frozen=True, kw_only=True):
    """Oxygen before induction ended."""

    covers = ("D9",)


# ---- airway (E)


class AttemptBegan(Event, frozen=True, kw_only=True):
    """The laryngoscope went in: the attempt clock runs from here. `changed`: the one thing that is new in this try."""

    covers = ("E2",)
    attempt: str
    tube_id_mm: Decimal
    operator: str = ""
    blade: str = ""
    aids: tuple[str, ...] = ()
    changed: Literal["", "size", "aid", "position", "operator", "blade", "lidocaine"] = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class AttemptEnded(Event, frozen=True, kw_only=True):
    """The attempt ended: tube in, out again, or in the oesophagus."""

    covers = ("E2",)
    attempt: str
    outcome: Literal["in", "out", "oesophagus"]
    view: str = ""
    difficulty: str = ""
    lowest_spo2: Decimal | None = None


class TubePlaced(Event, frozen=True, kw_only=True):
    """The tube that stayed: type, sizes, length cut, mark at the incisors."""

    covers = ("E1", "E4")
    kind: str = "tracheal tube"
    id_mm: Decimal
    od_mm: Decimal | None = None
    cuffed: bool
    cut_length_cm: Decimal | None = None
    depth_cm: Decimal | None = None
    attempt: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class TubeWithdrawn(Event, frozen=True, kw_only=True):
    """The tube came out while the animal goes on sleeping: why. The next attempt tells the same story on; it is no extubation."""

    covers = ("E2", "E4")
    reason: Literal["leak", "tight", "too deep", "blocked", "wrong place", "slipped out"]
    leak_cmh2o: Decimal | None = None
    note: str = ""


class ProofNoted(Event, frozen=True, kw_only=True):
    """One sign of a tube in the trachea, or one line of securing it. `breaths` counts CO2 breaths seen, `depth_cm` is the mark
    that stands at the incisors."""

    covers = ("E3", "E4", "C3")
    sign: Literal["co2", "left chest", "right chest", "chest moves", "bag moves", "mist", "palpation", "stylet out",
                  "depth", "valve open", "oxygen flows", "tied", "direct view"]  # fmt: skip
    seen: bool = True
    breaths: int | None = None
    detail: str = ""
    depth_cm: Decimal | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class AirwayProven(Event, frozen=True, kw_only=True):
    """The airway was declared proven, by what, and who else saw it."""

    covers = ("E3",)
    method: str
    second_person: str = ""


class CuffChecked(Event, frozen=True, kw_only=True):
    """Cuff pressure in the unit of the gauge that was read, volume of air, and the pressure at which it leaks."""

    covers = ("E4",)
    pressure_cmh2o: Decimal | None = None
    pressure_mmhg: Decimal | None = None
    volume_ml: Decimal | None = None
    leak_cmh2o: Decimal | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()
    reason: str = ""


# ---- watching (F)

Reading = Literal[
    "heart_rate", "pulse_rate", "respiratory_rate", "spo2", "perfusion_index", "etco2", "fico2", "fio2", "agent_et",
    "agent_in", "temperature", "sap", "map", "dap", "tidal_volume", "peak_pressure", "peep", "glucose", "train_of_four",
]  # fmt: skip


class ReadingTaken(Event, frozen=True, kw_only=True):
    """One number seen: what, value, unit, and where it comes from. `row_at` ties it to a five-minute row.

    A device's value keeps its device, its raw text and its quality; a typed one has source `hand`.
    """

    covers = ("F1", "F2", "F3", "F6", "F7", "F8", "F9", "F12", "F13", "F14", "F15", "H1")
    reading: Reading
    value: Decimal
    unit: str
    source: Literal["hand", "device"] = "hand"
    monitor: str = ""
    raw: str = ""
    quality: Literal["good", "questionable", "invalid", ""] = ""
    site: str = ""
    method: str = ""
    row_at: datetime | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class PressureTaken(Event, frozen=True, kw_only=True):
    """An arterial pressure: systolic, mean, diastolic as measured, with method, site and cuff. Doppler stays Doppler."""

    covers = ("F4", "F15", "H1")
    sap: Decimal | None = None
    map: Decimal | None = None
    dap: Decimal | None = None
    method: Literal["oscillometric", "Doppler", "arterial line", "other"]
    site: str = ""
    cuff_cm: Decimal | None = None
    source: Literal["hand", "device"] = "hand"
    monitor: str = ""
    raw: str = ""
    quality: Literal["good", "questionable", "invalid", ""] = ""
    row_at: datetime | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class MonitorPaired(Event, frozen=True, kw_only=True):
    """A person said that this monitor is on this patient, and how that was seen: its pulse against the finger's, or a probe off and
    on again. `place` and `patient` are what the monitor says of itself."""

    covers = ("F15",)
    monitor: str
    name: str = ""
    place: str = ""
    patient: str = ""
    seen: Literal["pulse felt with it", "probe off and on", "alone in the room", "patient named by it"]
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class MonitorUnpaired(Event, frozen=True, kw_only=True):
    """From here on its numbers are no longer this patient's."""

    covers = ("F15",)
    monitor: str
    reason: Literal["case over", "moved", "another patient on it", "changed for another", "mistake"]


class SignSeen(Event, frozen=True, kw_only=True):
    """What no monitor sees: eye, jaw, pulse by finger, gums, refill, reflexes, effort, rhythm, movement."""

    covers = ("F2", "F3", "F5", "F10", "F11", "F13", "H1")
    sign: Literal["eye", "jaw", "pulse", "gums", "refill", "palpebral", "effort", "rhythm", "movement", "block"]
    finding: str
    row_at: datetime | None = None


class GasSet(Event, frozen=True, kw_only=True):
    """Fresh gas flows."""

    covers = ("F7",)
    oxygen_l_min: Decimal
    other: str = ""
    other_l_min: Decimal | None = None
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class VaporiserSet(Event, frozen=True, kw_only=True):
    """The vaporiser dial. Zero is off."""

    covers = ("F8",)
    agent: str
    percent: Decimal


class VentilationSet(Event, frozen=True, kw_only=True):
    """Spontaneous, by hand, or by ventilator with its settings; `held_by`: what the ventilator holds each breath to."""

    covers = ("F12",)
    mode: Literal["spontaneous", "assisted by hand", "ventilator"]
    rate: int | None = None
    tidal_ml: Decimal | None = None
    peak_cmh2o: Decimal | None = None
    peep_cmh2o: Decimal | None = None
    held_by: Literal["", "volume", "pressure"] = ""
    inspiration_s: Decimal | None = None
    reason: str = ""
    confirmed: bool = False
    answered: tuple[str, ...] = ()


class WarmingSet(Event, frozen=True, kw_only=True):
    """A warming device and how it is set; `off` when it ends."""

    covers = ("F9",)
    device_used: str
    setting: str = ""


class SampleAnalysed(Event, frozen=True, kw_only=True):
    """A blood gas, glucose or electrolyte sample: names, values and units as printed."""

    covers = ("F14",)
    kind: str
    results: tuple[tuple[str, str, str], ...]


class ArtefactMarked(Event, frozen=True, kw_only=True):
    """A value was judged an artefact. It stays on the chart, hollow, and is acted on by nothing."""

    covers = ("F15",)
    target: str
    reason: str = ""


# ---- events, marks, calls (G)


class TimeMarked(Event, frozen=True, kw_only=True):
    """A moment of the case."""

    covers = ("G1",)
    mark: Literal["premedicated", "induction", "intubated", "moved", "procedure start", "procedure end", "agent off",
                  "extubated", "sternal", "standing", "recovery end", "packs in", "packs out"]  # fmt: skip
    detail: str = ""


class Positioned(Event, frozen=True, kw_only=True):
    """Position, a turn, a move, and the care that goes with it. A turn says the circuit was disconnected first."""

    covers = ("G2",)
    position: str
    disconnected_first: bool | None = None
    eyes_lubricated: bool = False
    pads: str = ""
    to_room: str = ""


class TroubleBegan(Event, frozen=True, kw_only=True):
    """Something was wrong: which kind, and what was seen."""

    covers = ("G3",)
    trouble: str
    kind: str
    seen: str = ""


class TroubleTreated(Event, frozen=True, kw_only=True):
    """What was done about it."""

    covers = ("G3",)
    trouble: str
    action: str
    order: str = ""


class TroubleEnded(Event, frozen=True, kw_only=True):
    """It was over, and how it answered."""

    covers = ("G3",)
    trouble: str
    response: str = ""


class HelpCalled(Event, frozen=True, kw_only=True):
    """Someone was called, and why."""

    covers = ("G4",)
    whom: str
    why: str = ""


class HelpArrived(Event, frozen=True, kw_only=True):
    """Someone came."""

    covers = ("G4",)
    whom: str


class ArrestBegan(Event, frozen=True, kw_only=True):
    """Arrest was called: the two-minute cycles run from here."""

    covers = ("G6",)
    leader: str = ""
    first_rhythm: str = ""


class ArrestStepDone(Event, frozen=True, kw_only=True):
    """A step of resuscitation that is not a drug: rhythm at the pause, shock, compressor change, airway, agent off."""

    covers = ("G6",)
    step: Literal["rhythm", "shock", "compressor", "airway", "agent off", "etco2", "other"]
    detail: str = ""
    joules: Decimal | None = None


class ArrestEnded(Event, frozen=True, kw_only=True):
    """The pulse came back, or resuscitation was stopped."""

    covers = ("G6",)
    outcome: Literal["pulse back", "stopped"]
    detail: str = ""


# ---- recovery and after (H)


class Extubated(Event, frozen=True, kw_only=True):
    """The tube came out: in what state, cuff, position; open lines of the card with the reason why it came out anyway."""

    covers = ("H2", "G1")
    signs: tuple[str, ...] = ()
    cuff: str = ""
    complications: str = ""
    open_lines: tuple[str, ...] = ()
    reason: str = ""


class RecoveryWatchBegan(Event, frozen=True, kw_only=True):
    """Who watches, where, and how often the next looks are due."""

    covers = ("H1", "H4")
    watcher: str
    every_min: int
    place: str = ""


class RecoveryLooked(Event, frozen=True, kw_only=True):
    """Someone looked: pulse, breathing, colour, temperature and state, as values."""

    covers = ("H1",)
    heart_rate: int | None = None
    respiratory_rate: int | None = None
    spo2: Decimal | None = None
    gums: str = ""
    temperature_c: Decimal | None = None
    state: Literal["asleep", "rousing", "sternal", "standing", ""] = ""
    oxygen: str = ""
    note: str = ""
    not_right: bool = False


class AnalgesiaPlanned(Event, frozen=True, kw_only=True):
    """Pain relief after the procedure: drug and when the next dose falls due."""

    covers = ("H4",)
    plan: str
    next_due: datetime | None = None


class HandedOver(Event, frozen=True, kw_only=True):
    """Care passed from one person to another, read back."""

    covers = ("H5", "B8")
    to: str
    read_back: bool
    items: tuple[str, ...] = ()
    concerns: str = ""


class Discharged(Event, frozen=True, kw_only=True):
    """Progress, where the animal went, and what the owner was told."""

    covers = ("H6",)
    disposition: str
    instructions: str = ""


class OutcomeNoted(Event, frozen=True, kw_only=True):
    """How the animal was two days later."""

    covers = ("H7",)
    outcome: Literal["well", "complication", "died", "put to sleep", "not reached"]
    detail: str = ""


# ---- the record itself (J)


class NoteWritten(Event, frozen=True, kw_only=True):
    """Free words. Doses and their units do not belong here."""

    covers = ("G3",)
    text: str


class EntryStruck(Event, frozen=True, kw_only=True):
    """An earlier entry was wrong: which, and why. It stays in the record with a line through it."""

    covers = ("J2",)
    target: str
    reason: str
    seen_by: str = ""


class GapExplained(Event, frozen=True, kw_only=True):
    """Why something required is not in the record."""

    covers = ("J2",)
    element: str
    reason: str


class SheetPrinted(Event, frozen=True, kw_only=True):
    """A sheet was printed: which, and for which weight. A later change voids it."""

    covers = ("J3",)
    sheet: Literal["plan", "labels", "emergency", "record", "handover", "infusions"]
    print_id: str
    weight_kg: Decimal | None = None


class RecordSigned(Event, frozen=True, kw_only=True):
    """The record was signed. Anything after is an amendment with its own time and hand."""

    covers = ("J4",)
    role: Literal["technician", "veterinarian"]
    statement: str = ""
    amendments: int = 0


class RecordAmended(Event, frozen=True, kw_only=True):
    """After signing: what is added or corrected, and why."""

    covers = ("J2",)
    text: str
    reason: str
    target: str = ""


def every_event() -> tuple[type[Event], ...]:
    """All event types in the order of this page."""
    return tuple(Event.__subclasses__())


AnyEvent = Union[tuple(Event.__subclasses__())]  # type: ignore[valid-type]  # noqa: UP007


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as stored: its place in the case's log and when it reached the store."""

    seq: int
    arrived_at: datetime
    event: Event


def encode(event: Event) -> bytes:
    """The canonical bytes of an event: what is stored and what a repeat is compared with."""
    return _ENCODER.encode(event)


def decode(raw: bytes | str) -> Event:
    """An event from its bytes; a wrong or extra field is a `msgspec.ValidationError`."""
    found: Event = _DECODER.decode(raw)
    return found


_ENCODER = msgspec.json.Encoder(decimal_format="number", order="sorted")
_DECODER: msgspec.json.Decoder[Event] = msgspec.json.Decoder(AnyEvent)
