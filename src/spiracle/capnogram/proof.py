"""After a tube is placed: how many credible breaths have come, and whether they prove the airway or put it in doubt.

This offers; a person declares. A breath is credible when it is high enough above its baseline, could be read, and is no lower than a
fair share of the highest since the tube was placed: gas from the stomach rises and falls too, and shrinks (CG1 to CG5).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.tables import CapnogramTables
from spiracle.capnogram.trends import fading, height_of, rhythm_of, silence_s
from spiracle.refusals import OutOfRange

Side = Literal["proof", "doubt", "counting"]


@dataclass(frozen=True, slots=True)
class Proof:
    """`breaths` are the credible ones in a row up to now; `why` one plain sentence."""

    side: Side
    breaths: int
    why: str


def proof_of(
    breaths: Sequence[Breath],
    troubles: Sequence[Trouble],
    placed_s: float,
    now_s: float,
    needed: int,
    tables: CapnogramTables,
) -> Proof:
    """The side of the scale at `now_s`, both moments on the trace's clock; `needed` is the airway's own count.

    Doubt: no breath for the wait of the tables (a stretch that cannot be read does not count), humps that fade, or as many humps as
    would have proven it and too few of them credible.
    """
    if needed < 1:
        raise OutOfRange("breaths needed", f"{needed} proves nothing.", "One breath or more.")
    if now_s < placed_s:
        raise OutOfRange("moment", "lies before the tube was placed.", "A moment at or after it.")
    since = [b for b in breaths if b.start_s >= placed_s and b.known_s <= now_s]
    count = _credible_in_a_row(since, tables)
    lost = fading([height_of(b) for b in since[: tables.count("placed-breaths")]], tables)
    if lost is not None and count < needed:
        return Proof(
            "doubt",
            count,
            f"The humps since the tube was placed fade: {lost:.0f} % is gone. Oesophagus until proven otherwise.",
        )
    if count >= needed:
        return Proof("proof", count, f"{count} breaths in a row with CO2, none of them fading.")
    quiet = _readable(since[-1].end_s if since else placed_s, now_s, troubles)
    wait = _wait(since, tables)
    if quiet >= wait:
        what = f"Nothing for {quiet:.0f} s after {len(since)} humps" if since else f"No breath in {quiet:.0f} s"
        return Proof("doubt", count, f"{what} since the tube was placed. Oesophagus until proven otherwise.")
    if len(since) >= needed and count < needed / 2:
        return Proof(
            "doubt",
            count,
            f"{len(since)} humps since the tube was placed, {count} credible: too low or too unlike each other.",
        )
    if troubles and troubles[-1].to_s is None:
        return Proof("counting", count, f"{count} of {needed} breaths; the trace cannot be read just now.")
    return Proof("counting", count, f"{count} of {needed} breaths with CO2.")


def _credible_in_a_row(since: Sequence[Breath], tables: CapnogramTables) -> int:
    """Credible breaths up to the newest one."""
    highest, count = 0.0, 0
    for b in since:
        height = height_of(b)
        highest = max(highest, height)
        alike = height >= tables.number("credible-alike") / 100 * highest
        good = b.quality == "good" and height >= tables.number("credible-height") and alike
        count = count + 1 if good else 0
    return count


def _wait(since: Sequence[Breath], tables: CapnogramTables) -> float:
    """Seconds of silence that put it in doubt: the tables' own, longer for an animal that has shown it breathes more slowly."""
    rhythm = rhythm_of(since)
    least = tables.number("placed-quiet")
    return least if rhythm is None else max(least, silence_s(rhythm, tables)[0])


def _readable(from_s: float, to_s: float, troubles: Sequence[Trouble]) -> float:
    """Seconds from the end of the last stretch that could not be read, or from `from_s`."""
    for t in troubles:
        if t.from_s < to_s:
            from_s = max(from_s, to_s if t.to_s is None else t.to_s)
    return max(0.0, to_s - from_s)
