"""HL7's own examples of observations from devices (FHIR R4, CC0; tests/data/hl7-phd and hl7-pocd), and the traps in them.

The figures are those printed in the examples. The point-of-care examples are XML and are turned to JSON here, as FHIR lays both out.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from monitor_table import monitor_tables
from spiracle.monitors.fhir import read
from spiracle.monitors.flags import quality
from spiracle.monitors.heard import Heard

DATA = Path(__file__).resolve().parents[1] / "data"
MANY = {"coding", "component", "category", "interpretation", "extension", "profile"}
NUMBERS = {"period", "factor", "dimensions", "value"}


def phd(name: str) -> Heard:
    (heard,) = read(monitor_tables(), (DATA / "hl7-phd" / f"{name}.json").read_bytes())
    return heard


def pocd(name: str) -> Heard:
    root = ElementTree.parse(DATA / "hl7-pocd" / f"{name}.xml").getroot()  # noqa: S314 - a file of our own tests
    resource = {"resourceType": root.tag.split("}")[1]} | as_json(root)
    (heard,) = read(monitor_tables(), json.dumps(resource).encode())
    return heard


def as_json(node: ElementTree.Element) -> dict[str, Any]:
    found: dict[str, Any] = {"url": node.attrib["url"]} if "url" in node.attrib else {}
    for child in node:
        name = child.tag.split("}")[1]
        text = child.attrib.get("value")
        value: Any = (
            as_json(child) if text is None else float(text) if name in NUMBERS and text[0] in "-0123456789" else text
        )
        if name in MANY:
            found.setdefault(name, []).append(value)
        else:
            found[name] = int(value) if name == "dimensions" else value
    return found


def bundle(*names: str) -> list[Heard]:
    entries = [{"resource": json.loads((DATA / "hl7-phd" / f"{name}.json").read_bytes())} for name in names]
    return list(read(monitor_tables(), json.dumps({"resourceType": "Bundle", "entry": entries}).encode()))


def only(heard: Heard, reading: str) -> tuple[Decimal | None, str, str]:
    (number,) = [n for n in heard.numbers if n.reading == reading]
    return number.value, number.unit, number.standing


def values(heard: Heard) -> list[float | None]:
    (wave,) = heard.waves
    return [None if s is None else round(s * wave.scale + wave.offset, 6) for s in wave.samples]


def test_a_number_in_alarm_keeps_the_devices_alarm_and_limits() -> None:
    """SpO2 79 %, limits 80-100, in alarm."""
    heard = phd("numeric-spo2-alarm")
    (number,) = heard.numbers
    assert (number.reading, number.value, number.unit, number.raw) == ("spo2", Decimal(79), "%", "79.0 %")
    assert (number.alarm, number.limits) == ("in alarm", "80-100")
    assert quality(number) == "good"
    assert number.device_at == datetime(2018, 11, 13, 22, 59, 2, tzinfo=UTC)
    assert heard.monitor == "phd-74E8FFFEFF051C00.001C05FFE874"


def test_an_upload_of_an_oximeter() -> None:
    """12 values each of SpO2 (99-100), pulse (53-54) and quality, once a second."""
    heard = phd("bundle-continuous-oximeter")
    by = {ref: [n for n in heard.numbers if n.ref == ref] for ref in {n.ref for n in heard.numbers}}
    assert [n.raw for n in by["MDC_PULS_OXIM_SAT_O2"]] == ["99.0 %"] + ["100.0 %"] * 11
    assert [n.raw for n in by["MDC_PULS_OXIM_PULS_RATE"]] == ["53.0 /min"] + ["54.0 /min"] * 11
    assert len(by["MDC_SAT_O2_QUAL"]) == 12


def test_quality_above_100_is_no_reading_and_the_last_one_is_a_gap() -> None:
    """ "Quality" begins at 102 % and its 12th value is absent: held all through, and never 0."""
    heard = phd("bundle-continuous-oximeter")
    quality_said = [n for n in heard.numbers if n.ref == "MDC_SAT_O2_QUAL"]
    assert [n.raw for n in quality_said][::11] == ["102 %", ""]
    assert {(n.reading, n.value) for n in quality_said} == {("", None)}
    assert quality_said[-1].standing == "unavailable"


def test_a_saturation_of_100_under_a_displaced_sensor_is_doubtful() -> None:
    """From the third second on the same upload says: pulse questionable, signal poor and inadequate, then sensor displaced."""
    saturation = [n for n in phd("bundle-continuous-oximeter").numbers if n.reading == "spo2"]
    assert [quality(n) for n in saturation] == ["good"] * 2 + ["questionable"] * 10
    assert "sensor-displaced" in saturation[-1].flags


def test_what_is_no_number_is_a_gap_with_its_reason() -> None:
    (number,) = phd("numeric-observation-not-a-number").numbers
    assert (number.value, number.standing) == (None, "unavailable")
    assert quality(number) == "gap"


def test_a_pressure_and_its_mean() -> None:
    """116/71 (86)."""
    heard = phd("compound-numeric-blood-pressure")
    assert [only(heard, name)[:2] for name in ("sap", "dap", "map")] == [(Decimal(v), "mmHg") for v in (116, 71, 86)]


def test_no_mean_is_invented() -> None:
    """116/71 with the mean absent: by the formula it would be 86. It stays absent."""
    heard = phd("compound-numeric-blood-pressure-no-mean")
    assert (only(heard, "sap")[0], only(heard, "dap")[0]) == (Decimal(116), Decimal(71))
    assert only(heard, "map") == (None, "", "unavailable")


def test_the_units_code_and_not_its_text() -> None:
    """Pulse 48: the code is /min, the text beside it has a stray brace."""
    assert only(phd("numeric-spotnumeric"), "pulse_rate") == (Decimal(48), "/min", "measured")


@pytest.mark.parametrize("change", [{"code": "{beat}/min}"}, {"code": ""}, {"system": ""}, {"code": "/h"}])
def test_a_unit_in_text_alone_is_no_unit(change: dict[str, str]) -> None:
    said = json.loads((DATA / "hl7-phd" / "numeric-spotnumeric.json").read_bytes())
    said["valueQuantity"] |= change
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    assert [(n.reading, n.value) for n in heard.numbers] == [("", None)]


def test_temperature() -> None:
    """36.5 Cel."""
    assert only(phd("temperature-observation"), "temperature") == (Decimal("36.5"), "°C", "measured")


def test_a_wave_is_scaled_before_it_is_drawn() -> None:
    """Pleth: origin -3.4, factor 3, data 123 110 97 99 112 118, 2 ms apart."""
    heard = phd("rtsa-example")
    (wave,) = heard.waves
    assert values(heard) == [365.6, 326.6, 287.6, 293.6, 332.6, 350.6]
    assert (wave.wave, wave.rate_hz, wave.samples[:3], wave.scale, wave.offset) == (
        "pleth",
        500.0,
        (123, 110, 97),
        3.0,
        -3.4,
    )


def test_the_limits_of_a_wave_are_of_its_values() -> None:
    """ECG: origin -3300, factor 1.612, limits -500 to 500: datum 2041 is -9.908 and lies inside, though 2041 does not."""
    heard = phd("rtsa-example-2")
    assert values(heard)[0] == -9.908
    assert heard.problems == ()
    assert heard.waves[0].wave == ""
    assert heard.waves[0].rate_hz == 100.0


def test_samples_beyond_the_limits_are_told_and_kept() -> None:
    said = json.loads((DATA / "hl7-phd" / "rtsa-example-2.json").read_bytes())
    said["valueSampledData"]["upperLimit"] = 0
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    above = sum(value > 0 for value in values(heard) if value is not None)
    assert 0 < above < len(heard.waves[0].samples)
    assert heard.problems == (f"{above} samples of the wave lie outside the limits the device gives.",)


def test_samples_that_are_no_value_are_missing() -> None:
    said = json.loads((DATA / "hl7-phd" / "rtsa-example.json").read_bytes())
    said["valueSampledData"]["data"] = "123 E 97 U L 118"
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    assert heard.waves[0].samples == (123, None, 97, None, None, 118)
    said["valueSampledData"]["data"] = "123 x 97"
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    assert heard.waves == ()


def test_times_of_a_faulty_clock_are_not_used() -> None:
    """The clock of the cuff is at fault ("Sensor Time Fault"): its pressure stands, without a time of its own."""
    (heard,) = bundle("compound-numeric-blood-pressure", "coin-example-timefault")
    assert {n.device_at for n in heard.numbers} == {None}
    assert only(heard, "sap")[0] == Decimal(116)
    assert any("Sensor Time Fault" in problem for problem in heard.problems)


def test_a_clock_seen_beside_the_gateways() -> None:
    """The gateway's 19:07:36 was the device's 19:07:35."""
    (heard,) = bundle("compound-numeric-blood-pressure", "coin-20181119202022")
    assert heard.problems == ("The device's clock was 1 s behind the gateway's.",)
    assert {n.device_at for n in heard.numbers} == {datetime(2018, 11, 11, 16, 38, 15, tzinfo=UTC)}


def test_status_bits_alone_are_no_numbers() -> None:
    heard = phd("bits-observation")
    assert (heard.numbers, heard.waves) == ((), ())


def test_a_whole_upload_with_patient_and_devices() -> None:
    """SpO2 98 and pulse 47 of the device 00-1C-05-04-00-00-78-25, patient identifier sisansarahId; the device's clock was 1.064 s ahead."""
    heard = phd("bundle-example-1")
    assert heard.patient_ids == ("sisansarahId",)
    assert heard.patient_name == "Sisansarah Gyannea"
    assert (heard.monitor, heard.name) == ("001C050400007825", "oximeter-1")
    assert (only(heard, "spo2")[0], only(heard, "pulse_rate")[0]) == (Decimal(98), Decimal(47))
    assert heard.problems == ("The device's clock was 1.064 s ahead of the gateway's.",)


def test_point_of_care_numbers() -> None:
    """Heart rate 60; cuff 120/80 (90) mm[Hg]. Only the metric is named as the device, and that is said."""
    heart, cuff = pocd("Observation-HeartRateNumericObservation"), pocd("Observation-NBPCompoundNumericObservation")
    assert only(heart, "heart_rate") == (Decimal(60), "/min", "measured")
    assert [only(cuff, name)[0] for name in ("sap", "dap", "map")] == [Decimal(v) for v in (120, 80, 90)]
    assert "Only a part of a device" in heart.problems[0]


def test_a_wave_of_decimals_without_a_factor() -> None:
    """Central venous pressure: 125 samples, 8 ms apart, "2.00 2.00 2.00 2.01": whole numbers of hundredths, held as we chart none."""
    heard = pocd("Observation-CVPSampleArrayObservation")
    (wave,) = heard.waves
    assert (len(wave.samples), wave.rate_hz, wave.samples[:5], wave.scale) == (
        125,
        125.0,
        (200, 200, 200, 201, 202),
        0.01,
    )
    assert (wave.wave, wave.unit) == ("", "mm[Hg]")
    assert wave.why


def test_three_leads_in_one_observation() -> None:
    """ECG I, II, III: 125 samples each, origin -0.5 mV, factor 0.001: datum 500 is 0 mV and the highest of lead I, 1100, is 0.6 mV."""
    heard = pocd("Observation-ECGSampleArrayObservation")
    assert [(w.code, len(w.samples), w.rate_hz) for w in heard.waves] == [
        (c, 125, 125.0) for c in (131329, 131330, 131389)
    ]
    lead = heard.waves[0]
    top = max(s for s in lead.samples if s is not None)
    assert top * lead.scale + lead.offset == pytest.approx(0.6)
    assert (lead.samples[0] or 0) * lead.scale + lead.offset == 0


def test_test_data_say_so() -> None:
    said = json.loads((DATA / "hl7-phd" / "temperature-observation.json").read_bytes())
    said["meta"]["security"] = [{"system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"}]
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    assert heard.test


@pytest.mark.parametrize(
    ("status", "standing"),
    [("corrected", "corrected"), ("entered-in-error", "deleted"), ("registered", "invalid"), ("", "invalid")],
)
def test_the_status_of_an_observation(status: str, standing: str) -> None:
    said = json.loads((DATA / "hl7-phd" / "temperature-observation.json").read_bytes()) | {"status": status}
    (heard,) = read(monitor_tables(), json.dumps(said).encode())
    assert heard.numbers[0].standing == standing
    assert (quality(heard.numbers[0]) == "gap") is (standing != "corrected")


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"{}",
        b"[]",
        b"\xff",
        b"[" * 100_000,
        b'{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Observation"}}]}',
    ],
)
def test_nothing_of_a_broken_message(payload: bytes) -> None:
    (heard,) = read(monitor_tables(), payload)
    assert (heard.numbers, heard.waves) == ((), ())
    assert heard.problems
