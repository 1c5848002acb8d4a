"""CO2 traces drawn by hand: each breath a handful of points joined by a smooth curve, with random variation. No lung, no gas, no
sensor model: a second hand, so that nothing is fitted to one way of making a trace. Shapes as teaching texts describe them
(Bhavani-Shankar et al., J Clin Monit 1995;11:175-182; Basic Monitoring in Canine and Feline Emergency Patients, p. 131)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from capno_truth import Array, Episode, Recording, TrueBreath, in_unit


@dataclass(frozen=True)
class Pen:
    """How one breath is drawn. Shares are of the height, times of the expiration unless they say otherwise."""

    rate: float = 15.0
    top: float = 40.0
    base: float = 0.0
    out_share: float = 0.6  # of the cycle: expiration as seen
    rise: float = 0.12  # s from foot to knee
    knee: float = 0.92  # height where the plateau begins
    round_: float = 0.0  # how much of the plateau the knee is smeared over
    fall: float = 0.12  # s
    early_fall: float = 0.0  # the plateau sinks to this much less at its end
    early_from: float = 0.35
    ripple: float = 0.0  # mmHg
    ripple_per_min: float = 110.0
    notch: float = 0.0
    notch_share: float = 1.0  # of breaths that have one
    vary: float = 0.04


@dataclass(frozen=True)
class Stroke:
    """A stretch drawn otherwise. `how` flat, humps, scribble, or breaths with `pen` changed by the share of the stretch gone by."""

    from_s: float
    to_s: float
    name: str
    degree: str
    how: str = "breaths"
    change: Callable[[Pen, float], Pen] | None = None
    also: frozenset[str] = frozenset()
    level: float = 0.0


@dataclass(frozen=True)
class Paper:
    rate_hz: float = 100.0
    unit: str = "mmHg"
    ambient_mmhg: float | None = None
    grain: float = 0.2
    hum: float = 0.0
    step: float = 0.25
    lean: float = 0.0  # mmHg per 10 min
    lost: tuple[tuple[float, float], ...] = field(default=())
    floor: bool = True


def draw(
    name: str, seed: int, seconds: float, kg: float, species: str, pen: Pen, paper: Paper,
    strokes: tuple[Stroke, ...] = (),
) -> Recording:  # fmt: skip
    rng = np.random.default_rng(seed)
    n = int(seconds * paper.rate_hz)
    line, marks = np.zeros(n), []
    t = float(rng.uniform(0.3, 1.5))
    line[: int(t * paper.rate_hz)] = pen.base
    humps = 0
    while t < seconds:
        stroke = next((s for s in strokes if s.from_s <= t < s.to_s), None)
        if stroke is None or stroke.how == "breaths":
            now = pen
            if stroke is not None and stroke.change is not None:
                now = stroke.change(pen, (t - stroke.from_s) / (stroke.to_s - stroke.from_s))
            coming = next((s.from_s for s in strokes if s.how == "flat" and t < s.from_s), seconds + 99)
            t = _breath(line, t, now, paper, rng, marks, coming)
        elif stroke.how == "humps":
            t, humps = _hump(line, t, stroke, paper, rng, humps, marks), humps + 1
        else:
            _patch(line, t, stroke, paper, rng)
            t = stroke.to_s
    shown = gaussian_filter1d(line, max(0.02 * paper.rate_hz, 0.3))
    spoilt = [(s.from_s - 0.3, s.to_s + 0.3) for s in strokes if s.how in {"scribble", "off"} or s.level > 1.0]
    marks = [(a, b, low, sure and not any(x < b and a < y for x, y in spoilt)) for a, b, low, sure in marks]
    breaths = tuple(_truth(m, shown, line, paper.rate_hz) for m in marks if m[1] < seconds - 0.3)
    told = tuple(Episode(s.name, s.from_s, min(s.to_s, seconds), s.degree, s.also) for s in strokes if s.name)
    aged = _aged(shown, paper, rng)
    for s in strokes:
        if s.how == "flat" and s.level > 1.0:  # the bench hangs: one value, no noise
            held = in_unit(np.array([s.level]), paper.unit, paper.ambient_mmhg)[0]
            aged[int(s.from_s * paper.rate_hz) : int(s.to_s * paper.rate_hz)] = held
    return Recording(name, aged, paper.rate_hz, paper.unit, kg, species, breaths, told, shown,
                     paper.ambient_mmhg)  # fmt: skip


def _breath(line: Array, t: float, pen: Pen, paper: Paper, rng: np.random.Generator,
            marks: list[tuple[float, float, float, bool]], coming: float) -> float:  # fmt: skip
    wobble = lambda: 1 + pen.vary * float(rng.standard_normal())  # noqa: E731
    cycle = 60 / pen.rate * max(0.6, wobble())
    top, out = pen.base + (pen.top - pen.base) * max(0.6, 1 + 0.4 * (wobble() - 1)), cycle * pen.out_share
    rise, fall = min(pen.rise, out * 0.75), min(pen.fall, (cycle - out) * 0.6)
    high = top - pen.base
    knee = pen.knee * (1 - 0.5 * pen.round_)
    end_level = 1 - pen.early_fall
    xs = [0.0, 0.12 * rise, 0.5 * rise, rise]
    ys = [0.0, 0.05, 0.5 * knee, knee]
    flat = out - rise
    for share in (0.25, 0.5, 0.75, 1.0):
        bend = share ** (1.0 - 0.5 * pen.round_)
        level = knee + (1 - knee) * bend
        if share > pen.early_from and pen.early_fall:
            level *= 1 + (end_level - 1) * (share - pen.early_from) / (1 - pen.early_from)
        xs.append(rise + share * flat)
        ys.append(level)
    last = ys[-1]
    xs += [out + 0.3 * fall, out + fall, cycle * 0.99 + 0.0]
    ys += [last * 0.55, 0.0, 0.0]
    clean_x, keep = [xs[0]], [0]
    for k in range(1, len(xs)):
        if xs[k] > clean_x[-1] + 1e-4:
            clean_x.append(xs[k])
            keep.append(k)
    i = int(np.ceil(t * paper.rate_hz))
    j = min(int(np.ceil((t + cycle) * paper.rate_hz)), len(line))
    at = np.arange(i, j) / paper.rate_hz - t
    y = np.clip(
        PchipInterpolator(clean_x, [ys[k] for k in keep], extrapolate=True)(np.minimum(at, clean_x[-1])), 0, None
    )
    y = pen.base + high * y
    if pen.ripple:
        gate = np.clip((at - rise - 0.2 * flat) / (0.2 * flat), 0, 1) * (at < out)
        y = y - pen.ripple * gate * (
            0.5 + 0.5 * np.sin(2 * np.pi * pen.ripple_per_min / 60 * at + rng.uniform(0, 6.28))
        )
    if pen.notch and rng.random() < pen.notch_share:
        where, wide = rise + flat * rng.uniform(0.45, 0.75), max(0.06, flat * rng.uniform(0.05, 0.09))
        y = y - high * pen.notch * np.exp(-0.5 * ((at - where) / wide) ** 2)
    y = np.maximum(y, 0)
    end = t + out
    if coming < t + cycle:
        y[at + t >= coming] = 0.0
        end = min(end, coming)
        line[i:j] = y
        if end - t > 0.15:
            marks.append((t + 0.1 * rise, end, pen.base, True))
        return max(coming, t + 0.1)
    line[i:j] = y
    marks.append((t + 0.1 * rise, end, pen.base, True))
    return t + cycle


def _hump(line: Array, t: float, stroke: Stroke, paper: Paper, rng: np.random.Generator, count: int,
          marks: list[tuple[float, float, float, bool]]) -> float:  # fmt: skip
    """Humps that shrink: rounded, each about half of the one before."""
    cycle = float(rng.uniform(2.5, 4.5))
    height = stroke.level * 0.5**count * float(rng.uniform(0.8, 1.1))
    i, j = int(t * paper.rate_hz), min(int((t + cycle) * paper.rate_hz), len(line))
    x = np.linspace(0, 1, max(j - i, 1))
    line[i:j] = height * np.exp(-0.5 * ((x - 0.5) / 0.13) ** 2)[: j - i]
    if height > 0.7:
        marks.append((t + 0.2 * cycle, t + 0.8 * cycle, 0.0, False))
    return t + cycle


def _patch(line: Array, t: float, stroke: Stroke, paper: Paper, rng: np.random.Generator) -> None:
    i, j = int(t * paper.rate_hz), min(int(stroke.to_s * paper.rate_hz), len(line))
    if stroke.how == "flat":
        line[i:j] = stroke.level
    elif stroke.how == "scribble":
        steps = rng.uniform(0, stroke.level, j - i)
        hold = max(1, int(paper.rate_hz * 0.05))
        line[i:j] = np.repeat(steps[::hold], hold)[: j - i]
    elif stroke.how == "off":
        line[i:j] = 150.0 + 40 * rng.random(j - i)


def _truth(mark: tuple[float, float, float, bool], shown: Array, line: Array, hz: float) -> TrueBreath:
    start, end, base, sure = mark
    i, j = int(start * hz), max(int(end * hz) + 2, int(start * hz) + 2)
    return TrueBreath(start, end, float(shown[i:j].max()), base, float(line[i:j].max()), sure)


def _aged(shown: Array, paper: Paper, rng: np.random.Generator) -> Array:
    n = len(shown)
    t = np.arange(n) / paper.rate_hz
    pink = np.cumsum(rng.standard_normal(n))
    pink = pink - np.convolve(pink, np.ones(101) / 101, "same")
    x = shown + paper.grain * (0.6 * rng.standard_normal(n) + 0.4 * pink / (pink.std() + 1e-9))
    x = x + paper.hum * np.sign(np.sin(2 * np.pi * 60.0 * t)) + paper.lean * t / 600
    x = np.floor(x / paper.step + 0.5) * paper.step
    if paper.floor:
        x = np.maximum(x, 0)
    for a, b in paper.lost:
        x[int(a * paper.rate_hz) : int(b * paper.rate_hz)] = np.nan
    return in_unit(x, paper.unit, paper.ambient_mmhg)


def changed(**to: float) -> Callable[[Pen, float], Pen]:
    """A pen with these values for the whole stretch."""
    return lambda pen, share: replace(pen, **to)


def sliding(key: str, to: float, curve: float = 1.0) -> Callable[[Pen, float], Pen]:
    """A pen whose one value moves there over the stretch; curve above 1 falls fast first, as an exponential does."""
    return lambda pen, share: replace(
        pen, **{key: getattr(pen, key) + (to - getattr(pen, key)) * (1 - np.exp(-curve * share)) / (1 - np.exp(-curve))}
    )


def soon(key: str, to: float, within: float = 0.15) -> Callable[[Pen, float], Pen]:
    """A pen whose one value has moved there after this share of the stretch, as a body's or a circuit's gas does."""
    return lambda pen, share: replace(
        pen, **{key: getattr(pen, key) + (to - getattr(pen, key)) * min(1.0, share / within)}
    )
