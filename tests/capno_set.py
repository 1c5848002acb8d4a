"""The labelled recordings: animals of 0.5 to 60 kg, 4 to 120 breaths a minute, every sampling rate and unit, each shape in its degrees.

Degrees follow published lines where there are any: inspired CO2 above 2 mmHg is rebreathing (Walsh & Taylor 2004), 3-5 still
tolerated (memory); end-tidal above 45 high, act at 55 (NAVAS; Ko & Krimins 2012), below 35 low, act below 30 (common teaching).
The rest are lines of our own, written here before any reader of traces was run on them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from itertools import chain

import numpy as np

import capno_drawn as drawn
from capno_drawn import Paper, Pen, Stroke, changed, sliding, soon
from capno_lung import Now, Sensor, Span, simulate
from capno_truth import Made, Recording

RATES = (100.0, 50.0, 25.0, 125.0, 20.0, 250.0)
UNITS = (("mmHg", None), ("kPa", None), ("mmHg", None), ("percent", 760.0), ("mmHg", None), ("percent", 690.0))
SIZES = (4.0, 22.0, 0.5, 9.0, 60.0, 2.2, 35.0, 1.1, 14.0)
EITHER = frozenset  # names that would be true as well


def rate_for(kg: float, rng: np.random.Generator) -> float:
    """15-25/min in small, 8-20 in large animals (Vet Team Brief); the smallest kept faster, as they need (memory)."""
    return float(rng.uniform(8, 16) if kg > 25 else rng.uniform(12, 22) if kg > 3 else rng.uniform(18, 34))


def heart_for(kg: float) -> float:
    return 85.0 if kg > 25 else 110.0 if kg > 5 else 170.0


def sensor_for(k: int, rng: np.random.Generator) -> Sensor:
    unit, ambient = UNITS[k % len(UNITS)]
    return Sensor(rate_hz=RATES[(k // 2 + k) % len(RATES)], unit=unit, ambient_mmhg=ambient, delay_s=float(rng.uniform(0.6, 3.0)),
                  tau_s=float(rng.uniform(0.02, 0.05)), noise=float(rng.choice([0.05, 0.15, 0.3])),
                  mains=float(rng.choice([0.0, 0.1, 0.3])), mains_hz=float(rng.choice([50.0, 60.0])),
                  step=float(rng.choice([0.05, 0.1, 0.25, 0.5])), drift=float(rng.uniform(0, 0.5)),
                  never_below_zero=bool(rng.random() < 0.6))  # fmt: skip


def paper_for(k: int, rng: np.random.Generator) -> Paper:
    unit, ambient = UNITS[(k + 1) % len(UNITS)]
    return Paper(rate_hz=RATES[(k * 5 + 1) % len(RATES)], unit=unit, ambient_mmhg=ambient,
                 grain=float(rng.uniform(0.05, 0.35)), hum=float(rng.choice([0.0, 0.0, 0.2])),
                 step=float(rng.choice([0.1, 0.25, 0.5])), lean=float(rng.uniform(-0.4, 0.6)),
                 lost=tuple((float(a), float(a + rng.uniform(0.05, 1.2))) for a in rng.uniform(5, 280, 2)),
                 floor=bool(rng.random() < 0.6))  # fmt: skip


# ---- out of the lung

Plan = Callable[[np.random.Generator, float], tuple[float, tuple[Span, ...]]]
VARIED = frozenset({"leak", "tau", "uneven", "inspired", "heart_ripple", "notch", "rate"})


def lung(
    name: str,
    k: int,
    plan: Plan,
    seconds: float = 300.0,
    kg: float | None = None,
    series: int = 0,
    **base: float | bool,
) -> Recording:
    rng = np.random.default_rng(1000 + k + 10_000 * series)
    size = SIZES[(k + 5 * series) % len(SIZES)] if kg is None else kg
    now = Now(rate=rate_for(size, rng), vt=float(rng.uniform(11, 14)), inspired_share=float(rng.uniform(0.3, 0.4)),
              ventilated=bool(rng.random() < 0.5), tau=float(rng.uniform(0.12, 0.2) * (0.7 if size < 3 else 1.0)),
              heart=heart_for(size), jitter=float(rng.uniform(0.01, 0.06)))  # fmt: skip
    now = replace(now, **base)  # type: ignore[arg-type]
    etco2, spans = plan(rng, 0.1 if series else 0.0)
    species = "cat" if size < 5 and k % 2 else "dog"
    return simulate(
        f"{name}-lung-{k}",
        5000 + k + 10_000 * series,
        seconds,
        size,
        species,
        now,
        sensor_for(k + series, rng),
        etco2,
        spans,
    )


def one(name: str, degree: str, start: float, end: float, etco2: tuple[float, float] = (36.5, 42.5), ramp: float = 0.0,
        also: frozenset[str] = frozenset(), **change: float | str | bool) -> Plan:  # fmt: skip
    """One episode within a quiet recording."""

    def plan(rng: np.random.Generator, vary: float) -> tuple[float, tuple[Span, ...]]:
        level = float(rng.uniform(*etco2))
        own = {k: v * (1 + vary * float(rng.uniform(-1, 1))) if vary and k in VARIED and isinstance(v, float) else v
               for k, v in change.items()}  # fmt: skip
        return level, (Span(start, end, name, degree, own, also, ramp),)

    return plan


def steady(
    name: str, degree: str, etco2: tuple[float, float], seconds: float = 300.0, also: frozenset[str] = frozenset()
) -> Plan:
    return one(name, degree, 0.0, seconds, etco2, also=also)


Asked = Iterator[tuple[str, Plan, dict[str, float | bool]]]


def _shaped() -> Asked:
    low = EITHER({"low-co2"})
    for degree, depth in (("moderate", 0.42), ("severe", 0.72)):
        for at in (0.3, 0.4):
            yield "leak", one("leak", degree, 80, 230, also=low, leak=depth, leak_at=at), {}
    number = EITHER({"high-co2", "low-co2", "leak"})
    for degree, tau, uneven, mismatch in (("moderate", 0.55, 3.5, 1.8), ("severe", 0.9, 4.5, 2.4)):
        for rate in (11.0, 13.0, 15.0):
            change = {"tau": tau, "uneven": uneven, "mismatch": mismatch, "inspired_share": 0.3}
            yield "obstruction", one("obstruction", degree, 80, 240, also=number, **change), {"rate": rate}
    for degree, inspired in (("moderate", 6.0), ("severe", 13.0)):
        for blur in (0.25, 0.75):
            plan = one("rebreathing", degree, 80, 250, also=EITHER({"high-co2"}), inspired=inspired, blur=blur)
            yield "rebreathing", plan, {}
    for degree, depth in (("moderate", 0.12), ("severe", 0.25)):
        for rate in (6.0, 9.0):
            change = {"heart_ripple": depth, "inspired_share": 0.25}
            plan = one("cardiogenic-oscillations", degree, 80, 240, also=EITHER({"leak"}), **change)
            yield "cardiogenic", plan, {"rate": rate, "vt": 13.0, "heart": 90.0 + 4 * rate}
    for degree, depth, every in (("moderate", 0.3, 1), ("severe", 0.6, 1), ("moderate", 0.4, 2)):
        plan = one("effort-notch", degree, 80, 240, notch=depth, notch_every=every)
        yield "notch", plan, {"ventilated": True, "rate": 12.0}
    yield "leak-mild", one("leak", "mild", 80, 230, leak=0.2), {}
    yield "rebreathing-mild", one("rebreathing", "mild", 80, 230, inspired=3.0), {}
    yield "notch-mild", one("effort-notch", "mild", 80, 230, notch=0.12, notch_every=2), {}


def _stopped() -> Asked:
    for degree, long in (("moderate", 30), ("moderate", 45), ("severe", 80), ("severe", 130)):
        still = one("apnoea", degree, 90, 90 + long, also=EITHER({"sudden-loss"}), stopped="apnoea")
        yield "apnoea", still, {"ventilated": False}
        off = one("sudden-loss", degree, 90.7, 91 + long, also=EITHER({"apnoea"}), stopped="loss")
        yield "loss", off, {"ventilated": True}
    silent = EITHER({"apnoea", "sudden-loss"})
    for first in (14.0, 24.0):
        yield "flat", one("no-breaths", "severe", 0, 300, also=silent, stopped="apnoea"), {}
        gullet = one("fading-breaths", "severe", 0, 300, also=silent | {"no-breaths"}, gullet=first, rate=18.0)
        yield "gullet", gullet, {}


def _levels() -> Asked:
    for degree, flow in (("severe", 0.05), ("severe", 0.08), ("moderate", 0.25), ("moderate", 0.28)):
        plan = one("exponential-fall", degree, 100, 260, ramp=8, also=EITHER({"low-co2"}), flow=flow)
        yield "output", plan, {"ventilated": True}
    for name, degree, span in (
        ("high-co2", "mild", (48, 52)), ("high-co2", "moderate", (58, 64)), ("high-co2", "severe", (76, 84)),
        ("low-co2", "moderate", (26, 28)), ("low-co2", "severe", (16, 19)),
    ):  # fmt: skip
        yield name, steady(name, degree, span), {}
    also = EITHER({"low-co2", "rebreathing"})
    for degree, rate in (("moderate", 80.0), ("severe", 115.0), ("moderate", 95.0)):
        change = {"rate": rate, "vt": 4.3, "inspired_share": 0.45, "apparatus": 0.2}
        yield (
            "panting",
            one("panting", degree, 90, 210, also=also, **change),
            {"kg": 22.0, "ventilated": False, "rate": 20.0},
        )


def _quiet() -> Asked:
    for _ in range(9):
        yield "normal", steady("normal", "mild", (37, 42.5)), {}
    yield "slow", steady("", "", (38, 42)), {"rate": 4.5, "vt": 14.0}
    yield "quick", steady("", "", (37, 42)), {"rate": 45.0, "kg": 0.5}


def lungs(series: int = 0) -> Iterator[tuple[str, Made]]:
    for k, (name, plan, base) in enumerate(chain(_shaped(), _stopped(), _levels(), _quiet())):
        yield f"{name}-lung-{k}", partial(lung, name, k, plan, series=series, **base)  # type: ignore[arg-type]


# ---- drawn


def paper(
    name: str,
    k: int,
    strokes: tuple[Stroke, ...],
    seconds: float = 300.0,
    kg: float | None = None,
    series: int = 0,
    **own: float,
) -> Recording:
    rng = np.random.default_rng(2000 + k + 10_000 * series)
    size = SIZES[(k + 4 + 5 * series) % len(SIZES)] if kg is None else kg
    pen = Pen(rate=rate_for(size, rng), top=float(rng.uniform(36.5, 43)), out_share=float(rng.uniform(0.52, 0.66)),
              rise=float(rng.uniform(0.08, 0.16)), knee=float(rng.uniform(0.86, 0.95)), fall=float(rng.uniform(0.08, 0.16)),
              vary=float(rng.uniform(0.01, 0.06)), ripple_per_min=heart_for(size))  # fmt: skip
    sheet, gap = paper_for(k + series, rng), own.pop("gap", 0.0)
    if gap:
        sheet = replace(sheet, lost=((100.0, 100.0 + gap), (200.0, 200.0 + gap / 2)))
    pen = replace(pen, **own)
    species = "cat" if size < 5 and k % 2 == 0 else "dog"
    return drawn.draw(f"{name}-drawn-{k}", 7000 + k + 10_000 * series, seconds, size, species, pen, sheet, strokes)


Sketch = Iterator[tuple[str, tuple[Stroke, ...], dict[str, float]]]


def _drawn_shapes() -> Sketch:
    low, leak, high = EITHER({"low-co2"}), EITHER({"leak"}), EITHER({"high-co2"})
    for degree, fall, begin in (
        ("moderate", 0.4, 0.4),
        ("moderate", 0.5, 0.25),
        ("severe", 0.75, 0.3),
        ("severe", 0.65, 0.2),
    ):
        pen = changed(early_fall=fall, early_from=begin)
        yield "leak", (Stroke(70, 220, "leak", degree, change=pen, also=low),), {}
    for degree, rise, knee, smear in (
        ("moderate", 0.6, 0.7, 0.45), ("moderate", 0.8, 0.75, 0.3), ("severe", 1.1, 0.62, 0.8), ("severe", 1.4, 0.7, 0.5),
    ):  # fmt: skip
        pen = changed(rise=rise, knee=knee, round_=smear)
        yield "obstruction", (Stroke(70, 230, "obstruction", degree, change=pen, also=leak),), {"rate": 12.0}
    for degree, base in (("moderate", 5.5), ("moderate", 7.0), ("severe", 11.0), ("severe", 18.0)):
        yield "rebreathing", (Stroke(70, 240, "rebreathing", degree, change=soon("base", base), also=high),), {}
    for degree, deep in (("moderate", 3.5), ("moderate", 4.5), ("severe", 7.0), ("severe", 9.0)):
        stroke = Stroke(70, 240, "cardiogenic-oscillations", degree, change=changed(ripple=deep))
        yield "cardiogenic", (stroke,), {"rate": 7.0 + deep / 3, "out_share": 0.68}
    for degree, deep, share in (
        ("moderate", 0.25, 1.0),
        ("severe", 0.6, 1.0),
        ("moderate", 0.4, 0.6),
        ("severe", 0.75, 0.7),
    ):
        stroke = Stroke(70, 240, "effort-notch", degree, change=changed(notch=deep, notch_share=share))
        yield "notch", (stroke,), {"rate": 12.0 + 4 * deep}


def _drawn_events() -> Sketch:
    for degree, long in (("moderate", 35), ("severe", 70), ("severe", 120)):
        yield "stop", (Stroke(83.3, 83.3 + long, "sudden-loss", degree, "flat", also=EITHER({"apnoea"})),), {}
    after = EITHER({"exponential-fall", "no-breaths", "sudden-loss"})
    for degree, to in (("moderate", 15.0), ("severe", 6.0), ("severe", 4.0)):
        falling = Stroke(80, 170, "exponential-fall", degree, change=sliding("top", to, 4.0), also=EITHER({"low-co2"}))
        yield "output", (falling, Stroke(170, 240, "low-co2", "mild", change=changed(top=to), also=after)), {}
    for name, degree, top in (
        ("high-co2", "moderate", 60.0), ("high-co2", "severe", 80.0), ("high-co2", "severe", 95.0),
        ("low-co2", "moderate", 27.0), ("low-co2", "severe", 17.0), ("low-co2", "severe", 13.0),
    ):  # fmt: skip
        yield (
            name,
            (Stroke(70, 240, name, degree, change=soon("top", top, 0.3), also=EITHER({"exponential-fall"})),),
            {},
        )
    quick = EITHER({"low-co2", "exponential-fall"})
    for degree, rate in (("moderate", 75.0), ("moderate", 90.0), ("severe", 118.0)):
        pen = changed(rate=rate, top=22.0, rise=0.2, out_share=0.55, knee=0.95, fall=0.12)
        yield "panting", (Stroke(80, 200, "panting", degree, change=pen, also=quick),), {"kg": 22.0, "rate": 18.0}


def _drawn_faults() -> Sketch:
    any_of = EITHER({"apnoea", "sudden-loss", "panting", "low-co2", "high-co2", "effort-notch", "rebreathing"})
    for how, level in (("scribble", 60.0), ("off", 150.0), ("scribble", 25.0), ("flat", 33.0)):
        yield "artefact", (Stroke(90, 130, "artefact", "severe", how, level=level, also=any_of),), {}
    silent = EITHER({"apnoea", "sudden-loss", "no-breaths"})
    for level in (12.0, 25.0, 35.0):
        yield "gullet", (Stroke(0, 300, "fading-breaths", "severe", "humps", level=level, also=silent),), {}
    for level in (0.0, 0.6):
        yield "flat", (Stroke(0, 300, "no-breaths", "severe", "flat", also=silent, level=level),), {}


def _drawn_quiet() -> Sketch:
    for gap in (8.0, 20.0):
        yield "gap", (Stroke(0, 300, "normal", "mild"),), {"gap": gap}
    for _ in range(9):
        yield "normal", (Stroke(0, 300, "normal", "mild"),), {}
    yield "slow", (Stroke(0, 300, "", ""),), {"rate": 5.0}
    yield "quick", (Stroke(0, 300, "", ""),), {"rate": 42.0, "kg": 0.5}


def drawings(series: int = 0) -> Iterator[tuple[str, Made]]:
    for k, (name, strokes, own) in enumerate(chain(_drawn_shapes(), _drawn_events(), _drawn_faults(), _drawn_quiet())):
        yield f"{name}-drawn-{k}", partial(paper, name, k, strokes, series=series, **own)  # type: ignore[arg-type]


# ---- normal hours


def hour(k: int) -> Recording:
    """An hour with nothing the matter: slow changes of rate and depth, sighs, noise, short gaps, now and then one odd breath."""
    rng = np.random.default_rng(3000 + k)
    kg = (4.2, 28.0, 1.6, 12.0)[k]
    now = Now(rate=(18.0, 11.0, 26.0, 14.0)[k], vt=12.5, inspired_share=0.36, ventilated=k % 2 == 1, tau=0.14, heart=heart_for(kg),
              jitter=(0.08, 0.02, 0.06, 0.04)[k])  # fmt: skip
    odd = tuple(Span(float(a), float(a) + 60 / now.rate, "", "", {"notch": 0.35}) for a in rng.uniform(60, 3500, 5))
    soft = tuple(Span(float(a), float(a) + 20, "", "", {"heart_ripple": 0.02}) for a in rng.uniform(60, 3500, 4))
    sensor = replace(sensor_for((0, 1, 4, 3)[k], rng), gaps_per_min=0.5)
    normal = (Span(0, 3600, "normal", "mild"),)
    return simulate(f"hour-{k}", 9000 + k, 3600.0, kg, "cat" if k in (0, 2) else "dog", now, sensor, 39.5, (*normal, *odd, *soft),
                    wander=0.06, sighs_per_h=(12.0, 0.0, 20.0, 0.0)[k])  # fmt: skip


def drawn_hour() -> Recording:
    rng = np.random.default_rng(77)
    turns = tuple(Stroke(600 * i, 600 * i + 600, "", "", change=changed(top=float(rng.uniform(37, 43)), rate=float(rng.uniform(10, 16))))
                  for i in range(6))  # fmt: skip
    return drawn.draw(
        "hour-drawn", 78, 3600.0, 18.0, "dog", Pen(vary=0.05), Paper(rate_hz=50.0, grain=0.3, lean=0.05), turns
    )


def labelled(series: int = 0) -> dict[str, Made]:
    """Name -> how to make it. The hours are apart. Each series has other animals, rates, sensors and noise."""
    return {**dict(lungs(series)), **dict(drawings(series))}


def hours() -> dict[str, Made]:
    return {**{f"hour-{k}": partial(hour, k) for k in range(4)}, "hour-drawn": drawn_hour}
