"""Frames of a byte stream (minimal lower layer protocol, release 1): 0x0B, message, 0x1C 0x0D. A read may hold half a frame or three.

What stands outside a frame is counted and thrown away; a start inside a frame drops what came before; a missing 0x0D is borne.
"""

from __future__ import annotations

import msgspec

START, END, RETURN = 0x0B, 0x1C, 0x0D
_HEAD_KEPT = 4096


class Frame(msgspec.Struct, frozen=True, kw_only=True):
    """One message's bytes, or the first of them where it is over the limit."""

    data: bytes
    too_long: bool = False


def framed(message: bytes) -> bytes:
    """A message in its frame."""
    return bytes([START]) + message + bytes([END, RETURN])


class Frames:
    """The stream of one connection. Never holds more than `limit` bytes."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.garbage = 0  # bytes outside any frame, or in a frame that was never ended
        self.skipped = 0  # bytes of messages over the limit
        self.broken = 0  # frames that a new start cut off
        self.bare_ends = 0  # ends without their 0x0D
        self._held = bytearray()
        self._inside = False
        self._skipping = False
        self._after_end = False

    @property
    def open(self) -> bool:
        """Whether a frame has begun and not ended."""
        return self._inside or self._skipping

    @property
    def held(self) -> int:
        """How many bytes of an unended frame are held."""
        return len(self._held)

    def feed(self, data: bytes) -> list[Frame]:
        """The frames that these bytes complete, in order."""
        found: list[Frame] = []
        at = 0
        while at < len(data):
            if self._after_end:
                at = self._return(data, at)
            elif self._skipping:
                at = self._skip(data, at)
            elif not self._inside:
                at = self._seek(data, at)
            else:
                at = self._take(data, at, found)
        return found

    def _return(self, data: bytes, at: int) -> int:
        self._after_end = False
        if data[at] == RETURN:
            return at + 1
        self.bare_ends += 1
        return at

    def _seek(self, data: bytes, at: int) -> int:
        start = data.find(START, at)
        self.garbage += (len(data) if start < 0 else start) - at
        if start < 0:
            return len(data)
        self._inside = True
        return start + 1

    def _take(self, data: bytes, at: int, found: list[Frame]) -> int:
        """Up to the end, or all there is. Of several starts before it the last one counts: one step, however many they are."""
        end = data.find(END, at)
        stop = len(data) if end < 0 else end
        last = data.rfind(START, at, stop)
        if last >= 0:
            starts = data.count(START, at, stop)
            self.garbage += len(self._held) + last - at - (starts - 1)
            self.broken += starts
            self._held.clear()
            at = last + 1
        if len(self._held) + stop - at > self.limit:
            self._held += data[at : at + _HEAD_KEPT]
            found.append(Frame(data=bytes(self._held[:_HEAD_KEPT]), too_long=True))
            self._held.clear()
            self._inside, self._skipping = False, True
            return at
        self._held += data[at:stop]
        if end < 0:
            return stop
        found.append(Frame(data=bytes(self._held)))
        self._held.clear()
        self._inside, self._after_end = False, True
        return end + 1

    def _skip(self, data: bytes, at: int) -> int:
        """The rest of a message over the limit, up to its end or the next start."""
        ends = [i for i in (data.find(END, at), data.find(START, at)) if i >= 0]
        stop = min(ends) if ends else len(data)
        self.skipped += stop - at
        if not ends:
            return stop
        self._skipping = False
        if data[stop] == START:
            self._inside = True
        else:
            self._after_end = True
        return stop + 1
