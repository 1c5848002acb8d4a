"""Observations of HL7 FHIR R4 in JSON, alone or in a Bundle: numbers, groups of numbers and sampled waves, one `Heard` for each device.

On the lines of HL7's guides for personal health devices and point-of-care devices. Codes count where number and name agree with our
table; a unit is its UCUM code and never the text beside it. A device whose clock is at fault gives values without a time of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal

import msgspec

from spiracle.monitors import fhir_shapes as shape
from spiracle.monitors.codes import find, number_of
from spiracle.monitors.fhir_wave import wave_of
from spiracle.monitors.flags import GAPS
from spiracle.monitors.heard import Heard, Number, Standing, Wave
from spiracle.monitors.tables import MonitorTables
from spiracle.monitors.topic import plain, rfc3339
from spiracle.monitors.units import by_ucum, charted

LONGEST = 4 << 20  # octets
MOST_ENTRIES = 20_000
MOST_DEVICES = 64
CLOCK = "67975"  # MDC_ATTR_TIME_ABS: a device's clock seen beside the gateway's
STATUS_BITS = "150604"  # MDC_PULS_OXIM_DEV_STATUS
MEASUREMENT_STATUS = "/CodeSystem/measurement-status"

STATUS: dict[str, Standing] = {
    "final": "measured", "preliminary": "measured", "amended": "corrected", "corrected": "corrected",
    "entered-in-error": "deleted", "cancelled": "deleted",
}  # fmt: skip
ABSENT: dict[str, Standing] = {
    "not-a-number": "unavailable", "temp-unknown": "unavailable", "unknown": "no information", "error": "invalid",
    "negative-infinity": "below scale", "positive-infinity": "above scale", "not-performed": "switched off",
}  # fmt: skip
# Codes of the measurement status. questionable and in-alarm are in HL7's guide, the others from memory.
SAID: dict[str, Standing | None] = {
    "questionable": "questionable", "in-alarm": None, "invalid": "invalid", "not-available": "unavailable",
    "calibration-ongoing": "calibrating", "early-indication": "early", "validated-data": "validated", "msmt-ongoing": "measuring",
}  # fmt: skip
# Status bits of an oximeter that leave no value at all; the others leave a doubtful one. Bits 2, 7, 10, 11, 12 are in HL7's examples,
# the others (IEEE 11073-10404) from memory.
NO_VALUE_BITS = frozenset({0, 1, 3, 4, 8, 14})
NOTHING_SAID_BITS = frozenset({15})
WORST: tuple[Standing, ...] = (
    "deleted", "invalid", "unavailable", "switched off", "no information", "above scale", "below scale", "measuring", "calibrating",
    "questionable", "early", "corrected", "validated",
)  # fmt: skip


@dataclass
class _Upload:
    """All resources of one payload."""

    id: str = ""
    sent_at: datetime | None = None
    observations: list[shape.Observation] = field(default_factory=list)
    patients: list[shape.Patient] = field(default_factory=list)
    devices: dict[str, shape.Device] = field(default_factory=dict)
    metrics: dict[str, shape.DeviceMetric] = field(default_factory=dict)
    urls: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def read(tables: MonitorTables, payload: bytes) -> tuple[Heard, ...]:
    """What a resource or a Bundle says, by device. Raises nothing; what cannot be read is told in `problems` and gives no value."""
    if len(payload) > LONGEST:
        return (_broken(f"The message has {len(payload)} octets, more than {LONGEST}: not read."),)
    upload = _Upload()
    try:
        _sort(upload, payload)
    except (ValueError, ArithmeticError, RecursionError) as fault:
        return (_broken(f"The message could not be read ({type(fault).__name__})."),)
    if not upload.observations:
        return (_broken(*upload.problems, "There is no observation in the message."),)
    own: dict[str, list[shape.Observation]] = {}
    for observation in upload.observations:
        if not _is_clock(observation):
            own.setdefault(_device(upload, observation), []).append(observation)
    if len(own) > MOST_DEVICES:
        return (_broken(f"The message is of {len(own)} devices, more than {MOST_DEVICES}: not read."),)
    if not own:
        own = {_resolved(upload, upload.observations[0].subject): []}
    return tuple(_heard(tables, upload, device, observations) for device, observations in own.items())


def _broken(*problems: str) -> Heard:
    return Heard(monitor="", problems=problems)


def _sort(upload: _Upload, payload: bytes) -> None:
    top = msgspec.json.decode(payload, type=shape.Top)
    if top.resource_type != "Bundle":
        _resource(upload, "", payload)
        return
    if len(top.entry) > MOST_ENTRIES:
        raise ValueError("too many entries")
    upload.id, upload.sent_at = top.id, rfc3339(top.timestamp)
    for entry in top.entry:
        _resource(upload, entry.full_url, bytes(entry.resource))


def _resource(upload: _Upload, url: str, raw: bytes) -> None:
    """Sort one resource in. One that does not fit its shape spoils the whole upload: what it would have said is not known."""
    top = msgspec.json.decode(raw, type=shape.Top)
    if url and top.id:
        upload.urls[url] = f"{top.resource_type}/{top.id}"
    match top.resource_type:
        case "Observation":
            observation = msgspec.json.decode(raw, type=shape.Observation)
            upload.observations.append(observation)
        case "Patient":
            upload.patients.append(msgspec.json.decode(raw, type=shape.Patient))
        case "Device":
            upload.devices[f"Device/{top.id}"] = msgspec.json.decode(raw, type=shape.Device)
        case "DeviceMetric":
            upload.metrics[f"DeviceMetric/{top.id}"] = msgspec.json.decode(raw, type=shape.DeviceMetric)
        case _:
            upload.problems.append(f"A resource of the kind {top.resource_type[:40]!r} is passed over.")


def _resolved(upload: _Upload, reference: shape.Reference) -> str:
    return upload.urls.get(reference.reference, reference.reference)


def _device(upload: _Upload, observation: shape.Observation) -> str:
    """The device an observation comes from: that of its metric, where the metric is told too."""
    named = _resolved(upload, observation.device)
    metric = upload.metrics.get(named)
    if metric is not None:
        named = _resolved(upload, metric.source if metric.source.reference else metric.parent) or named
    return named


def _is_clock(observation: shape.Observation) -> bool:
    coding = observation.code.mdc()
    return coding is not None and coding.code == CLOCK


def _heard(tables: MonitorTables, upload: _Upload, device: str, own: list[shape.Observation]) -> Heard:
    clock_says, faulty = _clock(upload, device, own)
    problems = [*upload.problems, *clock_says]
    if not device:
        problems.append("No device is named: what is heard belongs to no monitor.")
    elif device.startswith("DeviceMetric/"):
        problems.append("Only a part of a device is named, and not the device it belongs to.")
    numbers: list[Number] = []
    waves: list[Wave] = []
    status = _bits(own)
    for observation in own:
        at = None if faulty else _at(observation)
        bits = status.get(_at(observation), {})
        for measure in (observation, *observation.component):
            if measure.value_sampled_data is not None:
                made = wave_of(tables, measure.code, measure.value_sampled_data, at)
                problems += made.problems
                waves += [made.wave] if made.wave is not None else []
            elif measure.value_quantity is not None or measure.data_absent_reason is not None:
                numbers.append(_number(tables, observation, measure, at, bits))
    patient = upload.patients[0] if len(upload.patients) == 1 else shape.Patient()
    message_id = f"{upload.id} {device}" if upload.id else ""
    told = upload.devices.get(device, shape.Device())
    return Heard(
        monitor=told.eui_64() or device.removeprefix("Device/"), name=_name(told), message_id=message_id,
        patient_ids=tuple(i.value for i in patient.identifier if i.value), patient_name=_patient_name(patient), sent_at=upload.sent_at,
        test=any(_is_test(o) for o in own), numbers=tuple(numbers), waves=tuple(waves), problems=tuple(problems),
    )  # fmt: skip


def _name(device: shape.Device) -> str:
    names = [name.name for name in device.device_name if name.name]
    return names[0] if names else " ".join(part for part in (device.manufacturer, device.model_number) if part)


def _patient_name(patient: shape.Patient) -> str:
    for name in patient.name:
        return name.text or " ".join((*name.given, name.family)).strip()
    return ""


def _is_test(observation: shape.Observation) -> bool:
    return any(coding.code == "HTEST" for coding in observation.meta.security)


def _at(observation: shape.Observation) -> datetime | None:
    return rfc3339(
        observation.effective_date_time or observation.effective_instant or observation.effective_period.start
    )


def _clock(upload: _Upload, device: str, own: list[shape.Observation]) -> tuple[list[str], bool]:
    """What is said of a device's clock, and whether its times are not to be used."""
    referred = {_resolved(upload, e.value_reference) for o in own for e in o.extension if e.value_reference is not None}
    says: list[str] = []
    faulty = False
    for seen in upload.observations:
        if not _is_clock(seen) or not (
            _resolved(upload, seen.subject) == device or f"Observation/{seen.id}" in referred
        ):
            continue
        shown, real = rfc3339(seen.value_date_time), _at(seen)
        if seen.data_absent_reason is not None or shown is None or real is None:
            reason = seen.data_absent_reason.text if seen.data_absent_reason is not None else ""
            says.append(f"The device's clock is at fault{f' ({reason})' if reason else ''}: its times are not used.")
            faulty = True
        elif shown != real:
            off = (real - shown).total_seconds()
            says.append(f"The device's clock was {abs(off):g} s {'behind' if off > 0 else 'ahead of'} the gateway's.")
    return says, faulty


def _bits(observations: Iterable[shape.Observation]) -> dict[datetime | None, dict[int, str]]:
    """The status bits of an oximeter that are set, and their names, by moment. A status without a moment is nobody's."""
    bits: dict[datetime | None, dict[int, str]] = {}
    for observation in observations:
        coding, at = observation.code.mdc(), _at(observation)
        if coding is None or coding.code != STATUS_BITS or at is None:
            continue
        for part in observation.component:
            for said in part.code.coding:
                place = said.code.removeprefix(f"{STATUS_BITS}.")
                if part.value_boolean and place.isascii() and place.isdigit() and len(place) < 3:
                    bits.setdefault(at, {})[int(place)] = said.display or said.code
    return bits


def _number(
    tables: MonitorTables,
    observation: shape.Observation,
    measure: shape.Measure,
    at: datetime | None,
    bits: dict[int, str],
) -> Number:
    coding = measure.code.mdc() or shape.Coding()
    term = find(tables, number_of(coding.code), coding.display)
    oximeter = term.row is not None and term.row.id in {"spo2", "pulse-oximeter", "perfusion-index"}
    flags = (*_flags(measure), *(bits.values() if oximeter else ()))
    stand, why = _standing(observation, measure, bits if oximeter else {})
    amount = measure.value_quantity or shape.Amount()
    number = Number(
        code=term.code, ref=coding.display, reading="", value=None, unit="", raw=_raw(amount), standing=stand, setting=term.setting,
        flags=flags, limits=_limits(observation.extension), alarm="in alarm" if "in-alarm" in flags else "", device_at=at,
    )  # fmt: skip
    if term.row is None or not term.row.reading:
        return msgspec.structs.replace(
            number, why=term.why if term.row is None else term.row.held or "a wave, not a number"
        )
    named = msgspec.structs.replace(number, reading=term.row.reading, site=term.row.site, method=term.row.method)
    if stand in GAPS:
        return msgspec.structs.replace(named, why=why)
    if amount.value is None or not plain(amount.value):
        return msgspec.structs.replace(named, standing="unavailable", why="no value that a monitor can mean")
    read_in = charted(term.row, amount.value, by_ucum(tables, amount.ucum))
    if read_in.value is None:
        return msgspec.structs.replace(number, why=read_in.why)
    return msgspec.structs.replace(named, value=read_in.value, unit=read_in.unit)


def _raw(amount: shape.Amount) -> str:
    """As sent: the value and the code of its unit."""
    if amount.value is None:
        return ""
    value = f"{amount.value:f}" if plain(amount.value) else "a number beyond all bounds"
    return f"{amount.comparator[:2]}{value} {amount.ucum[:32]}".strip()


def _flags(measure: shape.Measure) -> tuple[str, ...]:
    return tuple(coding.code[:32] for concept in measure.interpretation for coding in concept.coding if coding.code)[
        :16
    ]


def _standing(observation: shape.Observation, measure: shape.Measure, bits: dict[int, str]) -> tuple[Standing, str]:
    said = list(_said(observation, measure, bits))
    for worst in WORST:
        reasons = [why for stand, why in said if stand == worst]
        if reasons:
            return worst, ", ".join(reasons)
    return "measured", ""


def _said(
    observation: shape.Observation, measure: shape.Measure, bits: dict[int, str]
) -> Iterator[tuple[Standing, str]]:
    yield STATUS.get(observation.status, "invalid"), f"status {observation.status[:32] or 'not given'}"
    if measure.data_absent_reason is not None:
        codes = [coding.code for coding in measure.data_absent_reason.coding]
        yield (
            ABSENT.get(codes[0] if codes else "", "no information"),
            ", ".join(codes)[:80] or "no value, and no reason",
        )
    if measure.value_quantity is not None and measure.value_quantity.comparator:
        above = measure.value_quantity.comparator.startswith(">")
        yield ("above scale" if above else "below scale"), f"{_raw(measure.value_quantity)}, a bound and no value"
    for concept in measure.interpretation:
        for coding in concept.coding:
            if coding.system.endswith(MEASUREMENT_STATUS):
                stand = SAID.get(coding.code, "questionable")
                if stand is not None:
                    yield stand, coding.code
    for bit, name in bits.items():
        if bit not in NOTHING_SAID_BITS:
            yield ("invalid" if bit in NO_VALUE_BITS else "questionable"), name


def _limits(extensions: tuple[shape.Extension, ...]) -> str:
    """The alarm limits set on the device, "80-100": the device's own, no limit of ours."""
    for outer in extensions:
        for inner in outer.extension:
            if inner.url == "currentLimits" and inner.value_range is not None:
                low, high = (_bound(end) for end in (inner.value_range.low, inner.value_range.high))
                return f"{low}-{high}"
    return ""


def _bound(end: shape.Amount | None) -> str:
    if end is None or end.value is None or not plain(end.value):
        return ""
    return f"{end.value.normalize() if end.value else Decimal(0):f}"
