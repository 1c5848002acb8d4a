"""Where the doors of the monitors put what they heard, in tests of the doors alone: a shelf, and a way to wait for its next item."""

from __future__ import annotations

import queue
from datetime import datetime

from spiracle.monitors.heard import Heard

PATIENCE_S = 30  # a test that would wait longer has failed; none takes as long


class Shelf:
    """Keeps all that it is handed, in order."""

    def __init__(self) -> None:
        self._items: queue.Queue[tuple[Heard, datetime]] = queue.Queue()
        self.all: list[Heard] = []

    def take(self, heard: Heard, arrived: datetime) -> object:
        self.all.append(heard)
        self._items.put((heard, arrived))
        return None

    def next(self) -> Heard:
        return self._items.get(timeout=PATIENCE_S)[0]
