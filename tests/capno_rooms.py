"""The packaged tables of the CO2 trace, and breaths made by hand for tests: square, healthy, unless told otherwise."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from room_tables import sources
from spiracle.capnogram.breath import Breath
from spiracle.capnogram.engine import Step
from spiracle.capnogram.finding import Finding
from spiracle.capnogram.findings import Watch, as_ended
from spiracle.capnogram.setup import Setup
from spiracle.capnogram.tables import CapnogramTables
from spiracle.doors.tables import room_texts, table_texts


@lru_cache
def capnogram_tables() -> CapnogramTables:
    return CapnogramTables.read(room_texts(table_texts(), "capnogram"), sources())


HEALTHY = Breath(
    start_s=0.0, end_s=1.6, before_s=None, etco2=38.0, fico2=0.0, top=38.0, foot=0.0, upstroke_s=0.2, upstroke_slope=150.0,
    plateau_slope=1.0, alpha_deg=107.0, plateau_fraction=0.85, area=0.92 * 38.0 * 1.6, downstroke_s=0.12, ripple=0.0,
    ripple_per_min=None, rate_per_min=None, ie_ratio=1.5, missing=0.0, quality="good", fallen_s=1.7, known_s=1.9,
)  # fmt: skip


def row_of(
    count: int, every_s: float = 4.0, from_s: float = 0.0, joined: bool = False, **own: float | str | None
) -> list[Breath]:
    """Breaths one after the other; `joined`: the first follows on others. Height and length scale what hangs on them."""
    made = []
    for k in range(count):
        at = from_s + k * every_s
        first = k == 0 and not joined
        end, before, rate = at + 0.4 * every_s, None if first else at - 0.6 * every_s, None if first else 60 / every_s
        moved = replace(
            HEALTHY, start_s=at, end_s=end, before_s=before, rate_per_min=rate, fallen_s=end + 0.1, known_s=end + 0.3
        )
        made.append(sized(moved, **own))
    return made


def sized(breath: Breath, height: float | None = None, **own: float | str | None) -> Breath:
    top = breath.top if height is None else breath.foot + height
    length = breath.end_s - breath.start_s
    made = replace(breath, top=top, etco2=top, area=0.92 * (top - breath.foot) * length)
    return replace(made, **own)  # type: ignore[arg-type]


def watched(breaths: Iterable[Breath], until_s: float, placed_s: float | None = None) -> tuple[Finding, ...]:
    """The findings of breaths that come one by one."""
    watch = Watch(capnogram_tables(), Setup(100.0))
    if placed_s is not None:
        watch.placed(placed_s)
    told = []
    for b in breaths:
        told += watch.take(Step((b,)), b.known_s)
    return as_ended([*told, *watch.finish(Step(), until_s)])


def named(findings: Iterable[Finding], name: str) -> list[Finding]:
    return [f for f in findings if f.name == name]
