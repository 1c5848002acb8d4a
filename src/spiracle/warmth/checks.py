"""What the check runner may ask of this room: the product's own formulas under the keys of the checks table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from spiracle.source import Seen
from spiracle.warmth.rows import Band, Course, Point
from spiracle.warmth.tables import band_of, expected_fall, from_fahrenheit


def _d(inputs: Mapping[str, Any], name: str) -> Decimal:
    return Decimal(str(inputs[name]))


def _fall(inputs: Mapping[str, Any]) -> float:
    points = (
        Point(minute=0, mean=_d(inputs, "start"), sd=Decimal(1)),
        Point(minute=60, mean=_d(inputs, "end"), sd=Decimal(1)),
    )
    course = Course(species="cat", animals=1, points=points, source=("v_derived",), seen=Seen.DERIVED)
    return float(expected_fall(course, 60)[0])


def _series_index(inputs: Mapping[str, Any]) -> float:
    """The index of a temperature on a scale whose warmest band is open above and whose others begin at `from`."""
    starts = [Decimal(str(v)) for v in inputs["from"]]
    bands = [Band(scale="check", id="hot", words="hot", index=0, above=_d(inputs, "above"))]
    bands += [Band(scale="check", id=f"band-{n}", words="", index=n, start=v) for n, v in enumerate(starts, 1)]
    bands.append(Band(scale="check", id="coldest", words="", index=len(starts) + 1))
    return float(band_of(bands, _d(inputs, "c")).index)


CHECKS: dict[str, Callable[[Mapping[str, Any]], float]] = {
    "warmth.fall": _fall,
    "warmth.celsius": lambda i: float(from_fahrenheit(_d(i, "f"))),
    "warmth.series_index": _series_index,
    "warmth.sum": lambda i: float(sum(_d(i, k) for k in ("slight", "moderate", "severe"))),
    "warmth.part": lambda i: float(_d(i, "resp_kcal") / _d(i, "total_kcal")),
}
