"""Messages of monitors against the numbered list of conformance tests in docs/monitors.md: what is expected stands there, worked out
by hand from the standard, before the reader was written. The second opinion on the same bytes is a general HL7 library (hl7apy)."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from monitor_talk import MSH, SPO2, message, monitor_tables, number, said, worked
from spiracle.monitors import ack, flags
from spiracle.monitors.oru import read

AT = datetime(2026, 3, 12, 10, 0, tzinfo=UTC)


def at(clock: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-12T{clock}+00:00")


# 2: the worked message. Term, value, unit, time, standing and quality as stated beside it.
STATED = [
    ("heart_rate", "168", "/min", "10:14:57", "measured", "good"),
    ("spo2", "97", "%", "10:14:58", "measured", "good"),
    ("pulse_rate", "166", "/min", "10:14:58", "measured", "good"),
    ("sap", "92", "mmHg", "10:13:10", "questionable", "questionable"),
    ("map", "61", "mmHg", "10:13:10", "questionable", "questionable"),
    ("dap", "45", "mmHg", "10:13:10", "questionable", "questionable"),
    ("etco2", "41", "mmHg", "10:14:58", "measured", "good"),
    ("temperature", None, "", "10:14:58", "unavailable", "gap"),
]


def test_2_the_worked_message_gives_the_stated_values_times_and_flags() -> None:
    read_ = read(worked(), monitor_tables())
    assert read_.answer.verdict == "AA"
    heard = read_.heard
    assert heard is not None
    found = [
        (n.reading, None if n.value is None else str(n.value), n.unit, n.device_at, n.standing, flags.quality(n))
        for n in heard.numbers
    ]
    assert found == [(r, v, u, at(t), s, q) for r, v, u, t, s, q in STATED]
    assert (heard.monitor, heard.place, heard.patient_ids, heard.patient_name) == (
        "0123456789ABCDEF",
        "OR 3",
        ("CASE0042",),
        "TESTCAT",
    )
    assert (heard.message_id, heard.sent_at, heard.test, heard.problems) == ("T0001", at("10:15:00"), False, ())
    assert heard.numbers[0].limits == "90-240"


def test_2_another_library_splits_the_worked_message_into_the_same_parts() -> None:
    from hl7apy.parser import parse_message

    theirs = parse_message(worked().decode(), find_groups=False)
    heard = read(worked(), monitor_tables()).heard
    assert heard is not None
    rows = [row for row in theirs.obx if row.obx_2.value or row.obx_8.value]
    assert [(r.obx_3.obx_3_1.value, r.obx_3.obx_3_2.value, r.obx_5.value) for r in rows] == [
        (str(n.code), n.ref, "" if n.value is None else str(n.value)) for n in heard.numbers
    ]
    assert theirs.msh.msh_10.value == heard.message_id
    assert theirs.pid.pid_3.pid_3_1.value == heard.patient_ids[0]


def test_3_a_repeat_is_the_same_message_to_the_letter() -> None:
    """The reader gives one and the same, whatever came between; that five come to one set of values is the hub's."""
    first, second = read(worked(), monitor_tables()), read(worked(), monitor_tables())
    assert first.heard == second.heard


def test_4_no_zone_in_the_time_of_the_message_is_answered_ae_and_the_data_are_kept() -> None:
    read_ = said(SPO2, msh=MSH.replace("20260312101500+0000", "20260312101500"))
    assert (read_.answer.verdict, read_.answer.error) == ("AE", "101")
    assert "zone" in read_.answer.reason
    assert read_.heard is not None
    assert read_.heard.sent_at is None
    assert [str(n.value) for n in read_.heard.numbers] == ["97"]
    assert any("zone" in problem for problem in read_.heard.problems)


def test_4_a_value_whose_own_time_has_no_zone_is_held_since_it_may_be_old() -> None:
    held = number(
        "OBX|2|NM|150021^MDC_PRESS_BLD_NONINV_SYS^MDC|1.3.1.1|92|266016^MDC_DIM_MMHG^MDC|||||R|||20260312101310"
    )
    assert (held.reading, held.value, held.device_at) == ("", None, None)
    assert "zone" in held.why


@pytest.mark.parametrize(
    ("unit", "why"),
    [
        ("", "no unit"),
        ("999999^MDC_DIM_FURLONG^MDC", "no unit"),
        ("266016^MDC_DIM_KILO_PASCAL^MDC", "no unit"),
        ("262688^MDC_DIM_PERCENT^MDC", "ambient pressure"),
        ("268192^MDC_DIM_DEGC^MDC", "does not fit"),
        ("mmHg", "no unit"),
        ("mmHg^^UCUM", "no unit"),
    ],
)
def test_5_no_unit_an_unknown_one_or_one_that_does_not_fit_is_held(unit: str, why: str) -> None:
    """D17: without a unit that is known and fits there is no value."""
    held = number(f"OBX|2|NM|151708^MDC_AWAY_CO2_ET^MDC|1.4.1.1|41|{unit}|||||R")
    assert (held.reading, held.value, held.unit) == ("", None, "")
    assert why in held.why
    assert held.raw.startswith("41")


@pytest.mark.parametrize("unit", ["265987^MDC_DIM_KILO_PASCAL^MDC", "kPa^^UCUM", "3843^MDC_DIM_KILO_PASCAL^MDC"])
def test_5_kilopascal_becomes_millimetres_of_mercury(unit: str) -> None:
    """5.0 kPa is 37.5 mmHg: 5000 / 133.322387415 = 37.503 (NIST SP 811)."""
    found = number(f"OBX|2|NM|151708^MDC_AWAY_CO2_ET^MDC|1.4.1.1|5.0|{unit}|||||R")
    assert (found.reading, found.value, found.unit, found.raw) == ("etco2", Decimal("37.5"), "mmHg", "5.0 kPa")


@pytest.mark.parametrize(
    "term",
    [
        "150021^MDC_PRESS_BLD_NONINV_MEAN^MDC",
        "150020^MDC_PRESS_BLD_NONINV_SYS^MDC",  # a public table stands one step off
        "150017^MDC_PRESS_BLD_NONINV_SYS^MDC",  # another maps these to the cuff
        "151708^MDC_VOL_AWAY_TIDAL^MDC",  # and one gives this number to two terms
        "^MDC_PRESS_BLD_NONINV_SYS^MDC",
        "150021^^MDC",
        "150021^MDC_PRESS_BLD_NONINV_SYS^SCT",
        "150021^mdc_press_bld_noninv_sys^MDC",
    ],
)
def test_6_number_and_name_that_disagree_are_held_as_unknown(term: str) -> None:
    """D16: a code counts only where number and name agree with one row."""
    held = number(f"OBX|2|NM|{term}|1.3.1.1|92|266016^MDC_DIM_MMHG^MDC|||||R")
    assert (held.reading, held.value) == ("", None)
    assert held.why


def channels(*places: tuple[str, str, str]) -> list[str]:
    """Rows of channels and their mean pressures: number of the place, label, value."""
    rows = []
    for n, label, value in places:
        rows.append(f"OBX|1||69711^MDC_DEV_ANALY_PRESS_BLD_CHAN^MDC|1.{n}.0|{label}||||||X")
        rows.append(f"OBX|2|NM|150039^MDC_PRESS_BLD_ART_ABP_MEAN^MDC|1.{n}.1|{value}|266016^MDC_DIM_MMHG^MDC|||||R")
    return rows


def series(*rows: str) -> dict[tuple[int | None, str, str], str]:
    heard = said(*rows).heard
    assert heard is not None
    return {(n.code, heard.monitor, n.channel): str(n.value) for n in heard.numbers if n.reading}


def test_7_the_same_series_whatever_numbers_its_rows_bear() -> None:
    before = series(*channels(("2.1", "ART 1", "70"), ("2.2", "ART 2", "40")))
    after = series(*channels(("7.3", "ART 2", "40"), ("5.9", "ART 1", "70")))
    assert before == after
    assert before == {
        (150039, "0123456789ABCDEF", "ART 1"): "70",
        (150039, "0123456789ABCDEF", "ART 2"): "40",
    }


def test_8_two_channels_are_two_series_and_two_of_one_name_are_held() -> None:
    assert len(series(*channels(("2.1", "ART 1", "70"), ("2.2", "ART 2", "40")))) == 2
    heard = said(*channels(("2.1", "ART", "70"), ("2.2", "ART", "40"))).heard
    assert heard is not None
    assert [n.reading for n in heard.numbers] == ["", ""]
    assert all("which is which" in n.why for n in heard.numbers)


def test_9_a_dial_is_a_setting_and_never_a_measurement() -> None:
    """The setting's number is the measured one and 0x01000000: 152180 + 16777216 = 16929396."""
    dial = number(
        "OBX|2|NM|16929396^MDC_CONC_AWAY_SEVOFL_INSP_SETTING^MDC|1.5.1.1|2.5|262688^MDC_DIM_PERCENT^MDC|||||R"
    )
    assert (dial.setting, dial.reading, dial.value, dial.unit) == (True, "", Decimal("2.5"), "%")
    for wrong in ("152180^MDC_CONC_AWAY_SEVOFL_INSP_SETTING", "16929396^MDC_CONC_AWAY_SEVOFL_INSP"):
        held = number(f"OBX|2|NM|{wrong}^MDC|1.5.1.1|2.5|262688^MDC_DIM_PERCENT^MDC|||||R")
        assert (held.reading, held.value) == ("", None)


# 10: flags of the IHE DEC table with the result status that goes with each, and what the chart does with the value.
@pytest.mark.parametrize(
    ("flag", "status", "standing", "quality"),
    [
        ("", "R", "measured", "good"),
        ("INV", "X", "invalid", "gap"),
        ("QUES", "R", "questionable", "questionable"),
        ("NAV", "X", "unavailable", "gap"),
        ("CAL", "R", "calibrating", "questionable"),
        ("VAL", "F", "validated", "good"),
        ("EARLY", "R", "early", "questionable"),
        ("BUSY", "X", "measuring", "gap"),
        ("NI", "R", "no information", "gap"),
        ("OFF", "R", "switched off", "gap"),
        (">", "R", "above scale", "gap"),
        ("<", "R", "below scale", "gap"),
        ("H", "R", "measured", "good"),
        ("QUES~INV", "R", "invalid", "gap"),
        ("VAL~QUES", "F", "questionable", "questionable"),
        ("ODD", "R", "questionable", "questionable"),
        ("", "X", "unavailable", "gap"),
    ],
)
def test_10_flags(flag: str, status: str, standing: str, quality: str) -> None:
    found = number(f"OBX|2|NM|150456^MDC_PULS_OXIM_SAT_O2^MDC|1.2.1.1|97|262688^MDC_DIM_PERCENT^MDC||{flag}|||{status}")
    assert (found.standing, flags.quality(found), found.reading) == (standing, quality, "spo2")
    assert (found.value is None) == (quality == "gap")
    assert found.raw == "97 %"


@pytest.mark.parametrize("flag", ["TEST", "DEMO", "QUES~TEST"])
def test_10_test_and_demonstration_data_bar_the_whole_message(flag: str) -> None:
    """D18: one flag of test data makes the message test data."""
    heard = said(SPO2, SPO2.replace("1.2.1.1", "1.2.1.2").replace("|92-|", f"|92-|{flag}")).heard
    assert heard is not None
    assert heard.test


@pytest.mark.parametrize(
    ("flag", "alarm"), [("ALACT~PH", "in alarm, alarm priority high"), ("ALINH", "alarm switched off")]
)
def test_10_the_devices_own_alarm_is_kept_in_words(flag: str, alarm: str) -> None:
    found = number(SPO2.replace("|92-|", f"|92-|{flag}"))
    assert (found.alarm, flags.quality(found)) == (alarm, "good")


@pytest.mark.parametrize(
    ("sent", "standing", "value"),
    [
        ("^97", "measured", "97"),
        (">^100", "above scale", None),
        ("=^97", "measured", "97"),
        ("97^-^98", "measured", None),
    ],
)
def test_10_a_structured_number_over_the_scale_is_text(sent: str, standing: str, value: str | None) -> None:
    found = number(f"OBX|2|SN|150456^MDC_PULS_OXIM_SAT_O2^MDC|1.2.1.1|{sent}|262688^MDC_DIM_PERCENT^MDC|||||R")
    assert (found.standing, None if found.value is None else str(found.value)) == (standing, value)


@pytest.mark.parametrize("processing", ["T", "D"])
def test_10_a_test_message_is_test_data_throughout(processing: str) -> None:
    heard = said(SPO2, msh=MSH.replace("|P|2.6", f"|{processing}|2.6")).heard
    assert heard is not None
    assert heard.test


@pytest.mark.parametrize(("status", "standing", "quality"), [("C", "corrected", "good"), ("D", "deleted", "gap")])
def test_11_a_correction_and_a_deletion_say_that_they_are_one(status: str, standing: str, quality: str) -> None:
    found = number(SPO2[:-1] + status)
    assert (found.standing, flags.quality(found)) == (standing, quality)
    assert flags.quality(number(SPO2.replace("|92-|", "|92-|QUES")[:-1] + "C")) == "questionable"


def test_12_two_patients_in_one_message_are_refused_and_another_patient_is_said() -> None:
    both = said("PID|||CASE0042", "PID|||CASE0043", SPO2)
    assert (both.heard, both.answer.verdict) == (None, "AR")
    other = said("PID|||CASE0043^^^TESTHOSP^PI~CHIP1^^^X^PI", SPO2).heard
    assert other is not None
    assert other.patient_ids == ("CASE0043", "CHIP1")


def test_12_a_gateway_that_names_neither_monitor_nor_bed_is_refused() -> None:
    """D7: all its beds would be one monitor. What is expected is ours (HL7 leaves OBX-18 and PV1-3 optional)."""
    nameless = message(SPO2).replace(b"0123456789ABCDEF^^0123456789ABCDEF^EUI-64", b"")
    for visit in (b"", b"PV1||I\r", b"PV1||I|^^\r", b'PV1||I|""\r'):
        found = read(nameless.replace(b"OBR|", visit + b"OBR|"), monitor_tables())
        assert (found.heard, found.answer.verdict) == (None, "AE")
        assert found.answer.reason.startswith("OBX-18") and "PV1-3" in found.answer.reason


def test_12_beds_of_one_gateway_are_monitors_of_their_own() -> None:
    """D7: known by the sender with the bed."""
    nameless = message(SPO2).replace(b"0123456789ABCDEF^^0123456789ABCDEF^EUI-64", b"")
    beds = [read(nameless.replace(b"OBR|", b"PV1||I|OR^^%d\rOBR|" % n), monitor_tables()).heard for n in (1, 2)]
    assert [bed.monitor for bed in beds if bed is not None] == ["0123456789ABCDEF OR 1", "0123456789ABCDEF OR 2"]


def test_21_escapes_and_names_beyond_ascii_are_kept() -> None:
    heard = said("PID|||C1||M\\T\\M^Zoë \\S\\ Łódź \\X41\\ \\Q\\", SPO2).heard
    assert heard is not None
    assert heard.patient_name == "Zoë ^ Łódź A \\Q\\ M&M"


@pytest.mark.parametrize(
    ("charset", "name", "codec"),
    [
        ("8859/1", "Zoë", "latin-1"),
        ("UNICODE UTF-8", "ŁÓDŹ 猫", "utf-8"),
        ("8859/15", "Œil", "iso8859-15"),
        ("", "Tom", "ascii"),
    ],
)
def test_21_each_character_set_is_read_as_it_says(charset: str, name: str, codec: str) -> None:
    text = message("PID|||C1||NAME", SPO2, msh=MSH.replace("UNICODE UTF-8", charset)).decode()
    heard = read(text.replace("NAME", name).encode(codec), monitor_tables()).heard
    assert heard is not None
    assert heard.patient_name == name


def test_21_bytes_that_are_not_what_the_message_says_are_refused() -> None:
    for charset, wrong in (("", b"\xc3\xab"), ("UNICODE UTF-8", b"\xff\xfe"), ("EBCDIC", b"a")):
        data = message("PID|||C1||NAME", SPO2, msh=MSH.replace("UNICODE UTF-8", charset)).replace(b"NAME", wrong)
        found = read(data, monitor_tables())
        assert (found.heard, found.answer.verdict) == (None, "AE")


@pytest.mark.parametrize("stuffing", ["|", "^", "~", "&", "\r"])
def test_22_a_message_of_nothing_but_marks_is_refused_before_it_is_split(stuffing: str) -> None:
    found = read(message("OBX|2|ST|1^A^MDC|1.1.1.1|" + stuffing * 3_000_000, SPO2), monitor_tables())
    assert (found.heard, found.answer.verdict) == (None, "AE")


@pytest.mark.parametrize(
    ("msh", "field", "verdict"),
    [
        (MSH.replace("ORU^R01^ORU_R01", "ADT^A01"), "MSH-9", "AR"),
        (MSH.replace("|2.6|", "|2.3|"), "MSH-12", "AR"),
        (MSH.replace("|P|", "|Q|"), "MSH-11", "AR"),
        (MSH.replace("|T0001|", "||"), "MSH-10", "AE"),
    ],
)
def test_a_message_that_is_not_ours_is_refused_by_its_field(msh: str, field: str, verdict: str) -> None:
    found = said(SPO2, msh=msh)
    assert (found.heard, found.answer.verdict) == (None, verdict)
    assert found.answer.reason.startswith(field)


@pytest.mark.parametrize(
    "broken",
    [
        message(SPO2).replace(b"\r", b"\n"),
        message(SPO2).replace(b"OBR|", b"NTE|"),
        message(SPO2) + message(SPO2),
        message(SPO2, "garbage"),
        message(SPO2).replace(b"97", b"9\x007"),
        message(SPO2)[3:],
        b"",
    ],
    ids=["line feeds", "no group", "two messages", "no segment", "a control character", "no head", "nothing"],
)
def test_nothing_is_heard_of_a_broken_message(broken: bytes) -> None:
    found = read(broken, monitor_tables())
    assert found.heard is None
    assert found.answer.verdict in {"AE", "AR"}


@pytest.mark.parametrize(
    "row",
    [
        SPO2[:-2],  # cut off before its status
        SPO2.replace("|97|", "|9O|"),
        SPO2.replace("|97|", "|97 98|"),
        SPO2.replace("|97|", "|1e5|"),
        SPO2.replace("|97|", "|97^98|"),
        SPO2.replace("|97|", "|97~98|"),
        SPO2.replace("|97|", "|٩٧|"),
        SPO2.replace("|NM|", "|ST|"),
        SPO2.replace("|1.2.1.1|", "|x|"),
        SPO2 + "|||2026031210",
    ],
)
def test_a_broken_row_is_held_and_keeps_what_was_sent(row: str) -> None:
    held = number(row)
    assert (held.reading, held.value) == ("", None)
    assert held.why
    assert held.raw


@pytest.mark.parametrize("verdict", ["AA", "AE", "AR"])
def test_an_acknowledgement_echoes_the_id_and_swaps_the_applications_by_another_librarys_reading(verdict: str) -> None:
    from hl7apy.parser import parse_message

    head = said(SPO2, msh=MSH.replace("|T0001|", "|T\\F\\1|")).head
    sent = ack.write(head, ack.Verdicts(verdict=verdict, error="207", reason="disk | full"), AT, "S1")  # type: ignore[arg-type]
    theirs = parse_message(sent.decode(), find_groups=False)
    assert (theirs.msa.msa_1.value, theirs.msa.msa_2.value) == (verdict, "T\\F\\1")
    assert theirs.msh.msh_9.value == "ACK^R01^ACK"
    assert (theirs.msh.msh_3.value, theirs.msh.msh_5.value) == ("SPIRACLE", "TESTGW^0123456789ABCDEF^EUI-64")
    assert theirs.msh.msh_7.value == "20260312100000.000+0000"
    assert ([s.name for s in theirs.children] == ["MSH", "MSA", "ERR"]) == (verdict != "AA")


@pytest.mark.parametrize(
    ("said_", "verdict", "wanted"),
    [
        ("AL", "AA", True),
        ("NE", "AE", False),
        ("ER", "AA", False),
        ("ER", "AE", True),
        ("SU", "AA", True),
        ("SU", "AR", False),
        ("", "AA", True),
    ],
)
def test_an_answer_goes_where_one_is_wanted(said_: str, verdict: str, wanted: bool) -> None:
    """MSH-16: AL always, NE never, ER on error, SU on success (HL7 table 0155, from memory)."""
    head = said(SPO2, msh=MSH.replace("|NE|AL|", f"|NE|{said_}|")).head
    assert ack.wanted(head, verdict) is wanted  # type: ignore[arg-type]
