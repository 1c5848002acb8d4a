"""Waves as EDF+ and Parquet, read back by libraries that did not write them: pyedflib (EDFlib) and pyarrow.

Conformance: EDF+ written and read by an independent open reader has samples equal within 1 LSB and annotations equal.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow.parquet as pq
import pyedflib
import pytest

from served import NOW
from spiracle.case.events import CaseOpened, NoteWritten, OwnerNamed, PatientDescribed, Positioned
from spiracle.case.facts import Facts
from spiracle.doors.cli import main
from spiracle.doors.clock import SetClock
from spiracle.doors.log_store import open_store
from spiracle.doors.waves.archive import open_archive
from spiracle.doors.waves.export_edf import EdfPatient, edf
from spiracle.doors.waves.export_parquet import numbers_parquet, waves_parquet
from spiracle.doors.waves.read_again import Animal, read_notes
from spiracle.doors.waves.rows import us_of
from spiracle.doors.waves.shapes import Broke, KeptNumber, Note, Packet, Run
from spiracle.refusals import Missing, OutOfRange

pytestmark = pytest.mark.xdist_group("wave-exports")  # the readers are slow to load: once is enough


def run_of(
    values: npt.NDArray[np.int64], at_s: float = 0.0, *, rate: float = 100.0, scale: float = 0.1, offset: float = 0.0,
    wave: str = "co2", monitor: str = "m1", lost: float = 0.0, broke: Broke = "start",
) -> Run:  # fmt: skip
    missing = np.random.default_rng(3).random(len(values)) < lost
    return Run(monitor, wave, "mm[Hg]", rate, scale, offset, NOW + timedelta(seconds=at_s),
               np.where(missing, 0, values).astype(np.int32), missing, np.array([0]), np.array([0]), broke)  # fmt: skip


def chance(count: int, low: int, high: int, seed: int = 1) -> npt.NDArray[np.int64]:
    return np.random.default_rng(seed).integers(low, high, count, endpoint=True)


class Read:
    """A file as the independent reader has it: signals, headers, annotations."""

    def __init__(self, file: Path, data: bytes) -> None:
        file.write_bytes(data)
        with pyedflib.EdfReader(str(file)) as reader:
            self.kind, self.start, self.patient = reader.filetype, reader.getStartdatetime(), reader.getPatientName()
            self.code = reader.getPatientCode()
            self.heads: list[dict[str, Any]] = reader.getSignalHeaders()
            self.physical = [reader.readSignal(n) for n in range(reader.signals_in_file)]
            self.digital = [reader.readSignal(n, digital=True) for n in range(reader.signals_in_file)]
            onsets, lengths, texts = reader.readAnnotations()
        self.notes = [(float(a), float(b), str(c)) for a, b, c in zip(onsets, lengths, texts, strict=True)]

    def absent(self, n: int) -> npt.NDArray[np.bool_]:
        found: npt.NDArray[np.bool_] = self.digital[n] == self.heads[n]["digital_min"]
        return found

    def stretches(self, label: str) -> list[tuple[float, float]]:
        return [(at, length) for at, length, text in self.notes if text == f"{label}: no sample"]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "waves.edf"


@pytest.mark.parametrize(
    ("rate", "scale", "offset", "low", "high"),
    [
        (100.0, 0.1, 0.0, -50, 1200),  # CO2 in 0.1 mmHg
        (125.0, 1.0, 0.0, 0, 1023),  # pleth of ten bits
        (250.0, 0.0078125, -400.0, 0, 65534),  # a sixteen bit converter without sign
        (62.5, 0.12345678, 33.3, -30000, 30000),
        (1000 / 7, -0.05, 2.0, -2000, 2000),  # upside down, and no whole number of samples a second
        (20.0, 0.01, 0.0, 1_000_000, 1_000_500),  # far from nought
        (100.0, 1e-5, 0.0, -32767, 32767),
        (100.0, 1 / 3, 10.0, -300, 300),
    ],
)
def test_samples_are_equal_within_one_step(
    file: Path, rate: float, scale: float, offset: float, low: int, high: int
) -> None:
    """Conformance 17."""
    run = run_of(chance(3000, low, high), rate=rate, scale=scale, offset=offset, lost=0.02)
    read = Read(file, edf([run]))
    assert read.kind == pyedflib.FILETYPE_EDFPLUS
    assert read.heads[0]["sample_frequency"] == pytest.approx(rate, rel=1e-9)
    assert read.heads[0]["dimension"] == "mm[Hg]"
    got, here = read.physical[0][:3000], ~run.missing
    assert np.abs(got[here] - run.values[here]).max() < abs(scale)
    back = np.rint((got[here] - offset) / scale)
    assert np.array_equal(back, run.samples[here]), "and so the device's own whole numbers can be had again"
    assert np.array_equal(read.absent(0)[:3000], run.missing)
    assert read.absent(0)[3000:].all()


def test_what_has_no_sample_is_stated_place_by_place(file: Path) -> None:
    first, second = run_of(chance(250, 0, 400)), run_of(chance(300, 0, 400), 7.5, broke="gap")
    pleth = run_of(chance(1500, 0, 1023), 0.4, rate=125.0, scale=1.0, wave="pleth")
    read = Read(file, edf([first, second, pleth]))
    assert [h["label"] for h in read.heads] == ["co2", "pleth"]
    assert "no sample" in read.heads[0]["prefilter"] and str(read.heads[0]["digital_min"]) in read.heads[0]["prefilter"]
    (gap, tail), (lead, end) = read.stretches("co2"), read.stretches("pleth")
    assert gap == (2.5, 5.0) and tail[0] == 10.5
    assert lead == (0.0, 0.4) and end[0] == pytest.approx(12.4)
    assert read.absent(0)[250:750].all() and not read.absent(0)[750:1050].any()
    assert np.allclose(read.physical[0][750:1050], second.values, atol=0.05)
    assert [a for a in read.notes if "goes on after a gap" in a[2]] == [
        (7.5, -1.0, "co2: goes on after a gap; m1, mm[Hg], 100 Hz")
    ]


def test_every_absence_is_named_and_no_sample_is(file: Path) -> None:
    run = run_of(chance(2000, 0, 400), lost=0.1)
    read = Read(file, edf([run]))
    named = np.zeros(len(read.digital[0]), dtype=bool)
    for at, length in read.stretches("co2"):
        named[round(at * 100) : round((at + length) * 100)] = True
    assert np.array_equal(named, read.absent(0))
    assert np.array_equal(named[:2000], run.missing)


def test_annotations_come_back_as_they_were(file: Path) -> None:
    """Conformance 17: onset, length and text, beyond ASCII too."""
    notes = [
        Note(at=NOW + timedelta(seconds=1.25), text="Propofol 12 mg IV, slowly"),
        Note(at=NOW + timedelta(seconds=3, milliseconds=40), text="CO₂ rises: 62 mmHg – „ok“ µg ≥", seconds=4.5),
        Note(at=NOW + timedelta(seconds=3, milliseconds=40), text="a second one at the same moment"),
        Note(at=NOW + timedelta(seconds=9.5), text="broken\nline\x14"),
    ]
    read = Read(file, edf([run_of(chance(1000, 0, 400))], notes))
    told = [n for n in read.notes if not n[2].startswith("co2: ")]
    assert told == [
        (1.25, -1.0, "Propofol 12 mg IV, slowly"),
        (3.04, -1.0, "a second one at the same moment"),
        (3.04, 4.5, "CO₂ rises: 62 mmHg – „ok“ µg ≥"),
        (9.5, -1.0, "broken line "),
    ]


def test_what_lies_outside_the_recording_is_counted(file: Path) -> None:
    notes = [Note(at=NOW - timedelta(hours=1), text="before"), Note(at=NOW + timedelta(hours=1), text="after")]
    read = Read(file, edf([run_of(chance(100, 0, 400))], notes))
    assert [t for _, _, t in read.notes if "not written here" in t] == [
        "entries before or after this recording, not written here: 2"
    ]


def test_another_device_rate_or_scale_is_another_signal(file: Path) -> None:
    runs = [run_of(chance(100, 0, 9)), run_of(chance(100, 0, 9, 2), 2, monitor="m2"), run_of(chance(125, 0, 9, 3), 4, rate=125.0),
            run_of(chance(100, 0, 9, 4), 6, scale=0.01)]  # fmt: skip
    read = Read(file, edf(runs))
    assert [h["label"] for h in read.heads] == ["co2", "co2 2", "co2 3", "co2 4"]
    assert [h["transducer"] for h in read.heads] == ["m1", "m2", "m1", "m1"]
    for n, run in enumerate(runs):
        here = ~read.absent(n)
        assert np.allclose(read.physical[n][here], run.values, atol=run.scale / 2)
        assert np.flatnonzero(here)[0] == round(2 * n * run.rate_hz)


def test_runs_that_overlap_lose_nothing(file: Path) -> None:
    runs = [run_of(chance(500, 0, 400)), run_of(chance(500, 0, 400, 2), 3, broke="overlap")]
    read = Read(file, edf(runs))
    assert [h["label"] for h in read.heads] == ["co2", "co2 2"]
    assert [int((~read.absent(n)).sum()) for n in (0, 1)] == [500, 500]


def test_a_run_off_the_grid_says_its_exact_moment(file: Path) -> None:
    read = Read(file, edf([run_of(chance(300, 0, 400), 2.123456)]))
    assert np.flatnonzero(~read.absent(0))[0] == 12
    assert read.start == (NOW + timedelta(seconds=2)).astimezone(UTC).replace(tzinfo=None)
    begins = [(at, text) for at, _, text in read.notes if "begins" in text]
    assert begins[0][0] == pytest.approx(0.123456, abs=1e-7)


def test_the_patient_is_named_only_when_asked_for(file: Path) -> None:
    run = run_of(chance(100, 0, 400))
    plain = edf([run])
    assert plain[8:88].decode().strip() == "X X X X", "the patient field of the header, 80 letters after the version"
    named = edf([run], patient=EdfPatient(code="A 12", sex="F", born=date(2019, 3, 2), name="Larch Bark"))
    read = Read(file, named)
    assert (read.patient, read.code) == ("Larch Bark", "A 12")
    assert named[8:88].decode().strip() == "A_12 F 02-MAR-2019 Larch_Bark"


def test_what_edf_cannot_hold_is_refused_by_name() -> None:
    with pytest.raises(Missing, match="waves"):
        edf([])
    with pytest.raises(OutOfRange, match="16 bits"):
        edf([run_of(chance(100, 0, 70_000))])
    with pytest.raises(OutOfRange, match="header"):
        edf([run_of(chance(100, 0, 100), scale=1e-6, offset=1e5)])
    with pytest.raises(OutOfRange, match="record"):
        edf([run_of(chance(100, 0, 100), rate=99.971), run_of(chance(100, 0, 100), rate=124.93)])


# ---- what the CO2 wave shows


def breathing(breaths: int, silent_s: int, rate: int = 50) -> npt.NDArray[np.int64]:
    """Breaths of 4 s, 40 mmHg for half of each with edges of 0.2 s, then no CO2: in steps of 0.1 mmHg. Invented."""
    edge = np.linspace(0, 400, rate // 5)
    one = np.concatenate([edge, np.full(2 * rate, 400.0), edge[::-1], np.zeros(2 * rate - 2 * len(edge))])
    return np.rint(np.concatenate([np.tile(one, breaths), np.zeros(silent_s * rate)])).astype(np.int64)


def ours(file: Path, runs: list[Run], animal: Animal, facts: Facts) -> list[tuple[float, float, str]]:
    read = Read(file, edf(runs, read_notes(runs, animal, facts.capnogram)))
    return [n for n in read.notes if "Spiracle" in n[2]]


def test_what_the_trace_shows_travels_with_it(file: Path, facts: Facts) -> None:
    """Twenty breaths, then a minute without, then twenty: told as no breaths from the 80th second to the 140th, marked as ours, the
    same whether the trace is in one run or torn in two by a gap of two seconds."""
    whole = np.concatenate([breathing(20, 60), breathing(20, 0)])
    parts = [run_of(whole[:2000], rate=50.0), run_of(whole[2100:], 42.0, rate=50.0, broke="gap")]
    for runs in ([run_of(whole, rate=50.0)], parts):
        told = ours(file, runs, Animal(20.0, "dog"), facts)
        (silence,) = [n for n in told if ": apnoea: " in n[2]]
        assert silence[0] == pytest.approx(80, abs=3) and silence[0] + silence[1] == pytest.approx(140, abs=3)
        assert silence[2].startswith("Read by Spiracle (co2, m1): ")
        assert all(at >= 0 and length >= 0 and "Read by Spiracle" in text for at, length, text in told)


def test_traces_far_apart_are_read_each_for_itself(file: Path, facts: Facts) -> None:
    """An hour between: no breaths in it are missed, and the second trace's findings stand at its own time."""
    one = breathing(20, 60)
    told = ours(file, [run_of(one, rate=50.0), run_of(one, 3600.0, rate=50.0, broke="gap")], Animal(), facts)
    silent = [(at, at + length, text) for at, length, text in told if ": apnoea: " in text]
    assert [at for at, _, _ in silent] == [pytest.approx(80, abs=3), pytest.approx(3680, abs=3)]
    assert [end for _, end, _ in silent] == [pytest.approx(140, abs=0.1), pytest.approx(3740, abs=0.1)]
    assert all("to the end of the trace" in text for _, _, text in silent)


def test_a_wave_that_cannot_be_read_says_so(file: Path, facts: Facts) -> None:
    slow, pleth = run_of(chance(300, 0, 400), rate=10.0), run_of(breathing(20, 60), rate=50.0, wave="pleth")
    ((at, _, text),) = ours(file, [slow, pleth], Animal(), facts)
    assert at == 0 and text.startswith("Not read by Spiracle (co2, m1): sampling rate")


# ---- Parquet


def test_samples_in_parquet_are_what_they_were(tmp_path: Path) -> None:
    runs = [run_of(chance(500, -(2**31), 2**31 - 1), lost=0.1), run_of(chance(50, 0, 9), 60, rate=1000 / 7, scale=1.0, wave="pleth"),
            run_of(chance(70, 0, 9, 5), 90, broke="gap")]  # fmt: skip
    assert waves_parquet(runs, tmp_path / "it's.parquet") == 620
    table = pq.read_table(tmp_path / "it's.parquet")
    assert pq.ParquetFile(tmp_path / "it's.parquet").metadata.row_group(0).column(0).compression == "ZSTD"
    assert {"at", "wave", "value", "raw", "unit", "monitor", "missing"} <= set(table.column_names)
    rows = table.to_pylist()
    assert str(table.schema.field("at").type) == "timestamp[us, tz=UTC]"
    for number, run in enumerate(runs, 1):
        mine = [r for r in rows if r["run"] == number]
        assert [r["raw"] for r in mine] == [
            None if m else s for s, m in zip(run.samples.tolist(), run.missing, strict=True)
        ]
        assert [r["value"] for r in mine] == [None if np.isnan(v) else v for v in run.values.tolist()]
        assert [r["missing"] for r in mine] == run.missing.tolist()
        assert {(r["wave"], r["unit"], r["monitor"], r["rate_hz"]) for r in mine} == {
            (run.wave, "mm[Hg]", "m1", run.rate_hz)
        }
        moments = [run.first_at + timedelta(microseconds=round(k * 1e6 / run.rate_hz)) for k in range(len(mine))]
        assert [r["at"] for r in mine] == moments, "nothing between two runs: a gap has no lines"


def test_numbers_in_parquet_are_what_they_were(tmp_path: Path) -> None:
    sent = [KeptNumber(case="c", monitor="m1", at=NOW + timedelta(seconds=n), arrived_at=NOW + timedelta(seconds=n, milliseconds=31),
                       reading="spo2", ref="ref", value=None if n == 2 else Decimal(f"9{n}.0"), unit="%", raw=f"9{n}.0 %",
                       quality="good", flags=("a", "b") if n else (), site="tongue", why="no finger" if n == 2 else "")
            for n in range(5)]  # fmt: skip
    assert numbers_parquet(sent, tmp_path / "n.parquet") == 5
    rows = pq.read_table(tmp_path / "n.parquet").to_pylist()
    for row, n in zip(rows, sent, strict=True):
        assert row["at"] == n.at and row["arrived_at"] == n.arrived_at
        assert row["digits"] == (None if n.value is None else str(n.value))
        assert row["value"] == (None if n.value is None else float(n.value))
        assert tuple(row["flags"]) == n.flags
        assert all(
            row[f] == getattr(n, f) for f in ("reading", "ref", "unit", "raw", "quality", "site", "why", "monitor")
        )


# ---- the command


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A case with two minutes of CO2 and a gap in them, numbers, and entries of which two name the owner or are free writing."""
    folder = tmp_path_factory.mktemp("written")
    url, clock = f"sqlite:///{folder / 'cases.db'}", SetClock(NOW)
    store, archive = open_store(url, clock), open_archive(url, clock=clock, background=False)
    about: dict[str, Any] = {"case": "larch", "recorded_at": NOW, "by": "tec"}
    at = NOW + timedelta(seconds=30)
    store.append("larch", [
        CaseOpened(id="1", species="dog", number="A 12", happened_at=NOW, **about),
        PatientDescribed(id="2", name="Bark", sex="FN", happened_at=NOW, **about),
        OwnerNamed(id="3", name="Ms Holder", happened_at=at, **about),
        Positioned(id="4", position="dorsal", happened_at=at, **about),
        NoteWritten(id="5", text="Ms Holder rang", happened_at=at, **about),
    ], 0)  # fmt: skip
    done = []
    for n in [*range(60), *range(70, 120)]:
        first = NOW + timedelta(seconds=n)
        done.append(archive.append(
            [Packet(case="larch", monitor="m1", wave="co2", unit="mm[Hg]", rate_hz=100.0, scale=0.1, offset=0.0, first_at=first,
                    arrived_at=first, samples=tuple((n + k) % 400 for k in range(100)))],
            [KeptNumber(case="larch", monitor="m1", at=first, arrived_at=first, reading="spo2", ref="r", value=Decimal(n), unit="%",
                        raw=str(n))], f"{n}"))  # fmt: skip
    assert all(d.result() for d in done)
    archive.pack(NOW + timedelta(seconds=61))
    archive.close()
    store.close()
    return folder


@pytest.fixture
def stored(written: Path, tmp_path: Path) -> str:
    """Its own copy of it for each test."""
    for file in ("cases.db", "cases-waves.db"):
        shutil.copy(written / file, tmp_path / file)
    return f"sqlite:///{tmp_path / 'cases.db'}"


@dataclass
class Done:
    returncode: int
    stdout: bytes
    stderr: bytes


@pytest.fixture
def spiracle(capsysbinary: pytest.CaptureFixture[bytes]) -> Callable[..., Done]:
    """The command as the terminal calls it, without a process for each."""

    def run(*words: str | Path) -> Done:
        capsysbinary.readouterr()
        code = main([str(w) for w in words])
        return Done(code, *capsysbinary.readouterr())

    return run


def test_the_command_writes_edf(spiracle: Callable[..., Done], stored: str, file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.edf"
    done = spiracle("record", "larch", "--database", stored, "--format", "edf", "--output", out)
    assert done.returncode == 0, done.stderr
    read = Read(file, out.read_bytes())
    assert read.start == NOW.astimezone(UTC).replace(tzinfo=None)
    assert read.stretches("co2")[0] == (60.0, 10.0)
    assert int((~read.absent(0)).sum()) == 11_000
    texts = " ".join(t for _, _, t in read.notes)
    assert "Read by Spiracle (co2, m1): " in texts
    assert "dorsal" in texts.lower() and "Holder" not in texts and "Bark" not in texts
    assert b"Bark" not in out.read_bytes() and b"Holder" not in out.read_bytes()
    done = spiracle("record", "larch", "--database", stored, "--format", "edf", "--patient", "--output", out)
    assert out.read_bytes()[8:88].decode().strip() == "A_12 F X Bark"


def test_the_command_writes_parquet(spiracle: Callable[..., Done], stored: str, tmp_path: Path) -> None:
    out = tmp_path / "out.parquet"
    done = spiracle("record", "larch", "--database", stored, "--format", "parquet", "--output", out)
    assert done.returncode == 0, done.stderr
    assert pq.read_table(out).num_rows == 11_000
    assert pq.read_table(tmp_path / "out-numbers.parquet").num_rows == 110


@pytest.mark.parametrize(
    ("words", "field"),
    [(("--format", "parquet"), b"output"), (("--format", "edf", "--waves", "sqlite:///{empty}"), b"waves")],
)
def test_the_command_refuses_by_name(
    spiracle: Callable[..., Done], stored: str, tmp_path: Path, words: tuple[str, ...], field: bytes
) -> None:
    done = spiracle("record", "larch", "--database", stored, *(w.format(empty=tmp_path / "empty.db") for w in words))
    assert done.returncode == 1 and field in done.stderr and done.stdout == b""


def test_verify_walks_the_waves_too(spiracle: Callable[..., Done], stored: str, file: Path, tmp_path: Path) -> None:
    """D11: whole, then a bit of the packed minute and one of a row turned by hand: told with its place, the case's log is whole all
    the same. The export goes on with what is whole, and says in the file what lacks."""
    done = spiracle("verify", "larch", "--database", stored)
    assert done.returncode == 0 and b"waves whole: 2 in 1 cases" in done.stdout
    waves = tmp_path / "cases-waves.db"
    with closing(sqlite3.connect(waves)) as base, base:
        for (name,) in base.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            base.execute(f'drop trigger "{name}"')
        loose = f"wave = 'co2' and first_us = {us_of(NOW + timedelta(seconds=90))}"
        for table, which in (("wave_minute", "wave = 'co2'"), ("wave_packet", loose)):
            (body,) = base.execute(f"select body from {table} where {which}").fetchone()  # noqa: S608
            torn = bytearray(body)
            torn[len(torn) // 2] ^= 1
            base.execute(f"update {table} set body = ? where {which}", (bytes(torn),))  # noqa: S608
    done = spiracle("verify", "--database", stored, "--waves", f"sqlite:///{waves}")
    assert done.returncode == 1
    assert b"waves, case larch, co2: packed minute 1 of 2026-" in done.stderr and done.stdout.startswith(b"whole: ")
    out = tmp_path / "out.edf"
    done = spiracle("record", "larch", "--database", stored, "--format", "edf", "--output", out)
    assert done.returncode == 0 and b"damaged and left out: co2 of m1" in done.stderr
    read = Read(file, out.read_bytes())
    assert read.start == (NOW + timedelta(seconds=70)).astimezone(UTC).replace(tzinfo=None)
    assert int((~read.absent(0)).sum()) == 4900
    assert [n for n in read.notes if "damaged" in n[2]][1:] == [
        (20.0, 1.0, "co2 of m1: kept, but damaged in the archive and not readable"),
        (21.0, -1.0, "co2: goes on after a stretch that is damaged in the archive; m1, mm[Hg], 100 Hz"),
    ]


def test_verify_says_nothing_of_waves_where_there_are_none(spiracle: Callable[..., Done], tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'cases.db'}"
    open_store(url, SetClock(NOW)).close()
    done = spiracle("verify", "--database", url)
    assert done.returncode == 0 and b"wave" not in done.stdout + done.stderr
    assert not (tmp_path / "cases-waves.db").exists(), "to look makes no archive"
    done = spiracle("verify", "--database", url, "--waves", f"sqlite:///{tmp_path / 'none.db'}")
    assert done.returncode == 1 and b"waves" in done.stderr
