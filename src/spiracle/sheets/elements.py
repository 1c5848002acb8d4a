"""What a good record holds: each element, the phase in which it belongs, and how one sees that it is there.

The ids are shared by the events (`covers`), the gaps before a signature and the manual. An element that was not needed
in this case (no controlled drug, no arrest) is not a gap; one that was needed and is missing can be explained in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.sheets.element_tests import (
    Test,
    always,
    arrest_closed,
    asleep_once,
    baseline,
    block_watched,
    cuffed,
    fluid_running,
    infusions_closed,
    infusions_to_close,
    list_done,
    locals_given,
    lots_known,
    named,
    never,
    pain_after,
    pain_before,
    part_taken,
    procedure_timed,
    procedure_to_time,
    relaxed,
    relieved,
    sampled,
    seen,
    sign,
    signed_by_both,
    sited,
    there,
    troubled,
    troubles_answered,
    tubed,
    ventilated,
    watched,
    witnessed,
)
from spiracle.sheets.shapes import PhaseName

if TYPE_CHECKING:
    from spiracle.sheets.told import Told


@dataclass(frozen=True, slots=True)
class Element:
    """`needed`: does this case call for it; `met`: is it there. Both look at what stands, never at struck entries."""

    id: str
    title: str
    phase: PhaseName
    met: Test
    needed: Test = always
    gap: str = ""


ELEMENTS: tuple[Element, ...] = (
    Element("A1", "Case number, day, hospital and room", "assess", there(ev.CaseOpened)),
    Element("A2", "Who the patient is: name, breed, age, sex, marks", "assess", named, gap="patient not described"),
    Element("A3", "Whose animal it is and how to reach them", "assess", there(ev.OwnerNamed), gap="owner"),
    Element("A4", "Weight: figure, how it was had, scale, time and hand", "assess", there(ev.Weighed), gap="weight"),
    Element(
        "A5",
        "Body condition, and the weight doses are worked on",
        "assess",
        there(ev.BodyConditionScored),
        gap="body condition",
    ),
    Element(
        "A6",
        "Consent, what will be done, and the wish about resuscitation",
        "assess",
        there(ev.ConsentRecorded),
        gap="consent and resuscitation wish",
    ),
    Element("A7", "When food and water were last taken", "assess", there(ev.FastingNoted), gap="food time"),
    Element(
        "A8",
        "Why it came, history, medicines, allergies, earlier anaesthetics",
        "assess",
        there(ev.AllergiesAsked),
        gap="allergies not asked",
    ),
    Element(
        "A9", "Temperament, handling, anything given at home", "assess", there(ev.TemperamentNoted), gap="temperament"
    ),
    Element("B1", "Examination in the half day before", "assess", there(ev.Examined), gap="examination"),
    Element(
        "B2",
        "Temperature, pulse and breaths to start from",
        "assess",
        baseline,
        gap="temperature, pulse or breaths before",
    ),
    Element("B3", "Laboratory and pictures that were used", "assess", there(ev.ResultNoted), needed=never),
    Element("B4", "Physical status (ASA, with E), by the veterinarian", "assess", there(ev.AsaAssigned), gap="ASA"),
    Element("B5", "Pain score before", "assess", pain_before, gap="pain score before"),
    Element(
        "B6",
        "Risks, what to do if they come, limits, whom to call",
        "plan",
        there(ev.LimitOrdered, ev.RiskNoted),
        gap="ordered limits",
    ),
    Element(
        "B7",
        "Each order: drug, dose, route, who ordered, written or read back",
        "plan",
        there(ev.PlanApproved),
        gap="plan not signed",
    ),
    Element(
        "B8",
        "Who took which part, and when they came and went",
        "plan",
        part_taken("anaesthetist"),
        gap="who anaesthetises",
    ),
    Element("C1", "Which machine, checked by whom and when, leak", "prepare", list_done("machine"), gap="machine list"),
    Element(
        "C2",
        "Oxygen and its reserve, vaporiser, scavenging, suction",
        "prepare",
        there(ev.OxygenRead),
        gap="oxygen not read",
    ),
    Element(
        "C3",
        "Breathing system, relief valve open, pressure alarm",
        "prepare",
        there(ev.MachineAssigned),
        gap="machine and system",
    ),
    Element("C4", "Monitors attached and working", "prepare", there(ev.MonitorsApplied), gap="monitors"),
    Element("C5", "Emergency drugs and kit at hand", "prepare", list_done("patient"), gap="patient list"),
    Element(
        "D1",
        "Every drug: name, strength, amount, volume, route, site, time, giver",
        "induce",
        there(ev.DrugGiven),
        needed=asleep_once,
        gap="no drug recorded",
    ),
    Element("D2", "Each push on a line of its own", "induce", always),
    Element(
        "D3",
        "Lot and expiry of what was drawn",
        "prepare",
        lots_known,
        needed=there(ev.SyringeDrawn),
        gap="lot of a drawn drug",
    ),
    Element(
        "D4",
        "How premedication and induction went",
        "induce",
        there(ev.EffectNoted, ev.SedationScored),
        needed=asleep_once,
        gap="quality of induction",
    ),
    Element(
        "D5",
        "Infusions: drug, strength, rate, each change, total",
        "maintain",
        infusions_closed,
        needed=infusions_to_close,
        gap="infusion not stopped",
    ),
    Element("D6", "Fluids and blood in, losses out", "maintain", fluid_running, needed=asleep_once, gap="fluids"),
    Element(
        "D7",
        "Local anaesthetics: drug, site, side, amount, running sum",
        "maintain",
        sited,
        needed=locals_given,
        gap="site of a block",
    ),
    Element("D8", "Cannula: where, size, when, by whom, patent", "prepare", there(ev.CatheterPlaced), gap="cannula"),
    Element(
        "D9",
        "Oxygen before induction, from when to when",
        "prepare",
        there(ev.PreoxygenationBegan),
        gap="oxygen before induction",
    ),
    Element(
        "E1",
        "Tube: kind, inside diameter in mm, cuff, length",
        "induce",
        there(ev.TubePlaced),
        needed=asleep_once,
        gap="tube",
    ),
    Element(
        "E2", "Attempts: who, view, aids, trouble", "induce", there(ev.AttemptBegan), needed=tubed, gap="tube attempts"
    ),
    Element(
        "E3",
        "How the airway was proven, and who else saw it",
        "induce",
        there(ev.AirwayProven),
        needed=tubed,
        gap="airway not proven",
    ),
    Element(
        "E4",
        "Mark at the teeth, both sides heard, cuff, leak, checks again",
        "induce",
        there(ev.CuffChecked),
        needed=cuffed,
        gap="cuff pressure",
    ),
    Element(
        "F1",
        "Heart rate and rhythm",
        "maintain",
        seen("heart_rate", "pulse_rate"),
        needed=asleep_once,
        gap="heart rate",
    ),
    Element("F2", "Breaths and effort", "maintain", seen("respiratory_rate"), needed=asleep_once, gap="breaths"),
    Element(
        "F3",
        "Oxygen saturation, pulse, colour of the gums",
        "maintain",
        seen("spo2"),
        needed=asleep_once,
        gap="oxygen saturation",
    ),
    Element(
        "F4",
        "Arterial pressure, method, site, cuff width",
        "maintain",
        seen("sap", "map", "dap"),
        needed=asleep_once,
        gap="pressure",
    ),
    Element("F5", "Rhythm of the ECG", "maintain", sign("rhythm"), needed=asleep_once, gap="rhythm"),
    Element("F6", "CO₂ out and in", "maintain", seen("etco2"), needed=tubed, gap="end-tidal CO₂"),
    Element("F7", "Oxygen breathed in, flows", "maintain", there(ev.GasSet), needed=tubed, gap="gas flow"),
    Element("F8", "Agent: dial, in and out", "maintain", there(ev.VaporiserSet), needed=tubed, gap="vaporiser"),
    Element("F9", "Temperature and warming", "maintain", seen("temperature"), needed=asleep_once, gap="temperature"),
    Element(
        "F10",
        "Depth: eye, jaw, reflexes, movement",
        "maintain",
        sign("eye", "jaw", "palpebral", "movement"),
        needed=asleep_once,
        gap="eye and jaw",
    ),
    Element(
        "F11", "Pulse by finger, refill", "maintain", sign("pulse", "refill"), needed=asleep_once, gap="pulse by finger"
    ),
    Element(
        "F12",
        "How it breathed: by itself, by hand, by ventilator with settings",
        "maintain",
        there(ev.VentilationSet),
        needed=ventilated,
    ),
    Element(
        "F13", "Watching a neuromuscular block", "maintain", block_watched, needed=relaxed, gap="block not watched"
    ),
    Element("F14", "Blood gas, glucose, electrolytes when taken", "maintain", sampled, needed=never),
    Element("F15", "Where each value comes from: device or hand, raw text, artefact", "maintain", always),
    Element(
        "G1",
        "Moments: premedication, induction, tube, start, end, agent off, tube out",
        "maintain",
        procedure_timed,
        needed=procedure_to_time,
        gap="start or end of the procedure",
    ),
    Element(
        "G2", "Position and moves, eyes, pads", "maintain", there(ev.Positioned), needed=asleep_once, gap="position"
    ),
    Element(
        "G3",
        "Trouble, what was done, how it answered",
        "maintain",
        troubles_answered,
        needed=troubled,
        gap="trouble without an end",
    ),
    Element(
        "G4",
        "Calls for help: when, whom, when they came",
        "maintain",
        there(ev.HelpArrived),
        needed=there(ev.HelpCalled),
        gap="did the called one come",
    ),
    Element(
        "G5",
        "Lists read aloud: sign-in, time-out, recovery",
        "prepare",
        list_done("sign-in", "time-out", "patient"),
        gap="sign-in",
    ),
    Element("G6", "Arrest record", "maintain", arrest_closed, needed=there(ev.ArrestBegan), gap="end of the arrest"),
    Element(
        "H1",
        "Looks in recovery until near the values before",
        "recover",
        there(ev.RecoveryLooked),
        needed=asleep_once,
        gap="no look in recovery",
    ),
    Element(
        "H2",
        "Tube out: in which state, airway after, trouble",
        "recover",
        there(ev.Extubated),
        needed=tubed,
        gap="extubation",
    ),
    Element(
        "H3",
        "Pain and sedation scores after, scale named",
        "recover",
        pain_after,
        needed=asleep_once,
        gap="pain score after",
    ),
    Element(
        "H4",
        "Pain relief to come, next time, a named watcher",
        "recover",
        watched,
        needed=asleep_once,
        gap="pain relief after, or watcher",
    ),
    Element(
        "H5",
        "Handovers: from, to, when, what, read back",
        "recover",
        there(ev.HandedOver),
        needed=relieved,
        gap="handover to the relief",
    ),
    Element(
        "H6",
        "How it went home or to the ward, what was told",
        "recover",
        there(ev.Discharged),
        needed=asleep_once,
        gap="discharge",
    ),
    Element("H7", "How it was two days later", "record", there(ev.OutcomeNoted), needed=never),
    Element("I1", "Controlled drugs: received and used, container by container", "record", always),
    Element(
        "I2",
        "Waste: how much, how, and a second person",
        "record",
        witnessed,
        needed=there(ev.DrugWasted),
        gap="waste without a second person",
    ),
    Element("I3", "Balance of each controlled syringe", "record", always),
    Element("J1", "Hand, device, time of entry and of happening", "record", always),
    Element("J2", "Corrections with time, hand and reason; the first entry kept", "record", always),
    Element("J3", "Lists of procedures and of anaesthetics", "record", there(ev.ProcedurePlanned), gap="procedure"),
    Element("J4", "Signed by technician and veterinarian", "record", signed_by_both, needed=never),
)
BY_ID = {e.id: e for e in ELEMENTS}


def missing(t: Told) -> tuple[Element, ...]:
    """The elements this case called for that are not there."""
    return tuple(e for e in ELEMENTS if e.needed(t) and not e.met(t))
