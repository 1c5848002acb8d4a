"""All tables of all rooms in one frozen value, read once at start. Decisions and sheets take it as an argument."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, tzinfo

from spiracle.airway import AirwayTables
from spiracle.breathing import BreathingTables
from spiracle.capnogram.tables import CapnogramTables
from spiracle.case.hospital import NO_HOSPITAL, Hospital
from spiracle.case.machines import NO_BOOK, MachineBook
from spiracle.case.pairing import OtherCase
from spiracle.case.protocols import NO_PROTOCOLS, Protocols
from spiracle.circulation import CirculationTables
from spiracle.drugs import Formulary
from spiracle.emergency import EmergencyTables
from spiracle.kinetics.tables import KineticsTables
from spiracle.monitors.tables import MonitorTables
from spiracle.patient import PatientTables
from spiracle.recovery import RecoveryTables
from spiracle.source import Sources
from spiracle.warmth import WarmthTables


@dataclass(frozen=True, slots=True)
class Facts:
    """`version` names software and tables as they go on a print: a digest of every table read.

    `zone` is the hospital's own, as a value: words that hold a time of day hold the one on the wall. `protocols` are the
    hospital's own as its ledger has them now, `machines` the book of its machines: the door that holds the log lays both in when it decides
    for a patient. `other_cases` are the other open ones: laid in only where a monitor is paired or its value charted.
    """

    sources: Sources
    patient: PatientTables
    drugs: Formulary
    airway: AirwayTables
    breathing: BreathingTables
    circulation: CirculationTables
    warmth: WarmthTables
    emergency: EmergencyTables
    recovery: RecoveryTables
    kinetics: KineticsTables
    capnogram: CapnogramTables
    monitors: MonitorTables
    hospital: Hospital = NO_HOSPITAL
    version: str = ""
    zone: tzinfo = UTC
    protocols: Protocols = NO_PROTOCOLS
    machines: MachineBook = NO_BOOK
    other_cases: tuple[OtherCase, ...] = ()
