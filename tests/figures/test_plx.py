"""Packets of Bluetooth pulse oximeters, octet by octet.

Bit layout: Bluetooth SIG, GATT definitions of the PLX characteristics (2015-07-14). SFLOAT (IEEE 11073-20601) and Date Time are from
memory. Worked by hand, apart from the reader: 97 is 0x061 and 182 is 0x0B6 with exponent 0; 0xF3CF is exponent -1 (0xF) and 975
(0x3CF), so 97.5; 0x2001 is 1 x 10^2; 0xFFF6 is -10 (0xFF6) x 10^-1, so -1.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from spiracle.monitors.heard import Heard
from spiracle.monitors.plx import date_time, read_continuous, read_spot_check, sfloat

PROBE = "A4:C1:38:00:00:01"


def continuous(text: str) -> Heard:
    return read_continuous(bytes.fromhex(text), PROBE)


def spot(text: str) -> Heard:
    return read_spot_check(bytes.fromhex(text), PROBE)


@pytest.mark.parametrize(
    ("octets", "value"),
    [("6100", "97"), ("B600", "182"), ("CFF3", "97.5"), ("0000", "0"), ("0120", "100"), ("F6FF", "-1"), ("FFF7", "204.7"),
     ("FF0F", "-1"), ("0108", "-2047"), ("0180", "1E-8")],
)  # fmt: skip
def test_sfloat(octets: str, value: str) -> None:
    """0x07FF is no number; with an exponent (0xF7FF) the same mantissa is 204.7. 0x0801 is kept for later and not -2047."""
    read = sfloat(bytes.fromhex(octets))
    assert read == ("invalid" if octets == "0108" else Decimal(value))


@pytest.mark.parametrize(
    ("octets", "standing"),
    [
        ("FF07", "unavailable"),
        ("0008", "unavailable"),
        ("FE07", "above scale"),
        ("0208", "below scale"),
        ("0108", "invalid"),
    ],
)
def test_what_is_no_number_is_a_gap(octets: str, standing: str) -> None:
    """NaN, not at this resolution, above and below the scale, kept for later: a gap with its reason, never a number."""
    for number in continuous("00" + octets * 2).numbers:
        assert (number.value, number.standing) == (None, standing)
        assert number.why


def test_questionable_is_hollow() -> None:
    """`04 61 00 B6 00 00 40`: SpO2 97, pulse 182, bit 14 of the measurement status."""
    spo2, pulse = continuous("0461 00B6 0000 40").numbers
    assert (spo2.reading, spo2.value, spo2.unit, spo2.standing) == ("spo2", Decimal(97), "%", "questionable")
    assert (pulse.reading, pulse.value, pulse.unit, pulse.standing) == (
        "pulse_rate",
        Decimal(182),
        "/min",
        "questionable",
    )
    assert spo2.flags == ("questionable measurement",)


def test_plain_measurement() -> None:
    """`00 CF F3 B6 00`: nothing but the two numbers, 97.5 and 182, with their codes (SpO2 150456, pulse 149530)."""
    heard = continuous("00CF F3B6 00")
    assert [(n.code, n.value, n.standing, n.why) for n in heard.numbers] == [
        (150456, Decimal("97.5"), "measured", ""), (149530, Decimal(182), "measured", ""),
    ]  # fmt: skip
    assert heard.monitor == PROBE
    assert (heard.test, heard.problems) == (False, ())


@pytest.mark.parametrize(
    ("bit", "standing", "kept"),
    [(5, "measured", True), (6, "early", True), (7, "validated", True), (8, "measured", True), (12, "calibrating", True),
     (13, "unavailable", False), (14, "questionable", True), (15, "invalid", False)],
)  # fmt: skip
def test_each_bit_of_the_measurement_status(bit: int, standing: str, kept: bool) -> None:
    status = (1 << bit).to_bytes(2, "little").hex()
    for number in continuous("046100B600" + status).numbers:
        assert number.standing == standing
        assert (number.value is not None) is kept
        assert number.flags


@pytest.mark.parametrize("bit", [10, 11])
def test_demonstration_and_test_data_say_so(bit: int) -> None:
    assert continuous("046100B600" + (1 << bit).to_bytes(2, "little").hex()).test


def test_a_value_from_the_probes_storage_is_held() -> None:
    """Bit 9: measured at some other time. It stands nowhere as a reading of now."""
    heard = continuous("046100B6000002")
    assert {number.reading for number in heard.numbers} == {""}
    assert all("storage" in " ".join(number.flags) for number in heard.numbers)


@pytest.mark.parametrize("bit", range(16))
def test_each_bit_of_the_sensor_status(bit: int) -> None:
    """24 bits from octet 5 on. Off, disconnected, faulty or without a pulse leaves a gap; displaced or a poor signal leaves it hollow."""
    status = (1 << bit).to_bytes(3, "little").hex()
    spo2, _ = continuous("086100B600" + status).numbers
    gap = bit in {1, 7, 11, 12, 14, 15}
    assert spo2.standing == ("measured" if bit == 0 else "invalid" if gap else "questionable")
    assert (spo2.value is None) is gap
    assert len(spo2.flags) == 1


def test_the_worst_that_is_said_decides() -> None:
    """Validated (bit 7) by the measurement and disconnected (bit 15) by the sensor: a gap."""
    spo2, _ = continuous("0C6100B6008000008000").numbers
    assert (spo2.standing, spo2.value, spo2.why) == ("invalid", None, "sensor disconnected")
    assert set(spo2.flags) == {"validated", "sensor disconnected"}


def test_every_field_in_its_order() -> None:
    """Flags 0x1F: normal 97/182, fast 96/183, slow 98/181, status, sensor, index 1.2 % (0xF00C): 20 octets."""
    heard = continuous("1F6100B6006000B7006200B50000000000000CF0")
    assert [(n.reading, n.channel, n.value, n.raw) for n in heard.numbers] == [
        ("spo2", "", Decimal(97), "97 %"), ("pulse_rate", "", Decimal(182), "182 /min"),
        ("", "fast", None, "96 %"), ("", "fast", None, "183 /min"),
        ("", "slow", None, "98 %"), ("", "slow", None, "181 /min"),
        ("perfusion_index", "", Decimal("1.2"), "1.2 %"),
    ]  # fmt: skip


def test_no_index_unless_the_flags_say_so() -> None:
    assert "perfusion_index" not in [n.reading for n in continuous("006100B600").numbers]


@pytest.mark.parametrize("length", range(20))
def test_a_packet_cut_short_gives_nothing(length: int) -> None:
    whole = bytes.fromhex("1F6100B6006000B7006200B50000000000000CF0")
    heard = read_continuous(whole[:length], PROBE)
    assert heard.numbers == ()
    assert len(heard.problems) == 1


def test_octets_over_give_nothing() -> None:
    assert continuous("006100B60000").numbers == ()


def test_reserved_bits_are_passed_over_and_told() -> None:
    """Bits 5 to 7 of the flags, 0 to 4 of the measurement, 16 to 23 of the sensor status: the numbers stand."""
    heard = continuous("EC6100B6001F000000FF")
    assert [(n.value, n.standing) for n in heard.numbers] == [(Decimal(97), "measured"), (Decimal(182), "measured")]
    assert len(heard.problems) == 1


@pytest.mark.parametrize(("octets", "why"), [("6500", "101 %"), ("F6FF", "-1.0 %"), ("0120", "")])
def test_what_cannot_be_is_no_reading(octets: str, why: str) -> None:
    """101 % and -1 % of saturation are a fault; 100 % (1 x 10^2) is a value."""
    spo2, _ = continuous("00" + octets + "B600").numbers
    assert (spo2.value is None) is bool(why)
    assert why in spo2.why


def test_spot_check_has_a_clock_without_a_zone() -> None:
    """Flags 0x01: 2026-03-12 10:15:00 as Date Time (0x07EA, 3, 12, 10, 15, 0). It is told and never taken for a moment."""
    heard = spot("016100B600EA07030C0A0F00")
    assert [n.value for n in heard.numbers] == [Decimal(97), Decimal(182)]
    assert heard.sent_at is None
    assert {n.device_at for n in heard.numbers} == {None}
    assert "2026-03-12 10:15:00" in heard.problems[0]
    assert date_time(bytes(7)) == "0000-00-00 00:00:00"


def test_spot_check_fields_in_their_order() -> None:
    """Flags 0x1F: time, status, sensor, index; bit 4 says only that the clock was not set and brings no octet."""
    heard = spot("1F6100B600EA07030C0A0F0000402000000CF0")
    assert [(n.reading, n.value, n.standing) for n in heard.numbers] == [
        ("spo2", Decimal(97), "questionable"), ("pulse_rate", Decimal(182), "questionable"),
        ("perfusion_index", Decimal("1.2"), "questionable"),
    ]  # fmt: skip
    assert "not set" in heard.problems[0]


def test_a_spot_check_under_way_has_no_result_yet() -> None:
    spo2, _ = spot("026100B6002000").numbers
    assert (spo2.standing, spo2.value) == ("measuring", None)
