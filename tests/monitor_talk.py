"""Messages of monitors for tests: the worked one with its stated values, and the tables they are read by. No real animal is in them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from room_tables import sources
from spiracle.doors.tables import room_texts, table_texts
from spiracle.monitors.heard import Number
from spiracle.monitors.oru import Said, read
from spiracle.monitors.tables import MonitorTables

WORKED = Path(__file__).parent / "data" / "monitors" / "worked.hl7"
MSH = (
    "MSH|^~\\&|TESTGW^0123456789ABCDEF^EUI-64|TESTHOSP|SPIRACLE||20260312101500+0000||ORU^R01^ORU_R01|T0001|P|2.6|||NE|AL||"
    "UNICODE UTF-8"
)
OBR = "OBR|1||F1^TESTGW|182777000^monitoring of patient^SCT|||20260312101458+0000"
MDS = "OBX|1||69965^MDC_DEV_MON_PHYSIO_MULTI_PARAM_MDS^MDC|1.0.0.0|||||||X|||||||0123456789ABCDEF^^0123456789ABCDEF^EUI-64"
SPO2 = "OBX|2|NM|150456^MDC_PULS_OXIM_SAT_O2^MDC|1.2.1.1|97|262688^MDC_DIM_PERCENT^MDC|92-||||R"


@lru_cache
def monitor_tables() -> MonitorTables:
    return MonitorTables.read(room_texts(table_texts(), "monitors"), sources())


def worked() -> bytes:
    """The worked message with segments ended as HL7 ends them."""
    return WORKED.read_bytes().replace(b"\n", b"\r")


def message(*lines: str, msh: str = MSH, obr: str = OBR) -> bytes:
    """A whole message of these rows under one OBR."""
    return "".join(f"{line}\r" for line in (msh, obr, MDS, *lines)).encode()


def said(*lines: str, msh: str = MSH, obr: str = OBR) -> Said:
    return read(message(*lines, msh=msh, obr=obr), monitor_tables())


def number(*lines: str, msh: str = MSH, obr: str = OBR) -> Number:
    """The one number of a message."""
    heard = said(*lines, msh=msh, obr=obr).heard
    assert heard is not None
    assert len(heard.numbers) == 1, heard
    return heard.numbers[0]
