"""Messages of one stream put back in the order they were counted in, each once. A message that is missing is told, never hidden."""

from __future__ import annotations

from collections import OrderedDict
from typing import Generic, TypeVar

import msgspec

Item = TypeVar("Item")

WAITING = 8  # messages that may wait for an earlier one
LATE = 64  # a count this far back is a message that comes late; further back the count has begun again
REMEMBERED = 1024  # ids


class Turn(msgspec.Struct, Generic[Item], frozen=True):
    """One message whose turn it is, and what is to be said about its place in the order."""

    item: Item
    missing: int = 0
    note: str = ""


class Window(Generic[Item]):
    """Holds at most `WAITING` messages. The first count seen is where the order begins."""

    def __init__(self) -> None:
        self._next: int | None = None
        self._held: dict[int, Item] = {}
        self._ids: OrderedDict[str, None] = OrderedDict()
        self.repeated = 0

    @property
    def held(self) -> int:
        return len(self._held)

    def forget(self, id_: str) -> None:
        """The message could not be kept after all: when it comes again it is not a repeat."""
        self._ids.pop(id_, None)

    def put(self, seq: int | None, id_: str, item: Item) -> tuple[Turn[Item], ...]:
        """What is to be handed on now that this message is here, in order. `id_` "" cannot be told from any other.

        >>> window = Window()
        >>> [turn.item for seq in (1, 3, 2) for turn in window.put(seq, f"id{seq}", f"item {seq}")]
        ['item 1', 'item 2', 'item 3']
        >>> window.put(3, "id3", "item 3")
        ()
        """
        if self._seen(id_):
            return ()
        if seq is None:
            return (Turn(item),)
        if self._next is None or seq == self._next:
            return self._from(seq, item)
        if seq > self._next:
            return self._wait(seq, item)
        if self._next - seq <= LATE:
            return (Turn(item, note="came after messages that were sent later"),)
        return (*self.flush(), *self._from(seq, item, "the sender's count began again"))

    def flush(self) -> tuple[Turn[Item], ...]:
        """All that waits, in order, with what is missing before each."""
        turns: list[Turn[Item]] = []
        while self._held:
            turns += self._skip()
        return tuple(turns)

    def _skip(self) -> tuple[Turn[Item], ...]:
        """Wait no longer for the first that is missing: the run after it goes out, and what waits for another goes on waiting."""
        seq = min(self._held)
        missing = seq - self._next if self._next is not None else 0
        return self._from(
            seq, self._held.pop(seq), f"{missing} before this one did not come" if missing else "", missing
        )

    def _from(self, seq: int, item: Item, note: str = "", missing: int = 0) -> tuple[Turn[Item], ...]:
        turns = [Turn(item, missing, note)]
        self._next = seq + 1
        while self._next in self._held:
            turns.append(Turn(self._held.pop(self._next)))
            self._next += 1
        return tuple(turns)

    def _wait(self, seq: int, item: Item) -> tuple[Turn[Item], ...]:
        if seq in self._held:  # one count, two ids: neither is thrown away
            return (Turn(item, note="has the count of another message"),)
        self._held[seq] = item
        return self._skip() if len(self._held) > WAITING else ()

    def _seen(self, id_: str) -> bool:
        if not id_:
            return False
        if id_ in self._ids:
            self.repeated += 1
            return True
        self._ids[id_] = None
        if len(self._ids) > REMEMBERED:
            self._ids.popitem(last=False)
        return False
