"""Bytes in and out: strict JSON, a size limit, one shape for every error."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from spiracle.case.decide_form import title
from spiracle.case.events import Event, decode
from spiracle.doors.log_store_write import shape_of
from spiracle.refusals import Contradiction, Missing, NotAQuantity, NotOneOf, OutOfRange, Refusal, Unknown
from spiracle.sheets.shapes import Answer, Refused

LARGEST_BODY, MOST_EVENTS = 1_000_000, 500
_ENCODER = msgspec.json.Encoder(decimal_format="number")


class Turned(Exception):
    """A request is turned away with a status and a named refusal."""

    def __init__(self, status: int, refusal: Refusal) -> None:
        super().__init__(refusal.sentence)
        self.status, self.refusal = status, refusal


class ErrorShape(msgspec.Struct, frozen=True):
    refused: Refused


class _Post(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    events: tuple[msgspec.Raw, ...]


class _IdOnly(msgspec.Struct, frozen=True):
    id: str = ""


_NUMBER = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")
_POST: msgspec.json.Decoder[_Post] = msgspec.json.Decoder(_Post)
_ID: msgspec.json.Decoder[_IdOnly] = msgspec.json.Decoder(_IdOnly)


def answer(found: Any, status: int = 200) -> Response:
    return Response(_ENCODER.encode(found), status, {"Cache-Control": "no-store"}, "application/json")


def turned_away(refusal: Refusal, status: int) -> Response:
    return answer(ErrorShape(shape_of(refusal)), status)


async def body_of(request: Request) -> bytes:
    """The body, never more than the limit in memory whatever the header says."""
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise Turned(415, NotOneOf("content type", f"{kind[:40]!r} is not JSON.", "Send application/json."))
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > LARGEST_BODY:
            raise Turned(413, OutOfRange("body", "is over 1 MB.", "Send fewer entries at a time."))
        parts.append(part)
    return b"".join(parts)


def events_of(body: bytes, case: str) -> tuple[Event | Answer, ...]:
    """The events of a post. One that cannot be read becomes its own refusal; the others go on."""
    try:
        raws = _POST.decode(body).events
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as fault:
        raise Turned(400, Contradiction("body", f"{fault}.", 'Send {"events": [...]}.')) from fault
    if len(raws) > MOST_EVENTS:
        raise Turned(413, OutOfRange("events", f"{len(raws)} at once are too many.", f"Send at most {MOST_EVENTS}."))
    return tuple(_event_of(bytes(raw), case) for raw in raws)


def _event_of(raw: bytes, case: str) -> Event | Answer:
    try:
        event = decode(raw)
        _plain_numbers(event, raw)
    except (msgspec.ValidationError, UnicodeDecodeError, RecursionError) as fault:
        return Answer(id=_id_of(raw), written=False, refused=shape_of(_named(str(fault))))
    except NotAQuantity as refusal:
        return Answer(id=_id_of(raw), written=False, refused=shape_of(refusal))
    if event.case != case:
        elsewhere = Contradiction("case", f"this entry belongs to case {event.case[:60]}.", "Send it to its own case.")
        return Answer(id=event.id, written=False, refused=shape_of(elsewhere))
    return event


def _plain_numbers(event: Event, raw: bytes) -> None:
    """A number sent as text is digits with at most one point: no blank, no underscore, no exponent, no other script."""
    sent = msgspec.json.decode(raw)
    for name in event.__struct_fields__:
        text = sent.get(name)
        if isinstance(text, str) and isinstance(getattr(event, name), Decimal) and not _NUMBER.fullmatch(text):
            raise NotAQuantity(title(name), f"{text[:30]!r} is not a plain number.", "Write it like 4.2.")


def _id_of(raw: bytes) -> str:
    try:
        return _ID.decode(raw).id
    except (msgspec.DecodeError, RecursionError):
        return ""


def _named(fault: str) -> Refusal:
    """The named refusal of a fault in an event's shape."""
    says, _, path = fault.partition(" - at `$")
    field = title((re.findall(r"\w+", path) or ["entry"])[-1])
    if found := re.search(r"missing required field `(\w+)`", fault):
        return Missing(title(found[1]), "is not there.", "Give it.")
    if found := re.search(r"unknown field `(\w+)`", fault):
        return Unknown(found[1], "is not a field of this entry.", "Leave it out.")
    if "Invalid value" in says and field == "event":
        return Unknown("event", f"{says}.", "Name one of Spiracle's events.")
    if "Invalid enum value" in says:
        return NotOneOf(field, f"{says}.", "Choose one of the offered ones.")
    if "decimal" in says or "int" in says:
        return NotAQuantity(field, f"{says}.", "Give a plain number.")
    return NotOneOf(field, f"{says}.", "Give it in the form the manual shows.")


def number_param(text: str, field: str) -> int:
    if not re.fullmatch(r"\d{1,9}", text):
        raise NotAQuantity(field, f"{text[:20]!r} is not a whole number.", "Give a whole number.")
    return int(Decimal(text))
