"""`spiracle record CASE --format edf|parquet`: the waves and numbers a case's monitors sent, out of the archive; and
whether they are whole."""

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
    from sqlalchemy.exc import DatabaseError

    from spiracle.doors.waves.archive import WaveArchive
    from spiracle.doors.waves.export_edf import EdfPatient
    from spiracle.doors.waves.shapes import Damaged, Note, Run

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
        runs, damaged = _runs(archive, args.case, start, end)
        if args.format == "edf":
            from spiracle.doors.waves.export_edf import edf

            notes = (*_notes(case), *_damage(damaged), *_findings(args, case, runs))
            write_out(args, edf(runs, notes, _patient(case) if args.patient else None))
        else:
            _parquet(args, archive, runs, (start, end))
    finally:
        archive.close()
    return 0


def verify_waves(args: argparse.Namespace) -> int:
    """The archive's part of `verify`: nothing is said where there is no archive."""
    from sqlalchemy.exc import DatabaseError

    from spiracle.doors.waves.archive import find_archive

    try:
        archive = find_archive(args.database, args.waves)
    except DatabaseError as fault:
        return _unreadable(fault)
    if archive is None:
        if args.waves is not None:
            raise Missing("waves", "there is no archive of waves at that address.", "Such as sqlite:///cases-waves.db.")
        return 0
    try:
        cases = archive.cases() if args.case is None else (args.case,)
        broken = [b for case in cases for b in archive.verify(case)]
        held = sum(len({h.wave for h in archive.waves(case)}) for case in cases)
    except DatabaseError as fault:
        return _unreadable(fault)
    finally:
        archive.close()
    for b in broken:
        whose = f"case {b.case}" if b.case else "nobody's"
        print(f"waves, {whose}, {b.wave}: {b.says}", file=sys.stderr)
    if not broken:
        print(f"waves whole: {held} in {len(cases)} cases")
    return 1 if broken else 0


def _unreadable(fault: DatabaseError) -> int:
    print(f"waves: the database itself cannot be read: {fault.orig}", file=sys.stderr)
    return 1


def _runs(
    archive: WaveArchive, case: str, start: datetime, end: datetime
) -> tuple[tuple[Run, ...], tuple[Damaged, ...]]:
    """What is whole, and what is damaged and therefore left out, which is said."""
    from spiracle.doors.waves.shapes import NUMBERS

    names = sorted({h.wave for h in archive.waves(case)} - {NUMBERS})
    windows = [archive.window(case, name, start, end) for name in names]
    damaged = tuple(d for w in windows for d in w.damaged)
    for d in (*damaged, *archive.damaged(case, NUMBERS, start, end)):
        print(
            f"damaged and left out: {d.wave} of {d.monitor}, {d.first_at:%Y-%m-%d %H:%M:%S %Z}, {d.says}",
            file=sys.stderr,
        )
    return tuple(run for w in windows for run in w.runs), damaged


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


def _damage(damaged: tuple[Damaged, ...]) -> tuple[Note, ...]:
    from spiracle.doors.waves.shapes import Note

    return tuple(Note(at=d.first_at, seconds=(d.until - d.first_at).total_seconds(),
                      text=f"{d.wave} of {d.monitor}: kept, but damaged in the archive and not readable") for d in damaged)  # fmt: skip


def _findings(args: argparse.Namespace, case: Case, runs: tuple[Run, ...]) -> tuple[Note, ...]:
    """What the CO2 wave shows, read again here."""
    from spiracle.case.standing import dosing_weight_kg, opened
    from spiracle.doors.tables import load_facts
    from spiracle.doors.waves.read_again import Animal, read_notes

    first, kg = opened(case), dosing_weight_kg(case)
    tubes = tuple(t.happened_at for t in case.live(ev.TubePlaced))
    animal = Animal(None if kg is None else float(kg), (first.species or None) if first else None, tubes)
    return read_notes(runs, animal, load_facts(args.hospital).capnogram)


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
