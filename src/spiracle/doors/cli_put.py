"""Where a command's answer goes: to the file that was named, else to standard output; never a picture to a terminal."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from spiracle.refusals import Missing

DONE, USAGE = 0, 2
DRAWN = {"pdf": "a PDF", "png": "a picture"}


def put(args: argparse.Namespace, made: bytes) -> int:
    """Exit status of the command: done, or wrong usage. Raises Missing for a file that cannot be written."""
    if args.output:
        try:
            Path(args.output).write_bytes(made)
        except OSError as fault:
            raise Missing(
                "output", f"{args.output} cannot be written: {fault.strerror}.", "Give another path."
            ) from fault
        return DONE
    if args.format in DRAWN and sys.stdout.isatty():
        print(
            f"--format {args.format}: {DRAWN[args.format]} does not go to a terminal; name a file with --output.",
            file=sys.stderr,
        )
        return USAGE
    sys.stdout.buffer.write(made)
    sys.stdout.buffer.flush()
    return DONE
