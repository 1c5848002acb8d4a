"""Terms, units and clocks of monitors against what is printed elsewhere."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pint
import pytest

from monitor_talk import monitor_tables
from spiracle.circulation import CirculationTables
from spiracle.doors.tables import load_facts
from spiracle.monitors import codes, times
from spiracle.monitors.times import Skew, read_stamp
from spiracle.monitors.units import decimal_of, mmhg_of_kpa

# Numbers with their names as HL7's own examples print them (Personal Health Device and Point-of-Care Device guides, R4, CC0).
PRINTED = [
    (147842, "MDC_ECG_HEART_RATE"),
    (149530, "MDC_PULS_OXIM_PULS_RATE"),
    (150456, "MDC_PULS_OXIM_SAT_O2"),
    (150452, "MDC_PULS_OXIM_PLETH"),
    (150020, "MDC_PRESS_BLD_NONINV"),
    (150021, "MDC_PRESS_BLD_NONINV_SYS"),
    (150022, "MDC_PRESS_BLD_NONINV_DIA"),
    (150023, "MDC_PRESS_BLD_NONINV_MEAN"),
    (150084, "MDC_PRESS_BLD_VEN_CENT"),
    (150364, "MDC_TEMP_BODY"),
    (131329, "MDC_ECG_ELEC_POTL_I"),
    (131330, "MDC_ECG_ELEC_POTL_II"),
    (131389, "MDC_ECG_ELEC_POTL_III"),
    (69965, "MDC_DEV_MON_PHYSIO_MULTI_PARAM_MDS"),
]


@pytest.mark.parametrize(("number", "name"), PRINTED)
def test_the_table_has_what_the_guides_print(number: int, name: str) -> None:
    found = codes.find(monitor_tables(), number, name)
    assert found.row is not None
    assert found.row.mark == "S"


@pytest.mark.parametrize(
    ("number", "name"),
    [
        (150020, "MDC_PRESS_BLD_NONINV_SYS"),
        (150021, "MDC_PRESS_BLD_NONINV_DIA"),
        (150022, "MDC_PRESS_BLD_NONINV_MEAN"),
        (151708, "MDC_VOL_AWAY_TIDAL"),
        (149504, "MDC_PULS_OXIM_PLETH"),
        (150017, "MDC_PRESS_CUFF_SYS"),
    ],
)
def test_rows_of_public_tables_that_contradict_the_guides_are_not_taken(number: int, name: str) -> None:
    """D16: what contradicting tables would send is held."""
    found = codes.find(monitor_tables(), number, name)
    assert found.row is None
    assert "disagree" in found.why


def test_what_public_tables_contradict_says_so_in_its_row() -> None:
    said = {row.number for row in monitor_tables().codes if row.contradicted}
    assert {150020, 150021, 150022, 150023, 151708, 151868, 150017, 150018, 150019} <= said


def test_a_short_term_is_widened_only_where_its_partition_is_known() -> None:
    """150456 is 2 x 65536 + 19384 (IEEE 11073-10101: partition and term)."""
    assert codes.find(monitor_tables(), 19384, "MDC_PULS_OXIM_SAT_O2").row is None
    widened = codes.find(monitor_tables(), 19384, "MDC_PULS_OXIM_SAT_O2", codes.METRICS)
    assert (widened.code, widened.row is not None) == (150456, True)
    assert codes.number_of("2::19384") == 150456
    assert [codes.number_of(text) for text in ("", "-1", "1e5", "2::99999", "12345678901", "١")] == [None] * 6


def test_terms_of_gases_step_by_four_and_settings_carry_the_bit() -> None:
    """The 2013 note: one gas to the next steps by four in one phase; a setting adds 0x01000000."""
    tables = monitor_tables()
    by_name = {row.ref: row.number for row in tables.codes}
    for phase in ("ET", "INSP"):
        numbers = [by_name[f"MDC_CONC_AWAY_{gas}_{phase}"] for gas in ("DESFL", "ENFL", "SEVOFL", "ISOFL")]
        assert numbers == [numbers[0], numbers[0] + 4, numbers[0] + 12, numbers[0] + 16]
    row = tables.by_name["MDC_CONC_AWAY_ISOFL_INSP"]
    assert codes.dial_code(row) == (0x01000000 + 152184, "MDC_CONC_AWAY_ISOFL_INSP_SETTING")


def test_what_comes_from_memory_keeps_its_mark() -> None:
    marks = {row.ref: (row.mark, row.memory) for row in monitor_tables().codes}
    assert marks["MDC_CONC_AWAY_SEVOFL_ET"] == ("M", True)
    assert marks["MDC_PRESS_BLD_ART_MEAN"] == ("M", True)
    assert all((row.mark == "M") == row.memory for row in (*monitor_tables().codes, *monitor_tables().units))


def test_every_reading_and_unit_is_one_the_chart_has() -> None:
    circulation: CirculationTables = load_facts().circulation
    tables = monitor_tables()
    for row in tables.codes:
        if not row.reading:
            continue
        wanted = {"mmHg" if ucum == "kPa" else tables.units_by_ucum[ucum].log for ucum in row.units}
        if "mm[Hg]" in row.units:
            wanted -= {"%"}  # held: per cent of a gas needs the ambient pressure
        for unit in wanted:
            assert circulation.bounds(row.reading, unit=unit).reading == row.reading


def test_kilopascal_against_an_independent_units_library() -> None:
    ours = pint.UnitRegistry()
    for kpa in ("0.1", "4.7", "5.0", "5.3", "13.3"):
        theirs = ours.Quantity(float(kpa), "kPa").to("mmHg").magnitude
        assert float(mmhg_of_kpa(Decimal(kpa))) == pytest.approx(theirs, abs=0.051)


@pytest.mark.parametrize(
    "text", ["", " 97", "97 ", "1e3", "NaN", "Infinity", "0x10", "9,7", "--1", "1.2.3", "٩٧", "1" * 13]
)
def test_what_is_no_plain_number_is_none(text: str) -> None:
    assert decimal_of(text) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("20260312101500+0000", "2026-03-12T10:15:00+00:00"),
        ("20260312101457.5+0100", "2026-03-12T10:14:57.500000+01:00"),
        ("20260312101457.123456-0530", "2026-03-12T10:14:57.123456-05:30"),
        ("20240229235959+1400", "2024-02-29T23:59:59+14:00"),
    ],
)
def test_times_against_the_standard_librarys_own_reading(text: str, expected: str) -> None:
    assert read_stamp(text).at == datetime.fromisoformat(expected)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no time"),
        ("20260312101500", "no zone"),
        ("20260312101500-0000", "no zone"),
        ("202603121015+0000", "cannot be read"),
        ("20260312", "cannot be read"),
        ("20260230101500+0000", "cannot be read"),
        ("20260312251500+0000", "cannot be read"),
        ("20260312101500+9999", "cannot be read"),
        ("20260312101500+0075", "cannot be read"),
        ("00010101000000+1400", "cannot be read"),
        ("2026-03-12T10:15:00Z", "cannot be read"),
        ("20260312101500.1234567+0000", "cannot be read"),
    ],
)
def test_a_time_that_is_not_whole_is_none_and_says_why(text: str, why: str) -> None:
    found = read_stamp(text)
    assert found.at is None
    assert why in found.why


NOW = datetime(2026, 3, 12, 10, 0, tzinfo=UTC)


def heard_for(
    skew: Skew, seconds: int, off: timedelta, start: datetime = NOW, late: float = 0.2
) -> tuple[Skew, datetime]:
    """A message a second from a clock that is `off` behind ours (negative: ahead), each late by `late`."""
    for n in range(seconds):
        at = start + timedelta(seconds=n)
        skew = times.heard(monitor_tables(), skew, at - off, at + timedelta(seconds=late))
    return skew, start + timedelta(seconds=seconds)


def test_a_clock_24_minutes_behind_is_corrected_once_it_is_steady() -> None:
    """D8: a device clock that is off is measured, corrected while steady, and said."""
    off = timedelta(minutes=24)
    few, _ = heard_for(Skew(), 4, off)
    assert not few.steady
    skew, now = heard_for(Skew(), 10, off)
    assert skew.steady
    assert skew.seconds == pytest.approx(24 * 60 + 0.2)
    assert "24 min behind" in skew.says
    sent = now - off
    moment = times.moment(monitor_tables(), skew, sent - timedelta(seconds=30), sent, now + timedelta(seconds=0.2))
    assert (moment.used, moment.at) == ("corrected", now - timedelta(seconds=29.8))
    before = times.moment(monitor_tables(), few, sent, sent, now)
    assert (before.used, before.at) == ("arrival", now)


def test_two_monitors_three_minutes_apart_stand_at_one_time() -> None:
    one, now = heard_for(Skew(), 10, timedelta(0))
    other, _ = heard_for(Skew(), 10, timedelta(minutes=-3))
    arrived = now + timedelta(seconds=0.2)
    first = times.moment(monitor_tables(), one, now, now, arrived)
    second = times.moment(monitor_tables(), other, now + timedelta(minutes=3), now + timedelta(minutes=3), arrived)
    assert first.at == second.at
    assert "ahead of" in other.says


def test_a_clock_put_forward_for_summer_is_a_leap_and_arrival_counts_until_it_is_steady_again() -> None:
    skew, now = heard_for(Skew(), 20, timedelta(0))
    ahead = timedelta(hours=1)
    arrived = now + timedelta(seconds=0.2)
    leapt = times.heard(monitor_tables(), skew, now + ahead, arrived)
    moment = times.moment(monitor_tables(), leapt, now + ahead, now + ahead, arrived)
    assert (moment.used, moment.at) == ("arrival", arrived)
    assert "leapt" in moment.why
    again, now = heard_for(leapt, 5, -ahead, now + timedelta(seconds=1))
    assert (again.steady, again.leaps) == (True, 1)
    assert again.seconds == pytest.approx(-3599.8)
    # A zone that changes by the rules of a country is no leap: the offset is written in each time.
    berlin = ZoneInfo("Europe/Berlin")
    change = datetime(2026, 3, 29, 0, 59, 50, tzinfo=UTC)
    whole = Skew()
    for n in range(20):
        at = change + timedelta(seconds=n)
        local = at.astimezone(berlin)
        stamp = read_stamp(f"{local:%Y%m%d%H%M%S%z}").at
        whole = times.heard(monitor_tables(), whole, stamp, at)
    assert (whole.steady, whole.leaps, whole.seconds) == (True, 0, 0)


def test_a_clock_that_falls_back_to_1970_is_set_aside() -> None:
    """D8: a clock that was never set is not used."""
    skew, now = heard_for(Skew(), 20, timedelta(0))
    off = now - datetime(1970, 1, 1, tzinfo=UTC)
    fallen, now = heard_for(skew, 20, off, now)
    assert not fallen.steady
    assert "never set" in fallen.says
    moment = times.moment(monitor_tables(), fallen, now - off, now - off, now)
    assert (moment.used, moment.at) == ("arrival", now)


def test_one_late_message_unsettles_nothing_and_stands_at_its_arrival() -> None:
    skew, now = heard_for(Skew(), 20, timedelta(0))
    late = now + timedelta(seconds=40)
    after = times.heard(monitor_tables(), skew, now, late)
    assert (after.steady, after.seconds, after.leaps) == (True, skew.seconds, 0)
    assert times.moment(monitor_tables(), after, now, now, late).used == "arrival"


def test_nothing_stands_after_its_arrival_or_is_dated_from_too_old_a_time() -> None:
    skew, now = heard_for(Skew(), 20, timedelta(0))
    early = times.moment(monitor_tables(), skew, now + timedelta(seconds=9), now, now + timedelta(seconds=0.2))
    assert (early.used, early.at) == ("arrival", now + timedelta(seconds=0.2))
    old = times.moment(monitor_tables(), skew, now - timedelta(hours=2), now, now)
    assert (old.used, "2 h" in old.why) == ("arrival", True)
    assert times.heard(monitor_tables(), skew, None, now) is skew


def test_the_page_lists_every_term_unit_and_flag_with_how_it_was_seen() -> None:
    page = (Path(__file__).resolve().parents[2] / "docs" / "monitors.md").read_text("utf-8")
    tables = monitor_tables()
    for row in tables.codes:
        names = ", ".join(f"`{name}`" for name in row.names)
        line = next(line for line in page.splitlines() if line.startswith(f"| {row.number} | {names} |"))
        assert f"| {row.says} | {row.mark} |" in line
        assert row.held in line and row.contradicted in line
    for unit in tables.units:
        assert f"| {unit.number} | `{unit.ref}` | {unit.ucum} | {unit.log or 'a pure number'} | {unit.mark} |" in page
    for flag in tables.flags.values():
        assert f"| `{flag.id}` | {flag.means} | {flag.standing} | {flag.kind} |" in page
