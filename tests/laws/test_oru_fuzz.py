"""Whatever bytes a monitor sends: no exception but an answer, no value from a broken line, and nothing held without bound."""

from __future__ import annotations

import tracemalloc
from datetime import UTC, datetime
from decimal import Decimal

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor_talk import MDS, MSH, OBR, SPO2, message, monitor_tables, worked
from spiracle.doors.oru_write import OutNumber, OutWave, Sender, write
from spiracle.monitors import ack, codes, flags, times
from spiracle.monitors.frames import Frames, framed
from spiracle.monitors.oru import Said, read
from spiracle.monitors.units import decimal_of

NOW = datetime(2026, 3, 12, 10, 15, tzinfo=UTC)
WAVE = [
    "OBX|2|NA|151700^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|41.5^41.0^^40.5|266016^MDC_DIM_MMHG^MDC|||||R",
    "OBX|3|NM|0^MDC_ATTR_SAMP_RATE^MDC|1.4.1.5.1|100|264608^MDC_DIM_PER_SEC^MDC|||||R",
    "OBX|3|CD|150452&CHN^MDC_PULS_OXIM_PLETH^MDC|1.4.1.6|1&X^^0.1&262656&MDC_DIM_DIMLESS&MDC^1&512^50||||||R",
    "OBX|4|NA|150452&WAV^MDC_PULS_OXIM_PLETH^MDC|1.4.1.6|512^912^^512||||||R",
]
SEEDS = [worked(), message(SPO2, *WAVE), message("PID|||C1||A\\T\\B^Zoë", "PV1||I|OR^^3", SPO2)]
PIECES = [
    b"|", b"^", b"~", b"&", b"\\", b"\r", b"\n", b"\x0b", b"\x1c", b"\x00", b"\\X41\\", b"\\XFF\\", b"\\.sp999999999\\", b"OBX|", b"OBR|",
    b"MSH|^~\\&|", b"PID|", b"NaN", b"1e999999", b"-0", b"99999999999999999999", b"NA", b"MA", b"SN", b"QUES", b"NAV", b"TEST",
    b"_SETTING", b"&WAV", b"&CHN", b"&TIM", b"-0000", b"+9999", b"00000000000000", b"\xff", b"\xc3\xa9", b"0", b"150021", b"8859/1",
]  # fmt: skip


def lawful(found: Said) -> None:
    """What holds of every message, good or bad."""
    tables = monitor_tables()
    sent = ack.write(found.head, found.answer, NOW, "S1")
    assert sent.startswith(b"MSH|") and b"\x0b" not in sent and b"\x1c" not in sent
    assert sent.count(b"\r") == (2 if found.answer.verdict == "AA" else 3)
    if found.heard is None:
        assert found.answer.verdict in {"AE", "AR"}
        assert found.answer.reason
        return
    assert found.heard.monitor and found.heard.message_id
    for number in found.heard.numbers:
        if number.reading:
            term = codes.find(tables, number.code, number.ref)
            assert term.row is not None and term.row.reading == number.reading and not term.setting
        if number.value is not None:
            assert number.unit and not (number.why and number.reading)
            assert number.value.is_finite() and abs(number.value) < 10**16
            assert number.reading or number.setting
        assert number.reading or number.why
        assert flags.quality(number) == "gap" or (number.reading and number.value is not None)
        assert len(number.raw) <= 300 and len(number.why) <= 300
    for wave in found.heard.waves:
        assert bool(wave.wave) != bool(wave.why)
        if wave.wave:
            assert wave.unit and wave.rate_hz >= 1 and wave.scale
        assert all(s is None or abs(s) < 2**31 for s in wave.samples)
    assert len(found.heard.problems) <= 52


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    data = bytearray(draw(st.sampled_from(SEEDS)))
    for _ in range(draw(st.integers(1, 8))):
        at = draw(st.integers(0, len(data)))
        kind = draw(st.integers(0, 4))
        if kind == 0:
            data[at:at] = draw(st.sampled_from(PIECES))
        elif kind == 1:
            del data[at : at + draw(st.integers(1, 30))]
        elif kind == 2 and at < len(data):
            data[at] = draw(st.integers(0, 255))
        elif kind == 3:
            end = draw(st.integers(at, min(len(data), at + 60)))
            data[at:at] = data[at:end]
        else:
            data[at : at + draw(st.integers(0, 6))] = draw(st.sampled_from(PIECES))
    return bytes(data)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(mutated())
def test_a_changed_message_is_lawful(data: bytes) -> None:
    lawful(read(data, monitor_tables()))


@settings(max_examples=200, deadline=None)
@given(
    st.binary(max_size=400),
    st.sampled_from([b"", (MSH + "\r").encode(), f"{MSH}\r{OBR}\r{MDS}\r".encode(), b"MSH|^~\\&|"]),
)
def test_random_bytes_are_lawful(tail: bytes, head: bytes) -> None:
    lawful(read(head + tail, monitor_tables()))


field = st.text(alphabet=st.characters(exclude_categories=("Cs",), exclude_characters="\r"), max_size=20)


@settings(max_examples=200, deadline=None)
@given(st.lists(field, min_size=1, max_size=22))
def test_a_row_of_any_fields_is_lawful(fields: list[str]) -> None:
    lawful(read(message("OBX|" + "|".join(fields), SPO2), monitor_tables()))


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 21), field)
def test_one_strange_field_of_a_good_row_never_makes_another_value(at: int, strange: str) -> None:
    """The value is 97 or there is none: no other field can turn it into another number, and no other reading."""
    fields = SPO2.split("|") + [""] * 12
    fields[at] = strange
    found = read(message("|".join(fields)), monitor_tables())
    lawful(found)
    if found.heard is None or at == 5 or "|" in strange:
        return
    for number in found.heard.numbers:
        assert (number.reading, number.value) in {("spo2", Decimal(97)), ("spo2", None), ("", None)}


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.one_of(st.none(), st.integers(-(10**8), 10**8)), min_size=1, max_size=60),
    st.integers(0, 6),
    st.sampled_from([Decimal(1), Decimal("0.25"), Decimal("0.0152587890625")]),
    st.integers(-1000, 1000),
)
def test_samples_come_back_as_they_were_sent(
    samples: list[int | None], decimals: int, step: Decimal, baseline: int
) -> None:
    tables = monitor_tables()
    plain = OutWave(
        term="co2-wave", unit="mm[Hg]", rate_hz=Decimal(100), scale=Decimal(1).scaleb(-decimals), samples=tuple(samples)
    )
    classic = OutWave(
        term="pleth-wave", unit="1", rate_hz=Decimal(100), scale=step, offset=-baseline * step, samples=tuple(samples)
    )
    data = write(
        tables, Sender(eui64="00AA"), "M1", NOW, [OutNumber(term="spo2", value="97", unit="%")], [plain, classic]
    )
    found = read(data, tables)
    lawful(found)
    assert found.heard is not None
    assert [w.samples for w in found.heard.waves] == [tuple(samples)] * 2
    assert [w.gap for w in found.heard.waves] == ["", ""]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.binary(max_size=30).map(lambda b: b.replace(b"\x0b", b"").replace(b"\x1c", b"")), max_size=8), st.data()
)
def test_frames_come_out_whole_however_they_are_cut(messages: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(b"\r\n" + framed(m) for m in messages)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    frames = Frames(100)
    found = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += frames.feed(stream[start:end])
        assert frames.held <= 100
    assert [f.data for f in found] == messages


@settings(max_examples=200, deadline=None)
@given(st.lists(st.binary(max_size=200), max_size=10))
def test_frames_hold_no_more_than_their_limit(parts: list[bytes]) -> None:
    frames = Frames(64)
    for part in parts:
        assert all(len(f.data) <= 4096 for f in frames.feed(part))
        assert frames.held <= 64


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=30), st.from_regex(r"[0-9]{14}(\.[0-9]{1,7})?[+-][0-9]{4}", fullmatch=True)))
def test_any_text_is_a_time_with_a_zone_or_says_why_not(text: str) -> None:
    found = times.read_stamp(text)
    assert (found.at is None) == bool(found.why)
    assert found.at is None or found.at.astimezone(UTC).tzinfo is UTC
    assert codes.number_of(text) is None or 0 <= codes.number_of(text) < 2**33  # type: ignore[operator]
    value = decimal_of(text)
    assert value is None or value.is_finite()


def test_a_long_message_of_marks_costs_no_more_than_a_few_times_its_size() -> None:
    """Bytes at the peak, not time: half a megabyte of separators or of samples."""
    rows = ["|" * 400_000, "~" * 400_000, "&" * 400_000]
    arrays = ["^" * 100_000, "~" * 100_000, "1^" * 100_000]
    for row in [
        *(f"OBX|2|ST|{r}" for r in rows),
        *(f"OBX|2|NA|151700^MDC_CONC_AWAY_CO2^MDC|1.4.1.5|{a}" for a in arrays),
    ]:
        data = message(row)
        tracemalloc.start()
        lawful(read(data, monitor_tables()))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert peak < 40 * 1024 * 1024, row[:40]
