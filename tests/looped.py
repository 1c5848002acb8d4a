"""Runs a coroutine in a thread of its own: a browser's driver keeps a loop running in the thread of the tests, and two do not go."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def looped(work: Coroutine[Any, Any, T]) -> T:
    with ThreadPoolExecutor(1) as one:
        return one.submit(asyncio.run, work).result()
