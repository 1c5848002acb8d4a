"""Whatever a probe, a broker, a gateway or a file says: no exception leaves a reader but a named refusal of a file, what is read stays
within its bounds, and nothing of a message that could not be read is a number."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor_table import monitor_tables
from spiracle.doors.play_file import csv_recording, edf_recording
from spiracle.monitors import fhir, topic
from spiracle.monitors.flags import GAPS, quality
from spiracle.monitors.heard import Heard
from spiracle.monitors.order import LATE, WAITING, Window
from spiracle.monitors.plx import LONGEST, read_continuous, read_spot_check, sfloat
from spiracle.refusals import Refusal

NUM = topic.Topic(site="north", room="2", device="D", kind="num")
WAVE = topic.Topic(site="north", room="2", device="D", kind="wave", code="151700")
CODES = st.sampled_from([150456, 149530, 151708, 151700, 150452, 150021, 0, -1, 2**40])
REFS = st.sampled_from(
    ["MDC_PULS_OXIM_SAT_O2", "MDC_AWAY_CO2_ET", "MDC_CONC_AWAY_CO2", "MDC_PULS_OXIM_PLETH", "", "x" * 200]
)
UNITS = st.sampled_from(["%", "/min", "mm[Hg]", "kPa", "1", "", "mmHg", "\x00"])
FLAGS = st.lists(
    st.sampled_from(["QUES", "INV", "NAV", "TEST", "ALACT", "strange", ""]) | st.text(max_size=40), max_size=20
)
FIGURES = st.one_of(
    st.none(),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([1e308, -0.0, 10**300]),
    st.text(max_size=5),
)
ANYTHING = st.recursive(st.none() | st.booleans() | FIGURES | st.text(max_size=20),
                        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
                        max_leaves=12)  # fmt: skip


def sane(heard: Heard) -> None:
    """What holds of anything that was heard."""
    for number in heard.numbers:
        assert number.value is None or (number.value.is_finite() and number.reading and number.unit)
        assert number.value is None or number.standing not in GAPS
        assert number.value is not None or quality(number) == "gap"
        assert number.value is not None or number.why
    for wave in heard.waves:
        assert all(s is None or -(2**31) <= s < 2**31 for s in wave.samples)
        assert 1 <= wave.rate_hz <= 1000
        assert wave.wave or wave.why


@settings(max_examples=500)
@given(st.binary(max_size=LONGEST + 2))
def test_any_packet_of_a_probe(octets: bytes) -> None:
    for read in (read_continuous, read_spot_check):
        heard = read(octets, "A4:C1:38:00:00:01")
        sane(heard)
        assert heard.numbers or heard.problems
        assert len(heard.numbers) <= 7


@given(st.integers(0, 0xFFFF))
def test_any_sfloat(word: int) -> None:
    """A number has at most four digits of mantissa, 2047, and exponents from -8 to 7 (IEEE 11073-20601, from memory)."""
    read = sfloat(word.to_bytes(2, "little"))
    assert isinstance(read, str) or abs(read) <= 2048 * 10**7


@settings(max_examples=300)
@given(st.fixed_dictionaries({"id": st.text(max_size=70), "code": CODES, "ref": REFS, "v": FIGURES}, optional={
    "u": UNITS, "seq": FIGURES, "t_dev": st.text(max_size=30) | st.datetimes().map(lambda d: f"{d.isoformat()}Z"), "st": FLAGS,
    "site": st.text(max_size=5)}))  # fmt: skip
def test_any_number_of_a_broker(said: dict[str, Any]) -> None:
    told = topic.read(monitor_tables(), NUM, json.dumps(said).encode())
    assert told.heard is not None
    sane(told.heard)
    assert told.heard.numbers or told.heard.problems


@settings(max_examples=300)
@given(st.fixed_dictionaries({"id": st.just("W1"), "code": st.just(151700) | CODES, "ref": REFS, "hz": FIGURES, "scale": FIGURES,
                              "s": st.lists(st.none() | st.integers(-(2**33), 2**33), max_size=20)},
                             optional={"u": UNITS, "offset": FIGURES, "first": FIGURES, "st": FLAGS,
                                       "t_dev": st.text(max_size=30)}))  # fmt: skip
def test_any_wave_of_a_broker(said: dict[str, Any]) -> None:
    told = topic.read(monitor_tables(), WAVE, json.dumps(said).encode())
    assert told.heard is not None
    sane(told.heard)
    assert told.heard.waves or told.heard.problems


@settings(max_examples=300)
@given(st.binary(max_size=200) | ANYTHING.map(lambda value: json.dumps(value).encode()), st.booleans())
def test_any_octets_of_a_broker_and_of_a_gateway(payload: bytes, retained: bool) -> None:
    for where in (NUM, WAVE):
        told = topic.read(monitor_tables(), where, payload, retained)
        assert (told.heard is None) is retained
        if told.heard is not None:
            sane(told.heard)
    for heard in fhir.read(monitor_tables(), payload):
        sane(heard)
        assert heard.problems


@given(st.text(max_size=120))
def test_any_topic(text: str) -> None:
    for name in (text, f"spiracle/v1/{text}", f"spiracle/v1/north/2/D/{text}"):
        found = topic.topic_of(name)
        assert found is None or (topic.is_name(found.device) and topic.is_name(found.room))


NAMES = st.text(min_size=1, max_size=64).filter(topic.is_name)


@given(st.tuples(NAMES, NAMES, NAMES), st.tuples(NAMES, NAMES, NAMES))
@example(("north", "OR1", "monitor"), ("north", "OR2", "monitor"))
@example(("north", "OR1", "0000000000000000"), ("north", "OR2", "0000000000000000"))
@example(("north", "OR1", "FFFFFFFFFFFFFFFF"), ("north", "OR2", "FFFFFFFFFFFFFFFF"))
def test_two_places_of_a_broker_are_never_one_monitor(one: tuple[str, str, str], other: tuple[str, str, str]) -> None:
    """D7: one device name in two rooms is two monitors."""
    found = [topic.topic_of(f"spiracle/v1/{'/'.join(where)}/num") for where in (one, other)]
    assert found[0] is not None and found[1] is not None
    assert (found[0].monitor == found[1].monitor) is (one == other)


@given(NAMES, NAMES)
def test_a_device_with_an_eui_64_is_the_same_in_every_room(site: str, room: str) -> None:
    """An EUI-64 is sixteen hexadecimal digits, of one device (IEEE registration authority)."""
    found = topic.topic_of(f"spiracle/v1/{site}/{room}/0123456789ABCDEF/num")
    assert found is not None and found.monitor == "0123456789ABCDEF"
    said = topic.read(monitor_tables(), found, b"not json")
    assert said.heard is not None and said.heard.monitor == "0123456789ABCDEF"


@st.composite
def observations(draw: st.DrawFn) -> dict[str, Any]:
    """An observation that is nearly right: any of its parts may be another."""
    code = {"coding": [{"system": "urn:iso:std:iso:11073:10101", "code": str(draw(CODES)), "display": draw(REFS)}]}
    amount = {
        "value": draw(FIGURES),
        "system": draw(st.sampled_from(["http://unitsofmeasure.org", ""])),
        "code": draw(UNITS),
    }
    sampled = {"origin": amount, "period": draw(FIGURES), "factor": draw(FIGURES), "dimensions": draw(st.sampled_from([1, 1, 2, 0])),
               "data": draw(st.text(alphabet="0123456789 .-EUL", max_size=40)), "lowerLimit": draw(FIGURES)}  # fmt: skip
    said: dict[str, Any] = {
        "resourceType": "Observation",
        "status": draw(st.sampled_from(["final", "cancelled", ""])),
        "code": code,
    }
    said |= draw(st.sampled_from([{"valueQuantity": amount}, {"valueSampledData": sampled},
                                  {"component": [{"code": code, "valueQuantity": amount}]},
                                  {"dataAbsentReason": {"coding": [{"code": "error"}]}}, {"valueBoolean": True}]))  # fmt: skip
    return said | draw(
        st.dictionaries(
            st.sampled_from(["device", "effectiveDateTime", "extension", "interpretation", "id"]), ANYTHING, max_size=2
        )
    )


@settings(max_examples=300)
@given(st.lists(observations(), max_size=4), ANYTHING)
def test_any_observation(said: list[dict[str, Any]], stamp: Any) -> None:
    upload = {"resourceType": "Bundle", "timestamp": stamp, "entry": [{"resource": one} for one in said]}
    for heard in fhir.read(monitor_tables(), json.dumps(upload).encode()):
        sane(heard)
        assert heard.numbers or heard.waves or heard.problems


@given(st.binary(max_size=300))
def test_any_file(raw: bytes) -> None:
    """A file is played or refused by name."""
    for read in (csv_recording, edf_recording):
        try:
            recording = read(raw, "x")
        except Refusal:
            continue
        assert recording.waves or recording.numbers


CELLS = st.sampled_from(["", "nan", "0", "1.5", "-3", "1e9", "x", "99999999999", "0.00000001", '"', "97"])


@settings(max_examples=300)
@given(
    st.lists(st.sampled_from(["co2_mmhg", "co2_kpa", "pleth", "spo2_percent", "what"]), min_size=1, max_size=3),
    st.data(),
)
def test_any_csv(heads: list[str], data: st.DataObject) -> None:
    rows = data.draw(st.lists(st.lists(CELLS, min_size=len(heads), max_size=len(heads)), max_size=6))
    text = "\n".join([",".join(["time_s", *heads]), *(",".join([str(n / 50), *row]) for n, row in enumerate(rows))])
    try:
        recording = csv_recording(text.encode(), "x")
    except Refusal:
        return
    assert all(wave.rate_hz == 50 and len(wave.samples) == len(rows) for wave in recording.waves)


@settings(max_examples=300)
@given(st.integers(0, 40), st.randoms(use_true_random=False), st.lists(st.integers(0, 40), max_size=12))
def test_a_shuffled_stream_comes_out_once_and_in_order(lost_at: int, chance: Any, again: list[int]) -> None:
    """Forty counted messages, each moved by at most `WAITING`, some twice, one lost: each comes once, and none out of order."""
    sent = [n for n in range(41) if n != lost_at or n == 0]
    order = sorted(sent, key=lambda n: n + (chance.random() * (WAITING - 1) if n else -1))
    window: Window[int] = Window()
    turns = [turn for n in [*order, *(n for n in again if n in sent)] for turn in window.put(n, f"id{n}", n)]
    turns += window.flush()
    assert [turn.item for turn in turns] == sent
    assert sum(turn.missing for turn in turns) == (1 if 0 < lost_at < 40 else 0)


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(st.none() | st.integers(0, 2**53 - 1) | st.integers(0, 3 * LATE), st.text(max_size=3)), max_size=60
    )
)
def test_no_message_is_lost_in_the_window_and_it_stays_small(messages: list[tuple[int | None, str]]) -> None:
    window: Window[int] = Window()
    out: list[int] = []
    for place, (seq, id_) in enumerate(messages):
        out += [turn.item for turn in window.put(seq, id_, place)]
        assert window.held <= WAITING
    out += [turn.item for turn in window.flush()]
    first_of_id = {id_: place for place, (_, id_) in reversed(list(enumerate(messages))) if id_}
    kept = [place for place, (_, id_) in enumerate(messages) if not id_ or first_of_id[id_] == place]
    assert sorted(out) == kept
