"""`spiracle play FILE --to HOST:PORT --as NAME`: a recording as a monitor, for tests, training and demonstrations.

Exit status: 0 done, 1 refused (one sentence on standard error, naming the input), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from spiracle.monitors.tables import MonitorTables

DONE = 0


def add_play(commands: Any) -> None:
    """The `play` command of the parser."""
    parser = commands.add_parser(
        "play", help="play a recording as a monitor, for tests and training",
        description="Plays the waves and numbers of a CSV or EDF+ recording as a monitor would send them (HL7 over MLLP). All of it is "
        "marked TEST: practice and demo cases take it, live cases refuse it.",
    )  # fmt: skip
    parser.add_argument("file", type=Path, help="the recording: CSV (plain or gzipped) or EDF+")
    parser.add_argument("--to", required=True, metavar="HOST:PORT", help="the monitor door of a running app")
    parser.add_argument(
        "--as", required=True, dest="name", metavar="NAME", help="the name of the monitor that is played"
    )
    parser.add_argument("--place", default="", metavar="ROOM", help="where it says it stands")
    parser.add_argument("--speed", type=int, default=1, metavar="N", help="1 to 60 times the pace of the recording")
    parser.add_argument("--loop", action="store_true", help="begin again at the end, until interrupted")
    parser.add_argument(
        "--as-live", action="store_true", help="without the TEST marks; to this computer only, for test systems"
    )
    parser.set_defaults(run=play)


def play(args: argparse.Namespace) -> int:
    """Read the recording, then play it until its end or Ctrl-C."""
    from spiracle.doors.clock import WallClock
    from spiracle.doors.play import Played, stage
    from spiracle.doors.play import play as perform
    from spiracle.doors.play_file import read_recording

    on = stage(args.to, args.name, args.place, args.speed, args.loop, args.as_live)
    recording = read_recording(args.file)
    for label in recording.unread:
        print(f"Not played: {label}", file=sys.stderr)
    tables = _tables()
    played = Played()
    print(f"Playing {recording.name} ({recording.seconds:.0f} s) to {on.host}:{on.port} as {on.name}"
          f"{'' if on.live else ', marked TEST'}. Ctrl-C ends it.", file=sys.stderr)  # fmt: skip
    try:
        perform(recording, tables, on, WallClock(), played=played)
    except KeyboardInterrupt:
        print(file=sys.stderr)
    print(
        f"Played {played.seconds:.0f} s in {played.messages} messages, all acknowledged; {played.repeated} sent again."
    )
    return DONE


def _tables() -> MonitorTables:
    """The one table that is needed, and no other room's."""
    from spiracle.doors.tables import room_texts, table_texts
    from spiracle.monitors.tables import MonitorTables
    from spiracle.source import Sources, read_sources

    texts = table_texts()
    rows = (
        row for name, text in sorted(texts.items()) if name.startswith("sources-") for row in read_sources(text, name)
    )
    return MonitorTables.read(room_texts(texts, "monitors"), Sources(rows))
