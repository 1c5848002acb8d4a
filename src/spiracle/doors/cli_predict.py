"""`spiracle predict FILE.toml`: levels that a model expects, as a table, data or a picture.

Exit status: 0 done, 1 refused (one sentence on standard error, naming the input), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spiracle.doors.cli_plan import _answer, _text_of
from spiracle.doors.cli_put import DONE, USAGE, put

if TYPE_CHECKING:
    from spiracle.sheets.predict_shapes import Predicted

FORMATS = ("text", "csv", "json", "png")


def add_predict(commands: Any) -> None:
    """The `predict` command of the parser."""
    parser = commands.add_parser(
        "predict", help="levels of a drug that a model expects, from a prediction file",
        description="Levels in plasma and at the effect site that a model of a population expects after what the file says is "
        "given. Predicted, not measured; it gives no order.",
    )  # fmt: skip
    parser.add_argument("file", nargs="?", help="the prediction file (TOML); docs/predict.md explains its keys")
    parser.add_argument("--models", action="store_true", help="list the models that can be named by id, and leave")
    parser.add_argument("--format", choices=FORMATS, default="text", help="table (text), csv, json, or a picture (png)")
    parser.add_argument("--output", metavar="PATH", help="write there instead of to the terminal")
    parser.add_argument("--working", action="store_true", help="show the sums and the sources under the table")
    parser.set_defaults(run=predict)


def predict(args: argparse.Namespace) -> int:
    """Work out a prediction file and print it. Nothing is printed when anything in the file is refused."""
    if args.models:
        return _answer(_models)
    if not args.file:
        print("predict: FILE is needed, or --models for the list of models.", file=sys.stderr)
        return USAGE
    return _answer(lambda: _predict(args))


def _predict(args: argparse.Namespace) -> int:
    made = predicted_of_file(Path(args.file))
    if args.format == "json":
        from spiracle.sheets.predict_shapes import predicted_json

        return put(args, predicted_json(made))
    if args.format == "csv":
        from spiracle.doors.predict_text import predict_csv

        return put(args, predict_csv(made))
    if args.format == "png":
        from spiracle.doors.predict_picture import predict_png

        return put(args, predict_png(made))
    from spiracle.doors.predict_text import predict_text

    return put(args, predict_text(made, working=args.working).encode())


def predicted_of_file(path: Path) -> Predicted:
    """Read, check and work out one prediction file."""
    from spiracle.doors.predict_file import read_predict_file
    from spiracle.doors.tables import load_facts
    from spiracle.sheets.predicted import predict as work_out

    request = read_predict_file(_text_of(path), path.name)
    return work_out(request, load_facts())


def _models() -> int:
    from spiracle.doors.tables import load_facts

    for row in load_facts().kinetics.models:
        if row.runs is not None:
            print(f"{row.id:<30}{row.quality:<13}{row.population}")
    return DONE
