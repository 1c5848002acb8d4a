"""Rows of breaths made by hand, and the findings they must give. What a shape means is by the sources named in the tables (CS1 to
CS11); how many breaths it takes is ours."""

from __future__ import annotations

import numpy as np
import pytest

from capno_rooms import capnogram_tables, named, row_of, sized, watched
from spiracle.capnogram.breath import Breath, Trouble
from spiracle.capnogram.engine import Step
from spiracle.capnogram.findings import Watch, as_ended, read_all
from spiracle.capnogram.proof import proof_of
from spiracle.capnogram.setup import Setup
from spiracle.refusals import OutOfRange

TABLES = capnogram_tables()
SHAPES: dict[str, dict[str, float]] = {
    "leak": {"plateau_slope": -10.0},
    "obstruction": {"plateau_slope": 8.0, "area": 0.6 * 38 * 1.6, "upstroke_s": 0.9},
    "rebreathing": {"fico2": 7.0},
    "cardiogenic-oscillations": {"ripple": 4.0, "ripple_per_min": 110.0},
    "effort-notch": {"ripple": 10.0},
    "high-co2": {"etco2": 60.0},
    "low-co2": {"etco2": 25.0},
}


@pytest.mark.parametrize("name", SHAPES)
def test_a_shape_that_stays_is_found_from_its_first_breath_and_ends_with_its_last(name: str) -> None:
    before, after = row_of(20), row_of(25, from_s=160.0, joined=True)
    shaped = row_of(20, from_s=80.0, joined=True, **SHAPES[name])
    found = watched([*before, *shaped, *after], 260.0)
    assert [f.name for f in found if f.name != "normal"] == [name]
    (finding,) = named(found, name)
    assert finding.from_s == 80.0
    assert finding.to_s == pytest.approx(shaped[-1].end_s)
    assert TABLES.ladders[name].shows(finding.measured[0].value)
    assert next((f.from_s, f.to_s) for f in named(found, "normal")) == (0.0, 80.0)


@pytest.mark.parametrize("name", SHAPES)
def test_two_odd_breaths_are_nothing(name: str) -> None:
    breaths = row_of(40)
    for k in (15, 16, 30):
        breaths[k] = sized(breaths[k], **SHAPES[name])
    found = watched(breaths, 160.0)
    assert [(f.name, f.to_s) for f in found] == [("normal", None)]


def test_a_shape_that_comes_and_goes_at_its_limit_is_one_finding() -> None:
    breaths = [sized(b, fico2=3.4 if k % 2 else 2.4) if k > 10 else b for k, b in enumerate(row_of(14))]
    breaths += [sized(b, fico2=3.6) for b in row_of(8, from_s=56.0, joined=True)]
    breaths += [sized(b, fico2=3.4 if k % 2 else 2.4) for k, b in enumerate(row_of(40, from_s=88.0, joined=True))]
    (finding,) = named(watched(breaths, 250.0), "rebreathing")
    assert finding.to_s is None


def test_a_degree_climbs_and_does_not_flicker() -> None:
    parts = [(10, 0.0), (10, 4.0), (10, 12.0), (10, 4.0)]
    breaths, at = [], 0.0
    for count, fico2 in parts:
        breaths += row_of(count, from_s=at, joined=at > 0, fico2=fico2)
        at += 4.0 * count
    watch = Watch(TABLES, Setup(100.0))
    told = [f for b in breaths for f in watch.take(Step((b,)), b.known_s) if f.name == "rebreathing"]
    assert [f.degree for f in told] == ["mild", "moderate", "severe"]


def test_falling_by_a_constant_share_is_a_fall_and_no_low_value_or_apnoea_beside_it() -> None:
    """CS7: exponential decay over a few breaths is failing output."""
    falling = [sized(b, height=38 * 0.84 ** (k + 1)) for k, b in enumerate(row_of(12, from_s=80.0, joined=True))]
    found = watched([*row_of(20), *falling], 260.0)
    assert [f.name for f in found] == ["normal", "exponential-fall"]
    (finding,) = named(found, "exponential-fall")
    assert 72.0 <= finding.from_s <= 84.0
    assert finding.degree == "severe"
    assert "pulse" in finding.why


def test_quicker_and_lower_breaths_are_no_failing_output() -> None:
    breaths, at = row_of(20), 80.0
    for k in range(20):
        every = max(1.2, 4.0 * 0.85 ** (k + 1))
        breaths += [sized(b, height=max(16.0, 38 * 0.9 ** (k + 1))) for b in row_of(1, every, at, joined=True)]
        at += every
    assert named(watched(breaths, at), "exponential-fall") == []


def test_from_normal_to_nothing_is_a_loss_within_seconds_that_becomes_an_apnoea() -> None:
    """One event, one line: the name changes at the moment of the apnoea (4 usual intervals), and it does not ease by that."""
    breaths = row_of(15)
    watch = Watch(TABLES, Setup(100.0))
    for b in breaths:
        watch.take(Step((b,)), b.known_s)
    end = breaths[-1].end_s
    assert not watch.take(Step(), end + 7.9)
    (loss,) = (f for f in watch.take(Step(), end + 8.1) if f.name == "sudden-loss")
    assert (loss.from_s, loss.to_s, loss.degree) == (end, None, "severe")
    told = watch.take(Step(), end + 40)
    assert [(f.name, f.degree, f.from_s, f.to_s) for f in told] == [
        ("sudden-loss", "severe", end, end + 16),
        ("apnoea", "severe", end, None),
    ]
    assert [f.name for f in watch.open] == ["apnoea"]
    back = row_of(1, from_s=end + 50)[0]
    over = watch.take(Step((back,)), back.known_s)
    assert [(f.name, f.to_s) for f in over] == [("apnoea", back.start_s)]


def test_a_trace_of_a_breath_after_loss_and_apnoea_takes_the_loss_up_again() -> None:
    """A tenth of the former height is no breath of a connected lung: not all clear, not a fresh start."""
    breaths = row_of(15)
    low = row_of(3, from_s=100.0, joined=True, height=4.0)
    back = row_of(10, from_s=112.0, joined=True)
    found = watched([*breaths, *low, *back], 150.0)
    assert [f.to_s for f in named(found, "apnoea")] == [100.0]
    assert [(f.from_s, f.to_s) for f in named(found, "sudden-loss")][1:] == [(100.0, 112.0)]
    assert [f.name for f in found if f.to_s is None] == ["normal"]


def test_an_animal_that_pauses_is_given_its_own_time() -> None:
    """A breath every 12 s with pauses of 18 s: no loss and no apnoea after 24 s."""
    breaths, at = [], 0.0
    for k in range(12):
        breaths += [
            sized(b, rate_per_min=60 / (18.0 if k % 3 == 0 else 12.0)) for b in row_of(1, 12.0, at, joined=k > 0)
        ]
        at += 18.0 if k % 3 == 2 else 12.0
    assert [f.name for f in watched(breaths, breaths[-1].end_s + 24) if f.name != "normal"] == []


def test_humps_that_fade_are_the_oesophagus_until_proven_otherwise() -> None:
    """CG2: the height falls much after three breaths and to zero in about six."""
    humps = [sized(b, height=h) for b, h in zip(row_of(4), (30.0, 18.0, 9.0, 4.0), strict=True)]
    watch = Watch(TABLES, Setup(100.0))
    told = [f for b in humps for f in watch.take(Step((b,)), b.known_s)]
    assert [f.name for f in told] == ["fading-breaths", "fading-breaths"]
    assert told[0].from_s == 0.0
    found = as_ended([*told, *watch.finish(Step(), 120.0)])
    assert [(f.name, f.degree) for f in found] == [("fading-breaths", "severe")]
    assert "Oesophagus" in found[0].why


def test_fading_ends_when_breaths_keep_their_height() -> None:
    humps = [sized(b, height=h) for b, h in zip(row_of(4), (30.0, 18.0, 9.0, 4.0), strict=True)]
    found = watched([*humps, *row_of(12, from_s=30.0)], 80.0)
    (fading,) = named(found, "fading-breaths")
    assert fading.to_s == 30.0
    assert [f.name for f in found if f.to_s is None] == ["normal"]


def test_two_low_humps_and_nothing_more_are_so_too() -> None:
    found = watched(row_of(2, height=9.0), 60.0)
    assert [(f.name, f.degree) for f in found] == [("fading-breaths", "severe")]


@pytest.mark.parametrize(("placed", "told_at"), [(None, 20.0), (31.0, 41.0)])
def test_a_flat_trace_is_told_after_20_s_and_10_s_after_a_tube(placed: float | None, told_at: float) -> None:
    """Hazard A1: flat capnogram after "tube in" is told within 10 s."""
    watch = Watch(TABLES, Setup(100.0))
    if placed is not None:
        watch.placed(placed)
        watch.take(Step(), placed)
    assert not [f for f in watch.take(Step(), told_at - 0.1) if f.to_s is None and f.from_s == (placed or 0.0)]
    (finding,) = watch.take(Step(), told_at)
    assert (finding.name, finding.from_s) == ("no-breaths", placed or 0.0)
    assert finding.degree == ("moderate" if placed is None else "severe")


def test_a_notch_so_deep_that_it_parts_the_breath_is_a_notch_and_no_rebreathing() -> None:
    breaths = row_of(12)
    for k in range(12):
        at = 48.0 + 4 * k
        first, second = row_of(1, 2.0, at, joined=True)[0], row_of(1, 2.0, at + 1.1, joined=True)[0]
        breaths += [first, sized(second, fico2=15.0, before_s=first.end_s, rate_per_min=60 / 1.1)]
    found = watched(breaths, 96.0)
    assert [f.name for f in found if f.to_s is None] == ["effort-notch"]
    assert named(found, "rebreathing") == []


def test_panting_covers_the_low_value_that_follows_from_it() -> None:
    """CS11: panting reads falsely low."""
    quick = row_of(120, 0.6, 80.0, joined=True, height=15.0)
    found = watched([*row_of(20), *quick], 152.0)
    assert [f.name for f in found if f.to_s is None] == ["panting"]
    assert named(found, "low-co2") == []


@pytest.mark.parametrize(("rate", "inspired", "degree"), [(60, 8, "moderate"), (80, 12, "severe"), (120, 12, "severe")])
def test_quick_breaths_of_normal_end_that_start_from_co2_are_rebreathing_and_no_panting(
    rate: float, inspired: float, degree: str
) -> None:
    """CS2 (told by the baseline) against CS11 (panting reads falsely low): 34 mmHg is neither low nor falsely so."""
    foot = {"foot": inspired, "fico2": inspired, "etco2": 34.0, "top": 34.0}
    found = watched(row_of(2 * int(rate), 60 / rate, **foot), 120.0)
    assert [(f.name, f.degree) for f in found if f.to_s is None] == [("rebreathing", degree)]
    assert named(found, "panting") == []


def test_rebreathing_is_not_withdrawn_because_panting_begins() -> None:
    lifted = row_of(20, from_s=0.0, fico2=12.0)
    quick = row_of(160, 0.5, 80.0, joined=True, height=22.0, fico2=12.0)
    found = watched([*lifted, *quick], 160.0)
    assert {f.name for f in found if f.to_s is None} == {"rebreathing", "panting"}
    assert [(f.from_s, f.to_s, f.degree) for f in named(found, "rebreathing")] == [(4.0, None, "severe")]


@pytest.mark.parametrize(("every", "etco2", "panting"), [(0.75, 37.0, True), (0.75, 46.0, False), (1.5, 37.0, False)])
def test_panting_is_told_by_the_animals_own_before(every: float, etco2: float, panting: bool) -> None:
    """15 a minute and 38 mmHg before. CG17: fast breathing that is no panting stays at 40 to 90 a minute, so the rate alone says
    nothing; nor do shallow breaths read higher than full ones."""
    quick = row_of(80, every, 80.0, joined=True, height=etco2)
    pants = named(watched([*row_of(20), *quick], 80.0 + 80 * every), "panting")
    assert bool(pants) is panting
    assert all("too low" not in f.why and "37 mmHg" in f.why for f in pants)


@pytest.mark.parametrize(("tau_s", "rate", "degree"), [(0.1, 10, None), (0.3, 10, None), (0.5, 10, "moderate"), (1.0, 10, "severe"),
                                                       (0.12, 30, None), (0.06, 60, None)])  # fmt: skip
def test_a_slurred_upstroke_is_obstruction_even_where_the_plateau_is_level_behind_it(
    tau_s: float, rate: float, degree: str | None
) -> None:
    """CS4: upstroke slurred. An exponential rise over six tenths of the breath; time constants of 0.1 to 0.3 s are healthy by common
    practice (from memory), 0.5 s and more are not. Hazard A5: a slurred upstroke is told."""
    at = np.arange(120 * 100) / 100 % (60 / rate)
    out = 0.6 * 60 / rate
    end = 42 * (1 - np.exp(-out / tau_s))
    wave = np.where(at < out, 42 * (1 - np.exp(-at / tau_s)), end * np.exp(-(at - out) / 0.06))
    found = read_all(wave, Setup(100.0), TABLES)[2]
    assert [(f.name, f.degree) for f in found if f.to_s is None] == [
        ("obstruction", degree) if degree else ("normal", "mild")
    ]


def test_one_disturbed_breath_does_not_hide_a_fall() -> None:
    """CS7."""
    falling = [sized(b, height=38 * 0.95 ** (k + 1)) for k, b in enumerate(row_of(9, from_s=80.0, joined=True))]
    falling[4] = sized(falling[4], quality="doubtful")
    assert [f.name for f in watched([*row_of(20), *falling], 116.0) if f.to_s is None] == ["exponential-fall"]


def test_a_trouble_is_an_artefact_after_3_s_and_silence_in_it_is_no_apnoea() -> None:
    breaths = row_of(10)
    watch = Watch(TABLES, Setup(100.0))
    told = []
    for b in breaths:
        told += watch.take(Step((b,)), b.known_s)
    told += watch.take(Step((), (Trouble("missing", 39.0, None, 39.3),)), 39.4)
    told += watch.take(Step((), (Trouble("missing", 39.0, 80.0, 80.1),)), 80.2)
    told += watch.finish(Step(), 83.0)
    (artefact,) = named(as_ended(told), "artefact")
    assert (artefact.from_s, artefact.to_s, artefact.degree) == (39.0, 80.0, "severe")
    assert not {f.name for f in told} & {"apnoea", "sudden-loss"}
    short = Watch(TABLES, Setup(100.0))
    assert short.take(Step((), (Trouble("missing", 5.0, None, 5.3), Trouble("missing", 5.0, 7.5, 7.6))), 9.0) == ()


# --- proof of the airway


def test_six_good_breaths_prove_and_five_still_count() -> None:
    breaths = row_of(6, from_s=12.0)
    at = [proof_of(breaths, (), 10.0, b.known_s, 6, TABLES) for b in breaths]
    assert [p.side for p in at] == ["counting"] * 5 + ["proof"]
    assert [p.breaths for p in at] == [1, 2, 3, 4, 5, 6]


def test_breaths_before_the_tube_do_not_count() -> None:
    assert proof_of(row_of(8), (), 40.0, 45.0, 6, TABLES).breaths == 0


def test_a_flat_trace_after_the_tube_is_doubt_within_10_s() -> None:
    """Hazard A1."""
    assert proof_of((), (), 10.0, 19.0, 6, TABLES).side == "counting"
    doubt = proof_of((), (), 10.0, 20.0, 6, TABLES)
    assert (doubt.side, doubt.breaths) == ("doubt", 0)
    assert "Oesophagus" in doubt.why


def test_a_stretch_that_cannot_be_read_is_no_doubt() -> None:
    lasting = (Trouble("missing", 11.0, None),)
    assert proof_of((), lasting, 10.0, 25.0, 6, TABLES).side == "counting"
    assert proof_of((), (Trouble("missing", 11.0, 24.0),), 10.0, 25.0, 6, TABLES).side == "counting"


@pytest.mark.parametrize("heights", [(30, 18, 9), (17, 12, 8, 5), (35, 24, 15, 9, 5, 3)])
def test_shrinking_humps_are_doubt_however_high_they_began(heights: tuple[float, ...]) -> None:
    """CG4, CG5: a fizzy drink gave strikingly positive curves in dogs; what told them apart was that they shrank."""
    humps = [sized(b, height=h) for b, h in zip(row_of(len(heights)), heights, strict=True)]
    assert proof_of(humps, (), 0.0, humps[-1].known_s, 6, TABLES).side == "doubt"


def test_low_humps_never_prove() -> None:
    """CG1: a peak of more than 7.5 mmHg above the baseline is asked for."""
    humps: list[Breath] = row_of(10, height=6.0)
    assert proof_of(humps, (), 0.0, humps[-1].known_s, 6, TABLES).side == "doubt"


def test_a_count_that_proves_nothing_and_a_moment_before_the_tube_are_refused() -> None:
    with pytest.raises(OutOfRange):
        proof_of((), (), 0.0, 1.0, 0, TABLES)
    with pytest.raises(OutOfRange):
        proof_of((), (), 5.0, 1.0, 6, TABLES)
