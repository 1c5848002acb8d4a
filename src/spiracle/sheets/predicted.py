"""From a request to a prediction: the levels at the moments asked for, their spread, and what follows from them. Pure.

Canonical inside: mg/kg, mg/L, minutes. Levels are shown in mg/L or, where the first dose is written in micrograms or less, in ng/mL
(1 mg/L is 1 mcg/mL and 1000 ng/mL).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeAlias

import numpy as np

from spiracle.case.facts import Facts
from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.saturable import levels_saturable
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels
from spiracle.kinetics.timing import Site
from spiracle.quantity import Quantity, figure
from spiracle.refusals import AskAgain, OutOfRange
from spiracle.sheets.cautions import STANDING
from spiracle.sheets.level_svg import LevelPicture, Mark, Panel
from spiracle.sheets.predict_band import band_of, falls_of
from spiracle.sheets.predict_model import Chosen, model_for, per_kg, written_per_kg
from spiracle.sheets.predict_range import beyond, kept_peaks, more_than_published
from spiracle.sheets.predict_request import BolusAsked, InfusionAsked, PredictRequest
from spiracle.sheets.predict_shapes import (
    FactsPart,
    FallPart,
    GivenPart,
    Measure,
    NowPart,
    PatientPart,
    Peak,
    Predicted,
    Series,
)

SAYS = ("A prediction for a population by a model: predicted, not measured, and not a measurement of this animal. "
        "It gives no order; a licensed veterinarian decides.")  # fmt: skip
SITES: tuple[Site, ...] = ("plasma", "effect")
SITE_WORDS = {"plasma": "plasma", "effect": "effect-site"}
LEAST, MOST_MG_KG = 0.000001, 2_000.0
MOST_SATURABLE = 200  # a bound of our own
ZOOM, ROUNDS, LOOK_AHEAD_MIN = 201, 4, 30 * 24 * 60.0

Both: TypeAlias = "dict[str, Floats]"
At: TypeAlias = Callable[[Floats], Both]


@dataclass(frozen=True, slots=True)
class Scale:
    """The unit in which levels are shown, and how many of it are 1 mg/L."""

    unit: str
    times: float

    def measure(self, level: float) -> Measure:
        return measure(level * self.times, self.unit)

    def series(self, values: Floats) -> Series:
        return Series(unit=self.unit, values=rounded(values * self.times))


def predict(request: PredictRequest, facts: Facts) -> Predicted:
    """The whole prediction, or the first refusal."""
    _check_weight(request, facts)
    chosen = model_for(request, facts)
    _not_too_many(request, chosen)
    given, schedule = _given(request)
    _no_slip(schedule)
    times, notes = _times(request)
    scale = scale_of(request)
    withheld = beyond(chosen, schedule, facts)
    at = _solver(chosen, schedule)
    found: Both = {} if withheld else at(times)
    peaks, silent = kept_peaks(() if withheld else _peaks(at, times, schedule, scale), chosen, schedule)
    stop = last_stop(schedule)
    empty = Series(unit=scale.unit, values=())
    site = chosen.typical.ke0 is not None
    return Predicted(
        says=SAYS,
        patient=PatientPart(name=request.name, species=request.species, weight=_written(request.weight)),
        model=chosen.part,
        times=Series(unit="min", values=() if withheld else rounded(times)),
        plasma=scale.series(found["plasma"]) if found else empty,
        effect=(scale.series(found["effect"]) if found else empty) if site else None,
        band=None if withheld else band_of(chosen, schedule, times, scale.unit, scale.times),
        withheld=withheld,
        given=given,
        total=_total(schedule, request.weight),
        total_per_kg=measure(schedule.total_by(stop), "mg/kg"),
        last_stop_min=stop,
        peaks=peaks,
        facts=_facts(chosen),
        falls=() if withheld else _falls(request, chosen, at, schedule, scale),
        now=None if withheld else _now(request, at, scale),
        notes=(*notes, *silent, *_after_the_end(request), _unit_note(scale)),
        cautions=(*more_than_published(chosen, schedule, facts), *STANDING),
    )


def _check_weight(request: PredictRequest, facts: Facts) -> None:
    """What this animal can weigh. A file is written once, so its way to confirm is a key."""
    kg = request.weight.number("kg")
    try:
        facts.patient.check_weight(
            request.species, kg, confirmed=request.weight_confirmed, method="scale", typed_once=False
        )
    except AskAgain as question:
        accepts = f"{question.accepts} In the file, weight_confirmed = true says that it is right."
        raise AskAgain(question.field, question.says, accepts, question.use) from question


# ---- numbers


def sums_words(made: Predicted) -> str:
    """All that is given, in one line: it stands whether or not there is a curve."""
    doses = sum(g.kind == "bolus" for g in made.given)
    runs = len(made.given) - doses
    many = [
        f"{n} {word}{'' if n == 1 else more}"
        for n, word, more in ((doses, "bolus", "es"), (runs, "infusion", "s"))
        if n
    ]
    return f"{made.total.text}, {made.total_per_kg.text} in all by {shown(made.last_stop_min, 6)} min ({' and '.join(many)})"


def measure(value: float, unit: str, digits: int = 3) -> Measure:
    """A number as data and as printed with so many significant digits.

    >>> measure(4.65789, "mg/L").text
    '4.66 mg/L'
    """
    return Measure(value=float(f"{value:.10g}"), unit=unit, text=f"{shown(value, digits)} {unit}")


def shown(value: float, digits: int = 3) -> str:
    """Significant digits without an exponent; what is less than a millionth is said to be so.

    >>> shown(0.0), shown(12345.6), shown(0.000012345), shown(1e-9)
    ('0', '12,300', '0.0000123', '< 0.000001')
    """
    if 0 < abs(value) < LEAST:
        return f"< {figure(Decimal(str(LEAST)))}"
    return figure(Decimal(f"{value:.12g}"), digits)


def rounded(values: Floats) -> tuple[float, ...]:
    """Ten significant digits: more would be noise."""
    return tuple(float(f"{v:.10g}") for v in values.tolist())


def _written(quantity: Quantity) -> Measure:
    return Measure(value=float(quantity.value), unit=str(quantity.unit), text=str(quantity))


def scale_of(request: PredictRequest) -> Scale:
    """By the first dose of the file: grams and milligrams give mg/L, micrograms and nanograms ng/mL."""
    first = (request.boluses[0].dose if request.boluses else request.infusions[0].rate).unit
    return Scale("ng/mL", 1000.0) if str(first).startswith(("mcg", "ng")) else Scale("mg/L", 1.0)


def _unit_note(scale: Scale) -> str:
    same = "1 mg/L is 1 mcg/mL" if scale.times == 1 else "1 ng/mL is 1 mcg/L; 1000 ng/mL are 1 mg/L"
    return f"Levels stand in {scale.unit}, by the unit of the first dose; {same}."


# ---- what is given


def _given(request: PredictRequest) -> tuple[tuple[GivenPart, ...], Schedule]:
    parts = [_bolus_part(b, request.weight) for b in request.boluses]
    runs = [_infusion_part(i, request.weight) for i in request.infusions]
    boluses = tuple(Bolus(p.start_min, p.per_kg.value, p.stop_min - p.start_min) for p in parts)
    infusions = tuple(Infusion(p.start_min, p.stop_min, p.per_kg.value) for p in runs)
    ordered = sorted((*parts, *runs), key=lambda p: p.start_min)
    return tuple(ordered), Schedule(boluses, infusions)


def _bolus_part(bolus: BolusAsked, weight: Quantity) -> GivenPart:
    per, whole, working = _worked(bolus.dose, weight, "mg/kg", "mg")
    start = bolus.at.number("min")
    over = Decimal(0) if bolus.over is None else bolus.over.number("min")
    return GivenPart(field=bolus.field, kind="bolus", start_min=float(start), stop_min=float(start + over), per_kg=per,
                     for_animal=whole, working=working)  # fmt: skip


def _infusion_part(run: InfusionAsked, weight: Quantity) -> GivenPart:
    per, whole, working = _worked(run.rate, weight, "mg/kg/min", "mg/min")
    return GivenPart(field=run.field, kind="infusion", start_min=float(run.start.number("min")),
                     stop_min=float(run.stop.number("min")), per_kg=per, for_animal=whole, working=working)  # fmt: skip


def _worked(asked: Quantity, weight: Quantity, per_unit: str, unit: str) -> tuple[Measure, Measure, str]:
    """Per kilogram in canonical units and as written, for the animal, and how one came from the other."""
    per = per_kg(asked, weight)
    whole = per * weight
    if written_per_kg(asked):
        working = f"{asked} x {weight} = {figure(whole.value, 3)} {whole.unit}"
    else:
        working = f"{asked} / {weight} = {figure(per.value, 3)} {per.unit}"
    return (
        Measure(value=float(per.number(per_unit)), unit=per_unit, text=_as_written(per, asked)),
        Measure(value=float(whole.number(unit)), unit=unit, text=_as_written(whole, asked)),
        working,
    )


def _as_written(quantity: Quantity, asked: Quantity) -> str:
    """What stands in the file as it stands there; what was worked out from it with three digits."""
    return str(quantity) if quantity.unit == asked.unit else f"{figure(quantity.value, 3)} {quantity.unit}"


def _no_slip(schedule: Schedule) -> None:
    """Over two grams per kilogram in all something slipped, a unit or a point. The bound is ours."""
    total = schedule.total_by(last_stop(schedule))
    if total > MOST_MG_KG:
        raise OutOfRange("dose", f"{total:,.4g} mg/kg in all is more of a drug than is given.",
                         f"Look at the units and points; up to {MOST_MG_KG:,.0f} mg/kg in all is worked out.")  # fmt: skip


def _not_too_many(request: PredictRequest, chosen: Chosen) -> None:
    """Where elimination saturates, the curve between any two changes is followed step by step: that takes its time."""
    count = len(request.boluses) + len(request.infusions)
    if chosen.saturating is not None and count > MOST_SATURABLE:
        raise OutOfRange("bolus", f"{count:,} boluses and infusions are more than is worked out where elimination saturates.",
                         f"Write {MOST_SATURABLE} at most together.")  # fmt: skip


def last_stop(schedule: Schedule) -> float:
    """When the last dose is in."""
    return max([b.at_min + b.over_min for b in schedule.boluses] + [i.stop_min for i in schedule.infusions])


def _total(schedule: Schedule, weight: Quantity) -> Measure:
    return measure(schedule.total_by(last_stop(schedule)) * float(weight.number("kg")), "mg")


def _times(request: PredictRequest) -> tuple[Floats, tuple[str, ...]]:
    """From 0 in whole steps up to the end, or the last step before it, which is then said."""
    every, until = request.every.number("s"), request.until.number("s")
    count = int(until / every)
    times = np.array([float(Decimal(n) * every / 60) for n in range(count + 1)])
    whole = Decimal(count) * every == until
    note = f"The end, {request.until}, is no whole number of steps: the last one is at {shown(times[-1], 6)} min."
    return times, () if whole else (note,)


def _after_the_end(request: PredictRequest) -> tuple[str, ...]:
    starts = [*((b.field, b.at) for b in request.boluses), *((i.field, i.start) for i in request.infusions)]
    late = [f"{name} at {at}" for name, at in starts if at > request.until]
    if not late:
        return ()
    more = f" and {len(late) - 3} more" if len(late) > 3 else ""
    return (f"Given after the curve ends: {', '.join(late[:3])}{more}.",)


# ---- the curve


def _solver(chosen: Chosen, schedule: Schedule) -> At:
    """Levels [mg/L] of the typical animal at any minutes."""

    def at(times: Floats) -> Both:
        full = chosen.saturating
        found = levels(chosen.typical, schedule, times) if full is None else levels_saturable(full, schedule, times)
        return {"plasma": found.plasma} if found.effect is None else {"plasma": found.plasma, "effect": found.effect}

    return at


def _peaks(at: At, times: Floats, schedule: Schedule, scale: Scale) -> tuple[Peak, ...]:
    ends = [t for b in schedule.boluses for t in (b.at_min, b.at_min + b.over_min)] + [
        i.stop_min for i in schedule.infusions
    ]
    looked = np.unique(np.concatenate((times, [e for e in ends if e <= times[-1]])))
    found = at(looked)
    return tuple(_peak(name, at, looked, found[name], scale) for name in SITES if name in found)


def _peak(name: str, at: At, times: Floats, values: Floats, scale: Scale) -> Peak:
    """The highest point, looked for ever more closely around the highest that was worked out."""
    for _ in range(ROUNDS):
        best = int(np.argmax(values))
        low, high = times[max(0, best - 1)], times[min(times.size - 1, best + 1)]
        near = np.unique(np.concatenate((np.linspace(low, high, ZOOM), [times[best]])))
        times, values = near, at(near)[name]
    best = int(np.argmax(values))
    return Peak(site=name, at_min=float(f"{times[best]:.6g}"), level=scale.measure(float(values[best])))


def _now(request: PredictRequest, at: At, scale: Scale) -> NowPart | None:
    if request.now is None:
        return None
    minute = float(request.now.number("min"))
    found = at(np.array([minute]))
    effect = scale.measure(float(found["effect"][0])) if "effect" in found else None
    return NowPart(at_min=minute, plasma=scale.measure(float(found["plasma"][0])), effect=effect)


def _facts(chosen: Chosen) -> FactsPart:
    if chosen.saturating is not None:
        return FactsPart(vss=measure(float(chosen.typical.vss()), "L/kg"))
    typical = chosen.typical
    return FactsPart(
        half_lives=tuple(measure(float(h), "min") for h in typical.half_lives()),
        clearance=measure(float(typical.clearance) * 1000, "mL/kg/min"),
        vss=measure(float(typical.vss()), "L/kg"),
        mean_residence=measure(float(typical.mrt()), "min"),
    )


# ---- falling after the last dose


def _falls(request: PredictRequest, chosen: Chosen, at: At, schedule: Schedule, scale: Scale) -> tuple[FallPart, ...]:
    stop = last_stop(schedule)
    found = []
    for level in request.fall_to:
        target = float(level.number("mg/L"))
        for name in SITES if chosen.typical.ke0 is not None else SITES[:1]:
            minute = falls_under(lambda t, name=name: at(t)[name], target, stop)  # type: ignore[misc]
            found.append(
                _fall(name, scale.measure(target), minute, stop, falls_of(chosen, schedule, stop, target, name))
            )
    return tuple(found)


def _fall(name: Site, to: Measure, minute: float | None, stop: float, spread: tuple[float, float] | None) -> FallPart:
    where = f"The {SITE_WORDS[name]} level"
    if minute is None:
        return FallPart(site=name, to=to, at_min=None, after_stop_min=None,
                        says=f"{where} of the typical animal is never above {to.text} from the last dose on{_among(spread)}.")  # fmt: skip
    if minute == np.inf:
        days = f"{LOOK_AHEAD_MIN / 1440:g} days"
        return FallPart(site=name, to=to, at_min=None, after_stop_min=None,
                        says=f"{where} is still above {to.text} after {days}.")  # fmt: skip
    after = minute - stop
    low, high = (None, None) if spread is None else (_told(spread[0]), _told(spread[1]))
    return FallPart(
        site=name, to=to, at_min=float(f"{minute:.6g}"), after_stop_min=float(f"{after:.6g}"), p10_min=low, p90_min=high,
        says=f"{where} is predicted to fall to {to.text} {minutes(after)} after the last dose ended{_among(spread)}.",
    )  # fmt: skip


def _told(minute: float) -> float | None:
    return None if minute == np.inf else float(f"{minute:.6g}")


def _among(spread: tuple[float, float] | None) -> str:
    """The spread of that time between animals, in words; empty without a population."""
    if spread is None:
        return ""
    low, high = spread
    late = "not within a week" if high == np.inf else minutes(high)
    return f" (10 to 90 % of animals: {'not within a week' if low == np.inf else minutes(low)} to {late})"


def minutes(value: float) -> str:
    """Minutes with as much precision as they deserve.

    >>> minutes(0.42), minutes(12.34), minutes(95.2)
    ('0.4 min', '12 min', '95 min')
    """
    return f"{value:.1f} min" if value < 10 else f"{value:.0f} min"


def moment(value: float) -> str:
    """A minute of the curve: three figures, and never less than the whole minute.

    >>> moment(3.356), moment(62.29), moment(0.0), moment(1234.5)
    ('3.36 min', '62.3 min', '0 min', '1,234 min')
    """
    return f"{shown(round(value) if value >= 100 else value, 3 if value < 1000 else 6)} min"


def falls_under(level: Callable[[Floats], Floats], target: float, stop: float) -> float | None:
    """The minute from which the level stays at or under the target; None if it is never above, infinity if not within the month."""
    looked = stop + np.concatenate(([0.0], np.geomspace(0.01, LOOK_AHEAD_MIN, 3 * ZOOM)))
    above = np.flatnonzero(level(looked) > target)
    if not above.size:
        return None
    for _ in range(ROUNDS):
        if above[-1] == looked.size - 1:
            return np.inf
        looked = np.linspace(looked[above[-1]], looked[above[-1] + 1], ZOOM)
        above = np.flatnonzero(level(looked) > target)
    return float(looked[above[-1] + 1])


# ---- for the picture


def picture_of(made: Predicted) -> LevelPicture:
    """The curve as it is drawn: the effect site first, since that is what is titrated to, then the plasma."""
    panels = []
    at = () if made.band is None else made.band.times.values
    for title, site, series in (("effect site", "effect", made.effect), ("plasma", "plasma", made.plasma)):
        if series is None or not series.values:
            continue
        of = None if made.band is None else getattr(made.band, site)
        low, high, words = (
            ((), (), "") if of is None else (of.p10, of.p90, "hatched: 10 to 90 % of the model's animals")
        )
        asked = tuple(f.to.value for f in made.falls if f.site == site)
        panels.append(Panel(title, series.unit, series.values, low, high, at, asked, words))
    end = made.times.values[-1] if made.times.values else 0.0
    marks = tuple(Mark(g.start_min, g.stop_min, g.per_kg.text) for g in made.given if g.start_min <= end)
    now = None if made.now is None else made.now.at_min
    return LevelPicture(made.times.values, tuple(panels), marks, now, made.says)
