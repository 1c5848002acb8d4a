"""`spiracle plan FILE.toml` and `spiracle emergency --species dog --weight "12.4 kg"`: the core's answers on a terminal.

Exit status: 0 done, 1 refused (one sentence on standard error, naming the input), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spiracle.doors.cli_put import USAGE, put
from spiracle.quantity import read
from spiracle.refusals import AskAgain, Missing, NotOneOf, Refusal

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.sheets.plan_request import PlanRequest
    from spiracle.sheets.plan_shapes import Plan

FORMATS = ("text", "json", "pdf")
REFUSED = 1


def add_plan(commands: Any) -> None:
    """The `plan` command of the parser."""
    parser = commands.add_parser("plan", help="the whole plan of one patient, from a plan file")
    parser.add_argument("file", help="the plan file (TOML); docs/plan.md explains its keys")
    _add_output(parser)
    parser.set_defaults(run=plan)


def add_emergency(commands: Any) -> None:
    """The `emergency` command of the parser."""
    parser = commands.add_parser("emergency", help="the emergency sheet of a species and a weight")
    parser.add_argument("--species", help="dog or cat; there is no default")
    parser.add_argument("--weight", help='with its unit, like "12.4 kg"; there is no default')
    parser.add_argument("--estimated", action="store_true", help="the weight is a guess: every figure says so")
    parser.add_argument("--confirmed", action="store_true", help="a surprising weight was looked at twice: no warning")
    _add_output(parser)
    parser.set_defaults(run=emergency)


def _add_output(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--format", choices=FORMATS, default="text")
    parser.add_argument("--output", metavar="PATH", help="write there instead of to the terminal")
    parser.add_argument("--working", action="store_true", help="show the arithmetic and the sources under each line")
    parser.add_argument("--hospital", metavar="FILE", type=Path, help="the hospital's own TOML: shelf, limits, people")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4")


def plan(args: argparse.Namespace) -> int:
    """Work out a plan file and print it. Nothing is printed when anything in the file is refused."""
    return _answer(lambda: _plan(args))


def emergency(args: argparse.Namespace) -> int:
    """The emergency sheet alone."""
    if not args.species or not args.weight:
        lacking = "--species" if not args.species else "--weight"
        print(f"emergency: {lacking} is needed; nothing is assumed in its place.", file=sys.stderr)
        return USAGE
    return _answer(lambda: _emergency(args))


def _answer(work: Callable[[], int]) -> int:
    try:
        return work()
    except Refusal as refusal:
        print(" ".join(refusal.sentence.split()), file=sys.stderr)
        return REFUSED


def _plan(args: argparse.Namespace) -> int:
    from spiracle.doors.plan_text import plan_text
    from spiracle.sheets.plan_shapes import plan_json

    made, request, facts, now = plan_of_file(Path(args.file), args.hospital)
    if args.format == "json":
        return put(args, plan_json(made))
    if args.format == "pdf":
        from spiracle.doors.pdf import plan_pdf
        from spiracle.sheets.plan_pictures import pictures_of

        drawn = pictures_of(request, facts)
        return put(args, plan_pdf(made, facts, args.paper, now, pictures=drawn))
    return put(args, plan_text(made, working=args.working).encode())


def plan_of_file(path: Path, hospital: Path | None = None) -> tuple[Plan, PlanRequest, Facts, datetime]:
    """Read, check and work out one plan file, now."""
    from spiracle.doors.plan_file import read_plan_file
    from spiracle.doors.tables import load_facts
    from spiracle.sheets.plan import check
    from spiracle.sheets.plan import plan as work_out

    told = read_plan_file(_text_of(path), path.name)
    facts = load_facts(hospital)
    now = datetime.now().astimezone()
    check(told.request, facts, last_weight=told.last_weight, weight_confirmed=told.weight_confirmed)
    return work_out(told.request, facts, now), told.request, facts, now


def _text_of(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except OSError as fault:
        raise Missing("file", f"{path} cannot be read: {fault.strerror}.", "Give the path of a plan file.") from fault
    except UnicodeDecodeError as fault:
        raise NotOneOf("file", f"{path} is not text in UTF-8.", "Save it as plain text, UTF-8.") from fault


def _emergency(args: argparse.Namespace) -> int:
    from spiracle.doors.plan_text import emergency_text
    from spiracle.sheets.emergency_sheet import emergency_sheet
    from spiracle.sheets.plan_rooms import emergency_of
    from spiracle.sheets.plan_shapes import emergency_json
    from spiracle.sheets.plan_work import hospital_strengths

    request, facts = emergency_request(args)
    patient, now = request.patient, datetime.now().astimezone()
    if args.format == "pdf":
        from spiracle.doors.pdf import emergency_pdf

        sheet = emergency_sheet(patient.species, patient.weight, patient.method, facts, None, now)
        return put(args, emergency_pdf(sheet, facts, args.paper, now))
    made = facts.emergency.plan(patient.species, patient.weight.number("kg"), estimated=patient.estimated,
                                strengths=hospital_strengths(facts))  # fmt: skip
    part = emergency_of(made, facts)
    if args.format == "json":
        return put(args, emergency_json(patient.species, part))
    return put(args, emergency_text(part, patient.species, working=args.working).encode())


def emergency_request(args: argparse.Namespace) -> tuple[PlanRequest, Facts]:
    """Species and weight as typed, checked like those of a plan file."""
    from spiracle.doors.tables import load_facts
    from spiracle.sheets.plan import check
    from spiracle.sheets.plan_request import Patient, PlanRequest

    if args.species not in {"dog", "cat"}:
        raise NotOneOf("species", f"{args.species!r} is not a species Spiracle plans for.", "Write dog or cat.")
    weight = read(args.weight, "weight", "weight")
    patient = Patient(species=args.species, weight=weight, method="estimated" if args.estimated else "scale")
    facts = load_facts(args.hospital)
    request = PlanRequest(patient=patient)
    try:
        check(request, facts, weight_confirmed=args.confirmed)
    except AskAgain as question:  # an emergency is warned, never held up
        print(f"Look at the weight again. {' '.join(question.sentence.split())}", file=sys.stderr)
    return request, facts
