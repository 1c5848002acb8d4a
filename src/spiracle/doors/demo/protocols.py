"""The demo hospital's named protocols: invented, each line inside the usual bands of the tables, written and approved as any."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from spiracle.case import events as e
from spiracle.case.facts import Facts
from spiracle.case.ledger import LEDGER
from spiracle.doors.demo.telling import Story
from spiracle.doors.log_store import LogStore

D = Decimal
HEART = (
    "heart-disease",
    "heart-failure",
    "hypertrophic-cardiomyopathy",
    "outflow-obstruction",
    "dilated-cardiomyopathy",
)
NO_NSAID = "only with normal kidneys, no steroid, and pressure good throughout"
MEAN = "vaporiser down a quarter, then 5 mL/kg crystalloid over 15 min; call the veterinarian"


def line(drug: str, purpose: str, route: str, dose: str, unit: str, **more: Any) -> e.ProtocolLine:
    low, _, high = dose.partition("-")
    return e.ProtocolLine(drug=drug, purpose=purpose, route=route, low=D(low), high=D(high or low), unit=unit, **more)


def pressure(below: str, action: str = MEAN) -> e.ProtocolLimit:
    return e.ProtocolLimit(reading="map", below=D(below), action=action)


METHADONE = line("methadone", "premedication", "IM", "0.2", "mg/kg", when="30 min before induction")
PROPOFOL = line("propofol", "induction", "IV", "2-4", "mg/kg", when="to effect, a quarter at a time")
ALFAXALONE = line("alfaxalone", "induction", "IV", "2-5", "mg/kg", when="to effect, a quarter at a time")
MAROPITANT = line("maropitant", "antiemetic", "SC", "1", "mg/kg", when="an hour before the opioid")
EPHEDRINE = line("ephedrine", "blood pressure", "IV", "0.1", "mg/kg", when="if mean stays under 60", optional=True)

# id, title, species, lines, limits, conditions, unless, note
WRITTEN: tuple[tuple[str, dict[str, Any]], ...] = (
    ("dog-healthy", {
        "title": "Healthy dog", "species": "dog",
        "lines": (METHADONE, line("acepromazine", "premedication", "IM", "0.02", "mg/kg"), PROPOFOL,
                  line("carprofen", "NSAID", "SC", "4", "mg/kg", when="at the end", note=NO_NSAID, optional=True)),
        "limits": (pressure("60"),),
        "unless": (*HEART, "brachycephalic", "boxer", "abcb1-mutation", "hypovolaemia", "shock", "age-under-12-weeks"),
    }),
    ("dog-brachycephalic", {
        "title": "Short-nosed dog", "species": "dog",
        "lines": (METHADONE, line("acepromazine", "premedication", "IM", "0.01", "mg/kg", note="light: keep the airway"),
                  MAROPITANT, PROPOFOL),
        "limits": (pressure("65"), e.ProtocolLimit(reading="spo2", below=D(95), action="oxygen by mask, head up; look at the airway")),
        "conditions": ("brachycephalic",), "unless": (*HEART, "shock"),
        "note": "Oxygen from the moment it is sedated. Never left alone. Tube out late, awake and chewing.",
    }),
    ("dog-caesarean", {
        "title": "Caesarean, dog", "species": "dog",
        "lines": (line("alfaxalone", "induction", "IV", "2-3", "mg/kg", when="to effect"),
                  line("lidocaine", "local block", "infiltration", "2", "mg/kg", when="line block before the cut"),
                  line("methadone", "analgesia", "IV", "0.2", "mg/kg", when="once the last puppy is out"), EPHEDRINE),
        "limits": (pressure("65"),), "conditions": ("pregnant",),
        "note": "Clip and oxygen awake. Tilt to the left until the uterus is out.",
    }),
    ("dog-sick", {
        "title": "Sick dog, ASA IV", "species": "dog",
        "lines": (line("methadone", "premedication", "IV", "0.1", "mg/kg", when="over 5 min"),
                  line("midazolam", "co-induction", "IV", "0.2", "mg/kg", when="just before induction"),
                  line("alfaxalone", "induction", "IV", "1-2", "mg/kg", when="to effect, slowly",
                       row="alfaxalone-dog-induction-iv"), EPHEDRINE),
        "limits": (pressure("65"),), "unless": ("portosystemic-shunt",),
        "note": "Stabilise first. Pressure before, during and after induction.",
    }),
    ("cat-dental", {
        "title": "Cat dental", "species": "cat",
        "lines": (METHADONE, ALFAXALONE, line("bupivacaine", "local block", "perineural", "1", "mg/kg", note="all blocks together")),
        "limits": (pressure("60"),), "unless": HEART,
    }),
    ("cat-cardiac", {
        "title": "Cat with a heart", "species": "cat",
        "lines": (line("butorphanol", "premedication", "IM", "0.3", "mg/kg"),
                  line("alfaxalone", "sedation", "IM", "1", "mg/kg", note="only if it cannot be handled", optional=True),
                  ALFAXALONE),
        "limits": (pressure("65", "vaporiser down; no fluid bolus before the veterinarian has looked"),),
        "conditions": ("heart-disease", "heart-murmur", "hypertrophic-cardiomyopathy", "outflow-obstruction"),
        "note": "Calm and quiet. No alpha-2 agonist with heart failure.",
    }),
    ("cat-castration", {
        "title": "Castration, kitten or young cat", "species": "cat",
        "lines": (line("methadone", "premedication", "IM", "0.2", "mg/kg"),
                  line("ketamine", "premedication", "IM", "3", "mg/kg"),
                  line("dexmedetomidine", "premedication", "IM", "5", "mcg/kg"),
                  line("lidocaine", "local block", "infiltration", "1", "mg/kg", note="half into each testicle"),
                  line("meloxicam", "NSAID", "SC", "0.1", "mg/kg", when="at the end", note=NO_NSAID, optional=True)),
        "unless": (*HEART, "heart-murmur", "kidney-disease", "age-under-12-weeks", "shock"),
        "note": "Glucose and warmth from the start: small bodies cool and starve fast.",
    }),
)  # fmt: skip
DENTAL_2: dict[str, Any] = {
    "title": "Cat dental", "species": "cat",
    "lines": (line("methadone", "premedication", "IM", "0.3", "mg/kg", when="30 min before induction"), ALFAXALONE,
              line("bupivacaine", "local block", "perineural", "1", "mg/kg", note="all blocks together"),
              line("maropitant", "antiemetic", "SC", "1", "mg/kg", when="an hour before the opioid", optional=True)),
    "limits": (pressure("65"), e.ProtocolLimit(reading="temperature", below=D("36.5"), action="warm air on high, cover")),
    "unless": HEART, "note": "Small mouths: packs counted in and out.",
}  # fmt: skip
SEIZURE: dict[str, Any] = {
    "title": "Dog with seizures", "species": "dog",
    "lines": (line("methadone", "premedication", "IM", "0.2", "mg/kg"),
              line("midazolam", "premedication", "IM", "0.2", "mg/kg"), PROPOFOL),
    "limits": (pressure("65"),), "conditions": ("seizures",),
    "note": "Its own seizure medicine was given this morning. Midazolam at hand through recovery.",
}  # fmt: skip


def hospital_protocols(store: LogStore, facts: Facts, start: datetime, now: datetime) -> None:
    """Two months ago seven were written and approved; one has a second version since, one still waits for its approval."""
    s = Story(store, facts, "ledger", start, "svr", now)
    s.case = LEDGER
    for n, (name, fields) in enumerate(WRITTEN):
        s.at(20 * n).tell(e.ProtocolWritten, by="svr", protocol=name, version=1, **fields)
        s.at(20 * n + 6).tell(e.ProtocolApproved, by="hol", protocol=name, version=1)
    later = timedelta(days=31).total_seconds() / 60
    s.at(later).tell(e.ProtocolWritten, by="nkw", protocol="cat-dental", version=2, **DENTAL_2)
    s.at(later + 90).tell(
        e.ProtocolApproved, by="hol", protocol="cat-dental", version=2, note="more pain relief, mean 65"
    )
    s.at(later + 20000).tell(e.ProtocolWritten, by="edr", protocol="dog-seizures", version=1, **SEIZURE)
