"""A grown, healthy dog asleep under isoflurane with a pump of fentanyl: what there is to expect of drug and gas can be shown."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.case import events as e
from spiracle.case.facts import Facts
from spiracle.doors.demo.monitors import LARCH, paired
from spiracle.doors.demo.parts import admitted, made_ready, questions, signed, tube_in
from spiracle.doors.demo.telling import Story
from spiracle.doors.log_store import LogStore

D = Decimal


def healthy_dog(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """From the plan to the middle of the operation, half an hour after induction."""
    s = Story(store, facts, "knee", start, "pjt", now)
    admitted(s, species="dog", name="Larch", breed="crossbreed", sex="male neutered", age="5 y", kg="18.6", room="Theatre 2",
             procedure="left knee", minutes=90, scale="walk-on scale, 100 g step", number="HS-2218")  # fmt: skip
    s.at(4)
    questions(
        s,
        owner="A. Brandt",
        fasted_h=9,
        asa="II",
        condition=5,
        temperature="38.4",
        heart=96,
        breaths=22,
        problem="lame",
    )
    s.at(9)
    s.order("o1", "methadone", "premedication", "IM", "0.3", "0.3", "mg/kg")
    s.order("o2", "acepromazine", "premedication", "IM", "0.02", "0.02", "mg/kg")
    s.order("o3", "propofol", "induction", "IV", "2", "4", "mg/kg")
    s.order("o4", "fentanyl", "maintenance", "IV", "3", "5", "mcg/kg/h", concentration="0.05 mg/mL")
    s.tell(e.LimitOrdered, by="svr", reading="map", below=D(65), ordered_by="svr",
           action="vaporiser down, crystalloid 5 mL/kg over 15 min; call SV")  # fmt: skip
    s.tell(e.AirwayMeasured, incisors_to_inlet_cm=D("27"))
    signed(s, ("o1", "o2", "o3", "o4"), "II")
    s.at(14)
    made_ready(s, "Machine C", "circle")
    s.at(24)
    for order, syringe in (("o1", "s1"), ("o2", "s2"), ("o3", "s3")):
        s.draw(order, syringe, seen_by="nkw")
    s.tell(e.SyringeDrawn, syringe="s4", order="o4", drug="fentanyl", vial_concentration="0.05 mg/mL",
           concentration="0.05 mg/mL", volume_ml=D(10), drug_volume_ml=D(10), barrel="10 mL", lot="D4471", expires="2028-03",
           seen_by="nkw")  # fmt: skip
    s.give("o1", "s1", site="left epaxial")
    s.give("o2", "s2", site="left epaxial")
    s.tell(e.TimeMarked, mark="premedicated")
    s.at(46)
    s.tell(e.CatheterPlaced, site="right cephalic", size="20 G")
    s.tell(e.PreoxygenationBegan, way="mask", flow_l_min=D(3))
    s.check("sign-in", 0.25)
    s.at(52)
    s.tell(e.PreoxygenationEnded)
    s.tell(e.TimeMarked, mark="induction")
    for i in range(3):
        s.t = s.start + timedelta(minutes=52, seconds=5 + 45 * i)
        s.give("o3", "s3", volume="1.8")
    s.at(55)
    s.tell(e.EffectNoted, of="induction", quality="smooth")
    tube_in(s, "9.0", "25", "24", "18", "12.2")
    s.tell(e.GasSet, oxygen_l_min=D(2))
    s.tell(e.VaporiserSet, agent="isoflurane", percent=D(3))
    s.tell(e.VentilationSet, mode="spontaneous")
    paired(s, LARCH)
    s.at(58)
    s.tell(e.InfusionStarted, infusion="f1", drug="fentanyl", rate_ml_h=D("1.8"), order="o4", syringe="s4")
    rows = (
        ("88", "14", "98", "42", "37.9", "0.7", (118, 84, 66)),
        ("84", "14", "98", "43", "37.7", "1.2", (112, 78, 62)),
        ("82", "12", "99", "44", "37.5", "1.3", (110, 76, 60)),
        ("80", "12", "98", "44", "37.3", "1.3", (108, 75, 60)),
    )
    for i, (hr, rr, spo2, co2, t, et, pressure) in enumerate(rows):
        s.at(60 + 5 * i)
        s.row(
            {"heart_rate": hr, "respiratory_rate": rr, "spo2": spo2, "etco2": co2, "temperature": t, "agent_et": et},
            {"eye": "down", "jaw": "loose", "pulse": "strong", "gums": "pink"},
            pressure,
        )
        if i == 1:
            s.t += timedelta(minutes=1)
            s.tell(e.VaporiserSet, agent="isoflurane", percent=D(2))
            s.tell(e.GasSet, oxygen_l_min=D(1))
