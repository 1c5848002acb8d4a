"""What every invented case goes through: admission, assessment, lists, the signed plan, the tube, the waste."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from spiracle.case import events as e
from spiracle.case.syringes import syringe as syringe_of
from spiracle.doors.demo.machines import read_today
from spiracle.doors.demo.telling import Story

D = Decimal


def admitted(
    s: Story,
    *,
    species: str,
    name: str,
    breed: str,
    sex: str,
    age: str,
    kg: str,
    room: str,
    procedure: str,
    minutes: int,
    scale: str = "table scale, 5 g step",
    number: str = "",
) -> None:
    """Opened, described, weighed: what every planned case begins with."""
    s.species, s.kg = species, D(kg)
    s.tell(
        e.CaseOpened,
        practice=s.facts.hospital.practice,
        species=species,
        kind="elective",
        name=name,
        room=room,
        number=number,
        planned_at=s.t + timedelta(minutes=75),
    )
    s.tell(e.PatientDescribed, name=name, breed=breed, sex=sex, age=age)
    s.tell(e.Weighed, weight_kg=s.kg, method="scale", scale=scale, confirmed=True)
    s.tell(e.PersonJoined, person=s.by, part="anaesthetist")
    s.tell(e.ProcedurePlanned, procedure=procedure, minutes=minutes, room=room)


def questions(
    s: Story,
    *,
    owner: str,
    fasted_h: int,
    asa: str,
    condition: int,
    temperature: str,
    heart: int,
    breaths: int,
    conditions: tuple[str, ...] = (),
    problem: str = "",
    allergies: tuple[str, ...] = (),
) -> None:
    """Admission and assessment."""
    s.tell(e.OwnerNamed, name=owner, phone="01 555 0142")
    s.tell(e.ConsentRecorded, procedure="as planned", consent="written", resuscitation="full")
    s.tell(e.FastingNoted, food_at=s.t - timedelta(hours=fasted_h), water_at=s.t - timedelta(hours=2))
    s.tell(e.AllergiesAsked, allergies=allergies)
    s.tell(e.BodyConditionScored, score=condition)
    s.tell(e.TemperamentNoted, temperament="calm, handled awake")
    s.tell(
        e.Examined,
        temperature_c=D(temperature),
        heart_rate=heart,
        respiratory_rate=breaths,
        membranes="pink",
        refill_s=D("1.5"),
        heart="no murmur heard" if "murmur" not in conditions else "murmur II of VI",
        lungs="clear both sides",
        airway="nothing seen",
    )
    if conditions or problem:
        s.tell(e.HistoryTaken, problem=problem, history="", conditions=conditions)
    s.tell(e.AsaAssigned, asa=asa, by="svr", assigned_by="svr")
    s.tell(e.PainScored, scale="simple descriptive", score=D(1), out_of=D(10))


def made_ready(s: Story, machine: str, circuit: str, gauge: str = "95 bar") -> None:
    """Machine, its list of the day in the hospital's book, oxygen, lists."""
    read_today(s.store, s.facts, machine, s.t, s.by)
    s.tell(e.MachineAssigned, machine=machine, circuit=circuit)
    s.tell(e.OxygenRead, source="cylinder", contents_l=D(680), full_pressure="137 bar", gauge=gauge)
    s.tell(e.MonitorsApplied, monitors=("capnograph", "pulse oximeter", "ECG", "oscillometric cuff", "thermometer"))
    s.check("machine", 0.3)
    s.check("patient", 0.3)


def signed(s: Story, orders: tuple[str, ...], asa: str) -> None:
    s.tell(e.PlanSent, to="svr")
    holds = tuple("" if (vial := s.prepared[o].strength) is None else vial.text for o in orders)
    s.tell(e.PlanApproved, by="svr", signed_by="svr", weight_kg=s.kg, asa=asa, orders=orders, strengths=holds)


def tube_in(s: Story, size: str, depth: str, cuff: str, leak: str, od: str) -> None:
    """One attempt, proof, cuff: as it goes when it goes well."""
    attempt = s.new_id("attempt")
    s.tell(e.AttemptBegan, attempt=attempt, tube_id_mm=D(size), operator=s.by, blade="straight 1")
    s.t += timedelta(seconds=24)
    s.tell(e.AttemptEnded, attempt=attempt, outcome="in", view="whole glottis seen")
    s.tell(
        e.TubePlaced,
        id_mm=D(size),
        od_mm=D(od),
        cuffed=True,
        depth_cm=D(depth),
        cut_length_cm=D(depth) + 1,
        attempt=attempt,
    )
    s.t += timedelta(seconds=30)
    s.tell(e.ProofNoted, sign="co2", breaths=6)
    for sign in (
        "left chest",
        "right chest",
        "chest moves",
        "stylet out",
        "depth",
        "valve open",
        "oxygen flows",
        "tied",
    ):
        s.tell(e.ProofNoted, sign=sign, detail=f"{depth} cm at the incisors" if sign == "depth" else "")
        s.t += timedelta(seconds=4)
    s.tell(e.AirwayProven, method="CO₂ on six breaths, both sides heard")
    s.tell(e.TimeMarked, mark="intubated")
    s.tell(e.CuffChecked, pressure_cmh2o=D(cuff), leak_cmh2o=D(leak))


def on_ventilator(s: Story, rate: int, tidal: str, peak: str, drive: str) -> None:
    """Volume held; the gauge is read again with what the ventilator takes of the same cylinder."""
    s.tell(
        e.OxygenRead,
        source="cylinder",
        contents_l=D(680),
        full_pressure="137 bar",
        gauge="92 bar",
        drive_l_min=D(drive),
    )
    s.tell(
        e.VentilationSet,
        mode="ventilator",
        held_by="volume",
        rate=rate,
        tidal_ml=D(tidal),
        peak_cmh2o=D(peak),
        peep_cmh2o=D(2),
        inspiration_s=D(1),
    )


def waste(s: Story, order: str, syringe: str) -> None:
    """What is left in a syringe goes, before a witness."""
    case, _ = s.store.case(s.case)
    found = syringe_of(case, syringe)
    if found is not None and found.left_ml > 0:
        s.tell(
            e.DrugWasted,
            syringe=syringe,
            drug=s.prepared[order].order.drug,
            volume_ml=found.left_ml,
            manner="absorbed and binned",
            witness="nkw",
        )
