"""Packed minutes: whole numbers with marks of absence in, few bytes out, and back to the bit. Pure.

A blob is two letters and a version, a MessagePack list, and a CRC-32 over all before it. Samples are predicted from those before
them (a difference of first, second or third order, whichever comes out smallest), folded so that small means small whatever the
sign, split into planes of bytes and deflated. Order and coder were chosen by measuring; see docs/archive.md.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from spiracle.refusals import SpiracleError

WAVES, VERSION = b"SW", 1
ORDERS = (1, 2, 3)
MOST_SAMPLES = 10_000_000  # in one blob: what a hand-made one may ask for, so that memory stays bounded
LOW, HIGH = -(2**31), 2**31 - 1

Ints = npt.NDArray[np.int64]


class Torn(SpiracleError):
    """A blob or a row that is not as it was written. `says` is for the person who looks after the archive."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


@dataclass(frozen=True, slots=True)
class Format:
    """What packets have in common that can stand in one run."""

    unit: str
    rate_hz: float
    scale: float
    offset: float
    gap: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Block:
    """Packets side by side: one line each in the first six, their samples one after another in the last two.

    `first_us`, `arrived_ms` since 1970; `seq` is 0 where `counted` is false; `form` is an index into `forms`.
    """

    forms: tuple[Format, ...]
    form: Ints
    sizes: Ints
    first_us: Ints
    arrived_ms: Ints
    counted: npt.NDArray[np.bool_]
    seq: Ints
    samples: npt.NDArray[np.int32]
    missing: npt.NDArray[np.bool_]


def lasting_us(block: Block) -> Ints:
    """How long each packet of a block lasts, in whole microseconds."""
    rates = np.array([f.rate_hz for f in block.forms], dtype=float)
    found: Ints = np.rint(block.sizes * 1e6 / rates[block.form]).astype(np.int64)
    return found


def joined(blocks: Sequence[Block]) -> Block:
    """Several blocks as one, packets in the order of their first samples (of two at one moment, the one that came first)."""
    known: dict[Format, int] = {}
    form = [np.array([known.setdefault(f, len(known)) for f in b.forms], dtype=np.int64)[b.form] for b in blocks]
    whole = Block(
        tuple(known),
        np.concatenate(form),
        *(np.concatenate([getattr(b, name) for b in blocks]) for name in Block.__slots__[2:]),
    )
    order = np.lexsort((whole.arrived_ms, whole.first_us))
    return whole if np.array_equal(order, np.arange(len(order))) else _ordered(whole, order)


def _ordered(block: Block, order: npt.NDArray[np.intp]) -> Block:
    ends = np.cumsum(block.sizes)
    spans = [np.arange(ends[n] - block.sizes[n], ends[n]) for n in order]
    at = np.concatenate(spans) if spans else np.empty(0, dtype=np.int64)
    lines: dict[str, Any] = {name: getattr(block, name)[order] for name in Block.__slots__[1:7]}
    return Block(forms=block.forms, samples=block.samples[at], missing=block.missing[at], **lines)


# ---- columns


def _zigzag(signed: Ints) -> npt.NDArray[np.uint64]:
    folded: npt.NDArray[np.uint64] = ((signed << 1) ^ (signed >> 63)).view(np.uint64)
    return folded


def _unzigzag(folded: npt.NDArray[np.uint64]) -> Ints:
    signed: Ints = (folded >> np.uint64(1)).view(np.int64) ^ -(folded & np.uint64(1)).view(np.int64)
    return signed


def _planes(signed: Ints) -> tuple[int, bytes]:
    """How many bytes a number takes, and the bytes: all lowest first, then all of the next place. 0 where all are nought."""
    folded = _zigzag(np.ascontiguousarray(signed, dtype=np.int64))
    most = int(folded.max()) if len(folded) else 0
    width = (most.bit_length() + 7) // 8
    return width, folded.view(np.uint8).reshape(-1, 8)[:, :width].T.tobytes()


def _unplanes(width: int, count: int, data: bytes) -> Ints:
    if not 0 <= width <= 8 or len(data) != width * count:
        raise Torn("a column has another length than its head says")
    wide = np.zeros((count, 8), dtype=np.uint8)
    wide[:, :width] = np.frombuffer(data, dtype=np.uint8).reshape(width, count).T
    return _unzigzag(wide.view(np.uint64).reshape(count))


def _deflate(data: bytes) -> bytes:
    coder = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_FILTERED)
    return coder.compress(data) + coder.flush()


def _inflate(data: bytes, most: int) -> bytes:
    reader = zlib.decompressobj(-15)
    found = reader.decompress(data, most + 1)
    if len(found) != most or not reader.eof:
        raise Torn("a column has another length than its head says")
    return found


def pack_ints(values: Ints) -> tuple[int, int, bytes]:
    """Whole numbers of at most 33 bits: (order, width, deflated planes), the smallest of the orders tried."""
    tried, left = [], values.astype(np.int64)
    for order in ORDERS:
        left = np.diff(left, prepend=np.int64(0))
        width, data = _planes(left)
        tried.append((order, width, _deflate(data)))
    return min(tried, key=lambda t: len(t[2]))


def unpack_ints(order: int, width: int, count: int, data: bytes) -> Ints:
    found = _unplanes(width, count, _inflate(data, width * count))
    for _ in range(order):
        found = np.cumsum(found, dtype=np.int64)
    return found


# ---- absence


def _lengths(missing: npt.NDArray[np.bool_]) -> Ints:
    """Lengths of the stretches of a mask in turn, the first one present (it may be nought long)."""
    edges = np.flatnonzero(np.diff(missing)) + 1
    cuts = [0, *edges.tolist(), len(missing)] if len(missing) else [0]
    if len(missing) and missing[0]:
        cuts.insert(0, 0)
    return np.array([b - a for a, b in pairwise(cuts)], dtype=np.int64)


def _mask(lengths: Ints, count: int) -> npt.NDArray[np.bool_]:
    if (lengths < 0).any() or int(lengths.sum()) != count:
        raise Torn("the marks of absence do not fit the samples")
    return np.repeat(np.arange(len(lengths)) % 2 == 1, lengths)


def _held(samples: npt.NDArray[np.int32], missing: npt.NDArray[np.bool_]) -> Ints:
    """An absent sample as the one before it (0 before the first): what costs least, and is taken out again when unpacked."""
    last = np.maximum.accumulate(np.where(missing, -1, np.arange(len(samples))))
    return np.where(last < 0, 0, samples[np.maximum(last, 0)]).astype(np.int64)


# ---- blobs


def sealed(kind: bytes, body: bytes) -> bytes:
    head = kind + bytes([VERSION]) + body
    return head + zlib.crc32(head).to_bytes(4, "big")


def opened(kind: bytes, blob: bytes) -> bytes:
    """The body of a blob, or `Torn`: another kind, another version, a flipped bit."""
    if len(blob) < 7 or zlib.crc32(blob[:-4]).to_bytes(4, "big") != blob[-4:]:
        raise Torn("its checksum does not fit")
    if blob[:2] != kind or blob[2] != VERSION:
        raise Torn(f"it begins {blob[:3]!r}, which this version does not read")
    return blob[3:-4]


def pack(block: Block, minute: int) -> bytes:
    """The packets of one wave of one device whose first samples lie in a minute (counted since 1970).

    Order of packets is kept. Raises nothing for a block that `joined` gave; samples must fit 32 bits.
    """
    lasting = lasting_us(block)
    due = np.concatenate(([minute * 60_000_000], (block.first_us + lasting)[:-1]))
    counts = np.concatenate(([0], (block.seq + block.sizes)[:-1]))
    columns = (
        block.form,
        block.sizes,
        block.first_us - due,
        block.arrived_ms - (block.first_us + lasting) // 1000,
        block.counted.astype(np.int64),
        np.where(block.counted, block.seq - counts, 0),
    )
    lengths = _lengths(block.missing)
    planes = [_planes(c) for c in (*columns, lengths)]
    order, width, samples = pack_ints(_held(block.samples, block.missing))
    forms = [(f.unit, f.rate_hz, f.scale, f.offset, f.gap) for f in block.forms]
    head = (minute, len(block.sizes), len(block.samples), len(lengths), forms, [w for w, _ in planes])
    body = (*head, _deflate(b"".join(d for _, d in planes)), order, width, samples)
    return sealed(WAVES, msgspec.msgpack.encode(body))


Body = tuple[int, int, int, int, list[tuple[str, float, float, float, str]], list[int], bytes, int, int, bytes]


def unpack(blob: bytes) -> Block:
    """What `pack` was given, or `Torn`."""
    try:
        body = msgspec.msgpack.decode(opened(WAVES, blob), type=Body)
        return _block(body)
    except (msgspec.DecodeError, zlib.error, ValueError, IndexError, OverflowError) as fault:
        raise Torn(f"it cannot be read: {fault}") from fault


def _block(body: Body) -> Block:
    minute, packets, count, stretches, rows, widths, meta, order, width, coded = body
    if not (0 < packets <= count <= MOST_SAMPLES and 0 < stretches <= count + 1 and 0 < order <= len(ORDERS)):
        raise Torn("its head contradicts itself")
    if len(widths) != 7 or not all(0 <= w <= 8 for w in widths):
        raise Torn("its head contradicts itself")
    lines = [packets] * 6 + [stretches]
    data, columns, at = _inflate(meta, sum(w * n for w, n in zip(widths, lines, strict=True))), [], 0
    for w, n in zip(widths, lines, strict=True):
        columns.append(_unplanes(w, n, data[at : at + w * n]))
        at += w * n
    form, sizes, first, arrived, counted, seq, lengths = columns
    if (sizes <= 0).any() or int(sizes.sum()) != count or form.min() < 0 or form.max() >= len(rows):
        raise Torn("its packets do not fit its samples")
    forms = tuple(Format(*row) for row in rows)
    missing = _mask(lengths, count)
    held = unpack_ints(order, width, count, coded)
    if held.min() < LOW or held.max() > HIGH:
        raise Torn("a sample has more than 32 bits")
    rates = np.array([f.rate_hz for f in forms], dtype=float)
    if not (np.isfinite(rates).all() and (rates > 0).all()):
        raise Torn("a rate is none")
    lasting = np.rint(sizes * 1e6 / rates[form]).astype(np.int64)
    first_us = minute * 60_000_000 + np.cumsum(first) + np.concatenate(([0], np.cumsum(lasting)[:-1]))
    known = counted.astype(bool)
    return Block(forms, form, sizes, first_us, arrived + (first_us + lasting) // 1000, known,
                 _counts(known, seq, sizes), np.where(missing, 0, held).astype(np.int32), missing)  # fmt: skip


def _counts(known: npt.NDArray[np.bool_], left: Ints, sizes: Ints) -> Ints:
    """The device's counts again. Where it did not count, 0 is kept, and the next difference is from there."""
    if not known.any():
        return np.zeros(len(sizes), dtype=np.int64)
    if known.all():
        return np.cumsum(left) + np.concatenate(([0], np.cumsum(sizes)[:-1]))
    found, due = [], 0
    for counts, off, size in zip(known.tolist(), left.tolist(), sizes.tolist(), strict=True):
        found.append(due + off if counts else 0)
        due = found[-1] + size
    return np.array(found, dtype=np.int64)


def block_of(form: Format, first_us: int, arrived_ms: int, seq: int | None, samples: Sequence[int | None]) -> Block:
    """One packet as a block."""
    missing = np.array([s is None for s in samples], dtype=bool)
    held: Any = [0 if s is None else s for s in samples]
    one = np.array([0, len(samples), first_us, arrived_ms, seq or 0], dtype=np.int64)
    return Block((form,), one[0:1], one[1:2], one[2:3], one[3:4], np.array([seq is not None]), one[4:5],
                 np.array(held, dtype=np.int32), missing)  # fmt: skip
