"""The CO2 signal of an EDF+ recording, found by its label and unit; refused by name where none or several fit."""

from __future__ import annotations

import re
import warnings
from typing import TYPE_CHECKING

import numpy as np

from spiracle.doors.capnogram_file import MOST_SAMPLES, SHOWN, Floats, Trace
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Refusal

if TYPE_CHECKING:
    from edfio import Edf, EdfSignal

UNITS = {
    "mmhg": "mmHg",
    "mm[hg]": "mmHg",
    "torr": "mmHg",
    "kpa": "kPa",
    "%": "percent",
    "vol%": "percent",
    "percent": "percent",
}
NO_SAMPLE = re.compile(r"digital (-?\d{1,6}) = no sample")
SLOWEST_HZ = 20.0  # a slower signal is a trend of numbers


def edf_trace(raw: bytes, name: str, label: str = "") -> Trace:
    """One signal of the file on its own grid. A place the file marks as having no sample stays missing."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(raw, name, label)
    except Refusal:
        raise
    except (
        Exception
    ) as fault:  # headers are parsed late, and the library's own errors are of many kinds: none passes this door
        raise Refusal(name, "is not a whole EDF+ file.", "Export the recording again.") from fault


def _read(raw: bytes, name: str, label: str) -> Trace:
    from edfio import read_edf

    edf = read_edf(raw)
    signal = _picked(edf, name, label)
    if not edf.is_continuous:
        raise Refusal(
            name, "is EDF+D: it has breaks within.", "Give it as EDF+C, or as CSV with the moment of each sample."
        )
    unit = _unit(signal)
    if unit is None:
        raise NotOneOf(signal.label, f"its unit {signal.physical_dimension!r} is not one of CO2.", "mmHg, kPa or %.")
    samples = np.array(signal.data, dtype=np.float64)
    samples[_absent(signal)] = np.nan
    rate_hz = float(signal.sampling_frequency)
    if not 2 <= len(samples) <= MOST_SAMPLES:
        raise OutOfRange(signal.label, f"has {len(samples):,} samples.", f"Two to {MOST_SAMPLES:,} are read.")
    if not (np.isfinite(samples[~np.isnan(samples)]).all() and 0 < rate_hz < np.inf):
        raise Refusal(signal.label, "its scale or its rate is none.", "Export the recording again.")
    return Trace(name, samples, rate_hz, unit, 0.0, tuple(x for x in edf.labels if x != signal.label))


def _unit(signal: EdfSignal) -> str | None:
    return UNITS.get(signal.physical_dimension.strip().lower())


def _picked(edf: Edf, name: str, label: str) -> EdfSignal:
    if label:
        found = [s for s in edf.signals if s.label == label]
        if not found:
            raise NotOneOf("signal", f"{name} has no {label[:SHOWN]!r}.", f"It has {_listed(edf.signals)}.")
    else:
        named = [s for s in edf.signals if re.search(r"co[_ ]?2", s.label, re.IGNORECASE)]
        if not named:
            raise Missing(
                "CO2 signal", f"no label of {name} says CO2.", f"It has {_listed(edf.signals)}; name one by --signal."
            )
        found = [s for s in named if _unit(s) and s.sampling_frequency >= SLOWEST_HZ] or named
    if len(found) > 1:
        raise Contradiction(
            "CO2 signal", f"{name} has several: {_listed(found)}.", "Name one by --signal, each label once."
        )
    return found[0]


def _listed(signals: object) -> str:
    labels = [repr(s.label) for s in signals]  # type: ignore[attr-defined]
    return ", ".join(labels[:8]) + (" and more" if len(labels) > 8 else "") if labels else "no signal at all"


def _absent(signal: EdfSignal) -> Floats | slice:
    """Where the header says which digital value stands for no sample."""
    told = NO_SAMPLE.search(signal.prefiltering)
    if told is None:
        return slice(0, 0)
    return np.asarray(signal.digital == int(told.group(1)))
