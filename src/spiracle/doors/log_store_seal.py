"""Seals: each entry carries a digest over itself and the seal before it, so that a changed log shows where it was changed.

A seal is no proof against someone who rewrites the whole chain; it finds accidents, a lost row and a single edited one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256

FIRST = ""


@dataclass(frozen=True, slots=True)
class SealBreak:
    """The first place of a case where the log is not as it was written."""

    case: str
    seq: int
    says: str


def seal(before: str, case: str, seq: int, arrived_at: str, body: str) -> str:
    """SHA-256 (FIPS 180-4), as hex, over the seal before and the four fields, each led by its length in bytes."""
    digest = sha256()
    for part in (before, case, str(seq), arrived_at, body):
        raw = part.encode()
        digest.update(f"{len(raw)}:".encode() + raw)
    return digest.hexdigest()


def first_break(case: str, rows: Iterable[tuple[int, str, str, str]]) -> SealBreak | None:
    """Rows are (seq, arrived_at, body, seal) in order of seq; None if the chain is whole."""
    before, expected = FIRST, 1
    for seq, arrived_at, body, found in rows:
        if seq != expected:
            return SealBreak(case, expected, f"entry {expected} is missing")
        if seal(before, case, seq, arrived_at, body) != found:
            return SealBreak(case, seq, f"entry {seq} is not as it was written")
        before, expected = found, expected + 1
    return None
