"""A lung that breathes out CO2 through a tube and a sampling line: traces with labels, from physiology.

Two compartments empty passively with time constants of their own (resistance times compliance); each takes up CO2 from the blood
at its own perfusion; the blood is fed by the tissues. Gas of the dead space comes first, blurred by axial mixing. In inspiration the
apparatus' dead space passes the port again, then the circuit's gas. Nothing here knows how a trace will be read.

Sizes: tidal volume 10-15 mL/kg (Ko & Krimins 2012, table 2), sampling line delay 0.6-5 s (Breen et al., Anesth Analg 1994;78:584),
rise of the bench 10-90 % about 2.2 time constants of 0.1 s (Miller's Anesthesia, 6th ed., chapter 36). Dead space 3 mL/kg, lung volume
42 mL/kg, 120 mL/kg/min of blood, solubility 0.005 mL/mL/mmHg, tissue store 0.6 mL/kg/mmHg: from memory, common teaching.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr

from capno_truth import Array, Episode, Recording, TrueBreath, in_unit

GAS, BLOOD = 1 / 863.0, 0.005  # mL CO2 per mL and mmHg
FINE_HZ = 100.0


@dataclass(frozen=True)
class Now:
    """How the animal and the circuit are at one moment."""

    rate: float = 15.0  # /min
    vt: float = 12.0  # mL/kg
    inspired_share: float = 0.33
    ventilated: bool = True
    tau: float = 0.18  # s, of the healthy compartment
    uneven: float = 1.0  # time constant of the second compartment over that of the first
    mismatch: float = 1.06  # CO2 of the second compartment over that of the first, by perfusion
    flow: float = 1.0  # cardiac output, share of the normal
    inspired: float = 0.0  # mmHg CO2 of the circuit's gas
    apparatus: float = 0.4  # mL/kg that pass the port again
    blur: float = 0.25  # of the apparatus' gas with the fresh
    leak: float = 0.0  # share of fresh air at the port at the end of expiration
    leak_at: float = 0.35  # of the expiration
    heart_ripple: float = 0.0  # share by which heart beats let fresh gas to the port in the tail
    heart: float = 100.0  # /min
    notch: float = 0.0  # depth of an effort, share
    notch_every: int = 1
    jitter: float = 0.03  # of time and volume, breath to breath
    stopped: str = ""  # "apnoea" or "loss"
    gullet: float = 0.0  # mmHg of the first hump out of the stomach; no lung at the port
    gullet_keeps: float = 0.45


@dataclass(frozen=True)
class Sensor:
    rate_hz: float = 100.0
    unit: str = "mmHg"
    ambient_mmhg: float | None = None
    delay_s: float = 1.5
    tau_s: float = 0.035  # twice in series
    noise: float = 0.2
    mains: float = 0.1
    mains_hz: float = 50.0
    step: float = 0.1  # mmHg
    drift: float = 0.3
    never_below_zero: bool = True
    gaps_per_min: float = 0.3


@dataclass(frozen=True)
class Span:
    """An episode laid over the animal: what changes, from when to when, and the label."""

    from_s: float
    to_s: float
    name: str
    degree: str
    change: dict[str, float | str | bool | int] = field(default_factory=dict)
    also: frozenset[str] = frozenset()
    ramp_s: float = 0.0  # numbers move there over this time


def simulate(
    name: str, seed: int, seconds: float, kg: float, species: str, base: Now, sensor: Sensor, etco2: float,
    spans: tuple[Span, ...] = (), wander: float = 0.0, sighs_per_h: float = 0.0,
) -> Recording:  # fmt: skip
    rng = np.random.default_rng(seed)
    per = int(np.ceil(FINE_HZ / sensor.rate_hz))
    fine = sensor.rate_hz * per
    lung = _Lung(kg, base, etco2, rng, fine, seconds, spans, wander, sighs_per_h)
    lung.run()
    shown, port = _lagged(lung.port, sensor, fine), lung.port
    labels = tuple(_label(a, b, lo, shown, port, fine, sensor, sure) for a, b, lo, sure in lung.marks)
    breaths = tuple(b for b in labels if b is not None and b.end_s < seconds - 0.3)
    lag = sensor.delay_s
    episodes = tuple(
        Episode(s.name, s.from_s + lag, min(s.to_s + lag, seconds), s.degree, s.also) for s in spans if s.name
    )
    clean = shown[::per]
    return Recording(name, _sensed(clean, sensor, rng), sensor.rate_hz, sensor.unit, kg, species, breaths, episodes,
                     clean, sensor.ambient_mmhg)  # fmt: skip


class _Lung:
    def __init__(self, kg: float, base: Now, etco2: float, rng: np.random.Generator, fine: float, seconds: float,
                 spans: tuple[Span, ...], wander: float, sighs: float) -> None:  # fmt: skip
        self.kg, self.base, self.rng, self.fine, self.seconds = kg, base, rng, fine, seconds
        self.spans, self.wander, self.sighs = spans, wander, sighs
        self.port = np.zeros(int(seconds * fine) + 1)
        self.marks: list[tuple[float, float, float, bool]] = []
        self.frc, self.dead, self.blood = 42.0 * kg, 3.0 * kg, 120.0 / 60.0 * kg
        self.count, self.hump, self.taken, self.at_port = 0, 0, 0.0, 0.0
        self.slow = rng.uniform(0, 2 * np.pi, 3)
        self.settle(etco2)

    def settle(self, etco2: float) -> None:
        """CO2 production that holds this end-tidal value. All is linear in CO2: one long run at a fixed venous value tells the scale."""
        s, port, self.made, self.spans, asked = replace(self.base, jitter=0.0), self.port, 0.0, (), self.spans
        self.venous, self.last, self.gas = 50.0, 40.0, np.array([40.0, 40.0])
        for _ in range(40):
            self.venous, self.taken = 50.0, 0.0
            self.breath(0.0, replace(s, leak=0.0, heart_ripple=0.0, notch=0.0, inspired=0.0), None)
        scale = etco2 / self.last
        self.made = self.taken * scale * s.rate / 60.0
        self.venous, self.gas, self.last = 50.0 * scale, self.gas * scale, etco2
        self.port, self.spans, self.marks, self.count, self.at_port = np.zeros_like(port), asked, [], 0, 0.0

    def now(self, t: float) -> tuple[Now, Span | None]:
        state, inside = self.base, None
        if self.wander:
            turn = np.sin(2 * np.pi * t / np.array([410.0, 1130.0, 2300.0]) + self.slow)
            state = replace(state, rate=state.rate * (1 + self.wander * float(turn[0] + turn[1]) / 2),
                            vt=state.vt * (1 + self.wander * float(turn[2] - turn[0]) / 3))  # fmt: skip
        for span in self.spans:
            if span.from_s <= t < span.to_s:
                inside, share = span, 1.0 if not span.ramp_s else min(1.0, (t - span.from_s) / span.ramp_s)
                moved = {k: v if isinstance(v, str | bool) or k == "notch_every"
                         else getattr(state, k) + share * (v - getattr(state, k))
                         for k, v in span.change.items()}  # fmt: skip
                state = replace(state, **moved)  # type: ignore[arg-type]
        return state, inside

    def run(self) -> None:
        t = 0.0
        while t < self.seconds:
            state, span = self.now(t)
            if state.stopped and span is not None:
                t = self.still(t, span.to_s, state)
            elif state.gullet:
                t = self.gulp(t, state)
            else:
                t = self.breath(t, state, span)

    def breath(self, t0: float, s: Now, span: Span | None) -> float:
        rng, kg = self.rng, self.kg
        period = 60.0 / s.rate * max(0.5, 1 + s.jitter * rng.standard_normal())
        vt = s.vt * kg * max(0.4, 1 + s.jitter * rng.standard_normal())
        if self.sighs and rng.random() < self.sighs / 60.0 / s.rate:
            vt, period = 2.0 * vt, 1.4 * period
        ti = period * s.inspired_share
        time = self.times(t0, t0 + period) - t0
        taus = np.array([s.tau, s.tau * s.uneven])
        share = 1 - np.exp(-ti / taus)
        share = share / share.sum()
        inhaled = self.inhale(time[time < ti], ti, vt, s)
        carried = min(vt, self.dead + s.apparatus * kg)
        got = (carried * self.last + (vt - carried) * s.inspired) / vt
        half = self.frc / 2
        self.gas = (self.gas * half + share * vt * got) / (half + share * vt)
        self.perfuse(ti, s)
        out = time[time >= ti] - ti
        exhaled, self.last = self.exhale(out, period - ti, vt, share, taus, s)
        self.at_port = float(exhaled[-1]) if len(exhaled) else self.at_port
        self.perfuse(period - ti, s)
        n0 = int(np.ceil(t0 * self.fine - 1e-9))
        both = np.concatenate([inhaled, exhaled])[: len(self.port) - n0]
        end = t0 + period
        if span is not None and span.to_s < end and self.now(span.to_s)[0].stopped == "loss":
            end = span.to_s
        cut = next((x.from_s for x in self.spans if x.change.get("stopped") == "loss" and t0 < x.from_s < end), None)
        if cut is not None:
            end, both = cut, both[: int(np.ceil(cut * self.fine)) - n0]
        self.port[n0 : n0 + len(both)] = both
        if end - t0 - ti > 0.12:
            low = float(inhaled.min()) if len(inhaled) else s.inspired
            self.marks.append((t0 + ti, end, low, True))
        self.count += 1
        return end

    def times(self, a: float, b: float) -> Array:
        return np.arange(int(np.ceil(a * self.fine - 1e-9)), int(np.ceil(b * self.fine - 1e-9))) / self.fine

    def inhale(self, t: Array, ti: float, vt: float, s: Now) -> Array:
        x = t / ti
        volume = vt * (x if s.ventilated else (1 - np.cos(np.pi * x)) / 2)
        past = s.apparatus * self.kg
        return s.inspired + (self.at_port - s.inspired) * (1 - ndtr((volume - past) / (s.blur * past + 0.02 * vt)))

    def exhale(self, t: Array, te: float, vt: float, share: Array, taus: Array, s: Now) -> tuple[Array, float]:
        left = share[:, None] * vt * np.exp(-t[None, :] / taus[:, None])
        flow = left / taus[:, None]
        held = self.venous - (self.venous - self.gas[:, None]) * np.exp(-t[None, :] / self.q(s)[:, None])
        mixed = (flow * held).sum(0) / flow.sum(0)
        gone = vt - left.sum(0)
        front = ndtr((gone - self.dead) / (0.25 * self.dead * (1 + 0.4 * (s.uneven - 1))))
        port = s.inspired + (mixed - s.inspired) * front
        last = float(port[-1]) if len(port) else self.last
        if s.leak:
            late = np.clip(t / te - s.leak_at, 0, None) / (1 - s.leak_at)
            port = port * (1 - s.leak * (1 - np.exp(-2.5 * late)) / (1 - np.exp(-2.5)))
        if s.heart_ripple:
            tail = np.clip((t / te - 0.35) / 0.3, 0, 1)
            beat = (1 + np.sin(2 * np.pi * s.heart / 60 * t + self.rng.uniform(0, 6.28))) / 2
            port = port * (1 - s.heart_ripple * tail * beat)
        if s.notch and self.count % s.notch_every == 0:
            at, wide = te * self.rng.uniform(0.5, 0.7), min(0.18, te * 0.08)
            port = port * (1 - s.notch * np.exp(-(((t - at) / wide) ** 2)))
        return port, last

    def q(self, s: Now) -> Array:
        """Time constants of the uptake, s."""
        better = np.array([1.0, s.mismatch]) / (1 + s.mismatch)
        return (self.frc / 2 * GAS) / (self.blood * s.flow * better * BLOOD)

    def perfuse(self, dt: float, s: Now) -> None:
        before = self.gas
        self.gas = self.venous - (self.venous - before) * np.exp(-dt / self.q(s))
        taken = float((self.gas - before).sum()) * self.frc / 2 * GAS
        self.taken += taken
        self.venous += (self.made * dt * min(1.0, 0.3 + 0.7 * s.flow) - taken) / (0.6 * self.kg)

    def still(self, t0: float, to: float, s: Now) -> float:
        """No flow: the line draws the last gas away from the port, at once where the tube is off."""
        t = self.times(t0, min(to, self.seconds)) - t0
        n0 = int(np.ceil(t0 * self.fine - 1e-9))
        before = self.port[n0 - 1] if n0 else 0.0
        wash = 0.08 if s.stopped == "loss" else float(self.rng.uniform(0.3, 2.5))
        if s.stopped == "apnoea":
            before = self.at_port
        self.port[n0 : n0 + len(t)] = before * np.exp(-t / wash)
        self.at_port = float(self.port[n0 + len(t) - 1])
        for _ in range(int(to - t0)):
            self.perfuse(1.0, s)
        self.last = float(self.gas.mean())
        return to

    def gulp(self, t0: float, s: Now) -> float:
        """A squeeze of the bag with the tube in the gullet: a hump of what the stomach held, less each time."""
        period = 60.0 / s.rate * (1 + s.jitter * self.rng.standard_normal())
        t = self.times(t0, t0 + period) - t0
        height = s.gullet * s.gullet_keeps**self.hump
        out = np.clip((t / period - 0.35) / 0.5, 0, 1)
        hump = height * np.sin(np.pi * out) ** float(self.rng.uniform(0.7, 2.0))
        n0 = int(np.ceil(t0 * self.fine - 1e-9))
        self.port[n0 : n0 + len(t)] = hump[: len(self.port) - n0]
        if height > 0.5:
            self.marks.append((t0 + 0.35 * period, t0 + 0.85 * period, 0.0, False))
        self.hump += 1
        return t0 + period


def _lagged(port: Array, s: Sensor, fine: float) -> Array:
    a = float(np.exp(-1 / (fine * s.tau_s)))
    level = port[0]
    for _ in range(2):
        port = lfilter([1 - a], [1, -a], port - level) + level
    n = round(s.delay_s * fine)
    return np.concatenate([np.full(n, 0.0), port])[: len(port)]


def _label(
    a: float, b: float, low: float, shown: Array, port: Array, fine: float, s: Sensor, sure: bool
) -> TrueBreath | None:
    i, j = int(a * fine), int(b * fine)
    if j + round(s.delay_s * fine) >= len(shown) or j - i < 3:
        return None
    inside = port[i:j]
    foot, top = float(inside[: max(2, (j - i) // 4)].min()), float(inside.max())
    peak = i + int(inside.argmax())
    rise = np.flatnonzero(port[i : peak + 1] > foot + 0.05 * (top - foot))
    start = (i + int(rise[0]) if len(rise) else i) / fine
    n = round(s.delay_s * fine)
    per = round(fine / s.rate_hz)
    seen = shown[-(-(i + n) // per) * per : j + n + int(0.1 * fine) : per]  # at the samples
    return TrueBreath(start + s.delay_s, b + s.delay_s, float(seen.max()), low, top, sure)


def _sensed(clean: Array, s: Sensor, rng: np.random.Generator) -> Array:
    n = len(clean)
    t = np.arange(n) / s.rate_hz
    x = clean + s.noise * rng.standard_normal(n) + s.mains * np.sin(2 * np.pi * s.mains_hz * t + rng.uniform(0, 6.28))
    x = x + s.drift * np.sin(2 * np.pi * t / rng.uniform(300, 900) + rng.uniform(0, 6.28))
    x = np.round(x / s.step) * s.step
    if s.never_below_zero:
        x = np.maximum(x, 0.0)
    for _ in range(rng.poisson(s.gaps_per_min * n / s.rate_hz / 60)):
        at, long = rng.integers(0, n), int(rng.exponential(0.3) * s.rate_hz) + 1
        x[at : at + long] = np.nan
    return in_unit(x, s.unit, s.ambient_mmhg)
