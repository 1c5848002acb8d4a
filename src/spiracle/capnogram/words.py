"""The sentences of the findings: what was seen, with its figures, in plain words. Causes and first checks stand in the tables."""

from __future__ import annotations

from spiracle.capnogram.finding import Measured, Name
from spiracle.capnogram.standing import Said

Figures = tuple[tuple[str, float, str], ...]
BEFORE = "height before"


def said(why: str, figures: Figures) -> Said:
    return Said(why, tuple(Measured(what, round(value, 2), unit) for what, value, unit in figures))


def no_breaths(seconds: float, placed: bool) -> Said:
    since = "since the tube was placed" if placed else "since the trace began"
    return said(f"No breath on the CO2 trace {since}, for {seconds:.0f} s.", (("without a breath", seconds, "s"),))


def fading_shrinking(lost: float, humps: int, last: float) -> Said:
    return said(
        f"{humps} humps since the start, each lower than the one before; the last is {last:.0f} mmHg high. "
        "Oesophagus until proven otherwise.",
        (("lost of the highest hump", lost, "%"), ("last hump", last, "mmHg"), ("humps", humps, "")),
    )


def fading_gone(humps: int, highest: float, seconds: float) -> Said:
    count = "One hump" if humps == 1 else f"{humps} humps"
    return said(
        f"{count} of at most {highest:.0f} mmHg since the start, then none for {seconds:.0f} s. Oesophagus until proven otherwise.",
        (("lost of the highest hump", 100.0, "%"), ("humps", humps, ""), ("without a breath", seconds, "s")),
    )


def sudden_none(height: float, seconds: float) -> Said:
    return said(
        f"From {height:.0f} mmHg to nothing within one breath; none for {seconds:.0f} s.",
        (("lost of the height", 100.0, "%"), (BEFORE, height, "mmHg"), ("without a breath", seconds, "s")),
    )


def sudden_low(height: float, left: float, lost: float) -> Said:
    return said(
        f"From {height:.0f} mmHg to {left:.0f} mmHg within one breath, and low since.",
        (("lost of the height", lost, "%"), (BEFORE, height, "mmHg"), ("height since", left, "mmHg")),
    )


def apnoea(seconds: float, usual_s: float | None, height: float | None = None) -> Said:
    """`height` is that of the breaths before, where a sudden loss was told of them."""
    own = "" if usual_s is None else f"; a breath came every {usual_s:.1f} s before"
    figures: Figures = (("without a breath", seconds, "s"),)
    if usual_s is not None:
        figures = (*figures, ("usual interval", usual_s, "s"))
    if height is None:
        return said(f"No breath for {seconds:.0f} s{own}.", figures)
    figures = (*figures, (BEFORE, height, "mmHg"))
    return said(f"From {height:.0f} mmHg to nothing within one breath; no breath for {seconds:.0f} s{own}.", figures)


def falling(lost: float, each: float, last: float) -> Said:
    return said(
        f"Each breath is about {each:.0f} % lower than the one before: {lost:.0f} % is gone, {last:.0f} mmHg is left. Feel for a pulse.",
        (("lost of the height", lost, "%"), ("lost with each breath", each, "%"), ("end-tidal CO2", last, "mmHg")),
    )


def artefact(seconds: float, kind: str) -> Said:
    kinds = {
        "missing": "Samples are missing",
        "off scale": "The signal is off the scale",
        "stuck": "The signal stands still away from zero",
        "noise": "The signal moves as no gas moves",
    }
    return said(f"{kinds[kind]} for {seconds:.0f} s: this stretch is not read.", (("lasting", seconds, "s"),))


def doubtful(share: float) -> Said:
    return said("Most of the last breaths are disturbed: their shape is not read.", (("breaths in doubt", share, "%"),))


def normal(etco2: float, rate: float | None) -> Said:
    figures: Figures = (("end-tidal CO2", etco2, "mmHg"),)
    if rate is None:
        return said(f"Breaths of normal shape, end-tidal CO2 {etco2:.0f} mmHg.", figures)
    return said(
        f"Breaths of normal shape, end-tidal CO2 {etco2:.0f} mmHg, {rate:.0f} a minute.",
        (*figures, ("rate", rate, "/min")),
    )


_SHAPES: dict[Name, tuple[str, str, str]] = {
    "leak": ("The plateau falls away early and runs into the downstroke: {0:.0f} % of the breath.", "falling away", "%"),
    "obstruction": ("Upstroke slurred and plateau climbing: {0:.0f} % of a square breath is missing.", "missing at the corner", "%"),
    "rebreathing": ("CO2 does not come back to zero: {0:.0f} mmHg is breathed in.", "inspired CO2", "mmHg"),
    "cardiogenic-oscillations": ("Even ripples on plateau and tail, at a heart's rate, {0:.0f} % of the height deep.", "ripple", "%"),
    "effort-notch": ("One dip in the plateau breath after breath, {0:.0f} % of the height deep.", "notch", "%"),
    "high-co2": ("End-tidal CO2 is high: {0:.0f} mmHg.", "end-tidal CO2", "mmHg"),
    "low-co2": ("End-tidal CO2 is low: {0:.0f} mmHg.", "end-tidal CO2", "mmHg"),
}  # fmt: skip


def shape(name: Name, figure: float, others: Figures = ()) -> Said:
    """The sentence of a shape that was found over several breaths; the figure is the middle one of them."""
    sentence, what, unit = _SHAPES[name]
    return said(sentence.format(figure), ((what, figure, unit), *others))


def panting(rate: float, etco2: float, low: bool) -> Said:
    """Only a low end-tidal value may read too low."""
    number = "reads too low while it lasts" if low else f"is {etco2:.0f} mmHg"
    return said(
        f"{rate:.0f} shallow breaths a minute: end-tidal CO2 {number}.",
        (("rate", rate, "/min"), ("end-tidal CO2", etco2, "mmHg")),
    )
