"""A monitor's door on a thread and a loop of its own: slow or stuck, it holds up neither the pages nor another monitor."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import threading
from collections.abc import Awaitable, Callable
from datetime import datetime
from typing import Protocol

from spiracle.monitors.heard import Heard

LONGEST_WAIT_S = 60.0

Run = Callable[[asyncio.Event], Awaitable[None]]
Pause = Callable[[asyncio.Event, float], Awaitable[None]]


class Takes(Protocol):
    """Whoever keeps what was heard. `take` comes back when waves and numbers are safe; it may be called from any thread."""

    def take(self, heard: Heard, arrived: datetime) -> object: ...


def wait_before(attempt: int) -> float:
    """Seconds before the next try: 1, 2, 4 ... and never more than a minute. `attempt` counts failures from 1.

    >>> [wait_before(n) for n in (1, 2, 3, 7, 1000)]
    [1.0, 2.0, 4.0, 60.0, 60.0]
    """
    return min(float(2 ** min(attempt - 1, 10)), LONGEST_WAIT_S)


async def pause(stop: asyncio.Event, seconds: float) -> None:
    """Wait, unless told to stop."""
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(stop.wait(), seconds)


class SideLoop:
    """Runs one coroutine until `stop`. It is told to stop by an event, never cut off in the middle of keeping something."""

    def __init__(self, name: str, run: Run) -> None:
        self._run = run
        self._thread = threading.Thread(target=self._main, name=name, daemon=True)
        self._ready = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None

    def start(self) -> None:
        self._thread.start()
        self._ready.wait()

    def stop(self, within_s: float = 5.0) -> bool:
        """Ask it to end; True when it has ended in time."""
        if self._loop is not None and self._stop is not None:
            with contextlib.suppress(RuntimeError):  # the loop has ended by itself
                self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _main(self) -> None:
        try:
            asyncio.run(self._go())
        except Exception:  # a thread that ends in silence would look like a silent monitor
            logging.getLogger(__name__).exception("The door %s has ended", self._thread.name)
        finally:
            self._ready.set()

    async def _go(self) -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        self._ready.set()
        await self._run(self._stop)
