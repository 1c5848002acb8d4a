"""What a population's model expects of a drug that went in by the vein: a band over time, never a reading and never an order.

Carries D4, D5. Where no set may stand for this animal, or an entry cannot be followed, the reason stands in place of the
curve and the sums are shown all the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import replace as with_more
from datetime import datetime, timedelta
from decimal import Decimal
from math import ceil

import numpy as np
from msgspec.structs import replace

from spiracle.case.deliveries import Deliveries, Pushed, deliveries, drugs_by_vein
from spiracle.case.pushes import drug_id
from spiracle.kinetics.choosing import Model, within_total
from spiracle.kinetics.crowd import Crowd, crowd, few_of
from spiracle.kinetics.exponentials import Floats, Number
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels, on_grid
from spiracle.kinetics.timing import Site, peak_after
from spiracle.quantity import figure
from spiracle.refusals import OutOfRange, Refusal
from spiracle.sheets.level_animal import changed_background, chosen, holds, use_of
from spiracle.sheets.level_marks import marks_of
from spiracle.sheets.level_stop import falling, falls_of, half_text, plateau_text
from spiracle.sheets.level_words import Scale, clock, minutes_words, scale_of, span_words
from spiracle.sheets.names import capital
from spiracle.sheets.shapes import Level, NextPush, WorkingInput, WorkingShape
from spiracle.sheets.told import Told
from spiracle.sheets.worked_shape import cited

SAYS = "A prediction for a population, not a measurement of this animal. It orders nothing."
LATE = "Mixing is taken as instant: the first minute after a push is the least sure."
POINTS = 100
FAILED = "The estimate failed"
REVERSED = "{} went in since: the drug is still there, its effect may be gone."
SITES = {"effect": "brain level", "plasma": "blood level"}
INDUCE_BACK, INDUCE_AHEAD = timedelta(minutes=45), timedelta(minutes=8)
MAINTAIN_BACK, MAINTAIN_AHEAD = timedelta(minutes=60), timedelta(minutes=60)
PEAK_WITHIN_MIN = 60.0
CLASSES = frozenset({"induction", "opioid", "hypnotic"})


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch of time a curve shows: `points` steps from the `skipped`-th step after the first dose on."""

    first_at: datetime
    step_s: int
    skipped: int
    points: int

    @property
    def begin(self) -> datetime:
        return self.first_at + timedelta(seconds=self.skipped * self.step_s)

    @property
    def minutes(self) -> Floats:
        """Minutes after the first dose."""
        return np.arange(self.skipped, self.skipped + self.points, dtype=np.float64) * (self.step_s / 60)


def window(first_at: datetime, begin: datetime, end: datetime, told_from: datetime | None = None) -> Window:
    """At most POINTS points, in whole steps of five seconds counted from the first dose; none before the set begins to tell."""
    begin = max(begin, told_from or begin)
    seconds = max(60.0, (end - begin).total_seconds())
    step = 5 * ceil(seconds / POINTS / 5)
    steps = (begin - first_at).total_seconds() / step
    return Window(first_at, step, ceil(steps) if begin == told_from else int(steps), int(seconds // step) + 2)


@dataclass(frozen=True, slots=True)
class Followed:
    """A drug whose course can be worked out: what went in, by which set, for how many animals of it."""

    t: Told
    kg: float
    went: Deliveries
    first_at: datetime
    model: Model
    crowd: Crowd
    schedule: Schedule
    scale: Scale

    @property
    def site(self) -> Site:
        return "effect" if self.model.has_effect_site else "plasma"

    @property
    def told_from(self) -> datetime | None:
        """Where the set begins to tell after the last push."""
        return _silent(self.went, self.model)

    @property
    def now_min(self) -> float:
        return self.minutes(self.t.now)

    def minutes(self, at: datetime) -> float:
        return (at - self.first_at) / timedelta(minutes=1)

    def when(self, minute: float) -> datetime:
        return self.first_at + timedelta(seconds=round(minute * 60))

    def lying(self, schedule: Schedule, minutes: Floats) -> Floats:
        """Every animal's level (n, T) [mg/L] under a schedule."""
        found = levels(self.crowd.disposition, schedule, minutes)
        seen = found.plasma if found.effect is None else found.effect
        return np.asarray(seen * self.crowd.residual[:, None])

    def along(self, schedule: Schedule, shown: Window) -> Floats:
        """The same at the steps of a window (n, points). A grid begins at the first dose, so a dose of long ago is taken the long way."""
        if shown.skipped > 2 * shown.points:
            return self.lying(schedule, shown.minutes)
        found = on_grid(self.crowd.disposition, schedule, shown.step_s / 60, shown.skipped + shown.points)
        seen = (found.plasma if found.effect is None else found.effect)[:, shown.skipped :]
        return np.asarray(seen * self.crowd.residual[:, None])

    def forecast(self, end_min: float) -> Schedule:
        """What went in, with what runs now running on."""
        if self.went.mg_min_now <= 0:
            return self.schedule
        on = Infusion(self.now_min, end_min + 1, self.went.mg_min_now / self.kg)
        return Schedule(self.schedule.boluses, (*self.schedule.infusions, on))


def induction_level(t: Told, drug: str, next_mg: float | None, next_text: str) -> Level | None:
    """The level of an induction agent from its first push on; None before anything went in."""
    return _kept(t, drug, lambda: _induction_level(t, drug, next_mg, next_text))


def running_level(t: Told, drug: str) -> Level | None:
    """The level of a drug that runs or was given, with what would follow if everything stopped now."""
    return _kept(t, drug, lambda: _running_level(t, drug))


def _kept(t: Told, drug: str, work: Callable[[], Level | None]) -> Level | None:
    """A fault of ours in an estimate may cost the curve and nothing else: the case stays on the screen, and the fault is named."""
    try:
        return work()
    except Exception as fault:
        return Level(
            drug=drug, name=t.names.drug(drug), none=f"{FAILED} ({type(fault).__name__}). Everything else stands."
        )


def _induction_level(t: Told, drug: str, next_mg: float | None, next_text: str) -> Level | None:
    """The level of an induction agent from its first push on, or the last three quarters of an hour of it; None before anything
    went in."""
    found = _followed(t, drug, "induction")
    if found is None or isinstance(found, Level):
        return found
    last = found.went.pushed[-1].at if found.went.pushed else found.first_at
    shown = window(
        found.first_at, max(found.first_at, last - INDUCE_BACK), max(t.now, last) + INDUCE_AHEAD, found.told_from
    )
    made = _curve(found, shown)
    made = _with_peak(made, found)
    return _with_next(made, found, shown, next_mg, next_text)


def _running_level(t: Told, drug: str) -> Level | None:
    found = _followed(t, drug, use_of(t, drug))
    if found is None or isinstance(found, Level):
        return found
    shown = window(found.first_at, max(found.first_at, t.now - MAINTAIN_BACK), t.now + MAINTAIN_AHEAD, found.told_from)
    made = _curve(found, shown)
    fall = falling(found)
    return replace(
        made,
        plateau_text=plateau_text(found),
        half_text=half_text(found, fall),
        falls=falls_of(found, fall, made.marks),
    )


def levels_now(t: Told) -> tuple[Level, ...]:
    """Every anaesthetic that went in by the vein, newest first; those that no model follows with their sums alone."""
    if t.induced_at is None or t.ended_at is not None:
        return ()
    found = [running_level(t, drug) for drug in drugs_by_vein(t.case, t.facts) if _anaesthetic(t, drug)]
    return tuple(reversed([x for x in found if x is not None]))


def _anaesthetic(t: Told, drug: str) -> bool:
    """Of a class that makes sleep or takes pain away, or a drug that a set of constants is held for."""
    return t.facts.drugs.class_of(drug) in CLASSES or any(m.drug == drug for m in t.facts.kinetics.models)


def _followed(t: Told, drug: str, use: str) -> Followed | Level | None:
    went = deliveries(t.case, t.facts, drug, t.now)
    first = went.first_at
    if first is None and not went.unfollowed:
        return None
    bare = Level(drug=drug, name=t.names.drug(drug), sums=sums(t, went))
    if went.unfollowed or first is None:
        lost = "; ".join(went.unfollowed)
        return replace(bare, none=f"No estimate. A model of the vein cannot follow {lost}.")
    if went.total_mg <= 0:
        return replace(bare, none="No estimate. Nothing of it went in yet.")
    try:
        holds(t)
        model = chosen(t, drug, use)
        kg = float(t.kg or 0)
        _late_enough(went, model)
        within_total(model, _most(went, model) / kg)
        schedule = _schedule(went, first, kg)
    except Refusal as why:
        return replace(bare, none=no_estimate(t, why))
    whole = crowd(model)
    return Followed(t, kg, went, first, model, whole, schedule, scale_of(t, drug, model))


def _silent(went: Deliveries, model: Model) -> datetime | None:
    """Until when after the last push the set tells nothing; None where it tells from the first moment on."""
    minutes = model.row.not_before_min
    return went.pushed[-1].at + timedelta(minutes=minutes) if minutes and went.pushed else None


def _late_enough(went: Deliveries, model: Model) -> None:
    """Refuses the first minutes after a push, which some sets miss by far."""
    from_at = _silent(went, model)
    if from_at is not None and went.until < from_at:
        raise OutOfRange("time", f"This set tells nothing of the first {model.row.not_before_min} min after a push.",
                         "An estimate is made after them.")  # fmt: skip


def no_estimate(t: Told, why: Refusal) -> str:
    """Why there is none, in whole sentences and by the names that people know."""
    told = f"No estimate. {capital(why.says)} {why.accepts}".strip()
    for id_, name in t.names.conditions.items():
        told = told.replace(f"{id_} stands on the list", f"{name.lower()} stands on the list")
    return told


def _most(went: Deliveries, model: Model) -> float:
    """The most that ever went in within one stretch as long as the set's own [mg]. What was past the set once is not followed
    again later: the level that it left behind is not known. The most is found where a stretch begins with a push or a rate, or
    ends with one."""
    within = model.row.total_within_min
    if within is None:
        return went.total_mg
    span = timedelta(minutes=within)
    starts = [*(p.at for p in went.pushed), *(r.start for r in went.ran)]
    ends = [*(p.at for p in went.pushed), *(r.stop for r in went.ran)]
    return max((_between(went, a, a + span) for a in (*starts, *(e - span for e in ends))), default=0.0)


def _between(went: Deliveries, since: datetime, until: datetime) -> float:
    """What went in from one moment to another, both counted in [mg]."""
    ran = ((r.mg_min, min(r.stop, until) - max(r.start, since)) for r in went.ran)
    amounts = (rate * (time / timedelta(minutes=1)) for rate, time in ran if time > timedelta(0))
    return sum(p.mg for p in went.pushed if since <= p.at <= until) + sum(amounts)


def _schedule(went: Deliveries, first: datetime, kg: float) -> Schedule:
    def minute(at: datetime) -> float:
        return (at - first) / timedelta(minutes=1)

    return Schedule(
        tuple(Bolus(minute(p.at), p.mg / kg) for p in went.pushed),
        tuple(Infusion(minute(r.start), minute(r.stop), r.mg_min / kg) for r in went.ran if r.stop > r.start),
    )


def _curve(f: Followed, shown: Window) -> Level:
    t, model = f.t, f.model
    band = f.crowd.band(f.along(f.forecast(float(shown.minutes[-1])), shown))
    low, middle, high = (tuple(f.scale.points(row)) for row in band)
    now = f.crowd.band(f.lying(f.schedule, np.array([f.now_min])))
    now_text = span_words(f.scale, float(now[0][0]), float(now[2][0]))
    marked = marks_of(t, f.model, f.scale)
    site = SITES[f.site]
    return Level(
        drug=f.went.drug,
        name=t.names.drug(f.went.drug),
        sums=sums(t, f.went),
        says=SAYS,
        population=model.row.population,
        quality=model.quality,
        site=site,
        unit=f.scale.unit,
        begin_at=shown.begin,
        step_s=shown.step_s,
        low=low,
        middle=middle,
        high=high,
        top=f.scale.top(max(high, default=0.0), [m.high for m in marked.marks]),
        as_of=t.now,
        now_text=now_text,
        pushes=tuple(p.at for p in f.went.pushed if p.at >= shown.begin),
        marks=marked.marks,
        unplaced=marked.unplaced,
        cautions=(*_cautions(t, f), *marked.cautions),
        memory=model.memory,
        working=_working(f, site, now_text),
    )


def _cautions(t: Told, f: Followed) -> tuple[str, ...]:
    """What of this animal has to be said beside the curve, then what of the set."""
    drug = f.went.drug
    estimated = "The weight is estimated: every level moves with it." if t.estimated else ""
    changed = "" if "any" in f.model.row.background else changed_background(t, drug, f.first_at)
    mine = (estimated, _other_weight(t), changed, _undone(t, drug, f.first_at))
    return (*(c for c in mine if c), *(c for c in f.model.cautions if "not a measurement" not in c), LATE)


def _other_weight(t: Told) -> str:
    """In words, where doses are worked on a weight that is not the animal's own: the sets are per kg of the whole animal."""
    if t.weight is None or t.kg is None or t.kg == t.weight.kg:
        return ""
    return f"Worked on the {figure(t.kg)} kg set for dosing; the sets are per kg of the whole animal, {figure(t.weight.kg)} kg."


def _undone(t: Told, drug: str, since: datetime) -> str:
    """In words, where a reversal of the drug went in."""
    back = t.facts.drugs.drug(drug).reversal
    found = back and any(drug_id(g.drug, t.facts) == back and since <= g.happened_at <= t.now for g in t.given)
    return REVERSED.format(capital(t.names.drug(back))) if found else ""


def _with_peak(made: Level, f: Followed) -> Level:
    """When the last push shows its whole effect; nothing where no effect site is known."""
    if not f.model.has_effect_site or not f.went.pushed:
        return made
    last = f.went.pushed[-1]
    minute = f.minutes(last.at)
    before = _without_last(f.forecast(minute + PEAK_WITHIN_MIN))
    few = few_of(f.model)
    peak = peak_after(few.disposition, before, last.mg / f.kg, minute, PEAK_WITHIN_MIN)
    early, middle, late = few.times(np.asarray(peak.after_min))
    if early is None:
        return replace(made, peak_text="The last push does not peak within an hour.")
    if late is None or middle is None:
        words = f"The last push peaks ≈ {minutes_words(early, early)} after it went in at the soonest, in some not within an hour."
        return replace(made, peak_text=words)
    return replace(
        made,
        peak_from=f.when(minute + early),
        peak_at=f.when(minute + middle),
        peak_to=f.when(minute + late),
        peak_text=f"a push is expected to peak ≈ {minutes_words(early, late)} after it went in",
    )


def _without_last(schedule: Schedule) -> Schedule:
    return Schedule(schedule.boluses[:-1], schedule.infusions)


def _with_next(made: Level, f: Followed, shown: Window, next_mg: float | None, text: str) -> Level:
    """What one more increment would do if it went in now; nothing where the set does not reach so far."""
    if next_mg is None or next_mg <= 0 or _past(f, next_mg):
        return made
    past = int(np.count_nonzero(shown.minutes <= f.now_min))
    if past == shown.points:
        return made
    added = f.forecast(float(shown.minutes[-1])).with_bolus(Bolus(f.now_min, next_mg / f.kg))
    later = Window(shown.first_at, shown.step_s, shown.skipped + past, shown.points - past)
    band = f.crowd.band(f.along(added, later))
    low, high = tuple(f.scale.points(band[0])), tuple(f.scale.points(band[2]))
    reached = span_words(f.scale, float(np.max(band[0])), float(np.max(band[2])))
    words = f"if {text} went in now: {SITES[f.site]} up to {reached}"
    if f.model.has_effect_site:
        before = f.forecast(f.now_min + PEAK_WITHIN_MIN)
        few = few_of(f.model)
        peak = peak_after(few.disposition, before, next_mg / f.kg, f.now_min, PEAK_WITHIN_MIN)
        early, _, late = few.times(np.asarray(peak.after_min))
        if early is not None and late is not None:
            words += f", {minutes_words(early, late)} later"
    return replace(made, next=NextPush(text=words, low=low, high=high))


def _past(f: Followed, next_mg: float) -> bool:
    """Whether one more increment would be past the set's own range."""
    added = with_more(f.went, pushed=(*f.went.pushed, Pushed(f.t.now, next_mg, "")))
    try:
        within_total(f.model, _most(added, f.model) / f.kg)
    except Refusal:
        return True
    return False


def _working(f: Followed, site: str, now_text: str) -> WorkingShape:
    d, n = f.model.disposition, f.crowd.residual.size
    constants = [f"V1 {_g(d.v1)} L/kg", f"clearance {_g(d.clearance)} L/kg/min"]
    constants += [f"Q{i} {_g(q)}, V{i} {_g(v)}" for i, (q, v) in enumerate(d.exchange, 2)]
    if d.ke0 is not None:
        constants.append(f"ke0 {_g(d.ke0)} per min")
    given = tuple(
        WorkingInput(name=f"push {i}", text=f"{figure(Decimal(str(p.mg)), 4)} mg at {clock(f.t, p.at)}", mark="typed")
        for i, p in enumerate(f.went.pushed, 1)
    )
    ran = tuple(
        WorkingInput(
            name="pump",
            text=f"{figure(Decimal(str(r.mg_min)), 4)} mg/min, {clock(f.t, r.start)} to {clock(f.t, r.stop)}",
            mark="typed",
        )
        for r in f.went.ran
    )
    return WorkingShape(
        title=f"{f.t.names.drug(f.went.drug)}, predicted {site}",
        says=f"{n:,} animals of the set {f.model.id} ({', '.join(constants)}); the middle 80 % of them now: {now_text}",
        inputs=(_weight(f), *given, *ran),
        held=(f.model.words, f.model.row.spread_says, f.model.row.residual_says),
        cited=cited(f.model.sources, f.t.facts.sources),
        memory=f.model.memory,
        estimated=True,
    )


def _weight(f: Followed) -> WorkingInput:
    note = "set for dosing" if _other_weight(f.t) else "estimated" if f.t.estimated else ""
    return WorkingInput(name="weight", text=f"{figure(Decimal(str(f.kg)))} kg", mark="typed", note=note)


def _g(value: Number) -> str:
    return f"{float(value):.3g}"


def sums(t: Told, went: Deliveries) -> str:
    """What went in, as plain sums: shown whether or not a model can follow it."""
    parts = []
    if went.pushed:
        total = sum(p.mg for p in went.pushed)
        per = f" = {_amount(total / float(t.kg))}/kg" if t.kg else ""
        many = f"{len(went.pushed)} push" + ("es" if len(went.pushed) > 1 else "")
        parts.append(f"{_amount(total)}{per} in {many} since {clock(t, went.pushed[0].at)}")
    ran = went.total_mg - sum(p.mg for p in went.pushed)
    if ran > 0:
        per = f" = {_amount(ran / float(t.kg))}/kg" if t.kg else ""
        parts.append(f"{_amount(ran)}{per} by pump")
    return "; ".join((*parts, *went.unfollowed))


def _amount(mg: float) -> str:
    """In mg, or in mcg where that is the smaller word."""
    if mg < 0.1:
        return f"{figure(Decimal(str(mg)) * 1000, 3)} mcg"
    return f"{figure(Decimal(str(mg)), 3)} mg"
