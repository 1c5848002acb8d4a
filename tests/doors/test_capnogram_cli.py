"""The command that reads a recording of CO2, as a person runs it: every kind of file it takes, and every kind it refuses by name.

Recordings are the labelled ones of tests/capno_*.py, so what comes out is held to what truly happened; EDF+ files are written by
pyedflib, which shares nothing with the reader.
"""

from __future__ import annotations

import gzip
import io
import json
import warnings
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pyedflib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from capno_score import score
from capno_set import labelled
from capno_truth import MMHG_PER_KPA, Array, Recording
from spiracle.doors.capnogram_file import csv_trace, on_grid, read_trace
from spiracle.doors.cli import main
from spiracle.refusals import Refusal

SCHEMA = json.loads(
    (Path(__file__).resolve().parents[2] / "src/spiracle/doors/capnogram.schema.json").read_text("utf-8")
)
COLUMN = {"mmHg": "co2_mmhg", "kPa": "co2_kpa", "percent": "co2_percent"}


@dataclass(frozen=True)
class Said:
    status: int
    out: bytes
    err: str


def run(*words: str) -> Said:
    out, err = (io.TextIOWrapper(io.BytesIO(), write_through=True) for _ in range(2))
    with redirect_stdout(out), redirect_stderr(err):
        try:
            status = main(["capnogram", *words])
        except SystemExit as leaving:
            status = int(str(leaving.code))
    return Said(status, out.buffer.getvalue(), err.buffer.getvalue().decode())


@lru_cache
def recording(kind: str) -> Recording:
    return next(make for name, make in labelled().items() if name.startswith(kind))()


def csv_of(made: Recording, unit: str, start: float = 0.0, digits: int = 4) -> str:
    """The recording in another unit; percent at the standard atmosphere."""
    mmhg = made.clean.copy()
    mmhg[np.isnan(made.samples)] = np.nan
    own = {"mmHg": mmhg, "kPa": mmhg / MMHG_PER_KPA, "percent": mmhg / 7.6}[unit]
    moments = start + np.arange(len(own)) / made.rate_hz
    rows = (f"{t:.{digits}f},{'' if np.isnan(v) else f'{v:.4f}'}" for t, v in zip(moments, own, strict=True))
    return f"time_s,{COLUMN[unit]}\n" + "\n".join(rows) + "\n"


def put(folder: Path, name: str, text: str | bytes) -> str:
    raw = text.encode() if isinstance(text, str) else text
    (folder / name).write_bytes(gzip.compress(raw, 1) if name.endswith(".gz") else raw)
    return str(folder / name)


def answer(*words: str) -> dict[str, Any]:
    said = run(*words, "--format", "json")
    assert said.status == 0, said.err
    made: dict[str, Any] = json.loads(said.out)
    jsonschema.validate(made, SCHEMA)
    return made


@dataclass(frozen=True)
class Told:
    start_s: float
    end_s: float
    etco2: float
    fico2: float | None


def told(made: dict[str, Any], key: str = "etco2_mmhg") -> list[Told]:
    return [Told(b["expiration_start_s"], b["expiration_end_s"], b[key]["value"], None) for b in made["breaths"]]


@pytest.mark.parametrize("ending", ["csv", "csv.gz"])
@pytest.mark.parametrize("unit", ["mmHg", "kPa", "percent"])
def test_each_unit_plain_and_gzipped(tmp_path: Path, unit: str, ending: str) -> None:
    truth = recording("rebreathing-drawn")
    made = answer(put(tmp_path, f"a.{ending}", csv_of(truth, unit)))
    got = score(truth, told(made))
    assert (len(got.missed), len(got.invented)) == (0, 0)
    assert np.mean(np.abs(got.errors)) < 1.0
    shown = "%" if unit == "percent" else unit
    per = {"mmHg": 1.0, "kPa": MMHG_PER_KPA, "percent": 7.6}[unit]
    for b in made["breaths"]:
        assert (b["etco2"]["unit"], b["etco2_mmhg"]["unit"]) == (shown, "mmHg")
        assert b["etco2"]["value"] * per == pytest.approx(b["etco2_mmhg"]["value"], rel=2e-3, abs=1e-3)
    assert {f["name"] for f in made["findings"]} >= {"rebreathing"}
    found = next(f for f in made["findings"] if f["name"] == "rebreathing")
    assert found["checks"]
    assert found["causes"]
    assert all(set(c["sources"][0]) == {"id", "citation", "seen", "memory"} for c in found["checks"])
    assert made["rate"]["unit"] == "/min"


def test_percent_without_air_pressure_says_loudly_what_was_assumed(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", csv_of(recording("normal-drawn"), "percent"))
    assumed, given_ = answer(path), answer(path, "--ambient", "690 mmHg")
    assert "ASSUMED: air pressure 760 mmHg" in assumed["notes"][0]
    assert given_["notes"] == []
    assert assumed["etco2"] == given_["etco2"]  # the file's own values do not hang on it
    assert given_["breaths"][5]["etco2_mmhg"]["value"] == pytest.approx(
        assumed["breaths"][5]["etco2_mmhg"]["value"] * 690 / 760, abs=0.02
    )
    assert "ASSUMED" in run(path).out.decode()


def test_moments_are_the_files_own(tmp_path: Path) -> None:
    truth = recording("normal-drawn")
    plain = answer(put(tmp_path, "a.csv", csv_of(truth, "mmHg")))
    later = answer(put(tmp_path, "b.csv", csv_of(truth, "mmHg", start=4000.0)))
    assert later["start_s"] == 4000.0
    assert [b["expiration_start_s"] for b in later["breaths"]] == pytest.approx(
        [b["expiration_start_s"] + 4000 for b in plain["breaths"]], abs=0.002
    )


def test_missing_rows_and_empty_cells_are_the_same_gap(tmp_path: Path) -> None:
    truth = recording("gap-drawn")
    text = csv_of(truth, "mmHg")
    left_out = "\n".join(line for line in text.splitlines() if not line.endswith(",")) + "\n"
    one, other = answer(put(tmp_path, "a.csv", text)), answer(put(tmp_path, "a.csv", left_out))
    assert one["breaths"] == other["breaths"]
    assert one["troubles"] == other["troubles"]
    assert any(t["kind"] == "missing" and t["to_s"] - t["from_s"] > 5 for t in one["troubles"])
    got = score(truth, told(one))
    assert not got.invented


@pytest.mark.parametrize(("rate", "digits"), [(125.0, 3), (100.0, 2), (62.5, 3), (30.0, 2), (250.0, 3)])
def test_rounded_moments_do_not_drift(rate: float, digits: int) -> None:
    """Moments as a file prints them; the grid must still have its sample at each place after ten minutes."""
    count = int(600 * rate)
    moments = np.round(np.arange(count) / rate, digits)
    grid, found = on_grid(moments, np.arange(count, dtype=float))
    assert found == pytest.approx(rate, rel=2e-6)
    assert np.array_equal(grid, np.arange(count, dtype=float))


def edf(path: Path, signals: list[tuple[str, str, float, Array]], prefilter: str = "") -> str:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with pyedflib.EdfWriter(str(path), len(signals), file_type=pyedflib.FILETYPE_EDFPLUS) as writer:
            for n, (label, unit, rate, _) in enumerate(signals):
                writer.setSignalHeader(n, {"label": label, "dimension": unit, "sample_frequency": rate, "physical_max": 200.0,
                                           "physical_min": -10.0, "digital_max": 32767, "digital_min": -32768, "transducer": "",
                                           "prefilter": prefilter})  # fmt: skip
            writer.writeSamples([s[3] for s in signals])
    return str(path)


def test_edf_by_label_and_unit(tmp_path: Path) -> None:
    truth = recording("rebreathing-drawn")
    seconds = int(truth.seconds)
    wave = truth.clean[: int(seconds * truth.rate_hz)]
    pleth, number = np.sin(np.arange(seconds * 50) / 8) + 2, np.full(seconds, 38.0)
    path = edf(
        tmp_path / "a.edf",
        [("Pleth", "", 50, pleth), ("CO2", "mmHg", truth.rate_hz, wave), ("EtCO2", "mmHg", 1, number)],
    )
    made = answer(path)
    got = score(truth, told(made))
    assert len(got.missed) + len(got.invented) <= 1
    assert np.mean(np.abs(got.errors)) < 1.0
    assert "Not read: Pleth, EtCO2." in made["notes"]
    kpa = edf(tmp_path / "b.edf", [("Resp CO2", "kPa", truth.rate_hz, wave / MMHG_PER_KPA)])
    assert answer(kpa)["etco2"]["value"] == pytest.approx(made["etco2"]["value"] / MMHG_PER_KPA, abs=0.02)


def test_edf_that_names_none_or_several(tmp_path: Path) -> None:
    wave = recording("normal-drawn").clean[:5000]
    none = run(edf(tmp_path / "n.edf", [("Flow", "L/min", 50, wave)]))
    assert none.status == 1
    assert none.err.startswith("CO2 signal: no label of n.edf says CO2. It has 'Flow'")
    two = edf(tmp_path / "t.edf", [("CO2 A", "mmHg", 50, wave), ("CO2 B", "mmHg", 50, wave)])
    said = run(two)
    assert said.status == 1
    assert "'CO2 A', 'CO2 B'" in said.err
    assert run(two, "--signal", "CO2 B").status == 0
    assert run(two, "--signal", "CO2 C").err.startswith("signal: t.edf has no 'CO2 C'.")
    odd = run(edf(tmp_path / "o.edf", [("CO2", "mV", 50, wave)]))
    assert odd.err.startswith("CO2: its unit 'mV' is not one of CO2.")


def test_edf_whose_header_names_the_mark_of_absence(tmp_path: Path) -> None:
    """Digital -32768 lies at the physical minimum, -10 mmHg."""
    wave = recording("normal-drawn").clean[:5000].copy()
    wave[1000:1300] = -10.0
    plain = read_trace(Path(edf(tmp_path / "p.edf", [("CO2", "mmHg", 50, wave)])))
    told = read_trace(Path(edf(tmp_path / "t.edf", [("CO2", "mmHg", 50, wave)], "none; digital -32768 = no sample")))
    assert not np.isnan(plain.samples).any()
    assert np.flatnonzero(np.isnan(told.samples)).tolist() == list(range(1000, 1300))


STEADY = "time_s,co2_mmhg\n" + "".join(f"{n / 50:.2f},{20 + n % 7}\n" for n in range(400))
BAD = {
    "": "heading:",
    "\n\n": "heading:",
    "time_s,etco2\n0,1\n": "CO2 column:",
    "time,co2_mmhg\n0,1\n": "time_s:",
    "time_s;co2_mmhg\n0;1\n": "time_s:",
    "time_s,co2_mmhg,co2_kpa\n0,1,1\n": "CO2 column: co2_mmhg and co2_kpa",
    "time_s,co2_mmhg,co2_mmhg\n0,1,1\n": "heading: 'co2_mmhg' stands there twice",
    "time_s,co2_mmhg\n0,1\n": "rows: 1 are too few",
    "time_s,co2_mmhg\n0,1\n0.02,x\n": "row 3: CO2 is 'x', not a number",
    "time_s,co2_mmhg\n0,1\n0.02,1e999\n": "row 3: CO2 is '1e999'",
    "time_s,co2_mmhg\n0,1\n0.02,1_0\n": "row 3: CO2 is '1_0'",
    "time_s,co2_mmhg\n0,1\n,2\n": "row 3: time_s is empty",
    "time_s,co2_mmhg\n0,1\nnan,2\n": "row 3: time_s is 'nan'",
    "time_s,co2_mmhg\n0,1\n0.02\n": "row 3: has 1 cells",
    "time_s,co2_mmhg\n0,1\n\n0.02,2\n": "row 3: is empty",
    "time_s,co2_mmhg\n0,1\n0.02,2\n0.01,3\n": "row 4: 0.01 s goes back in time",
    "time_s,co2_mmhg\n0,1\n0.02,2\n0.02,3\n": "row 4: 0.02 s is the moment of the row before",
    "time_s,co2_mmhg\n0,1\n0.02,2\n9e9,3\n": "row 4:",
    "time_s,co2_mmhg\n0,1\n1,2\n2,3\n": "sampling rate: 1 Hz",
    "time_s,co2_mmhg\n0,1\n0.001,2\n0.002,3\n": "sampling rate: 1000 Hz",
    'time_s,co2_mmhg\n0,1\n0.02,"2\n': "row 3: is not CSV",
}


@pytest.mark.parametrize("text", BAD, ids=[f"bad{n}" for n in range(len(BAD))])
def test_bad_csv_is_refused_by_name(tmp_path: Path, text: str) -> None:
    said = run(put(tmp_path, "bad.csv", text), "--format", "json")
    assert (said.status, said.out) == (1, b"")
    assert said.err.startswith(BAD[text]), said.err
    assert said.err.count("\n") == 1


def test_bad_files_are_refused_by_name(tmp_path: Path) -> None:
    assert run(str(tmp_path / "none.csv")).err.startswith("file: ")
    assert run(str(tmp_path)).err.startswith("file: ")
    assert "not text" in run(put(tmp_path, "b.csv", b"\xff\xfe\x00t")).err
    (tmp_path / "c.csv.gz").write_bytes(gzip.compress(STEADY.encode())[:60])
    assert "damaged gzip" in run(str(tmp_path / "c.csv.gz")).err
    assert "not a whole EDF+" in run(put(tmp_path, "d.edf", b"0       " + b"x" * 400)).err
    assert "BDF" in run(put(tmp_path, "e.bdf", b"\xffBIOSEMI" + b" " * 400)).err
    good = put(tmp_path, "f.csv", STEADY)
    assert run(good, "--ambient", "760").err.startswith("ambient: ")
    assert run(good, "--weight", "4").err.startswith("weight: ")
    assert run(good, "--signal", "CO2").err.startswith("signal: ")
    assert run(good, "--species", "horse").status == 2


def test_what_is_read_without_fuss(tmp_path: Path) -> None:
    """A byte order mark, line ends of another system, blank lines at the end, nan for an empty cell, columns of other things."""
    lines = [line + ",9" if n else line + ",spo2" for n, line in enumerate(STEADY.splitlines())]
    text = "\ufeff" + "\r\n".join(lines).replace("0.10,25,", "0.10,NaN,") + "\r\n\r\n\r\n"
    trace = csv_trace(text.encode(), "a.csv")
    assert (trace.rate_hz, trace.unit, trace.unread) == (50.0, "mmHg", ("spo2",))
    assert np.flatnonzero(np.isnan(trace.samples)).tolist() == [5]
    made = answer(put(tmp_path, "a.csv", text))
    assert made["notes"] == ["Not read: spo2."]


def test_text_is_for_people(tmp_path: Path) -> None:
    said = run(put(tmp_path, "a.csv", csv_of(recording("leak-drawn"), "mmHg"))).out.decode()
    order = [said.index(word) for word in ("CAPNOGRAM", "recording", "WHAT IT SHOWS", "BREATHS", "not a substitute")]
    assert order == sorted(order)
    assert "-0 " not in said
    assert max(len(line) for line in said.splitlines()) <= 80


@pytest.mark.parametrize("kind", ["leak-drawn", "gap-drawn", "apnoea-lung", "flat-drawn", "panting-drawn"])
def test_picture(tmp_path: Path, kind: str) -> None:
    target = tmp_path / "a.png"
    said = run(put(tmp_path, "a.csv", csv_of(recording(kind), "mmHg")), "--format", "png", "--output", str(target))
    assert (said.status, said.out) == (0, b"")
    with Image.open(target) as picture:
        assert picture.format == "PNG"
        assert picture.width > 1200
        small = np.asarray(picture.convert("RGB"), dtype=int)
    ink = (np.abs(small - np.array([0x1A, 0x22, 0x1E])).sum(axis=2) < 60).mean()
    teal = (np.abs(small - np.array([0x0C, 0x5A, 0x53])).sum(axis=2) < 60).mean()
    amber = (np.abs(small - np.array([0xF0, 0xB4, 0x2A])).sum(axis=2) < 60).mean()
    assert ink > 0.002
    assert kind == "flat-drawn" or teal > 0.0005
    assert kind not in {"apnoea-lung", "flat-drawn"} or amber > 0.001


def test_a_recording_of_hours_stays_one_page(tmp_path: Path) -> None:
    truth = recording("normal-drawn")
    wave = np.tile(truth.clean, 40)[: int(3 * 3600 * truth.rate_hz)][:: max(1, int(truth.rate_hz // 25))]
    rate = truth.rate_hz / max(1, int(truth.rate_hz // 25))
    rows = "".join(f"{n / rate:.4f},{v:.1f}\n" for n, v in enumerate(wave))
    target = tmp_path / "a.png"
    assert (
        run(put(tmp_path, "a.csv.gz", "time_s,co2_mmhg\n" + rows), "--format", "png", "--output", str(target)).status
        == 0
    )
    with Image.open(target) as picture:
        assert picture.height < 3000


@settings(max_examples=150, deadline=None)
@given(st.one_of(
    st.binary(max_size=300),
    st.text(max_size=200).map(lambda t: ("time_s,co2_mmhg\n" + t).encode()),
    st.binary(max_size=900).map(lambda b: b"0       " + b),
    st.binary(max_size=200).map(lambda b: b"\x1f\x8b" + b),
    st.lists(st.tuples(st.floats(), st.one_of(st.floats(), st.just(""))), max_size=30).map(
        lambda rows: ("time_s,co2_kpa\n" + "".join(f"{a},{b}\n" for a, b in rows)).encode()),
))  # fmt: skip
def test_nothing_but_a_refusal_escapes(tmp_path_factory: pytest.TempPathFactory, raw: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.bin"
    path.write_bytes(raw)
    try:
        trace = read_trace(path)
    except Refusal:
        return
    assert len(trace.samples) >= 2
    assert trace.rate_hz > 0


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 1300), st.integers(0, 255)), min_size=1, max_size=12), st.integers(0, 2000))
def test_nothing_but_a_refusal_escapes_a_spoilt_edf(
    tmp_path_factory: pytest.TempPathFactory, spoilt: list[tuple[int, int]], short: int
) -> None:
    """A good EDF+ file with bytes changed anywhere in its headers or its end cut off."""
    folder = tmp_path_factory.getbasetemp()
    whole = folder / "whole.edf"
    if not whole.exists():
        edf(whole, [("CO2", "mmHg", 50, np.full(500, 30.0)), ("Flow", "L/min", 50, np.zeros(500))])
    raw = bytearray(whole.read_bytes())
    for at, value in spoilt:
        raw[at % len(raw)] = value
    path = folder / "spoilt.edf"
    path.write_bytes(bytes(raw[: len(raw) - short]))
    try:
        trace = read_trace(path)
    except Refusal:
        return
    assert len(trace.samples) >= 2
