"""A long fuzz of the HL7 reader and its framing: changed messages, random bytes and streams cut anywhere, with counts of what came.

python3 benchmarks/monitor_fuzz.py [messages] [seed]; in the usual run a hundred thousand. A law that breaks ends it with its bytes.
"""

from __future__ import annotations

import random
import resource
import sys
import time
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).resolve().parents[1] / "tests")]

from laws.test_oru_fuzz import PIECES, SEEDS, lawful
from measuring import Result
from monitor_talk import monitor_tables
from spiracle.monitors.frames import Frames, framed
from spiracle.monitors.oru import read

MESSAGES = 100_000


def changed(chance: random.Random) -> bytes:
    """One message, changed in a few places, or bytes of no kind."""
    if chance.random() < 0.03:
        return chance.randbytes(chance.randint(0, 300))
    data = bytearray(chance.choice(SEEDS))
    for _ in range(chance.choice((1, 1, 1, 2, 3, 8))):
        at = chance.randint(0, len(data))
        kind = chance.randint(0, 5)
        if kind == 0:
            data[at:at] = chance.choice(PIECES)
        elif kind == 1:
            del data[at : at + chance.randint(1, 40)]
        elif kind == 2:
            data[at : at + 1] = chance.randbytes(1)
        elif kind == 3:
            data[at:at] = data[at : at + chance.randint(1, 80)]
        elif kind == 4:
            data[at : at + chance.randint(0, 6)] = chance.choice(PIECES)
        else:
            del data[at:]
    return bytes(data)


def soak(messages: int, seed: int) -> Counter[str]:
    """So many messages read under the laws; each tenth goes through the framing, cut anywhere, as well."""
    chance, tables = random.Random(seed), monitor_tables()
    counts: Counter[str] = Counter()
    for n in range(messages):
        data = changed(chance)
        try:
            found = read(data, tables)
            lawful(found)
        except BaseException:
            print(f"seed {seed}, message {n}: {data!r}")
            raise
        counts[found.answer.verdict] += 1
        counts["numbers"] += sum(bool(x.reading) for x in found.heard.numbers) if found.heard else 0
        counts["held"] += sum(not x.reading for x in found.heard.numbers) if found.heard else 0
        counts["waves"] += sum(bool(x.wave) for x in found.heard.waves) if found.heard else 0
        if n % 10 == 0:
            frames, stream = Frames(4096), chance.randbytes(20) + framed(data) + framed(data)
            at = 0
            while at < len(stream):
                size = chance.randint(1, 400)
                counts["frames"] += len(frames.feed(stream[at : at + size]))
                assert frames.held <= 4096
                at += size
    return counts


def results(messages: int = MESSAGES, seed: int = 1) -> list[Result]:
    soak(1000, seed)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.perf_counter()
    counts = soak(messages, seed)
    took = time.perf_counter() - start
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    said = ", ".join(f"{counts[k]:,} {k}" for k in ("AA", "AE", "AR", "numbers", "held", "waves", "frames"))
    return [
        Result(
            f"fuzz of the HL7 reader, {messages:,} messages, every law held",
            took,
            "s",
            note=f"{said}; memory +{grown:.1f} MB",
        )
    ]


if __name__ == "__main__":
    from measuring import table

    print(table(results(*(int(word) for word in sys.argv[1:3]))))
