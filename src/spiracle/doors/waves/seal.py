"""Seals of packed minutes: each is a digest over the blob and the seal before it, one chain for each wave of a case.

As with the log's, a seal is no proof against someone who rewrites the whole chain; it finds accidents, a lost blob, an edited one.
"""

from __future__ import annotations

from hashlib import sha256

FIRST = ""


def seal(before: str, case: str, wave: str, place: int, monitor: str, minute: int, body: bytes) -> str:
    """SHA-256 (FIPS 180-4), as hex, over the seal before and the fields, each led by its length in bytes."""
    digest = sha256()
    for part in (before, case, wave, str(place), monitor, str(minute), body):
        data = part if isinstance(part, bytes) else part.encode()
        digest.update(b"%d:" % len(data))
        digest.update(data)
    return digest.hexdigest()
