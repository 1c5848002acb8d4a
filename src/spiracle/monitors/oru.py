"""One HL7 v2.6 message of a monitor (ORU^R01 as IHE device enterprise communication has it) into what was heard.

A message whose frame is broken gives nothing. A line that is broken, unknown or without a unit is held: it keeps what was sent, has
no reading and no value, and says why. Nothing is guessed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import msgspec

from spiracle.monitors import flags as marks
from spiracle.monitors import units, wave_lines
from spiracle.monitors.ack import Verdicts, of_refusal
from spiracle.monitors.heard import Heard, Number, Wave
from spiracle.monitors.rows import Devices, Group, Row, joined, row_of, unit_of, unit_words
from spiracle.monitors.segments import Segment, head_of, one, split
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.times import Stamp, read_stamp
from spiracle.refusals import Missing, NotAllowed, NotOneOf, OutOfRange, Refusal

LONGEST_ID = 199  # of a control id, by the profile
MOST_PROBLEMS = 50
NO_TIME = Stamp(why="no time")


class Said(msgspec.Struct, frozen=True, kw_only=True):
    """A message read. `heard` is None where nothing of it may be used; `answer` is what the sender is told once the rest is safe.

    Both may be there: a message without a time zone is kept and answered with AE.
    """

    head: Segment | None = None
    heard: Heard | None = None
    answer: Verdicts = Verdicts()


def read(data: bytes, tables: MonitorTables) -> Said:
    """One message's bytes, without its frame. Never raises: what is wrong is in the answer."""
    head: Segment | None = None
    try:
        if len(data) > tables.limit("message-bytes"):
            return too_long(data, tables)
        head = head_of(data)
        _check_head(head)
        segments = split(data, head, tables)
        heard = _heard(head, segments, tables)
    except Refusal as refusal:
        return Said(head=head, answer=of_refusal(refusal))
    if heard.sent_at is None:
        why = read_stamp(head.text(7)).why
        return Said(
            head=head, heard=heard, answer=Verdicts(verdict="AE", error="101", reason=f"MSH-7: {why}. Kept, not dated.")
        )
    return Said(head=head, heard=heard)


def too_long(first: bytes, tables: MonitorTables) -> Said:
    """The refusal of a message over the limit, from its first bytes."""
    refusal = OutOfRange("message", f"is over {tables.limit('message-bytes')} bytes.", "Send shorter messages.")
    try:
        return Said(head=head_of(first), answer=of_refusal(refusal))
    except Refusal:
        return Said(answer=of_refusal(refusal))


def _check_head(head: Segment) -> None:
    """Type, version, processing id and control id, each refused by its field."""
    kind = "^".join(w for n in (1, 2) if (w := head.text(9, n)))
    if kind != "ORU^R01":
        raise NotOneOf("MSH-9", f"{kind[:40]!r} is not read here.", "Only ORU^R01 is.")
    if head.text(12) != "2.6":
        raise NotOneOf("MSH-12", f"version {head.text(12)[:20]!r} is not read.", "Version 2.6 is.")
    if head.text(11) not in {"P", "T", "D"}:
        raise NotOneOf("MSH-11", f"{head.text(11)[:20]!r} is no processing id.", "P is a patient's, T and D are tests.")
    control = head.text(10)
    if not control or len(control) > LONGEST_ID:
        raise Missing("MSH-10", "has no control id of at most 199 characters.", "Give each message its own.")


def _heard(head: Segment, segments: tuple[Segment, ...], tables: MonitorTables) -> Heard:
    patient, visit = one(segments, "PID"), one(segments, "PV1")
    rows = _rows(segments, tables)
    devices = Devices(rows)
    place = joined(visit, 3, (1, 2, 3)) if visit is not None else ""
    monitor = _monitor(head, devices, place)
    sent = read_stamp(head.text(7))
    channels = {i: devices.channel(row.place, monitor) for i, row in enumerate(rows)}
    twins = _twins(rows, channels)
    numbers = tuple(
        _number(tables, row, channels[i], twins.get(i, ""))
        for i, row in enumerate(rows)
        if not row.names_device and not wave_lines.is_wave(row)
    )
    waves = wave_lines.waves(tables, rows)
    return Heard(
        monitor=monitor,
        name=head.words(3),
        place=place,
        patient_ids=_patients(patient),
        patient_name=joined(patient, 5, (2, 1)) if patient is not None else "",
        message_id=head.text(10),
        sent_at=sent.at,
        test=head.text(11) != "P" or any(marks.tests(tables, row.flags) for row in rows),
        numbers=numbers,
        waves=waves,
        problems=_problems(sent, numbers, waves),
    )


def _rows(segments: tuple[Segment, ...], tables: MonitorTables) -> list[Row]:
    """Every OBX under its OBR. One without an OBR has no default time and no order: the message is broken."""
    group: Group | None = None
    rows: list[Row] = []
    for segment in segments:
        if segment.name == "OBR":
            index = group.index + 1 if group is not None else 0
            group = Group(index=index, start=read_stamp(segment.text(7)), end=read_stamp(segment.text(8)))
        elif segment.name == "OBX":
            if group is None:
                raise Missing("OBR", "does not stand before the first OBX.", "Open each group with an OBR.")
            rows.append(row_of(tables, segment, group))
    if group is None:
        raise Missing("OBR", "is not there.", "A message of values has at least one.")
    return rows


def _monitor(head: Segment, devices: Devices, place: str) -> str:
    """Whose message this is: the monitor's own id, else the sender's with the place, since a gateway speaks for many beds.

    With neither, all beds of a gateway would be one monitor, and one patient's numbers another's: refused (D7).
    """
    own = devices.monitors()
    if len(own) > 1:
        raise NotAllowed("OBX-18", f"names {len(own)} monitors in one message.", "One monitor a message.")
    if own:
        return own[0]
    sender = head.words(3, 2) if head.words(3, 3) == "EUI-64" and head.words(3, 2) else head.words(3)
    if not sender:
        raise Missing("MSH-3", "does not say who sends.", "Name the sender, or the monitor in OBX-18.")
    if not any(c.isalnum() for c in place):  # nor is HL7's "" (a field emptied) a place
        raise Missing("OBX-18", "names no monitor, and PV1-3 no place: which bed this is cannot be told.",
                      "Give the monitor's own id in OBX-18 of its row 1.0.0.0, or the bed in PV1-3.")  # fmt: skip
    return f"{sender} {place}"


def _patients(patient: Segment | None) -> tuple[str, ...]:
    if patient is None:
        return ()
    ids = (patient.text(3, 1, 1, n + 1)[:250] for n in range(min(len(patient.parts(3)), 20)))
    return tuple(dict.fromkeys(i for i in ids if i))


def _twins(rows: list[Row], channels: Mapping[int, str]) -> dict[int, str]:
    """Rows that nobody can tell apart, by their place in the list, and why each is held."""
    metric = [i for i, r in enumerate(rows) if not r.names_device and not wave_lines.is_wave(r)]
    where = {i: (rows[i].group.index, rows[i].term.ref, rows[i].place) for i in metric}
    series = {i: (*where[i][:2], channels[i], rows[i].device, rows[i].segment.text(20)) for i in metric}
    places, names = Counter(where.values()), Counter(series.values())
    twins: dict[int, str] = {}
    for i in metric:
        if places[where[i]] > 1:
            twins[i] = "the same term stands twice at one place"
        elif names[series[i]] > 1:
            twins[i] = "two channels of one name: nobody can tell which is which"
    return twins


def _number(tables: MonitorTables, row: Row, channel: str, twin: str) -> Number:
    """One row as a number: charted as its term, a gap with its reason, or held."""
    segment, term = row.segment, row.term
    unit = unit_of(tables, segment)
    sent, standing = _value(segment, row.kind), marks.standing(tables, row.status, row.flags)
    if sent.startswith((">", "<")):
        standing = "above scale" if sent[0] == ">" else "below scale"
    why = _held(row, twin)
    value = units.Charted()
    if not why and standing not in marks.GAPS and term.row is not None:
        value = _charted(tables, row, sent)
        why = value.why
    if why or term.row is None:
        value = units.Charted(value=value.value if term.setting else None, unit=value.unit if term.setting else "")
    return Number(
        code=term.code,
        ref=term.ref,
        reading="" if why or term.row is None or term.setting else term.row.reading,
        value=value.value,
        unit=value.unit,
        raw=f"{sent[:200]} {unit_words(segment, unit)}".strip(),
        standing=standing,
        setting=term.setting,
        flags=row.flags,
        why=why or ("a dial's setting, not a measurement" if term.setting else _gap_why(standing)),
        channel=channel,
        site=segment.text(20, 2)[:80] or segment.text(20)[:80] or (term.row.site if term.row is not None else ""),
        method=(term.row.method if term.row is not None else "") or segment.text(17, 2)[:80],
        limits=segment.text(7)[:80],
        alarm=marks.alarm(tables, row.flags),
        device_at=row.at,
    )


def _held(row: Row, twin: str) -> str:
    """Why a row is held whatever its value, or ""."""
    if row.term.why:
        return row.term.why
    if row.term.row is not None and row.term.row.held:
        return row.term.row.held
    if row.why or twin:
        return row.why or twin
    if len(row.place) > 4:
        return "a part of another row, no value of its own"
    return "" if row.status in marks.STATUS else "no result status that we know"


def _gap_why(standing: str) -> str:
    return standing if standing in marks.GAPS else ""


def _value(segment: Segment, kind: str) -> str:
    """The value as sent: a plain one, or a structured number (SN) with its comparator before it."""
    if kind != "SN":
        return (
            str(segment.raw(5))
            if len(segment.parts(5)) > 1 or len((segment.parts(5) or ((),))[0]) > 1
            else segment.text(5)
        )
    comparator, separator = segment.text(5, 1), segment.text(5, 3)
    if separator or comparator not in {"", "=", ">", "<", ">=", "<="}:
        return segment.raw(5)
    return comparator.lstrip("=") + segment.text(5, 2)


def _charted(tables: MonitorTables, row: Row, sent: str) -> units.Charted:
    if row.kind not in {"NM", "SN"}:
        return units.Charted(why=f"a value of type {row.kind[:8] or 'nothing'} is not charted")
    value = units.decimal_of(sent)
    if value is None:
        return units.Charted(why="its value is no plain number")
    assert row.term.row is not None  # noqa: S101 - the caller asks for rows of the table only
    return units.charted(row.term.row, value, unit_of(tables, row.segment))


def _problems(sent: Stamp, numbers: tuple[Number, ...], waves: tuple[Wave, ...]) -> tuple[str, ...]:
    """All that was wrong, each once, the most pressing first."""
    said = [f"MSH-7: {sent.why}"] if sent.at is None else []
    said += [
        f"{n.ref or 'a row'}: {n.why}"
        for n in numbers
        if n.why and not n.reading and not (n.setting and n.value is not None)
    ]
    said += [f"{w.ref or 'a wave'}: {w.why or w.gap}" for w in waves if w.why or w.gap]
    once = tuple(dict.fromkeys(said))
    return once if len(once) <= MOST_PROBLEMS else (*once[:MOST_PROBLEMS], f"and {len(once) - MOST_PROBLEMS} more")
