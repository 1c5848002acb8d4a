"""The command that predicts, as a person runs it: figures held to what was worked out apart from our solver, and all its outputs.

Figures come from closed forms by `math`, from the matrix exponential of scipy, and from the published set of constants of midazolam in
cats under sevoflurane; the file of the cat with given parameters holds invented ones.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from scipy.linalg import expm

from spiracle.doors.cli import main

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "src/spiracle/doors/predict.schema.json").read_text("utf-8"))
EXAMPLES = ROOT / "examples"
ONE = """
[patient]
species = "dog"
weight = "10 kg"
[model]
v1 = "0.8 L/kg"
k10 = "0.05 1/min"
[[bolus]]
at = "0 min"
dose = "40 mg"
[output]
until = "60 min"
every = "1 min"
fall_to = ["1 mg/L"]
"""


@dataclass(frozen=True)
class Said:
    returncode: int
    stdout: bytes
    stderr: bytes


def run(*words: str) -> Said:
    """The command in this process: its tables are read once for all tests. A process of its own stands below."""
    out, err = (io.TextIOWrapper(io.BytesIO(), write_through=True) for _ in range(2))
    with redirect_stdout(out), redirect_stderr(err):
        try:
            status = main(["predict", *words])
        except SystemExit as left:
            status = int(str(left.code))
    return Said(status, out.buffer.getvalue(), err.buffer.getvalue())  # type: ignore[attr-defined]


def data_of(file: Path) -> dict[str, Any]:
    said = run(str(file), "--format", "json")
    assert said.returncode == 0, said.stderr
    made: dict[str, Any] = json.loads(said.stdout)
    jsonschema.validate(made, SCHEMA)
    return made


def written(folder: Path, text: str) -> Path:
    path = folder / "asked.toml"
    path.write_text(text, "utf-8")
    return path


def at(made: dict[str, Any], minute: float, site: str = "plasma") -> float:
    times = made["times"]["values"]
    place = min(range(len(times)), key=lambda i: abs(times[i] - minute))
    assert math.isclose(times[place], minute, abs_tol=1e-9)
    return float(made[site]["values"][place])


@pytest.fixture(scope="module")
def cat() -> dict[str, Any]:
    return data_of(EXAMPLES / "predict-cat-given-parameters.toml")


@pytest.fixture(scope="module")
def dog() -> dict[str, Any]:
    return data_of(EXAMPLES / "predict-dog-propofol.toml")


def test_one_compartment_is_the_closed_form(tmp_path: Path) -> None:
    """C = D/V exp(-kt), analytic: 4 mg/kg, 0.8 L/kg, 0.05 per minute are 3.032653 mg/L at 10 min, and 1 mg/L after ln 5 / k."""
    made = data_of(written(tmp_path, ONE))
    assert at(made, 10) == pytest.approx(3.032653299, rel=1e-8)
    for minute in (0, 1, 30, 60):
        assert at(made, minute) == pytest.approx(4 / 0.8 * math.exp(-0.05 * minute), rel=1e-8)
    assert made["falls"][0]["after_stop_min"] == pytest.approx(math.log(5) / 0.05, rel=1e-5)
    assert made["facts"]["half_lives"][0]["value"] == pytest.approx(math.log(2) / 0.05, rel=1e-8)
    assert made["given"][0]["working"] == "40 mg / 10 kg = 4 mg/kg"
    assert (made["effect"], made["band"]) == (None, None), "no ke0, no spread: neither curve is made up"


def test_elimination_that_saturates_is_the_closed_form_of_one_compartment(tmp_path: Path) -> None:
    """Integrated Michaelis-Menten, analytic: V (km ln(C0/C) + C0 - C) = vmax t."""
    text = ONE.replace('k10 = "0.05 1/min"', 'vmax = "0.2 mg/kg/min"\nkm = "2 mg/L"')
    made = data_of(written(tmp_path, text))
    start = 4 / 0.8
    for minute in (5, 10, 20):
        level = at(made, minute)
        assert 0.8 * (2 * math.log(start / level) + start - level) == pytest.approx(0.2 * minute, rel=1e-6)
    assert made["model"]["saturable"] and made["facts"]["half_lives"] == [] and made["band"] is None


def test_midazolam_in_a_cat_is_the_published_set(tmp_path: Path) -> None:
    """309.539 and 66.969 ng/mL, 5 and 60 min after 0.3 mg/kg: from the printed V1 117, V2 286, V3 705 mL/kg, CL 18.3, Q2 63.5, Q3 22.1
    mL/min/kg (midazolam in cats under sevoflurane, population set), worked out by matrix exponential apart from our solver."""
    made = data_of(EXAMPLES / "predict-cat-midazolam.toml")
    assert made["plasma"]["unit"] == "ng/mL", "micrograms in the file"
    assert at(made, 5) == pytest.approx(309.5389425, abs=0.05)
    assert at(made, 60) == pytest.approx(66.96862624, abs=0.02)
    assert made["model"]["id"] == "midazolam-cat" and made["model"]["sources"]
    text = (EXAMPLES / "predict-cat-midazolam.toml").read_text("utf-8").replace("300 mcg/kg", "0.3 mg/kg")
    again = data_of(written(tmp_path, text))
    assert again["plasma"]["unit"] == "mg/L" and at(again, 5) == pytest.approx(0.3095389425, abs=5e-5)


def by_exponential(minute: float) -> tuple[float, float]:
    """Plasma and effect site of the example by scipy's matrix exponential: amounts, the flow and the effect level in one state."""
    v1, k10, k12, k21, ke0, rate = 0.40, 0.020 / 0.40, 0.11, 0.05, 0.3, 0.3
    rates = np.zeros((4, 4))  # central amount, second amount, effect level, a constant 1
    rates[0] = [-(k10 + k12), k21, 0, 0]
    rates[1] = [k12, -k21, 0, 0]
    rates[2] = [ke0 / v1, 0, -ke0, 0]
    state = np.array([4.0, 0, 0, 1])
    for start, stop, flow in ((0, 2, 0.0), (2, 62, rate), (62, 120, 0.0)):
        run_for = min(max(minute - start, 0.0), stop - start)
        rates[0, 3] = flow
        state = expm(rates * run_for) @ state
    return float(state[0] / v1), float(state[2])


@pytest.mark.parametrize("minute", [0, 1, 2, 5, 30, 62, 70, 120])
def test_the_example_is_the_matrix_exponential(cat: dict[str, Any], minute: float) -> None:
    plasma, effect = by_exponential(minute)
    assert at(cat, minute) == pytest.approx(plasma, rel=1e-8, abs=1e-10)
    assert at(cat, minute, "effect") == pytest.approx(effect, rel=1e-8, abs=1e-10)


def test_what_follows_from_the_example(cat: dict[str, Any]) -> None:
    """Vss = V1 (1 + k12/k21) = 1.28 L/kg and mean residence Vss/CL = 64 min by identity; totals by hand: 4 + 0.3 x 60 mg/kg."""
    assert cat["facts"]["vss"]["value"] == pytest.approx(1.28)
    assert cat["facts"]["mean_residence"]["value"] == pytest.approx(64)
    assert cat["total_per_kg"]["value"] == pytest.approx(22) and cat["total"]["value"] == pytest.approx(22 * 4.2)
    slow, fast = sorted(np.linalg.eigvals([[-0.16, 0.05], [0.11, -0.05]]).real, reverse=True)
    assert [h["value"] for h in cat["facts"]["half_lives"]] == pytest.approx([-math.log(2) / fast, -math.log(2) / slow])
    assert cat["model"]["id"] == cat["model"]["quality"] == "given"
    fallen = cat["falls"][0]
    rates = np.array([[-0.16, 0.05], [0.11, -0.05]])
    at_stop = expm(rates * 2) @ np.array([4.0, 0])
    whole = np.zeros((3, 3))
    whole[:2, :2], whole[0, 2] = rates, 0.3
    at_stop = (expm(whole * 60) @ np.append(at_stop, 1))[:2]
    assert (expm(rates * fallen["after_stop_min"]) @ at_stop)[0] / 0.40 == pytest.approx(2.0, rel=1e-5)


def test_the_effect_peaks_where_it_meets_the_plasma(cat: dict[str, Any]) -> None:
    """dCe/dt = ke0 (Cp - Ce), so at the peak both are one: analytic."""
    peak = next(p for p in cat["peaks"] if p["site"] == "effect")
    plasma, effect = by_exponential(peak["at_min"])
    assert effect == pytest.approx(peak["level"]["value"], rel=1e-8)
    assert plasma == pytest.approx(effect, rel=1e-4)


def test_a_sourced_model_has_a_band_a_quality_and_its_sources(dog: dict[str, Any]) -> None:
    assert dog["model"]["quality"] == "approximate" and dog["model"]["sources"] and dog["model"]["n"] == 6
    band = dog["band"]
    assert band["animals"] >= 2000 and band["times"] == dog["times"]
    for site in ("plasma", "effect"):
        low, middle, high = (np.array(band[site][p]) for p in ("p10", "p50", "p90"))
        assert np.all(low <= middle) and np.all(middle <= high) and np.all(high[1:] > low[1:])
        typical = np.array(dog[site]["values"])
        assert np.all(low <= typical + 1e-6) and np.all(typical <= high + 1e-6)
    assert "not measured" in dog["says"] and "no order" in dog["says"]
    fall = dog["falls"][0]
    assert fall["p10_min"] < fall["after_stop_min"] < fall["p90_min"]


def test_a_spread_in_the_file_makes_a_band_as_wide_as_it_says(tmp_path: Path) -> None:
    """At time 0 the level is D/V1 alone: a lognormal V1 of 30 % has its 10 and 90 % at exp(-+1.2816 sqrt(ln 1.09)); common statistics."""
    made = data_of(written(tmp_path, ONE.replace("[[bolus]]", 'spread = "30 %"\n[[bolus]]', 1)))
    edge = math.exp(1.2815515655 * math.sqrt(math.log(1.09)))
    assert made["band"]["plasma"]["p90"][0] == pytest.approx(5 * edge, rel=0.01)
    assert made["band"]["plasma"]["p10"][0] == pytest.approx(5 / edge, rel=0.01)
    assert any("given in the file" in c for c in made["model"]["cautions"])


def test_the_sheet_of_values_is_plain_and_holds_every_moment(dog: dict[str, Any]) -> None:
    """RFC 4180: a head line, the same number of cells in each line, CRLF."""
    raw = run(str(EXAMPLES / "predict-dog-propofol.toml"), "--format", "csv").stdout
    assert raw.count(b"\r\n") == raw.count(b"\n") == len(dog["times"]["values"]) + 1
    head, *rows = csv.reader(io.StringIO(raw.decode()))
    assert head[:3] == ["time (min)", "plasma (mg/L)", "effect site (mg/L)"] and len(head) == 9
    assert {len(r) for r in rows} == {9}
    assert [float(r[2]) for r in rows] == pytest.approx(dog["effect"]["values"], rel=1e-9)
    assert [float(r[8]) for r in rows] == pytest.approx(dog["band"]["effect"]["p90"], rel=1e-5)


def test_of_very_many_moments_the_band_keeps_some_and_says_which(tmp_path: Path) -> None:
    text = ONE.replace('every = "1 min"', 'every = "1 s"').replace("[[bolus]]", 'spread = "30 %"\n[[bolus]]', 1)
    made = data_of(written(tmp_path, text))
    every = made["band"]["every"]
    assert every > 1 and made["band"]["times"]["values"] == made["times"]["values"][::every]
    assert str(every) in made["band"]["says"]
    rows = list(csv.reader(io.StringIO(run(str(tmp_path / "asked.toml"), "--format", "csv").stdout.decode())))[1:]
    assert [i for i, r in enumerate(rows) if r[2]] == list(range(0, len(rows), every))


def test_the_table_is_short_and_says_what_it_leaves_out(dog: dict[str, Any]) -> None:
    said = run(str(EXAMPLES / "predict-dog-propofol.toml"), "--working").stdout.decode()
    table = said.split("LEVELS")[1].split("WHAT FOLLOWS")[0].splitlines()
    assert len([x for x in table if x.strip()[:1].isdigit()]) <= 40
    assert f"of {len(dog['times']['values'])} moments" in said
    flat = " ".join(said.split())
    for word in (
        "predicted, not measured",
        "gives no order",
        "APPROXIMATE",
        "n = 6",
        "10 to 90 %",
        "18.5 mg / 18.5 kg = 1 mg/kg",
        "mg/L",
    ):
        assert word in flat, word
    assert dog["model"]["sources"][0]["citation"][:40] in flat


def test_columns_stay_apart_and_changes_have_their_minutes() -> None:
    said = run(str(EXAMPLES / "predict-cat-midazolam.toml")).stdout.decode()
    assert re.search(r"2,560 {3,}1,900 to 3,500 {3,}300 mcg/kg", said)
    dog = run(str(EXAMPLES / "predict-dog-propofol.toml")).stdout.decode()
    assert "4 changes 0 to 2 min" in dog and "stops at 40 min" in dog


def test_what_is_worked_out_has_three_figures(tmp_path: Path) -> None:
    """4 mg in 4.2 kg are 0.952 mg/kg by hand; a calculator's fourth figure is noise beside a weight of two."""
    text = ONE.replace('"dog"', '"cat"').replace("10 kg", "4.2 kg").replace("40 mg", "4 mg")
    said = run(str(written(tmp_path, text)), "--working").stdout.decode()
    assert "4 mg / 4.2 kg = 0.952 mg/kg" in said and "0.9524" not in said
    assert "62.3 min" in run(str(EXAMPLES / "predict-cat-given-parameters.toml")).stdout.decode()


@pytest.mark.parametrize("name", ["predict-dog-propofol", "predict-cat-given-parameters", "predict-cat-midazolam"])
def test_the_picture_is_a_picture_with_plum_in_it(name: str, tmp_path: Path) -> None:
    """Read back by a general image library: its size, and that the curve's ink (plum, #74306B) is on it."""
    from PIL import Image

    out = tmp_path / "curve.png"
    said = run(str(EXAMPLES / f"{name}.toml"), "--format", "png", "--output", str(out))
    assert said.returncode == 0, said.stderr
    with Image.open(out) as picture:
        assert picture.format == "PNG" and picture.width > 1000
        colours = dict((c, n) for n, c in picture.convert("RGB").getcolors(maxcolors=1 << 24))
    assert colours.get((0x74, 0x30, 0x6B), 0) > 500


def test_a_total_past_the_models_range_shows_sums_and_no_curve(tmp_path: Path) -> None:
    """Alfaxalone in the cat: clearance falls with dose (Whittem et al. 2008: 25.1 at 5 mg/kg and 14.8 mL/kg/min at 25 mg/kg)."""
    text = ONE.replace('"dog"', '"cat"').replace('"10 kg"', '"4 kg"').replace("40 mg", "60 mg")
    start, stop = text.index("v1 ="), text.index("[[bolus]]")
    file = written(tmp_path, f'{text[:start]}id = "alfaxalone-cat-approx"\n{text[stop:]}')
    made = data_of(file)
    assert made["plasma"]["values"] == made["times"]["values"] == [] and made["peaks"] == [] and made["band"] is None
    assert "alfaxalone-cat-saturable" in made["withheld"] and made["total_per_kg"]["value"] == 15
    shown = run(str(file))
    assert shown.returncode == 0 and b"WITHHELD" in shown.stdout
    for form in ("csv", "png"):
        said = run(str(file), "--format", form)
        assert (said.returncode, said.stdout) == (1, b"") and b"past this model's range" in said.stderr
    less = data_of(written(tmp_path, file.read_text("utf-8").replace("60 mg", "20 mg")))
    assert less["withheld"] == "" and less["plasma"]["values"]


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('weight = "10 kg"\n', "", "weight"),
        ('species = "dog"\n', "", "species"),
        ('at = "0 min"', 'at = "-1 min"', "bolus 1, at"),
        ('v1 = "0.8 L/kg"\nk10 = "0.05 1/min"', 'id = "midazolam-cat"', "model, id"),
        ('v1 = "0.8 L/kg"\nk10 = "0.05 1/min"', 'id = "atropine"', "model, id"),
    ],
)
def test_a_refusal_is_one_sentence_and_exit_one(old: str, new: str, field: str, tmp_path: Path) -> None:
    assert old in ONE
    said = run(str(written(tmp_path, ONE.replace(old, new, 1))), "--format", "json")
    assert (said.returncode, said.stdout) == (1, b"")
    assert said.stderr.decode().startswith(f"{field}: ") and len(said.stderr.decode().strip().splitlines()) == 1


def test_a_process_of_its_own_says_the_same(tmp_path: Path) -> None:
    whole = [sys.executable, "-m", "spiracle.doors.cli", "predict", str(written(tmp_path, ONE))]
    said = subprocess.run(whole, capture_output=True, check=False, timeout=120)
    assert said.returncode == 0 and said.stdout == run(str(tmp_path / "asked.toml")).stdout
    asked = subprocess.run([*whole[:-1], "--help"], capture_output=True, check=False, timeout=120).stdout.decode()
    for word in ("--format", "--output", "--working", "--models", "docs/predict.md", "not measured"):
        assert word in asked, word


@pytest.mark.parametrize("words", [(), ("--format", "pdf", "x.toml"), ("--form", "csv", "x.toml")])
def test_wrong_usage_is_two(words: tuple[str, ...]) -> None:
    assert run(*words).returncode == 2


def test_a_file_that_is_not_there_is_refused_and_the_models_are_listed() -> None:
    said = run("nowhere.toml")
    assert said.returncode == 1 and said.stderr.startswith(b"file: ")
    listed = run("--models").stdout.decode()
    assert "midazolam-cat" in listed and "partial" not in listed
