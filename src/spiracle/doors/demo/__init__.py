"""An invented hospital with invented patients: one case finished, one asleep, one about to be induced, and more to come.

Every entry goes through the same decisions as a real one; a demo that the core would refuse is a fault of the demo.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.clock import Clock
    from spiracle.doors.log_store import LogStore
    from spiracle.doors.monitor_hub import MonitorHub


def hospital_path() -> Path:
    """The demo hospital's own table."""
    return Path(str(files("spiracle.doors.demo") / "hospital.toml"))


def fill(store: LogStore, facts: Facts, clock: Clock) -> None:
    """Writes the invented cases into an empty store, dated around the present moment."""
    if store.case_rows():
        return
    from spiracle.doors.demo import stories

    now: datetime = clock.now().replace(second=0, microsecond=0)
    for tell, minutes_ago in stories.ALL:
        tell(store, facts, now - timedelta(minutes=minutes_ago), now)


def let_speak(hub: MonitorHub, clock: Clock) -> None:
    """The invented monitors begin to speak."""
    from spiracle.doors.demo.monitors import ALL, InventedMonitor

    for who in ALL:
        InventedMonitor(who, hub, clock).start()
