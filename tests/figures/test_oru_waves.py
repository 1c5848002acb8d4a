"""Waves in messages of monitors: conformance tests 15 and 22 of docs/monitors.md, and what is written read back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from monitor_talk import OBR, message, monitor_tables, said
from spiracle.doors.oru_write import OutNumber, OutWave, Sender, write
from spiracle.monitors.oru import read

AT = datetime(2026, 3, 12, 10, 0, tzinfo=UTC)


def at(clock: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-12T{clock}+00:00")


def wave(
    samples: str, *, rate: str = "100", unit: str = "266016^MDC_DIM_MMHG^MDC", flag: str = "", step: str = ""
) -> list[str]:
    rows = [
        f"OBX|2|NA|151700^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|{samples}|{unit}||{flag}|||R",
        f"OBX|3|NM|0^MDC_ATTR_SAMP_RATE^MDC|1.4.1.5.1|{rate}|264608^MDC_DIM_PER_SEC^MDC|||||R",
    ]
    if step:
        rows.append(f"OBX|4|NM|2327^MDC_ATTR_NU_MSMT_RES^MDC|1.4.1.5.2|{step}|266016^MDC_DIM_MMHG^MDC|||||R")
    return rows


TENTH = OBR + "|20260312101458.100+0000"  # the group lasts a tenth of a second


@pytest.mark.parametrize(
    ("count", "gap"), [(10, ""), (9, "10 samples expected, 9 came"), (11, "10 samples expected, 11 came")]
)
def test_15_a_wave_with_a_wrong_count_is_flagged_as_a_gap(count: int, gap: str) -> None:
    heard = said(*wave("^".join("41.5" for _ in range(count))), obr=TENTH).heard
    assert heard is not None
    found = heard.waves[0]
    assert (found.gap, found.why, len(found.samples), found.wave) == (gap, "", count, "co2")


def test_15_samples_are_kept_as_sent_and_missing_ones_stay_missing() -> None:
    heard = said(*wave("4.1^4^^-0.25")).heard
    assert heard is not None
    found = heard.waves[0]
    assert found.samples == (410, 400, None, -25)
    assert (found.scale, found.offset, found.rate_hz, found.unit, found.device_at) == (
        0.01,
        0.0,
        100.0,
        "mm[Hg]",
        at("10:14:58"),
    )


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        (wave("41^4x^40"), "no number"),
        (wave("41^40", rate="0"), "no sampling rate"),
        (wave("41^40", rate="5000"), "no sampling rate we take"),
        (wave("41^40")[:1], "no sampling rate"),
        (wave("41^40", unit=""), "no unit"),
        (wave("41^40", unit="268192^MDC_DIM_DEGC^MDC"), "does not fit"),
        (wave("4100^4000", step="0.01"), "counts or values"),
        (wave("41^40~41^40"), "several channels"),
        (wave("99999999999^40"), "no number"),
    ],
)
def test_15_a_wave_that_cannot_be_read_for_certain_is_held(rows: list[str], why: str) -> None:
    heard = said(*rows).heard
    assert heard is not None
    assert heard.waves[0].wave == ""
    assert why in heard.waves[0].why


def test_15_a_wave_that_was_invalid_has_no_samples_but_keeps_its_length() -> None:
    heard = said(*wave("41^40^39", flag="INV")).heard
    assert heard is not None
    assert (heard.waves[0].samples, heard.waves[0].gap) == ((None, None, None), "invalid")


def test_15_classic_rows_give_values_by_sensitivity_and_baseline() -> None:
    """HL7 v2.6 chapter 7: value = (sample - baseline) x sensitivity x correction: (512 - 512) x 0.1 = 0, (912 - 512) x 0.1 = 40."""
    heard = said(
        "OBX|2|DTM|151700&TIM^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|20260312101457.5+0000||||||R",
        "OBX|3|CD|151700&CHN^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|1&CO2^^0.1&266016&MDC_DIM_MMHG&MDC^1&512^50||||||R",
        "OBX|4|MA|151700&WAV^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|512~912~~512||||||R",
    ).heard
    assert heard is not None
    found = heard.waves[0]
    values = [None if s is None else s * found.scale + found.offset for s in found.samples]
    assert values == pytest.approx([0, 40, None, 0], abs=1e-9)
    assert (found.wave, found.unit, found.rate_hz, found.device_at, found.why) == (
        "co2",
        "mm[Hg]",
        50.0,
        at("10:14:57.500"),
        "",
    )


def test_15_the_channel_type_has_the_parts_that_another_library_lists() -> None:
    from hl7apy.v2_6.datatypes import DATATYPES_STRUCTS

    parts = {part[0]: part[1] for part in DATATYPES_STRUCTS["CD"]}
    assert [sub[1][3] for sub in parts["CD_3"][1]][:4] == [
        "CHANNEL_SENSITIVITY",
        "UNIT_OF_MEASURE_IDENTIFIER",
        "UNIT_OF_MEASURE_DESCRIPTION",
        "UNIT_OF_MEASURE_CODING_SYSTEM",
    ]
    assert [sub[1][3] for sub in parts["CD_4"][1]][1] == "CHANNEL_CALIBRATION_BASELINE"
    assert parts["CD_5"][3] == "CHANNEL_SAMPLING_FREQUENCY"


def test_22_five_megabytes_of_waves_are_read_and_more_than_the_limit_is_refused() -> None:
    limit = monitor_tables().limit("message-bytes")
    big = message(*wave("^".join(["41.5"] * 1_000_000)))
    assert 4_900_000 < len(big) < limit
    heard = read(big, monitor_tables()).heard
    assert heard is not None
    assert len(heard.waves[0].samples) == 1_000_000
    over = read(message(*wave("^".join(["41.5"] * 1_400_000))), monitor_tables())
    assert (over.heard, over.answer.verdict) == (None, "AE")
    assert str(limit) in over.answer.reason


def test_what_is_written_is_read_back_to_the_digit() -> None:
    waves = [
        OutWave(term="co2-wave", unit="mm[Hg]", rate_hz=Decimal(100), scale=Decimal("0.1"), samples=(1, -2, None, 405)),
        OutWave(
            term="pleth-wave",
            unit="1",
            rate_hz=Decimal("62.5"),
            scale=Decimal("0.25"),
            offset=Decimal(-1),
            samples=(7, None),
        ),
    ]
    numbers = [
        OutNumber(term="spo2", value="97", unit="%"),
        OutNumber(term="temp", value="", unit="", flags=("NAV",), status="X"),
    ]
    sender = Sender(eui64="00AA", place=("OR", "", "2"), patient_id="C|1", patient_name="Zoë & Max")
    found = read(
        write(monitor_tables(), sender, "M1", AT, numbers, waves, waves_at=AT - timedelta(seconds=1)), monitor_tables()
    )
    heard = found.heard
    assert heard is not None, found.answer
    assert [(w.wave, w.samples, w.scale, w.offset, w.rate_hz, w.gap) for w in heard.waves] == [
        ("co2", (1, -2, None, 405), 0.1, 0.0, 100.0, ""),
        ("pleth", (7, None), 0.25, -1.0, 62.5, ""),
    ]
    assert {w.device_at for w in heard.waves} == {AT - timedelta(seconds=1)}
    assert [(n.reading, n.value) for n in heard.numbers] == [("spo2", Decimal(97)), ("temperature", None)]
    assert (heard.patient_ids, heard.patient_name, heard.place, heard.monitor) == (
        ("C|1",),
        "Zoë & Max",
        "OR 2",
        "00AA",
    )
