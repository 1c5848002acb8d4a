"""The command line: the same core, for scripts, tests and people who like a terminal.

Exit status 0 done, 1 refused (one sentence on standard error that names the input), 2 wrong usage. Heavy modules are
imported inside the command that needs them, so that `--help` and a refusal stay quick.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeAlias

from spiracle import __version__
from spiracle.refusals import Refusal

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def main(arguments: Sequence[str] | None = None) -> int:
    parser = _parser()
    args = parser.parse_args(arguments)
    try:
        status: int = args.run(args)
    except Refusal as refusal:
        print(refusal.sentence, file=sys.stderr)
        return 1
    return status


class _Exact(argparse.ArgumentParser):
    """Options are written out: a slip of the keyboard is not taken for an abbreviation."""

    def __init__(self, *words: Any, **options: Any) -> None:
        super().__init__(*words, **{**options, "allow_abbrev": False})


def _parser() -> argparse.ArgumentParser:
    from spiracle.sheets.cautions import STANDING

    parser: argparse.ArgumentParser = _Exact(
        prog="spiracle", description="Plan, prepare, watch, record and review the anaesthesia of dogs and cats.",
        epilog=" ".join(STANDING),
    )  # fmt: skip
    parser.add_argument("--version", action="version", version=f"spiracle {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_serve(commands)
    from spiracle.doors.cli_plan import add_emergency, add_plan

    add_plan(commands)
    add_emergency(commands)
    from spiracle.doors.cli_predict import add_predict

    add_predict(commands)
    from spiracle.doors.cli_play import add_play

    add_play(commands)
    from spiracle.doors.cli_capnogram import add_capnogram

    add_capnogram(commands)
    _add_record(commands)
    _add_verify(commands)
    _add_audit(commands)
    _add_checks(commands)
    return parser


def _database(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--database", metavar="URL", help="sqlite:///PATH or postgresql+psycopg://...; else your data folder"
    )
    command.add_argument("--hospital", type=Path, metavar="FILE", help="the hospital's own TOML laid over our tables")


def _add_serve(commands: Commands) -> None:
    serve = commands.add_parser("serve", help="run the app")
    serve.add_argument("--demo", action="store_true", help="an invented hospital on its own database")
    serve.add_argument("--host", default="127.0.0.1")
    serve.add_argument("--port", type=int, default=8470)
    serve.add_argument("--trust-network", action="store_true",
                       help="serve beyond this machine: no accounts yet, so everyone on the network may write")  # fmt: skip
    serve.add_argument(
        "--mllp",
        default="",
        metavar="HOST:PORT",
        help="take HL7 messages of monitors here (2575 is the registered port)",
    )
    serve.add_argument(
        "--mqtt", default="", metavar="URL", help="take what monitors publish at a broker, mqtts://USER@HOST:PORT"
    )
    serve.add_argument("--mqtt-site", default="", metavar="NAME", help="the site in the broker's topics")
    serve.add_argument(
        "--oximeter",
        action="append",
        default=[],
        metavar="ADDRESS[,ROOM]",
        help="a Bluetooth pulse oximeter; may be repeated",
    )
    _database(serve)
    serve.set_defaults(run=_serve)


def _serve(args: argparse.Namespace) -> int:
    from spiracle.doors.monitor_doors import Asked
    from spiracle.doors.serve import run

    monitors = Asked(args.mllp, args.mqtt, args.mqtt_site, tuple(args.oximeter))
    run(args.database, args.host, args.port, args.demo, args.trust_network, args.hospital, monitors)
    return 0


def _add_record(commands: Commands) -> None:
    record = commands.add_parser("record", help="the record of a stored case")
    record.add_argument("case", help="the case's id, or `list` for the stored cases")
    record.add_argument("--format", choices=("pdf", "json", "csv", "edf", "parquet"), default="pdf")
    record.add_argument("--paper", choices=("a4", "letter"), default="a4")
    record.add_argument("--output", type=Path, metavar="PATH")
    record.add_argument("--waves", metavar="URL", help="where the waves lie (edf, parquet); else beside the database")
    record.add_argument("--patient", action="store_true", help="name the patient in the EDF+ file; else it says X")
    _database(record)
    record.set_defaults(run=_record)


def _record(args: argparse.Namespace) -> int:
    from spiracle.doors.cli_record import record

    return record(args)


def _add_verify(commands: Commands) -> None:
    verify = commands.add_parser("verify", help="are log and waves whole (0), or where do they break (1)")
    verify.add_argument("case", nargs="?", help="one case; all without it")
    verify.add_argument("--waves", metavar="URL", help="where the waves lie; else beside the database, if they do")
    _database(verify)
    verify.set_defaults(run=_verify)


def _verify(args: argparse.Namespace) -> int:
    from spiracle.doors.cli_record import verify

    return verify(args)


def _add_audit(commands: Commands) -> None:
    audit = commands.add_parser("audit", help="what the log tells of the hospital's own inductions")
    audit.add_argument("--from", dest="first", metavar="DAY", help="first day counted, like 2026-01-01")
    audit.add_argument("--to", dest="last", metavar="DAY", help="last day counted")
    audit.add_argument("--format", choices=("text", "json"), default="text")
    _database(audit)
    audit.set_defaults(run=_audit)


def _audit(args: argparse.Namespace) -> int:
    from spiracle.doors.cli_audit import audit

    return audit(args)


def _add_checks(commands: Commands) -> None:
    checks = commands.add_parser("checks", help="every sourced check, run here and now")
    checks.add_argument("--format", choices=("text", "json"), default="text")
    checks.set_defaults(run=_checks)


def _checks(args: argparse.Namespace) -> int:
    from spiracle.doors.cli_checks import checks

    return checks(args)


if __name__ == "__main__":
    sys.exit(main())
