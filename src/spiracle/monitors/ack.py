"""The answer to a message: AA after it is safe, AE where it could not be processed, AR where it is not for us. Nothing else is ever
sent to a device."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

import msgspec

from spiracle.monitors.segments import Segment, escape
from spiracle.refusals import Contradiction, Missing, NotAllowed, NotOneOf, Refusal

Verdict = Literal["AA", "AE", "AR"]
# Error conditions of HL7 table 0357 (from memory), by the field that is wrong, else by the kind of refusal.
_BY_FIELD = {"MSH-9": "200", "MSH-11": "202", "MSH-12": "203"}
_ERRORS = {
    "100": "Segment sequence error", "101": "Required field missing", "102": "Data type error", "103": "Table value not found",
    "200": "Unsupported message type", "202": "Unsupported processing id", "203": "Unsupported version id",
    "207": "Application internal error",
}  # fmt: skip
INTERNAL = "207"


class Verdicts(msgspec.Struct, frozen=True, kw_only=True):
    """What is answered, and why."""

    verdict: Verdict = "AA"
    error: str = ""
    reason: str = ""


def of_refusal(refusal: Refusal) -> Verdicts:
    """A refusal as an answer: AR where the message is not one of ours at all, AE where it is one and broken."""
    verdict: Verdict = "AR" if isinstance(refusal, (NotOneOf, NotAllowed, Contradiction)) else "AE"
    error = _BY_FIELD.get(refusal.field) or ("101" if isinstance(refusal, Missing) else "102")
    return Verdicts(verdict=verdict, error=error, reason=refusal.sentence)


def wanted(head: Segment | None, verdict: Verdict) -> bool:
    """Whether the sender wants this answer (MSH-16, from memory): AL always, NE never, ER errors only, SU successes only; empty is
    the original mode, in which every message is answered."""
    said = head.text(16) if head is not None else ""
    return {"NE": False, "ER": verdict != "AA", "SU": verdict == "AA"}.get(said, True)


def write(head: Segment | None, said: Verdicts, now: datetime, own_id: str) -> bytes:
    """The acknowledgement: applications swapped, their control id echoed as sent, our time with its zone. `now` has a zone.

    A header that could not be read has nothing to echo: then MSA-2 stays empty.
    """
    fields = [head.raw(n) if head is not None else "" for n in (5, 6, 3, 4)]
    stamp = f"{now:%Y%m%d%H%M%S}.{now.microsecond // 1000:03d}{now:%z}"
    processing = (head.raw(11) if head is not None else "") or "P"
    lines = [
        f"MSH|^~\\&|{'|'.join(fields)}|{stamp}||ACK^R01^ACK|{escape(own_id)}|{processing}|2.6||||||UNICODE UTF-8",
        f"MSA|{said.verdict}|{head.raw(10) if head is not None else ''}",
    ]
    if said.verdict != "AA":
        words = _ERRORS.get(said.error, _ERRORS[INTERNAL])
        lines.append(f"ERR|||{said.error or INTERNAL}^{words}^HL70357|E||||{escape(said.reason[:500])}")
    return "".join(line + "\r" for line in lines).encode("utf-8")
