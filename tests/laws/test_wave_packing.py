"""Laws of the packed minute: whatever went in comes out, to the bit; a damaged blob never comes out as something else."""

from __future__ import annotations

import random
import zlib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spiracle.doors.waves.packing import Block, Format, Torn, block_of, joined, pack, pack_ints, unpack, unpack_ints
from spiracle.doors.waves.rows import (
    number_row,
    pack_numbers,
    packet_row,
    packets_of,
    row_block,
    row_numbers,
    unpack_numbers,
    us_of,
)
from spiracle.doors.waves.runs import cut, runs_of
from spiracle.doors.waves.shapes import KeptNumber, Packet

MINUTE = datetime(2026, 5, 4, 9, 7, tzinfo=UTC)
NUMBER = us_of(MINUTE) // 60_000_000
INT32 = st.integers(-(2**31), 2**31 - 1)
SAMPLE = st.one_of(INT32, st.sampled_from([-(2**31), 2**31 - 1, 0, None]), st.none())
FINITE = st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x + 0.0)  # a nought has no sign
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
LATE = st.integers(-(10**13), 10**13)


@st.composite
def packets(draw: st.DrawFn) -> list[Packet]:
    """Packets of one wave of one device that begin within a minute, in any order, in several formats."""
    forms = draw(st.lists(st.tuples(TEXT, st.sampled_from([20.0, 62.5, 100.0, 1000 / 7, 250.0]), FINITE, FINITE, TEXT),
                          min_size=1, max_size=3))  # fmt: skip
    found = []
    for _ in range(draw(st.integers(1, 8))):
        unit, rate, scale, offset, gap = draw(st.sampled_from(forms))
        first = MINUTE + timedelta(microseconds=draw(st.integers(0, 59_999_999)))
        arrived = first + timedelta(milliseconds=draw(LATE) // 1000)
        found.append(Packet(case="c", monitor="m", wave="co2", unit=unit, rate_hz=rate, scale=scale, offset=offset, gap=gap,
                            first_at=first, arrived_at=arrived.replace(microsecond=arrived.microsecond // 1000 * 1000),
                            seq=draw(st.one_of(st.none(), st.integers(0, 2**53))),
                            samples=tuple(draw(st.lists(SAMPLE, min_size=1, max_size=40)))))  # fmt: skip
    return found


def alike(a: list[Packet], b: list[Packet]) -> bool:
    """The same packets, whatever the order."""
    return sorted(map(repr, a)) == sorted(map(repr, b))


@given(packets())
def test_a_packed_minute_gives_back_every_packet(sent: list[Packet]) -> None:
    rows = [row_block(packet_row(p)) for p in sent]
    block = unpack(pack(joined(rows), NUMBER))
    assert alike(list(packets_of(block, "c", "m", "co2")), sent)
    again = joined([block])
    assert np.array_equal(again.first_us, block.first_us), "packed in the order of first samples"


@given(st.lists(INT32, min_size=1, max_size=300))
def test_whole_numbers_come_back(values: list[int]) -> None:
    order, width, data = pack_ints(np.array(values, dtype=np.int64))
    assert unpack_ints(order, width, len(values), data).tolist() == values


@pytest.mark.parametrize("value", [-(2**31), 2**31 - 1, 0, None])
def test_a_minute_of_one_extreme(value: int | None) -> None:
    block = block_of(Format("mm[Hg]", 100.0, 0.1, 0.0), us_of(MINUTE), 0, None, [value] * 6000)
    assert next(iter(packets_of(unpack(pack(block, NUMBER)), "c", "m", "co2"))).samples == (value,) * 6000


def test_the_widest_swing_there_is() -> None:
    """Differences of third order of values that jump between the ends of 32 bits need 35 bits."""
    values = np.array([-(2**31), 2**31 - 1] * 500, dtype=np.int64)
    order, width, data = pack_ints(values)
    assert np.array_equal(unpack_ints(order, width, 1000, data), values)


def walk(seed: int) -> Block:
    chance = np.random.default_rng(seed)
    values = np.cumsum(chance.integers(-3, 4, 6000)).tolist()
    return block_of(Format("mm[Hg]", 100.0, 0.1, 0.0), us_of(MINUTE), us_of(MINUTE) // 1000, 5, values)


@given(st.integers(0, 10**6), st.integers(0, 7))
def test_one_flipped_bit_is_found(place: int, bit: int) -> None:
    blob = bytearray(pack(walk(1), NUMBER))
    blob[place % len(blob)] ^= 1 << bit
    with pytest.raises(Torn):
        unpack(bytes(blob))


@given(st.integers(0, 10**6))
def test_a_blob_cut_short_is_found(length: int) -> None:
    blob = pack(walk(2), NUMBER)
    with pytest.raises(Torn):
        unpack(blob[: length % len(blob)])


@given(st.randoms(use_true_random=False))
def test_a_blob_with_a_right_checksum_and_wrong_content_is_torn_or_well_formed(chance: random.Random) -> None:
    """Whoever makes up a blob gets `Torn` or packets, nothing else: no other exception, no endless memory."""
    body = bytearray(pack(walk(3), NUMBER)[:-4])
    for _ in range(chance.randint(1, 6)):
        body[chance.randrange(3, min(len(body), 3 + 60 * chance.randint(1, 200)))] = chance.randrange(256)
    made = bytes(body) + zlib.crc32(bytes(body)).to_bytes(4, "big")
    try:
        found = unpack(made)
    except Torn:
        return
    assert int(found.sizes.sum()) == len(found.samples) == len(found.missing)


# ---- numbers

DECIMAL = st.one_of(st.none(), st.decimals(allow_nan=False, allow_infinity=False, places=2), st.just(Decimal("4.20")))


@st.composite
def numbers(draw: st.DrawFn) -> list[KeptNumber]:
    found = []
    for _ in range(draw(st.integers(1, 12))):
        found.append(KeptNumber(
            case="c", monitor="m", at=MINUTE + timedelta(microseconds=draw(st.integers(0, 59_999_999))),
            arrived_at=MINUTE + timedelta(milliseconds=draw(st.integers(-(10**9), 10**9))),
            reading=draw(st.sampled_from(["spo2", "heart_rate", ""])), ref=draw(TEXT), value=draw(DECIMAL),
            unit=draw(st.sampled_from(["%", "/min"])), raw=draw(TEXT), quality=draw(TEXT),
            flags=tuple(draw(st.lists(TEXT, max_size=3))), site=draw(TEXT), why=draw(TEXT)))  # fmt: skip
    return found


@given(numbers())
def test_numbers_come_back_digit_for_digit(sent: list[KeptNumber]) -> None:
    rows = row_numbers(number_row(sent), "c", "m")
    assert [repr(n) for n in rows] == [repr(n) for n in sent]
    packed = unpack_numbers(pack_numbers(rows, NUMBER), NUMBER, "c", "m")
    assert sorted(map(repr, packed)) == sorted(map(repr, sent)), "a trailing zero is part of what was sent"


@given(st.integers(0, 10**6), st.integers(0, 7))
def test_one_flipped_bit_in_numbers_is_found(place: int, bit: int) -> None:
    sent = [KeptNumber(case="c", monitor="m", at=MINUTE, arrived_at=MINUTE, reading="spo2", ref="r", value=Decimal(n), unit="%",
                       raw=f"{n} %") for n in range(40)]  # fmt: skip
    blob = bytearray(pack_numbers(sent, NUMBER))
    blob[place % len(blob)] ^= 1 << bit
    with pytest.raises(Torn):
        unpack_numbers(bytes(blob), NUMBER, "c", "m")


# ---- runs

WAVE = list(range(400))


@given(st.lists(st.integers(1, 399), max_size=12), st.lists(st.integers(1, 399), max_size=4))
def test_cuts_do_not_change_a_run(cuts: list[int], lost: list[int]) -> None:
    """However samples were cut into packets, they come back as one run; a run breaks where a packet was lost, and only there."""
    edges = [0, *sorted({*cuts, *lost}), 400]
    gone = {min(lost)} if lost else set()
    blocks, told = [], []
    for a, b in pairwise(edges):
        if a in gone:
            continue
        first = us_of(MINUTE) + a * 10_000
        blocks.append(block_of(Format("mm[Hg]", 100.0, 0.1, 0.0), first, 0, None, WAVE[a:b]))
        told += WAVE[a:b]
    runs = list(runs_of(blocks, "m", "co2"))
    assert [s for run in runs for s in run.samples.tolist()] == told
    whole = not gone or edges[-2] in gone  # what is lost at the end leaves no break
    assert len(runs) == (1 if whole else 2)
    for run in runs:
        assert (us_of(run.first_at) - us_of(MINUTE)) // 10_000 == run.samples[0]


@given(st.integers(-5, 405), st.integers(-5, 405), st.integers(0, 9999))
def test_a_window_takes_the_samples_whose_moments_lie_in_it(a: int, b: int, off: int) -> None:
    block = block_of(Format("mm[Hg]", 100.0, 0.1, 0.0), us_of(MINUTE), 0, 7, WAVE)
    (run,) = runs_of([block], "m", "co2")
    start, end = us_of(MINUTE) + a * 10_000 + off, us_of(MINUTE) + b * 10_000 + off
    part = cut(run, start, end)
    wanted = [n for n in WAVE if start <= us_of(MINUTE) + n * 10_000 < end]
    assert (part.samples.tolist() if part is not None else []) == wanted
    if part is not None:
        assert us_of(part.first_at) == us_of(MINUTE) + wanted[0] * 10_000
        assert part.seq == 7 + wanted[0]
