"""The invented cases of the demo hospital, told in the order of the work. No animal, person or event is real."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as e
from spiracle.case.facts import Facts
from spiracle.doors.demo.knee import healthy_dog
from spiracle.doors.demo.machines import machines_now
from spiracle.doors.demo.monitors import SORREL, paired
from spiracle.doors.demo.parts import admitted, made_ready, on_ventilator, questions, signed, tube_in, waste
from spiracle.doors.demo.protocols import hospital_protocols
from spiracle.doors.demo.telling import Story
from spiracle.doors.log_store import LogStore

D = Decimal


def old_cat(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A geriatric cat for dentistry with failing kidneys: asleep now, pressure sagging."""
    s = Story(store, facts, "sorrel", start, "nkw", now)
    admitted(
        s,
        species="cat",
        name="Sorrel",
        breed="domestic shorthair",
        sex="female neutered",
        age="15 y",
        kg="3.62",
        room="Dental room",
        procedure="scale, polish and extractions",
        minutes=90,
        number="HS-2214",
    )
    s.at(4)
    questions(
        s,
        owner="F. Achterberg",
        fasted_h=10,
        asa="III",
        condition=4,
        temperature="38.3",
        heart=196,
        breaths=28,
        conditions=("kidney-disease",),
        problem="sore mouth, drinks much",
    )
    s.tell(e.ResultNoted, test="creatinine", value="214", unit="mcmol/L", taken_at=s.t - timedelta(days=4))
    s.tell(e.ResultNoted, test="haematocrit", value="31", unit="%", taken_at=s.t - timedelta(days=4))
    s.tell(e.RiskNoted, risk="kidneys: pressure matters", plan="mean 65 or over; fluids 3 mL/kg/h; no NSAID today")
    s.at(12)
    s.order("o1", "methadone", "premedication", "IM", "0.2", "0.2", "mg/kg")
    s.order("o2", "alfaxalone", "induction", "IV", "2", "5", "mg/kg")
    s.order("o3", "bupivacaine", "local block", "infiltration", "1", "1", "mg/kg")
    s.tell(
        e.LimitOrdered,
        by="svr",
        reading="map",
        below=D(65),
        action="vaporiser down a quarter, then 3 mL/kg crystalloid over 15 min; call SV",
        ordered_by="svr",
    )
    s.tell(
        e.LimitOrdered,
        by="svr",
        reading="temperature",
        below=D("36.5"),
        action="warm air on high, cover, warm fluids",
        ordered_by="svr",
    )
    s.tell(e.AirwayMeasured, incisors_to_inlet_cm=D("14"), incisors_to_larynx_cm=D("7.5"), palpated_diameter_mm=D("7"))
    signed(s, ("o1", "o2", "o3"), "III")
    s.at(20)
    made_ready(s, "Machine A", "T-piece")
    s.at(30)
    for order, syringe in (("o1", "s1"), ("o2", "s2"), ("o3", "s3")):
        s.draw(order, syringe, seen_by="tob")
    s.give("o1", "s1", site="right epaxial")
    s.tell(e.TimeMarked, mark="premedicated")
    s.at(50)
    s.tell(e.SedationScored, scale="simple descriptive", score=D(2), out_of=D(4))
    s.tell(e.EffectNoted, of="premedication", quality="calm, can be handled")
    s.tell(e.CatheterPlaced, site="left cephalic", size="22 G")
    s.tell(e.PreoxygenationBegan, way="mask", flow_l_min=D(2))
    s.check("sign-in", 0.25)
    s.at(56)
    s.tell(e.PreoxygenationEnded)
    s.tell(e.TimeMarked, mark="induction")
    for seconds, ml in ((0, "0.45"), (35, "0.45")):
        s.t = s.start + timedelta(minutes=56, seconds=10 + seconds)
        s.give("o2", "s2", volume=ml)
    s.at(58)
    s.tell(e.EffectNoted, of="induction", quality="smooth")
    tube_in(s, "4.0", "13", "20", "15", "5.5")
    s.tell(e.GasSet, oxygen_l_min=D("1.5"))
    s.tell(e.VaporiserSet, agent="isoflurane", percent=D("1.75"))
    s.tell(e.WarmingSet, device_used="warm air blanket", setting="medium")
    s.tell(e.InfusionStarted, infusion="f1", drug="isotonic_crystalloid", rate_ml_h=D(11), fluid=True, bag_ml=D(250))
    s.tell(
        e.Positioned,
        position="left side",
        disconnected_first=True,
        eyes_lubricated=True,
        pads="foam under shoulder",
    )
    _cat_asleep(s)


def _cat_asleep(s: Story) -> None:
    on_ventilator(s, 12, "40", "10", "0.5")
    paired(s, SORREL)
    s.at(66)
    s.tell(e.TimeMarked, mark="procedure start")
    rows = [
        ("168", "12", "98", "38", "37.9", "1.6", (118, 86, 70)),
        ("160", "12", "98", "40", "37.6", "1.6", (110, 80, 64)),
        ("152", "14", "99", "41", "37.3", "1.5", (102, 74, 58)),
        ("148", "14", "98", "42", "37.1", "1.5", (98, 70, 54)),
        ("146", "14", "98", "42", "36.9", "1.5", (94, 67, 52)),
        ("144", "14", "98", "41", "36.8", "1.4", (88, 62, 47)),
    ]
    for i, (hr, rr, spo2, co2, t, et, p) in enumerate(rows):
        s.at(65 + 5 * i)
        s.row(
            {"heart_rate": hr, "respiratory_rate": rr, "spo2": spo2, "etco2": co2, "temperature": t, "agent_et": et},
            {"eye": "down", "jaw": "loose", "pulse": "strong" if i < 4 else "fair", "gums": "pink", "rhythm": "sinus"},
            p,
        )
        if i == 1:
            s.give("o3", "s3", volume="0.3", site="left upper jaw", side="left")
            s.tell(e.CuffChecked, pressure_cmh2o=D(20))
        if i == 3:
            s.tell(e.VaporiserSet, agent="isoflurane", percent=D("1.5"))


def bulldog(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A brachycephalic dog, premedicated, drawn up and about to be induced."""
    s = Story(store, facts, "bosun", start, "tob", now)
    admitted(
        s,
        species="dog",
        name="Bosun",
        breed="English bulldog",
        sex="male neutered",
        age="4 y",
        kg="23.4",
        room="Theatre 1",
        procedure="soft palate and nostrils",
        minutes=60,
        scale="walk-on scale, 100 g step",
        number="HS-2215",
    )
    s.at(5)
    questions(
        s,
        owner="D. Maddock",
        fasted_h=9,
        asa="II",
        condition=6,
        temperature="38.6",
        heart=104,
        breaths=32,
        conditions=("brachycephalic",),
        problem="snores, tires on walks",
    )
    s.tell(
        e.PreviousAnaesthesiaNoted,
        when="2 years ago",
        tube_id_mm=D("7.5"),
        airway="long soft palate, second attempt",
        trouble="none",
    )
    s.at(15)
    short = "dog-brachycephalic 1"
    s.tell(
        e.ProtocolStarted, protocol="dog-brachycephalic", version=1, title="Short-nosed dog", left_out=("maropitant",)
    )
    s.order("o1", "methadone", "premedication", "IM", "0.2", "0.2", "mg/kg", protocol=short)
    s.order("o2", "acepromazine", "premedication", "IM", "0.01", "0.01", "mg/kg", protocol=short)
    s.order("o3", "propofol", "induction", "IV", "2", "4", "mg/kg", protocol=short)
    s.order("o4", "carprofen", "analgesia", "SC", "4", "4", "mg/kg", when="at the end, if pressure was good")
    s.tell(
        e.LimitOrdered,
        by="svr",
        reading="map",
        below=D(65),
        action="vaporiser down, crystalloid 5 mL/kg over 15 min; call SV",
        ordered_by="svr",
    )
    s.tell(e.AirwayMeasured, incisors_to_inlet_cm=D("24"))
    signed(s, ("o1", "o2", "o3", "o4"), "II")
    s.at(25)
    made_ready(s, "Machine B", "circle")
    s.at(36)
    for order, syringe in (("o1", "s1"), ("o2", "s2"), ("o3", "s3")):
        s.draw(order, syringe, seen_by="nkw")
    s.give("o1", "s1", site="left epaxial")
    s.give("o2", "s2", site="left epaxial")
    s.tell(e.TimeMarked, mark="premedicated")
    s.at(56)
    s.tell(e.SedationScored, scale="simple descriptive", score=D(2), out_of=D(4))
    s.tell(e.CatheterPlaced, site="right cephalic", size="20 G")
    s.tell(e.PreoxygenationBegan, way="mask", flow_l_min=D(4))
    s.check("sign-in", 0.25)


def toy_dog(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A toy breed under 2 kg: every volume is small; the plan waits for a signature."""
    s = Story(store, facts, "fennel", start, "nkw", now)
    admitted(
        s,
        species="dog",
        name="Fennel",
        breed="Chihuahua",
        sex="female",
        age="2 y",
        kg="1.74",
        room="Theatre 2",
        procedure="ovariectomy",
        minutes=45,
        number="HS-2216",
    )
    s.at(4)
    questions(s, owner="P. Lindqvist", fasted_h=6, asa="II", condition=5, temperature="38.5", heart=142, breaths=30)
    s.at(10)
    s.order("o1", "methadone", "premedication", "IM", "0.2", "0.2", "mg/kg")
    s.order("o2", "midazolam", "premedication", "IM", "0.2", "0.2", "mg/kg")
    s.order("o3", "propofol", "induction", "IV", "2", "4", "mg/kg")
    s.order("o4", "ephedrine", "blood pressure", "IV", "0.1", "0.1", "mg/kg", when="if mean under 60")
    s.tell(e.PlanSent, to="edr")


def giant_dog(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A giant breed: from plan to signed record, one entry struck, one late, the call still to make."""
    s = Story(store, facts, "thor", start, "tob", now)
    admitted(
        s,
        species="dog",
        name="Halvard",
        breed="Great Dane",
        sex="male",
        age="6 y",
        kg="71.5",
        room="Theatre 2",
        procedure="lump removal, left flank",
        minutes=50,
        scale="walk-on scale, 100 g step",
        number="HS-2209",
    )
    s.at(5)
    questions(s, owner="R. Castellano", fasted_h=11, asa="II", condition=5, temperature="38.2", heart=84, breaths=18)
    s.at(12)
    s.order("o1", "methadone", "premedication", "IM", "0.2", "0.2", "mg/kg")
    s.order("o2", "propofol", "induction", "IV", "2", "4", "mg/kg")
    s.order("o3", "lidocaine", "local block", "infiltration", "2", "2", "mg/kg")
    s.tell(e.AirwayMeasured, incisors_to_inlet_cm=D("38"))
    s.tell(
        e.LimitOrdered,
        by="svr",
        reading="map",
        below=D(60),
        action="vaporiser down, crystalloid 5 mL/kg over 15 min; call SV", ordered_by="svr",
    )  # fmt: skip
    signed(s, ("o1", "o2", "o3"), "II")
    s.at(18)
    made_ready(s, "Machine C", "circle")
    s.at(28)
    for order, syringe in (("o1", "s1"), ("o2", "s2"), ("o3", "s3")):
        s.draw(order, syringe, seen_by="nkw")
    s.give("o1", "s1", site="right epaxial")
    s.tell(e.TimeMarked, mark="premedicated")
    s.at(48)
    s.tell(e.SedationScored, scale="simple descriptive", score=D(1), out_of=D(4))
    s.tell(e.EffectNoted, of="premedication", quality="quiet, easily led")
    s.tell(e.CatheterPlaced, site="left cephalic", size="18 G")
    s.tell(e.PreoxygenationBegan, way="mask", flow_l_min=D(5))
    s.check("sign-in", 0.25)
    s.at(54)
    s.tell(e.PreoxygenationEnded)
    s.tell(e.TimeMarked, mark="induction")
    for i in range(3):
        s.t = s.start + timedelta(minutes=54, seconds=10 + 40 * i)
        s.give("o2", "s2", volume="7")
    s.at(57)
    s.tell(e.EffectNoted, of="induction", quality="smooth")
    tube_in(s, "12.0", "33", "26", "20", "16.0")
    s.tell(e.GasSet, oxygen_l_min=D(2))
    s.tell(e.VaporiserSet, agent="isoflurane", percent=D(2))
    s.tell(e.InfusionStarted, infusion="f1", drug="isotonic_crystalloid", rate_ml_h=D(355), fluid=True, bag_ml=D(1000))
    s.tell(
        e.Positioned,
        position="right side",
        disconnected_first=True,
        eyes_lubricated=True,
        pads="mattress, upper leg held",
    )
    s.tell(e.PersonJoined, person="svr", part="surgeon")
    s.check("time-out", 0.2)
    _giant_asleep(s)
    _giant_awake(s)


def _giant_asleep(s: Story) -> None:
    rows = [
        ("92", "10", "98", "41", "38.0", "1.4", (128, 92, 74)),
        ("88", "10", "99", "43", "37.8", "1.4", (120, 86, 70)),
        ("86", "12", "98", "44", "37.6", "1.3", (112, 80, 64)),
        ("90", "12", "98", "43", "37.5", "1.3", (108, 76, 60)),
        ("88", "12", "98", "42", "37.3", "1.3", (110, 78, 62)),
        ("84", "12", "99", "42", "37.2", "1.2", (114, 82, 66)),
        ("86", "12", "98", "41", "37.1", "1.2", (116, 84, 68)),
        ("88", "12", "98", "41", "37.0", "1.1", (118, 84, 68)),
        ("90", "12", "98", "40", "37.0", "0.6", (120, 86, 70)),
    ]
    s.at(63)
    s.tell(e.TimeMarked, mark="procedure start")
    for i, (hr, rr, spo2, co2, t, et, p) in enumerate(rows):
        s.at(65 + 5 * i)
        s.row(
            {"heart_rate": hr, "respiratory_rate": rr, "spo2": spo2, "etco2": co2, "temperature": t, "agent_et": et},
            {"eye": "down", "jaw": "loose", "pulse": "strong", "gums": "pink", "rhythm": "sinus"},
            p,
        )
        if i == 0:
            s.give("o3", "s3", site="left flank, along the cut", side="left")
        if i == 1:
            s.tell(e.CuffChecked, pressure_cmh2o=D(24))
        if i == 2:
            wrong = s.tell(
                e.ReadingTaken, reading="heart_rate", value=D(132), unit="/min", source="hand", confirmed=True
            )
            s.t += timedelta(seconds=40)
            s.tell(e.EntryStruck, target=wrong, reason="wrong key")
        if i == 4:
            s.tell(e.Positioned, position="left side", disconnected_first=True, late=12)


def _giant_awake(s: Story) -> None:
    s.at(103)
    s.tell(e.TimeMarked, mark="procedure end")
    s.tell(e.VaporiserSet, agent="isoflurane", percent=D(0))
    s.tell(e.TimeMarked, mark="agent off")
    s.tell(e.InfusionStopped, infusion="f1", total_ml=D(266))
    s.at(113)
    s.tell(e.Extubated, signs=("swallows", "lifts head"), cuff="let down", complications="")
    s.tell(e.RecoveryWatchBegan, watcher="pjt", every_min=5, place="Recovery, kennel 2")
    looks = [
        ("92", 16, "97", "36.9", "rousing"),
        ("96", 18, "98", "37.0", "rousing"),
        ("98", 20, "98", "37.3", "sternal"),
        ("96", 20, "98", "37.6", "standing"),
    ]
    for i, (pulse, breaths, spo2, t, state) in enumerate(looks):
        s.at(118 + 5 * i)
        s.tell(
            e.RecoveryLooked,
            by="pjt",
            heart_rate=int(pulse),
            respiratory_rate=breaths,
            spo2=D(spo2),
            gums="pink",
            temperature_c=D(t),
            state=state,
        )
        if state in {"sternal", "standing"}:
            s.tell(e.TimeMarked, mark=state)
    s.tell(e.PainScored, scale="simple descriptive", score=D(2), out_of=D(10), phase="recover")
    s.at(140)
    s.check("recovery", 0.2)
    for order, syringe in (("o1", "s1"), ("o2", "s2"), ("o3", "s3")):
        waste(s, order, syringe)
    s.tell(
        e.AnalgesiaPlanned, plan="methadone 0.2 mg/kg if the pain score is over 3", next_due=s.t + timedelta(hours=4)
    )
    s.tell(e.HandedOver, to="pjt", read_back=True, items=("airway", "drugs with times", "pain", "temperature"))
    s.tell(e.TimeMarked, mark="recovery end")
    s.at(150)
    s.tell(
        e.Discharged, disposition="home this evening", instructions="collar on, short walks, call if dull or not eating"
    )
    s.tell(e.RecordSigned, role="technician")
    s.tell(e.RecordSigned, by="svr", role="veterinarian")


def kitten(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A kitten: weighed this morning, questions still open."""
    s = Story(store, facts, "pipit", start, "nkw", now)
    admitted(
        s,
        species="cat",
        name="Pipit",
        breed="domestic shorthair",
        sex="male",
        age="14 wk",
        kg="1.28",
        room="Theatre 2",
        procedure="castration",
        minutes=20,
        number="HS-2217",
    )
    s.tell(e.OwnerNamed, name="J. Mbeki", phone="01 555 0177")
    s.at(6)
    s.order("o1", "methadone", "premedication", "IM", "0.2", "0.2", "mg/kg", ordered_by="edr")
    s.order("o2", "alfaxalone", "induction", "IV", "2", "5", "mg/kg", ordered_by="edr")


def plain_cat(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """A healthy cat for later today: examined and graded, with no order yet, so that its plan can start from a protocol."""
    s = Story(store, facts, "juniper", start, "nkw", now)
    admitted(
        s, species="cat", name="Juniper", breed="domestic longhair", sex="female neutered", age="6 y",
        kg="4.26", room="Dental room", procedure="scale, polish and one extraction", minutes=50, number="HS-2218",
    )  # fmt: skip
    s.at(4)
    questions(s, owner="G. Okafor", fasted_h=9, asa="II", condition=5, temperature="38.4", heart=176, breaths=26)


def found_dog(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """An emergency off the road: weight guessed, nothing else known."""
    s = Story(store, facts, "stray", start, "tob", now)
    s.species, s.kg = "dog", D(20)
    s.tell(e.CaseOpened, practice=s.facts.hospital.practice, species="dog", kind="emergency", name="")
    s.tell(e.Weighed, weight_kg=D(20), method="estimated")
    s.at(2)
    s.tell(e.CatheterPlaced, site="left cephalic", size="20 G")
    s.tell(e.NoteWritten, text="hit by a car on the quay road, breathing, pale")


ALL: tuple[tuple[Callable[[LogStore, Facts, datetime, datetime], None], int], ...] = (
    (hospital_protocols, 60 * 24 * 60),
    (giant_dog, 330),
    (old_cat, 96),
    (healthy_dog, 79),
    (bulldog, 63),
    (toy_dog, 40),
    (kitten, 25),
    (plain_cat, 16),
    (found_dog, 6),
    (machines_now, 60 * 24),
)
