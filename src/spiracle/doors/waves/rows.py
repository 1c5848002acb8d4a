"""Small rows, as packets and numbers come, and the packed minute of numbers. Pure. Moments as whole microseconds since 1970."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from math import inf

import msgspec

from spiracle.doors.waves.packing import Block, Format, Torn, block_of, opened, sealed
from spiracle.doors.waves.shapes import KeptNumber, Packet

PACKET, NUMBER, NUMBERS = b"Sp", b"Sn", b"SN"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MINUTE_US = 60_000_000
MOST_BYTES = 50_000_000  # of an unpacked minute of numbers

Row = tuple[str, float, float, float, str, int, int, int | None, list[int | None]]
Series = tuple[str, str, str, str, list[str], str, str, str, str, str]
Line = tuple[Series, int, int, Decimal | None, str]
Column = tuple[Series, list[int], list[int], list[Decimal | None], list[str]]


def us_of(at: datetime) -> int:
    """Whole microseconds since 1970, exactly (a float of seconds would not do)."""
    return (at - EPOCH) // timedelta(microseconds=1)


def moment(us: int) -> datetime:
    return EPOCH + timedelta(microseconds=us)


def packet_row(packet: Packet) -> bytes:
    body: Row = (packet.unit, packet.rate_hz, packet.scale, packet.offset, packet.gap, us_of(packet.first_at),
                 us_of(packet.arrived_at) // 1000, packet.seq, list(packet.samples))  # fmt: skip
    return sealed(PACKET, msgspec.msgpack.encode(body))


def row_block(body: bytes) -> Block:
    """A small row as a block of one packet, or `Torn`."""
    try:
        row = msgspec.msgpack.decode(opened(PACKET, body), type=Row)
        unit, rate_hz, scale, offset, gap, first_us, arrived_ms, seq, samples = row
        if not samples or not 0 < rate_hz < inf:
            raise Torn("it has no samples, or a rate that is none")
        return block_of(Format(unit, rate_hz, scale, offset, gap), first_us, arrived_ms, seq, samples)
    except (msgspec.DecodeError, OverflowError) as fault:
        raise Torn(f"it cannot be read: {fault}") from fault


def packets_of(block: Block, case: str, monitor: str, wave: str) -> Iterable[Packet]:
    """A block's packets one by one, as they were given."""
    at = 0
    samples: list[int | None] = block.samples.tolist()
    for n in block.missing.nonzero()[0].tolist():
        samples[n] = None
    columns = (block.form, block.sizes, block.first_us, block.arrived_ms, block.counted, block.seq)
    for form, size, first, arrived, counted, seq in zip(*(c.tolist() for c in columns), strict=True):
        f = block.forms[form]
        yield Packet(case=case, monitor=monitor, wave=wave, unit=f.unit, rate_hz=f.rate_hz, scale=f.scale, offset=f.offset,
                     first_at=moment(first), arrived_at=moment(arrived * 1000), samples=tuple(samples[at : at + size]),
                     seq=seq if counted else None, gap=f.gap)  # fmt: skip
        at += size


# ---- numbers


def _line(n: KeptNumber) -> Line:
    series: Series = (n.reading, n.ref, n.unit, n.quality, list(n.flags), n.site, n.method, n.limits, n.alarm, n.why)
    return series, us_of(n.at), us_of(n.arrived_at) // 1000, n.value, n.raw


def _number(line: Line, case: str, monitor: str) -> KeptNumber:
    (reading, ref, unit, quality, flags, site, method, limits, alarm, why), at, arrived, value, raw = line
    return KeptNumber(case=case, monitor=monitor, at=moment(at), arrived_at=moment(arrived * 1000), reading=reading, ref=ref,
                      value=value, unit=unit, raw=raw, quality=quality, flags=tuple(flags), site=site, method=method,
                      limits=limits, alarm=alarm, why=why)  # fmt: skip


def number_row(numbers: Sequence[KeptNumber]) -> bytes:
    return sealed(NUMBER, msgspec.msgpack.encode([_line(n) for n in numbers]))


def row_numbers(body: bytes, case: str, monitor: str) -> list[KeptNumber]:
    try:
        lines = msgspec.msgpack.decode(opened(NUMBER, body), type=list[Line])
    except msgspec.DecodeError as fault:
        raise Torn(f"it cannot be read: {fault}") from fault
    return [_number(line, case, monitor) for line in lines]


def pack_numbers(numbers: Sequence[KeptNumber], minute: int) -> bytes:
    """A minute of one monitor's numbers: each series (same reading, unit, quality, site ...) as columns, in order of time, moments
    as differences, deflated. Order between series is not kept: `at` says it."""
    columns: dict[bytes, Column] = {}
    for number in sorted(numbers, key=lambda n: (n.at, n.arrived_at)):
        series, at, arrived, value, raw = _line(number)
        kept = columns.setdefault(msgspec.msgpack.encode(series), (series, [], [], [], []))
        kept[1].append(at)
        kept[2].append(arrived - at // 1000)
        kept[3].append(value)
        kept[4].append(raw)
    steps = [(s, [b - a for a, b in zip([minute * MINUTE_US, *at], at, strict=False)], *rest)
             for s, at, *rest in columns.values()]  # fmt: skip
    return sealed(NUMBERS, zlib.compress(msgspec.msgpack.encode(steps), 9))


def unpack_numbers(blob: bytes, minute: int, case: str, monitor: str) -> list[KeptNumber]:
    try:
        reader = zlib.decompressobj()
        data = reader.decompress(opened(NUMBERS, blob), MOST_BYTES)
        columns = msgspec.msgpack.decode(data, type=list[Column])
        return [n for column in columns for n in _series(column, minute, case, monitor)]
    except (msgspec.DecodeError, zlib.error, ValueError, OverflowError) as fault:
        raise Torn(f"it cannot be read: {fault}") from fault


def _series(column: Column, minute: int, case: str, monitor: str) -> Iterable[KeptNumber]:
    series, steps, lags, values, raws = column
    at = minute * MINUTE_US
    for step, lag, value, raw in zip(steps, lags, values, raws, strict=True):
        at += step
        yield _number((series, at, at // 1000 + lag, value, raw), case, monitor)
