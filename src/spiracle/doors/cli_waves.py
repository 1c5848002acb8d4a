"""`spiracle record CASE --format edf|parquet`: the waves and numbers a case's monitors sent, out of the archive."""

from __future__ import annotations

import argparse
import sys
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from spiracle.case import events as ev
from spiracle.case.fold import Case
from spiracle.patient.signalment import read_sex
from spiracle.refusals import Missing, Refusal

if TYPE_CHECKING:
    from spiracle.doors.waves.archive import WaveArchive
    from spiracle.doors.waves.export_edf import EdfPatient
    from spiracle.doors.waves.shapes import Note, Run

# Entries that travel with a wave: what was done and what happened, none that is about the owner or is free writing.
WITH_WAVES = (
    ev.DrugGiven, ev.InfusionStarted, ev.InfusionChanged, ev.InfusionStopped, ev.FluidGiven, ev.FluidLost,
    ev.PreoxygenationBegan, ev.PreoxygenationEnded, ev.AttemptBegan, ev.AttemptEnded, ev.TubePlaced, ev.TubeWithdrawn,
    ev.ProofNoted, ev.AirwayProven, ev.CuffChecked, ev.MonitorPaired, ev.MonitorUnpaired, ev.GasSet, ev.VaporiserSet,
    ev.VentilationSet, ev.ArtefactMarked, ev.TimeMarked, ev.Positioned, ev.TroubleBegan, ev.TroubleTreated, ev.TroubleEnded,
    ev.ArrestBegan, ev.ArrestStepDone, ev.ArrestEnded, ev.Extubated,
)  # fmt: skip

_LETTERS: dict[str, Literal["F", "M", "X"]] = {"female": "F", "male": "M"}


def waves(args: argparse.Namespace, case: Case) -> int:
    from spiracle.doors.cli_record import write_out
    from spiracle.doors.waves.archive import open_archive

    archive = open_archive(args.database, args.waves, background=False)
    try:
        held = archive.waves(args.case)
        if not held:
            raise Missing("waves", f"the archive has nothing of case {args.case}.", "Waves come from a paired monitor.")
        start, end = min(h.first_at for h in held), max(h.until for h in held) + timedelta(microseconds=1)
        runs = _runs(archive, args.case, start, end)
        if args.format == "edf":
            from spiracle.doors.waves.export_edf import edf

            write_out(args, edf(runs, _notes(case), _patient(case) if args.patient else None))
        else:
            _parquet(args, archive, runs, (start, end))
    finally:
        archive.close()
    return 0


def _runs(archive: WaveArchive, case: str, start: datetime, end: datetime) -> tuple[Run, ...]:
    names = sorted({h.wave for h in archive.waves(case)})
    return tuple(run for name in names for run in archive.read(case, name, start, end))


def _parquet(
    args: argparse.Namespace, archive: WaveArchive, runs: tuple[Run, ...], span: tuple[datetime, datetime]
) -> None:
    """Two files: samples under the name given, numbers beside it."""
    from spiracle.doors.waves.export_parquet import numbers_parquet, waves_parquet

    if args.output is None:
        raise Missing(
            "output", "parquet makes two files.", "Give --output PATH; numbers go beside it as PATH's name-numbers."
        )
    beside = args.output.with_name(f"{args.output.stem}-numbers{args.output.suffix}")
    lines = waves_parquet(runs, args.output)
    print(f"{args.output}: {lines:,} samples", file=sys.stderr)
    lines = numbers_parquet(archive.numbers(args.case, *span), beside)
    print(f"{beside}: {lines:,} numbers", file=sys.stderr)


def _notes(case: Case) -> tuple[Note, ...]:
    """Entries that were not struck, in words."""
    from spiracle.doors.waves.shapes import Note
    from spiracle.sheets.words import words

    kept = (line.event for line in case.lines if line.struck is None and isinstance(line.event, WITH_WAVES))
    return tuple(Note(at=e.happened_at, text=words(e)) for e in sorted(kept, key=lambda e: (e.happened_at, e.id)))


def _patient(case: Case) -> EdfPatient:
    """Name and sex as last described, the case's number. A day of birth is left out: it is written here in free words."""
    from spiracle.doors.waves.export_edf import EdfPatient

    name = sex = ""
    for described in case.live(ev.PatientDescribed):
        name, sex = described.name or name, described.sex or sex
    opened = case.live(ev.CaseOpened)
    try:
        word: Literal["F", "M", "X"] = _LETTERS.get(read_sex(sex).split()[0], "X")
    except Refusal:  # not told, or in words we do not know: the header has a letter for that
        word = "X"
    return EdfPatient(code=opened[0].number if opened else "X", sex=word, name=name)
