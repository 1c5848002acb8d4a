"""A recording played as a monitor: its waves and numbers as messages over MLLP, at the pace of the recording or faster.

For tests, training and demonstrations. All that is played says TEST, in the message and on each value: a live case takes none of it.
Only a person who says so plays it as live, and then only to this computer.
"""

from __future__ import annotations

import hashlib
import socket
import time
from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from spiracle.doors.clock import Clock
from spiracle.doors.oru_write import OutNumber, OutWave, Sender, write
from spiracle.doors.play_file import NumberAt, Recording, WaveTrack
from spiracle.doors.serve import loopback
from spiracle.monitors.frames import Frames
from spiracle.monitors.tables import MonitorTables
from spiracle.refusals import Missing, NotAllowed, NotOneOf, OutOfRange, Refusal

STEP = timedelta(milliseconds=200)  # of the recording in one message: short enough that a wave seems to flow
ANSWER_S = 10.0
TRIES = 3
LONGEST_ANSWER = 65_536
TEST = ("TEST",)


@dataclass(frozen=True)
class Stage:
    """Where to play, as whom, and how."""

    host: str
    port: int
    name: str
    place: str = ""
    speed: int = 1
    loop: bool = False
    live: bool = False

    def sender(self) -> Sender:
        places = ("", self.place) if self.place else ()
        return Sender(eui64=eui64(self.name), name=self.name, place=places, test=not self.live)


@dataclass
class Played:
    """What was played so far."""

    messages: int = 0
    seconds: float = 0.0
    repeated: int = 0
    problems: list[str] = field(default_factory=list)


def stage(to: str, name: str, place: str = "", speed: int = 1, loop: bool = False, live: bool = False) -> Stage:
    """The stage of the command line. Refuses what is no HOST:PORT, no name, another speed, and a live play to another computer."""
    host, colon, port = to.rpartition(":")
    host = host.strip("[]")
    if not colon or not host or not port.isascii() or not port.isdigit() or not 0 < int(port) < 65_536:
        raise NotOneOf("to", f"{to!r} is not HOST:PORT.", "Write it like 127.0.0.1:2575.")
    if not name.strip() or len(name) > 60 or len(place) > 60:
        raise Missing(
            "as", "a monitor has a name of 1 to 60 letters, and a room no more.", "Name it, like 'Trolley 3'."
        )
    if not 1 <= speed <= 60:
        raise OutOfRange("speed", f"{speed} is not offered.", "1 to 60 times the pace of the recording.")
    if live and not loopback(host):
        raise NotAllowed("as-live", f"{host} is another computer: invented values could reach a real case there.",
                         "Leave --as-live out; practice and demo cases take what is played.")  # fmt: skip
    return Stage(host, int(port), name.strip(), place.strip(), speed, loop, live)


def eui64(name: str) -> str:
    """A made-up device number, the same for one name each time, marked as given locally (second bit of the first octet).

    >>> eui64("Trolley 3") == eui64("Trolley 3"), int(eui64("Trolley 3")[:2], 16) & 3
    (True, 2)
    """
    octets = bytearray(hashlib.sha256(name.encode()).digest()[:8])
    octets[0] = octets[0] & 0xFC | 2
    return octets.hex().upper()


def scenes(
    recording: Recording, tables: MonitorTables, on: Stage, began: datetime, run: str
) -> Iterator[tuple[datetime, bytes]]:
    """Each message and the moment of its last sample by the played monitor's own clock. A loop begins again without a break."""
    number, round_began = 0, began
    flags = () if on.live else TEST
    while True:
        at = timedelta()
        whole = timedelta(seconds=recording.seconds)
        while at < whole:
            end = min(at + STEP, whole)
            waves = [made for track in recording.waves if (made := _cut(track, at, end, flags)) is not None]
            numbers = [_out(n, round_began, flags) for n in _between(recording, at, end)]
            if waves or numbers:
                number += 1
                sent = round_began + end
                yield (
                    sent,
                    write(tables, on.sender(), f"{run}-{number}", sent, numbers, waves, waves_at=round_began + at),
                )
            at = end
        if not on.loop:
            return
        round_began += whole


def _cut(track: WaveTrack, at: timedelta, end: timedelta, flags: tuple[str, ...]) -> OutWave | None:
    first, after = (_index(track.rate_hz, moment) for moment in (at, end))
    samples = track.samples[first:after]
    if not samples:
        return None
    return OutWave(
        term=track.term, unit=track.unit, rate_hz=track.rate_hz, samples=samples, scale=track.scale, flags=flags
    )


def _index(rate_hz: Decimal, at: timedelta) -> int:
    """The first sample at or after a moment."""
    microseconds = at // timedelta(microseconds=1)
    return int(-(-(rate_hz * microseconds) // 1_000_000))


def _between(recording: Recording, at: timedelta, end: timedelta) -> Iterator[NumberAt]:
    low, high = at.total_seconds(), end.total_seconds()
    first = bisect_left(recording.numbers, low, key=lambda n: n.at_s)
    for number in recording.numbers[first:]:
        if number.at_s >= high:
            return
        yield number


def _out(number: NumberAt, began: datetime, flags: tuple[str, ...]) -> OutNumber:
    return OutNumber(
        term=number.term, value=number.value, unit=number.unit, flags=flags, at=began + timedelta(seconds=number.at_s)
    )


def play(
    recording: Recording, tables: MonitorTables, on: Stage, clock: Clock, wait: Callable[[float], None] = time.sleep,
    monotonic: Callable[[], float] = time.monotonic, played: Played | None = None,
) -> Played:  # fmt: skip
    """Play to the end (or until interrupted, in a loop). A message is sent again where no answer comes; a refusal ends the play."""
    played = played if played is not None else Played()
    began = clock.now()
    run = f"{eui64(on.name)[:8]}-{began:%Y%m%d%H%M%S%f}"
    line = _Line(on)
    start = monotonic()
    try:
        for sent, message in scenes(recording, tables, on, began, run):
            due = start + (sent - began).total_seconds() / on.speed
            if (ahead := due - monotonic()) > 0:
                wait(ahead)
            played.repeated += line.say(message)
            played.messages += 1
            played.seconds = (sent - began).total_seconds()
    finally:
        line.close()
    return played


class _Line:
    """One connection to the listening door, opened when first needed and again when it breaks."""

    def __init__(self, on: Stage) -> None:
        self._on = on
        self._socket: socket.socket | None = None

    def say(self, message: bytes) -> int:
        """Send one message and hear that it is kept. Returns how often it had to be sent again."""
        for again in range(TRIES):
            try:
                answer = self._exchange(message)
            except OSError as fault:
                self.close()
                if again == TRIES - 1:
                    raise Missing("to", f"{self._on.host}:{self._on.port} does not answer: {fault}.",
                                  "Start the app with its monitor door first.") from fault  # fmt: skip
                continue
            _need_accepted(answer)
            return again
        raise AssertionError  # pragma: no cover

    def _exchange(self, message: bytes) -> bytes:
        if self._socket is None:
            self._socket = socket.create_connection((self._on.host, self._on.port), timeout=ANSWER_S)
        self._socket.sendall(b"\x0b" + message + b"\x1c\r")
        frames = Frames(LONGEST_ANSWER)
        while True:
            part = self._socket.recv(4096)
            if not part:
                raise ConnectionResetError("the connection was closed")
            if found := frames.feed(part):
                return found[0].data

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None


def _need_accepted(answer: bytes) -> None:
    """AA goes on; anything else ends the play with what the door says."""
    lines = answer.decode("utf-8", "replace").split("\r")
    said = next((line.split("|") for line in lines if line.startswith("MSA|")), [])
    if len(said) > 1 and said[1] == "AA":
        return
    why = next((line.split("|") for line in lines if line.startswith("ERR|")), [])
    reason = why[8] if len(why) > 8 else ""
    raise Refusal("to", f"the door answers {said[1] if len(said) > 1 else 'nothing that is an answer'}: {reason or 'no reason given'}.",
                  "Nothing more is played.")  # fmt: skip
