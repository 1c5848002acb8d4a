"""Teasel, an invented cat of four kilograms: one whole case told by hand, from the door to the second signature.

The figures are chosen so that sums can be done in the head: 2 mg/kg of a 10 mg/mL drug for 4 kg is 8 mg in 0.8 mL, and a
quarter of it is 0.2 mL, which is 2 mg and 0.5 mg/kg.
"""

from __future__ import annotations

from datetime import timedelta

from casebook import Book, at, d
from spiracle.case import events as ev
from spiracle.case.events import Entry
from spiracle.doors.tables import load_facts
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import CaseView, Vital


def teasel() -> Book:
    b = Book("c-teasel", by="rowan")
    admission(b)
    orders(b)
    drawing_up(b)
    induction(b)
    maintenance(b)
    recovery(b)
    return b


def until(book: Book, minutes: float) -> list[Entry]:
    """What the log held at a moment: entries that had arrived by then."""
    return [e for e in book.entries if e.arrived_at <= at(minutes)]


def admission(b: Book) -> None:
    b.tell(0, ev.CaseOpened, species="cat", name="Teasel", room="Dental", number="T-17", planned_at=at(60))
    b.tell(1, ev.PatientDescribed, breed="domestic shorthair", sex="female neutered", age="9 y")
    b.tell(2, ev.OwnerNamed, name="A. Marsh", phone="01632 960 017")
    b.tell(3, ev.Weighed, weight_kg=d("4"), method="scale", scale="scale 1")
    b.tell(4, ev.BodyConditionScored, score=5)
    b.tell(5, ev.ConsentRecorded, procedure="dental, two extractions", consent="written", resuscitation="full")
    b.tell(6, ev.FastingNoted, food_at=at(-600))
    b.tell(7, ev.HistoryTaken, problem="sore mouth", conditions=("heart-murmur",))
    b.tell(8, ev.AllergiesAsked)
    b.tell(9, ev.TemperamentNoted, temperament="friendly")
    b.tell(
        10,
        ev.Examined,
        temperature_c=d("38.4"),
        heart_rate=180,
        respiratory_rate=28,
        membranes="pink",
        heart="murmur II",
    )
    b.tell(12, ev.AsaAssigned, asa="II", assigned_by="ilse", by="ilse")
    b.tell(13, ev.PainScored, scale="hospital scale", score=d("2"), out_of=d("10"))
    b.tell(14, ev.ProcedurePlanned, procedure="dental, two extractions", minutes=60, room="Dental")
    b.tell(15, ev.PersonJoined, person="rowan", part="anaesthetist")
    b.tell(15, ev.PersonJoined, person="ilse", part="supervising veterinarian")


def orders(b: Book) -> None:
    b.tell(20, ev.DrugOrdered, order="o-1", drug="methadone", purpose="premedication", route="IM", low=d("0.2"), high=d("0.2"),
           unit="mg/kg", concentration="10 mg/mL", ordered_by="ilse", by="ilse")  # fmt: skip
    b.tell(21, ev.DrugOrdered, order="o-2", drug="alfaxalone", purpose="induction", route="IV", low=d("1"), high=d("2"),
           unit="mg/kg", concentration="10 mg/mL", ordered_by="ilse", by="ilse")  # fmt: skip
    b.tell(22, ev.LimitOrdered, reading="map", below=d("65"), action="dial to 1 %, then 20 mL over 10 min", ordered_by="ilse",
           by="ilse")  # fmt: skip
    b.tell(25, ev.PlanApproved, signed_by="ilse", weight_kg=d("4"), asa="II", orders=("o-1", "o-2"), by="ilse")


def drawing_up(b: Book) -> None:
    b.tell(30, ev.SyringeDrawn, syringe="s-1", order="o-1", drug="methadone", vial_concentration="10 mg/mL",
           concentration="10 mg/mL", volume_ml=d("0.10"), drug_volume_ml=d("0.10"), barrel="1 mL", lot="M-204", seen_by="ilse")  # fmt: skip
    b.tell(32, ev.SyringeDrawn, syringe="s-2", order="o-2", drug="alfaxalone", vial_concentration="10 mg/mL",
           concentration="10 mg/mL", volume_ml=d("0.80"), drug_volume_ml=d("0.80"), barrel="1 mL", lot="A-77")  # fmt: skip
    b.tell(35, ev.DrugGiven, drug="methadone", amount=d("0.8"), unit="mg", volume_ml=d("0.08"), concentration="10 mg/mL",
           route="IM", side="left", site="thigh", purpose="premedication", order="o-1", syringe="s-1")  # fmt: skip
    b.tell(50, ev.CatheterPlaced, site="left fore", size="22 G")
    b.tell(51, ev.MachineAssigned, machine="Machine 2", circuit="T-piece", bag_ml=500)
    b.tell(51, ev.OxygenRead, source="cylinder", contents_l=d("680"), full_pressure="137 bar", gauge="90 bar")
    b.tell(52, ev.CheckLineDone, list="machine", line="machine.power-room", spoken_by="rowan")
    b.tell(53, ev.CheckLineDone, list="machine", line="machine.oxygen-main", outcome="fault", detail="hose frayed")
    b.tell(54, ev.CheckLineDone, list="patient", line="patient.right-animal")
    b.tell(55, ev.MonitorsApplied, monitors=("capnograph", "pulse oximeter", "cuff"))
    b.tell(58, ev.EffectNoted, of="premedication", quality="calm")
    b.tell(60, ev.PreoxygenationBegan, way="mask", flow_l_min=d("3"))
    b.tell(64, ev.PreoxygenationEnded)


def push(b: Book, minutes: float) -> str:
    return b.tell(minutes, ev.DrugGiven, drug="alfaxalone", amount=d("2"), unit="mg", volume_ml=d("0.2"),
                  concentration="10 mg/mL", route="IV", purpose="induction", order="o-2", syringe="s-2")  # fmt: skip


def induction(b: Book) -> None:
    push(b, 65)
    push(b, 65.5)
    b.tell(66, ev.AttemptBegan, attempt="a-1", tube_id_mm=d("4.5"), operator="rowan")
    b.tell(66.5, ev.AttemptEnded, attempt="a-1", outcome="out", view="poor")
    push(b, 67)
    b.tell(67.5, ev.AttemptBegan, attempt="a-2", tube_id_mm=d("4"), operator="ilse")
    b.tell(68, ev.AttemptEnded, attempt="a-2", outcome="in", view="good")
    b.tell(68.2, ev.TubePlaced, id_mm=d("4"), cuffed=True, depth_cm=d("14"), attempt="a-2")
    b.tell(68.5, ev.ProofNoted, sign="co2", breaths=6)
    b.tell(68.6, ev.ProofNoted, sign="left chest")
    b.tell(68.7, ev.ProofNoted, sign="right chest")
    b.tell(69, ev.AirwayProven, method="CO₂ on six breaths", second_person="ilse")
    b.tell(70, ev.CuffChecked, pressure_cmh2o=d("20"), volume_ml=d("1.5"))


def rate(b: Book, minutes: float, value: str, **more: object) -> str:
    return b.tell(
        minutes, ev.ReadingTaken, reading="heart_rate", value=d(value), unit="/min", row_at=at(minutes), **more
    )


def pressure(b: Book, minutes: float, sap: str, map_: str, dap: str) -> str:
    return b.tell(minutes, ev.PressureTaken, sap=d(sap), map=d(map_), dap=d(dap), method="oscillometric", cuff_cm=d("2.5"),
                  source="device", monitor="cuff")  # fmt: skip


def maintenance(b: Book) -> None:
    b.tell(70, ev.GasSet, oxygen_l_min=d("1"))
    b.tell(70, ev.VaporiserSet, agent="isoflurane", percent=d("2"))
    b.tell(
        71,
        ev.InfusionStarted,
        infusion="i-1",
        drug="isotonic_crystalloid",
        rate_ml_h=d("12"),
        bag_ml=d("250"),
        fluid=True,
    )
    rate(b, 70, "168")
    pressure(b, 70, "104", "71", "55")
    b.tell(72, ev.TimeMarked, mark="procedure start")
    rate(b, 75, "160")
    pressure(b, 75, "98", "66", "50")
    b.tell(75, ev.ReadingTaken, reading="temperature", value=d("37.4"), unit="Cel", row_at=at(75))
    rate(b, 80, "158")
    rate(b, 85, "156")
    wrong = b.tell(
        86, ev.DrugGiven, drug="bupivacaine", amount=d("60"), unit="mg", volume_ml=d("12"), route="block", site="jaw"
    )
    b.tell(86.2, ev.EntryStruck, target=wrong, reason="wrong key")
    b.tell(86.5, ev.DrugGiven, drug="bupivacaine", amount=d("4"), unit="mg", volume_ml=d("0.8"), concentration="5 mg/mL",
           route="block", side="right", site="lower jaw", purpose="block")  # fmt: skip
    b.tell(88, ev.Positioned, position="right side", disconnected_first=True, late=14)
    false = rate(b, 90, "244")
    b.tell(90.5, ev.ArtefactMarked, target=false, reason="clip moved")
    b.tell(91, ev.ReadingTaken, reading="heart_rate", value=d("155"), unit="/min")
    b.tell(95, ev.SignSeen, sign="eye", finding="down", row_at=at(95))
    b.tell(95, ev.SignSeen, sign="jaw", finding="loose", row_at=at(95))
    b.tell(95, ev.ReadingTaken, reading="spo2", value=d("97"), unit="%", source="device", monitor="oximeter")
    rate(b, 95, "150")
    pressure(b, 97, "92", "62", "47")
    b.tell(100, ev.VaporiserSet, agent="isoflurane", percent=d("1"))
    b.tell(100, ev.FluidGiven, fluid="isotonic_crystalloid", volume_ml=d("20"), minutes=10)
    for minutes, hr, sap, map_, dap in (
        (105, "152", "96", "67", "51"),
        (110, "154", "99", "69", "53"),
        (115, "150", "100", "70", "54"),
        (120, "151", "101", "70", "54"),
        (125, "153", "101", "71", "55"),
    ):
        rate(b, minutes, hr)
        pressure(b, minutes, sap, map_, dap)
    b.tell(126, ev.CuffChecked, pressure_cmh2o=d("19"))
    b.tell(128, ev.TimeMarked, mark="procedure end")


def recovery(b: Book) -> None:
    b.tell(130, ev.VaporiserSet, agent="isoflurane", percent=d("0"))
    b.tell(130, ev.TimeMarked, mark="agent off")
    b.tell(130, ev.InfusionStopped, infusion="i-1", total_ml=d("11.8"))
    b.tell(135, ev.Extubated, signs=("first-reflex",), cuff="deflated")
    b.tell(136, ev.RecoveryWatchBegan, watcher="rowan", every_min=5, place="Recovery 1")
    b.tell(140, ev.RecoveryLooked, heart_rate=164, respiratory_rate=24, spo2=d("97"), gums="pink", temperature_c=d("36.6"),
           state="rousing")  # fmt: skip
    b.tell(150, ev.RecoveryLooked, heart_rate=170, respiratory_rate=26, temperature_c=d("37.0"), state="sternal")
    b.tell(152, ev.PainScored, scale="hospital scale", score=d("3"), out_of=d("10"), phase="recover")
    b.tell(153, ev.AnalgesiaPlanned, plan="methadone 0.2 mg/kg IV", next_due=at(275))
    b.tell(160, ev.DrugWasted, syringe="s-1", drug="methadone", volume_ml=d("0.02"), manner="in sharps", witness="ilse")
    b.tell(
        161, ev.DrugWasted, syringe="s-2", drug="alfaxalone", volume_ml=d("0.20"), manner="in sharps", witness="ilse"
    )
    b.tell(200, ev.TimeMarked, mark="recovery end")
    b.tell(201, ev.Discharged, disposition="to the ward", instructions="soft food")
    b.tell(202, ev.GapExplained, element="F4 09:15", reason="cuff slipped")
    b.tell(205, ev.RecordSigned, role="technician")
    b.tell(206, ev.RecordSigned, role="veterinarian", by="ilse")


def seen_at(minutes: float, book: Book | None = None, *, seconds: float = 0) -> CaseView:
    told = book or teasel()
    entries = until(told, minutes)
    return case_view(told.fold(entries), len(entries), load_facts(), at(minutes) + timedelta(seconds=seconds))


def cell(view: CaseView, reading: str) -> Vital:
    return next(v for v in view.maintain.ribbon if v.reading == reading)


def state(view: CaseView) -> dict[str, str]:
    return {p.phase: p.state for p in view.phases}
