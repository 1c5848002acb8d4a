"""What stands under printed and what is ours, each figure in its unit, each level under its own set, and names from memory marked."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from functools import lru_cache

import numpy as np
import pytest

from room_tables import sources
from spiracle.doors.tables import room_texts, table_texts
from spiracle.kinetics.choosing import by_id, choose
from spiracle.kinetics.effects import levels as levels_of
from spiracle.kinetics.recomputed import verify
from spiracle.kinetics.rows import EffectRow, ModelRow, Printed
from spiracle.kinetics.schedule import Infusion, Schedule
from spiracle.kinetics.solving import levels
from spiracle.kinetics.tables import KineticsTables
from spiracle.refusals import Missing
from spiracle.sheets.kinetics_page import kinetics_page

CHECKED = tomllib.loads(table_texts()["checks-kinetics"])["check"]


@lru_cache
def tables() -> KineticsTables:
    return KineticsTables.read(room_texts(table_texts(), "kinetics"), sources())


# ---- what stands under printed, and in which unit

LEVELS_MG_L = {"mg/L": 1.0, "ug/mL": 1.0, "ug/mL as HCl": 1.0, "ng/mL": 1e-3}
NAMES_A_LEVEL = re.compile(r"\b(conc|css|plateau|level|cmax|ec\d\d|ic50|c \d+(min|h))\b", re.IGNORECASE)


def figures_of(row: ModelRow) -> list[Printed]:
    return [*row.printed, *row.derived]


@pytest.mark.parametrize("row", tables().models, ids=lambda m: m.id)
def test_a_level_has_the_unit_of_a_level_and_not_of_the_dose_that_made_it(row: ModelRow) -> None:
    """Mass per volume. Residuals are shares of a level, and a rate that leads to a level names the level after `for`."""
    for p in figures_of(row):
        told = p.what.split("(")[0].split(" for ")[0]
        if NAMES_A_LEVEL.search(told) and not told.startswith(("residual", "time", "isoflurane MAC")):
            assert p.unit in LEVELS_MG_L or p.what.endswith(" rate"), p.what


@pytest.mark.parametrize("row", tables().models, ids=lambda m: m.id)
def test_the_name_of_a_figure_has_lost_no_point_and_its_spread_stands_beside_it(row: ModelRow) -> None:
    """Numbers side by side, as in "0 47", are a lost point; a spread is no figure of its own; a range is one pair."""
    for p in figures_of(row):
        assert not re.search(r"\d \d|\d(ug|mg)kg", p.what), p.what
        assert not re.search(r"\bSD\b", p.what), p.what
        assert " range" not in p.what or len(p.figures) == 2, p.what


@pytest.mark.parametrize(
    ("set_", "what", "figures", "unit"),
    [
        ("propofol-dog-cockshott1992", "0.47 mg/kg/min", ["13.0"], "ug/mL"),  # Cockshott 1992
        ("propofol-dog-approx", "0.47 mg/kg/min", ["13.0"], "ug/mL"),
        ("ketamine-dog-pargatzi2024", "for 150 ng/mL", ["1.7"], "mg/kg/h"),  # Pargatzi 2024
        ("lidocaine-dog-ngo1997", "Css at 76", ["2.76"], "ug/mL"),  # 76 ug/kg/min over 27.5 mL/kg/min, Ngo 1997
        ("lidocaine-dog-ngo1997", "Css at 50", ["1.82"], "ug/mL"),
        ("alfaxalone-dog-plateaus", "0.15 mg/kg/min", ["2.54", "5.77"], "mg/L"),  # over 59 and 26.02 mL/kg/min
        ("dexmedetomidine-dog-kuusela2000", "DEX20", ["14.0"], "ng/mL"),  # Kuusela 2000
        (
            "dexmedetomidine-cat-pypendop2014dex",
            "half-life range at 50 ug/kg",
            ["52.2", "223.3"],
            "min",
        ),  # Pypendop 2014
    ],
)
def test_figures_that_once_had_the_unit_of_their_dose(set_: str, what: str, figures: list[str], unit: str) -> None:
    found = [p for p in figures_of(tables().model(set_)) if what in p.what and not p.what.startswith("CL")]
    assert [(p.figures, p.unit) for p in found] == [(tuple(map(Decimal, figures)), unit)]


def mg_l(p: Printed) -> list[Decimal]:
    return [Decimal(f) * Decimal(str(LEVELS_MG_L[p.unit])) for f in p.figures if p.unit in LEVELS_MG_L]


@pytest.mark.parametrize("effect", [e for e in tables().effects if e.made == "derived"], ids=lambda e: e.id)
def test_a_level_worked_out_under_a_set_does_not_stand_as_printed(effect: EffectRow) -> None:
    """Nobody printed it; to the places of the printed figure no printed level of the set may be the same."""
    for printed in (f for p in tables().model(effect.model).printed for f in mg_l(p)):
        for own in (effect.low, effect.high):
            assert own is not None and round(Decimal(own), -int(printed.as_tuple().exponent)) != printed


def effect(id_: str) -> EffectRow:
    return next(e for e in tables().effects if e.id == id_)


@pytest.mark.parametrize("row", [e for e in tables().effects if e.made == "printed"], ids=lambda e: e.id)
def test_a_level_called_printed_stands_under_printed(row: EffectRow) -> None:
    """Both ends, to the digit, in a set of the same drug and species: no end of a printed span is this project's own."""
    of = [m for m in tables().models if (m.drug, m.species) == (row.drug, row.species)]
    printed = {f for m in of for p in m.printed for f in mg_l(p)}
    assert {Decimal(row.low or 0), Decimal(row.high or 0)} <= printed


def test_walking_after_medetomidine_is_told_with_the_atipamezole_that_went_before_it() -> None:
    """Hall 1994: medians 2.2 and 1.03 mg/L; the dogs of the second arm had atipamezole when the infusion ended."""
    after, without = effect("propofol-dog-walking-alpha-2"), effect("propofol-dog-walking-none")
    assert "atipamezole" in after.says and (after.low, after.high) == (Decimal("1.03"), Decimal("1.03"))
    assert (without.low, without.high) == (Decimal("2.2"), Decimal("2.2"))


def test_targets_of_another_set_are_words_and_no_level() -> None:
    """Beths 2001: 2.5 to 4.7 ug/mL are targets under constants that were not read."""
    row = effect("propofol-dog-maintenance-premedicated")
    assert row.made == "none" and not row.model and row.low is None and "2.5 to 4.7" in row.says and row.memory
    shown = levels_of(tables(), "propofol-dog-approx", "mixed")
    assert [x.low for x in shown if x.event == "light-anaesthesia"] == [None]


@pytest.mark.parametrize(
    ("id_", "set_", "level"),
    [
        ("alfaxalone-dog-light", "alfaxalone-dog-90-min", 0.15 / 0.02602),
        ("alfaxalone-dog-light-label", "alfaxalone-dog-label", 0.15 / 0.0594),
    ],
)
def test_a_plateau_is_that_of_the_clearance_of_its_own_set(id_: str, set_: str, level: float) -> None:
    """Alfaxalone TIVA 2019: a light plane at 0.15 mg/kg/min; 26.02 mL/kg/min there, 59.4 on the maker's page."""
    row = effect(id_)
    assert row.model == set_ and row.low == row.high and float(row.low or 0) == pytest.approx(level, rel=0.01)


@pytest.mark.parametrize("suffix", ["", "-label"])
def test_lost_jaw_tone_is_that_of_the_injection_under_its_own_set(suffix: str) -> None:
    """Rico Perez 2023: 2.18 mg/kg at 1 mg/kg/min. The plasma level at the end of it, under each of the two sets."""
    row = effect(f"alfaxalone-dog-no-jaw-tone-opioid{suffix}")
    at_end = levels(by_id(tables(), row.model).disposition, Schedule((), (Infusion(0.0, 2.18, 1.0),)), [2.18]).plasma
    assert row.low == row.high and float(row.low or 0) == pytest.approx(float(at_end[0]), rel=0.02)
    assert row.model == ("alfaxalone-dog-label" if suffix else "alfaxalone-dog-90-min")


def test_the_least_level_of_ketamine_is_in_the_base_that_is_recorded() -> None:
    """Kaka 1980: 3.0 ug/mL as the hydrochloride, C13H16ClNO HCl. Standard atomic weights (IUPAC, abridged, from memory)."""
    base = 13 * 12.011 + 16 * 1.008 + 35.45 + 14.007 + 15.999
    row = effect("ketamine-dog-asleep")
    assert row.low == row.high and float(row.low or 0) == pytest.approx(3.0 * base / (base + 1.008 + 35.45), abs=0.005)
    assert row.made == "derived" and "base" in row.says


# ---- for the small screen


@pytest.mark.parametrize("row", [m for m in tables().models if m.runs], ids=lambda m: m.id)
def test_the_animals_of_a_set_are_told_in_few_words_and_the_doses_beside_them(row: ModelRow) -> None:
    """One line of a small screen holds about 45 signs. What was given stands in its own field, and other agents in both."""
    assert 5 < len(row.population) <= 45 and row.given
    assert not re.search(r"\d m?u?g/kg/", row.population)
    for agent in ("isoflurane", "sevoflurane", "medetomidine"):
        assert (agent in row.population) == (agent in row.given), agent


def test_no_detail_of_the_animals_is_lost() -> None:
    """Hall 1994, Gehrcke 2013, Keating 2016, Whittem 2008."""
    told = {m.id: f"{m.population}; {m.given}" for m in tables().models}
    for id_, words in {
        "propofol-dog-medetomidine-2c": ("medetomidine 10 ug/kg", "atipamezole", "0.2 mg/kg/min for 120 min"),
        "propofol-dog-approx": ("whole blood", "not sighthounds", "no greyhounds"),
        "propofol-cat-approx-A": ("plasma",),
        "fentanyl-dog-iso-approx": ("venous plasma", "5 ug/kg then 5 ug/kg/h", "hounds"),
        "alfaxalone-cat-approx": ("5 mg/kg", "linear range only"),
        "ketamine-dog": ("15 mg/kg", "hydrochloride"),
    }.items():
        assert all(w in told[id_] for w in words), id_
    page = kinetics_page(tables(), sources())
    assert all(m.given in page for m in tables().models if m.given and "\n" not in m.given)


def test_no_row_speaks_of_what_is_not_on_the_screen() -> None:
    """Words beside a curve are read by themselves: there are no rows below them, and nobody knows the ids of sources."""
    for row in tables().models:
        for words in (row.says, row.spread_says, row.residual_says, row.population, row.total_says):
            assert not re.search(r"\b(as above|below|rows?)\b|\b[a-z]+\d{4}[a-z]*\b", words), row.id
    assert "none was held back" in tables().model("propofol-dog-approx").residual_says
    assert all(v.row.fit for v in verify(tables()) if v.row.model == "propofol-dog-approx" and v.row.published)


# ---- sets against which other studies stand


@pytest.mark.parametrize(
    ("set_", "own", "other"),
    [
        ("dexmedetomidine-dog", 8.0, 1.26e3 / 60),  # clearance, mL/kg/min: Dent (about 2019); Kuusela 2000, 1.26 L/kg/h
        ("dexmedetomidine-dog", 8.0, 5.46),  # the low-dose study of 2024
        ("buprenorphine-dog", 4.59, 1.77),  # steady-state volume, L/kg: BMC Vet Res 2020; Vet Anaesth Analg 2017;44:435
        ("fentanyl-cat-weak", 37.5, 24.3),  # clearance, mL/kg/min: Carrozzo 2018, and the least of its animals
        ("lidocaine-dog-weak", 34.8, 52.9),  # half-life, min: Ngo 1997; Wilcke 1983
    ],
)
def test_a_set_that_another_study_contradicts_is_weak_and_as_wide_as_they_lie_apart(
    set_: str, own: float, other: float
) -> None:
    row = tables().model(set_)
    assert row.quality == "weak" and by_id(tables(), set_).words.startswith("weak: ")
    assert float(row.residual_log_sd or 0) >= abs(np.log(own / other)) - 0.005


def test_a_set_made_for_trying_schedules_is_never_chosen_for_a_dog() -> None:
    """Dexmedetomidine in dogs: figures that rest on no compartments, turned into two. By its id it may be run."""
    assert tables().model("dexmedetomidine-dog").rank is None
    with pytest.raises(Missing, match="only clearances were printed"):
        choose(
            tables(), "dexmedetomidine", "dog", age_months=48, weight_kg=12, asa=1, sighthound=False,
            background="awake", premedicated=False, use="infusion",
        )  # fmt: skip
    assert by_id(tables(), "dexmedetomidine-dog").disposition.half_lives()[-1] == pytest.approx(36, rel=0.01)


def test_what_is_from_memory_in_a_source_is_said_where_the_source_is_cited() -> None:
    """The note of a source is not shown beside a figure; its citation and how it was seen are."""
    for row in tomllib.loads(table_texts()["sources-kinetics"])["source"]:
        if "from memory" in row.get("note", ""):
            assert "from memory" in row["citation"] or row["seen"] == "from memory", row["id"]


def test_names_that_formulas_go_by_are_marked_from_memory() -> None:
    """Nothing that was read names Bateman; the formula stands by itself."""
    named = [row for row in CHECKED if "Bateman" in row["statement"]]
    assert len(named) == 2 and all("from memory" in row["seen"] for row in named)
