"""Reads the packaged tables, and a hospital's own file over them, into one `Facts`."""

from __future__ import annotations

import hashlib
from datetime import tzinfo
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from spiracle.refusals import Missing, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

ROOMS = (
    "patient",
    "drugs",
    "airway",
    "breathing",
    "circulation",
    "warmth",
    "emergency",
    "recovery",
    "kinetics",
    "capnogram",
    "monitors",
)


def table_texts() -> dict[str, str]:
    """Every packaged table by its name without ending."""
    folder = files("spiracle.source") / "tables"
    return {f.name.removesuffix(".toml"): f.read_text("utf-8") for f in folder.iterdir() if f.name.endswith(".toml")}


def room_texts(texts: dict[str, str], room: str) -> dict[str, str]:
    """The tables of one room: its name alone, or its name with a dash and more."""
    return {n: t for n, t in texts.items() if n == room or n.startswith(f"{room}-")}


def zone_of(name: str) -> tzinfo:
    """A time zone by its name in the time zone database. One that is not there is refused, never taken as UTC."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
        raise Unknown("zone", f"{name[:40]!r} is no time zone.", "Write it like Europe/Dublin.") from fault


@lru_cache(maxsize=4)
def load_facts(hospital: Path | None = None) -> Facts:
    """All facts; `hospital` is the hospital's own TOML. A missing file is refused, never taken as empty, and one with a figure that
    no case could use is refused by its row."""
    from spiracle import __version__
    from spiracle.airway import AirwayTables
    from spiracle.breathing import BreathingTables
    from spiracle.capnogram.tables import CapnogramTables
    from spiracle.case.facts import Facts
    from spiracle.case.hospital import NO_HOSPITAL, read_hospital
    from spiracle.case.hospital_checked import check_hospital
    from spiracle.circulation import CirculationTables
    from spiracle.drugs import Formulary
    from spiracle.emergency import EmergencyTables
    from spiracle.kinetics.tables import KineticsTables
    from spiracle.patient import PatientTables
    from spiracle.recovery import RecoveryTables
    from spiracle.source import Sources, read_sources
    from spiracle.warmth import WarmthTables

    texts = table_texts()
    own = NO_HOSPITAL
    if hospital is not None:
        if not hospital.is_file():
            raise Missing("hospital file", f"{hospital} is not there.", "Give the path of the hospital's TOML file.")
        own = read_hospital(hospital.read_text("utf-8"), hospital.name)
    sources = Sources(row for name, text in sorted(texts.items()) if name.startswith("sources-")
                      for row in read_sources(text, name))  # fmt: skip
    drugs = Formulary.read(room_texts(texts, "drugs"), sources)
    if own.names != "INN" or own.shown:
        drugs = drugs.with_names(own.names, own.shown)
    if own.limits:
        drugs = drugs.with_limits(own.limits, own.name)
    if own.error_percent is not None:
        drugs = drugs.with_error_limit(own.error_percent)
    digest = hashlib.sha256("\0".join(f"{n}\0{t}" for n, t in sorted(texts.items())).encode()).hexdigest()[:10]
    facts = Facts(
        sources=sources,
        patient=PatientTables.read(room_texts(texts, "patient"), sources),
        drugs=drugs,
        airway=AirwayTables.read(room_texts(texts, "airway"), sources),
        breathing=BreathingTables.read(room_texts(texts, "breathing"), sources),
        circulation=CirculationTables.read(room_texts(texts, "circulation"), sources),
        warmth=WarmthTables.read(room_texts(texts, "warmth"), sources),
        emergency=EmergencyTables.read(room_texts(texts, "emergency"), sources),
        recovery=RecoveryTables.read(room_texts(texts, "recovery"), sources),
        kinetics=KineticsTables.read(room_texts(texts, "kinetics"), sources),
        capnogram=CapnogramTables.read(room_texts(texts, "capnogram"), sources),
        hospital=own,
        zone=zone_of(own.zone),
        version=f"spiracle {__version__}, tables {digest}",
    )
    if hospital is not None:
        check_hospital(facts, hospital.name)
    return facts
