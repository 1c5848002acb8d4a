"""`spiracle capnogram FILE`: the breaths and findings of a recording of CO2, as text, data or a picture.

Exit status: 0 done, 1 refused (one sentence on standard error, naming the input), 2 wrong usage.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spiracle.doors.cli_plan import _answer
from spiracle.doors.cli_put import put

if TYPE_CHECKING:
    from spiracle.doors.capnogram_file import Trace
    from spiracle.sheets.capnogram_shapes import CapnogramPart

FORMATS = ("text", "json", "png")
STANDARD_MMHG = 760.0
"""One standard atmosphere, 101.325 kPa, by definition."""
ASSUMED = (
    "ASSUMED: air pressure 760 mmHg (one standard atmosphere), as none was given. The file's values are shares of the gas in %, "
    "and stay so; limits in mmHg and every figure in mmHg rest on that pressure. Give --ambient for the true one."
)


def add_capnogram(commands: Any) -> None:
    """The `capnogram` command of the parser."""
    parser = commands.add_parser(
        "capnogram", help="breaths and findings of a recording of CO2",
        description="Reads every breath of a CO2 recording and says what its shape shows. CSV with time_s and co2_mmhg, co2_kpa or "
        "co2_percent, plain or gzipped, or EDF+. It gives no order.",
    )  # fmt: skip
    parser.add_argument("file", help="the recording; docs/command-line.md explains what it may hold")
    parser.add_argument("--format", choices=FORMATS, default="text", help="text, json, or a picture (png)")
    parser.add_argument("--output", metavar="PATH", help="write there instead of to the terminal")
    parser.add_argument("--species", choices=("dog", "cat"), help="of the animal, if known")
    parser.add_argument("--weight", metavar="WEIGHT", help='of the animal, if known, like "4.2 kg"')
    parser.add_argument("--ambient", metavar="PRESSURE", help='air pressure where it was recorded, like "760 mmHg"')
    parser.add_argument(
        "--signal", metavar="LABEL", default="", help="which signal of an EDF+ file, if several are CO2"
    )
    parser.set_defaults(run=capnogram)


def capnogram(args: argparse.Namespace) -> int:
    """Read a recording and print it. Nothing is printed when anything of it is refused."""
    return _answer(lambda: _capnogram(args))


def _capnogram(args: argparse.Namespace) -> int:
    from spiracle.doors.capnogram_file import read_trace

    trace = read_trace(Path(args.file), args.signal)
    made = capnogram_of(trace, args.species, args.weight, args.ambient)
    if args.format == "json":
        from spiracle.sheets.capnogram_shapes import capnogram_json

        return put(args, capnogram_json(made))
    if args.format == "png":
        from spiracle.doors.capnogram_picture import capnogram_png

        return put(args, capnogram_png(made, trace.samples))
    from spiracle.doors.capnogram_text import capnogram_text

    return put(args, capnogram_text(made).encode())


def capnogram_of(
    trace: Trace, species: str | None = None, weight: str | None = None, ambient: str | None = None
) -> CapnogramPart:
    """Breaths, troubles and findings of a trace. What is not given of the animal stays unknown."""
    from spiracle.capnogram.findings import read_all
    from spiracle.capnogram.setup import Setup
    from spiracle.doors.tables import load_facts
    from spiracle.quantity import read
    from spiracle.sheets.capnogram import Recorded, capnogram_part

    notes = []
    pressure = None if ambient is None else float(read(ambient, "ambient", "pressure").number("mmHg"))
    if trace.unit == "percent" and pressure is None:
        pressure = STANDARD_MMHG
        notes.append(ASSUMED)
    if trace.unread:
        notes.append(f"Not read: {', '.join(trace.unread[:8])}{' and more' if len(trace.unread) > 8 else ''}.")
    setup = Setup(
        rate_hz=trace.rate_hz, unit=trace.unit, ambient_mmhg=pressure,
        kg=None if weight is None else float(read(weight, "weight", "weight").number("kg")), species=species,
    )  # fmt: skip
    facts = load_facts()
    breaths, troubles, findings = read_all(trace.samples, setup, facts.capnogram)
    recorded = Recorded(trace.name, setup, trace.start_s, len(trace.samples) / trace.rate_hz, tuple(notes))
    return capnogram_part(recorded, breaths, troubles, findings, facts.capnogram, facts.sources)
