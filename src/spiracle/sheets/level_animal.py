"""Which set of constants may stand for the animal of a case: its species, age, weight, physical status and what it is under."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import age_days, conditions
from spiracle.case.moments import went_in
from spiracle.case.premedicated import MINUTE, lasts_minutes, still_works, unknown_how_long, was_reversed
from spiracle.case.pushes import drug_id, route_of
from spiracle.case.streams import streams
from spiracle.kinetics.choosing import Model, choose, under
from spiracle.kinetics.rows import Background, Premedication
from spiracle.refusals import OutOfRange, Unknown
from spiracle.sheets.told import purpose_of

if TYPE_CHECKING:
    from spiracle.kinetics.rows import Use
    from spiracle.sheets.told import Told

MONTH_DAYS = Decimal(365) / 12  # twelve of them are the year of a birthday, 365 or 366 days
ASA = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
COLD, COLD_SAYS = Decimal(35), "hypothermia"  # from memory: moderate hypothermia of dogs and cats begins hereabouts
SURELY = timedelta(
    hours=2
)  # ours: a premedication of an unknown length counts for so long, and for no published level after
_OPIOIDS = ("full mu opioid", "partial mu opioid", "kappa agonist", "weak mu agonist")
_GROUPS: Mapping[frozenset[str], Premedication] = {
    frozenset(): "none",
    frozenset({"opioid"}): "opioid",
    frozenset({"alpha-2"}): "alpha-2",
    frozenset({"alpha-2", "opioid"}): "alpha-2+opioid",
    frozenset({"acepromazine", "opioid"}): "acepromazine+opioid",
}
_GASES: Mapping[str, Background] = {"isoflurane": "isoflurane", "sevoflurane": "sevoflurane"}


def chosen(t: Told, drug: str, use: str) -> Model:
    """The set for this drug and animal; refused by name where none may stand for it."""
    asa = t.case.last(ev.AsaAssigned)
    days = age_days(t.case, t.now)
    said = conditions(t.case, t.facts, t.now)
    at = first_push(t, drug)
    wanted: Use = "induction" if use == "induction" else "infusion"
    model = choose(
        t.facts.kinetics,
        drug,
        t.species,
        age_months=None if days is None else float(days / MONTH_DAYS),
        weight_kg=t.kg,
        asa=None if asa is None else ASA[asa.asa],
        sighthound="sighthound" in said,
        conditions=said,
        background=background(t, drug),
        premedicated=premedication(t, drug, at) != "none",
        use=wanted,
    )
    _is_warm(t, model)
    return model


def holds(t: Told) -> None:
    """Refuses an animal whose circulation stopped, from then on: what is carried nowhere leaves by no clearance, and the return of
    a pulse does not bring the set's back."""
    began = min((a.happened_at for a in t.case.live(ev.ArrestBegan) if a.happened_at <= t.now), default=None)
    if began is not None:
        at = f"{began.astimezone(t.names.zone):%H:%M}"
        raise Unknown("circulation", f"The circulation stopped at {at}; no set holds.", "Only sums can be shown.")


def _is_warm(t: Told, model: Model) -> None:
    """Refuses an animal that was last measured under 35 degrees: the animals of the sets that bar the cold were warm."""
    last = t.current("temperature")
    if last is not None and last.value < COLD and COLD_SAYS in model.row.not_for:
        raise OutOfRange("temperature", f"It was measured at {last.text} °C; the animals of this set were warm.",
                         f"It is used from {COLD} °C on.")  # fmt: skip


def use_of(t: Told, drug: str) -> str:
    """As an infusion where a pump ran; else by what the push was for."""
    if any(s.drug == drug and s.holds is not None for s in streams(t.case, t.facts)):
        return "infusion"
    induced = any("induction" in purpose_of(g, t.orders) for g in t.given if drug_id(g.drug, t.facts) == drug)
    return "induction" if induced else "infusion"


def background(t: Told, drug: str, at: datetime | None = None) -> Background:
    """What keeps the animal under beside the drug itself, now or at a moment: the gas that was last open in this anaesthesia, for it
    does not leave with the dial; an intravenous drug where no gas was; else nothing."""
    at = at or t.now
    if t.woken_at is not None and t.woken_at <= at:
        return "awake"
    asleep = t.induced_at is not None and t.induced_at <= at
    dials = [d for d in t.case.live(ev.VaporiserSet) if d.happened_at <= at]
    before = [d for d in dials if t.induced_at is None or d.happened_at < t.induced_at]
    since = [d for d in dials if d not in before]
    opened = [d for d in (*before[-1:], *(since if asleep else ())) if d.percent > 0]
    if opened:
        return _GASES.get(drug_id(opened[-1].agent, t.facts), "another inhaled agent")
    return "intravenous" if asleep and not _alone(t, drug, at) else "awake"


def _alone(t: Told, drug: str, at: datetime) -> bool:
    """Whether the animal sleeps by this drug itself: an induction agent, and no other went in."""
    agents = {d for d, _ in went_in(t.case, t.facts, at) if t.facts.drugs.class_of(d) == "induction" and _was(t, d, at)}
    return agents == {drug}


def changed_background(t: Told, drug: str, since: datetime) -> str:
    """In words, where what keeps it under changed after a moment: one set is used for the whole curve. Empty where it did not."""
    moments = {
        since,
        *(d.happened_at for d in t.case.live(ev.VaporiserSet)),
        *(m for m in (t.induced_at, t.woken_at) if m),
    }
    found = [background(t, drug, m) for m in sorted(moments) if since <= m <= t.now]
    now = background(t, drug)
    other = dict.fromkeys(under(b) for b in found if b != now)
    return f"It was {', then '.join(other)} before; the whole curve is for an animal {under(now)}." if other else ""


def first_push(t: Told, drug: str) -> datetime:
    """When it first went in here, by hand or pump; what was given before the case is no beginning of this anaesthesia."""
    pushes = [g.happened_at for g in t.given if drug_id(g.drug, t.facts) == drug]
    ran = [s.infusion.started.happened_at for s in streams(t.case, t.facts) if s.drug == drug]
    return min((*pushes, *ran), default=t.now)


@dataclass(frozen=True, slots=True)
class _Went:
    drug: str
    at: datetime
    push: ev.DrugGiven | ev.GivenBefore


def premedication(t: Told, drug: str, at: datetime) -> Premedication | None:
    """What sedatives and opioids still worked at a moment, by the tables, in the words of the published groups; None where that
    cannot be told: some of it was reversed, or was given before and nobody knows how long it works."""
    pushes = [_Went(drug_id(g.drug, t.facts), g.happened_at, g) for g in t.given]
    ward = [_Went(drug_id(b.drug, t.facts), b.given_at, b) for b in t.case.live(ev.GivenBefore)]
    before = [w for w in (*pushes, *ward) if w.drug and w.drug != drug and w.at < at]

    def counts(name: str) -> bool:
        return _kind(t, name) != ""

    if any(counts(w.drug) and _doubtful(t, w, at) for w in before):
        return None
    if was_reversed(before, counts, t.facts) or unknown_how_long(before, counts, t.species, t.facts):
        return None
    had = {w.drug for w in before if still_works(w, t.species, t.facts, at)} | _ran(t, drug, at)
    return _GROUPS.get(frozenset(_kind(t, d) for d in had) - {""}, "mixed")


def _doubtful(t: Told, went: _Went, at: datetime) -> bool:
    """Whether it went in so long ago that it may have worn off, where no table says how long it works."""
    long = at - went.at > SURELY
    return long and lasts_minutes(went.drug, t.species, route_of(went.push.route, t.facts), t.facts) is None


def _kind(t: Told, drug: str) -> str:
    """As what a drug counts beforehand; empty for one that does not."""
    classes = t.facts.drugs.classes
    if drug in classes.get("alpha-2 agonist", ()):
        return "alpha-2"
    if any(drug in classes.get(name, ()) for name in _OPIOIDS):
        return "opioid"
    if drug == "acepromazine":
        return drug
    sedates = t.facts.drugs.class_of(drug) == "hypnotic" or drug in classes.get("any sedative", ())
    return "sedative" if sedates or drug in classes.get("induction drug", ()) else ""


def _ran(t: Told, drug: str, at: datetime) -> set[str]:
    """What runs from a pump at a moment, or ran not longer ago than the tables say it works."""
    found = set()
    for s in streams(t.case, t.facts):
        if s.drug == drug or s.infusion.started.happened_at >= at:
            continue
        lasts = lasts_minutes(s.drug, t.species, "IV", t.facts)
        stopped = s.infusion.stopped
        if stopped is None or lasts is None or Decimal((at - stopped.happened_at) / MINUTE) <= lasts:
            found.add(s.drug)
    return found


def _was(t: Told, drug: str, at: datetime) -> bool:
    """Whether any of it went in before the moment: what came later is no premedication."""
    pushes = any(drug_id(g.drug, t.facts) == drug and g.happened_at < at for g in t.given)
    before = any(drug_id(b.drug, t.facts) == drug and b.given_at < at for b in t.case.live(ev.GivenBefore))
    ran = any(s.drug == drug and s.infusion.started.happened_at < at for s in streams(t.case, t.facts))
    return pushes or before or ran
