"""A case told again: what its monitors sent, in the order of the moments it stands for, with offsets in seconds. No clock in here:
whoever plays it waits, at whatever speed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import groupby

from spiracle.doors.waves.archive import WaveArchive
from spiracle.doors.waves.shapes import NUMBERS, KeptNumber, Played

AT_ONCE = timedelta(minutes=2)  # read ahead, so that a long case does not lie in memory


def replay(archive: WaveArchive, case: str, start: datetime, end: datetime) -> Iterator[Played]:
    """Packets that begin, and numbers whose moments lie, from `start` to before `end`. A packet comes at the moment its last sample
    was over, as it could have been shown; numbers come by moment and monitor. Offsets never fall."""
    waves = sorted({held.wave for held in archive.waves(case)} - {NUMBERS})
    held: list[Played] = []
    at = start
    while at < end:
        after = min(at + AT_ONCE, end)
        fresh = [Played(offset_s=(p.until - start) / timedelta(seconds=1), packet=p)
                 for wave in waves for p in archive.packets(case, wave, at, after)]  # fmt: skip
        numbers = groupby(archive.numbers(case, at, after), key=_moment)
        fresh += [
            Played(offset_s=(n_at - start) / timedelta(seconds=1), numbers=tuple(some)) for (n_at, _), some in numbers
        ]
        ready = sorted(held + fresh, key=lambda p: p.offset_s)
        over = (after - start) / timedelta(seconds=1)
        held = [p for p in ready if p.offset_s >= over]  # ends after what is still to be read begins
        yield from (p for p in ready if p.offset_s < over)
        at = after
    yield from held


def _moment(number: KeptNumber) -> tuple[datetime, str]:
    return number.at, number.monitor
