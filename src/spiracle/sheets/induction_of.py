"""One case read as one induction: what went in from the first push of the agent to the first tube that was proven.

Read from the log as it stands, so a struck push, weight or proof is not in it. What cannot be read leaves the case out with its
reason; nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise

from spiracle.airway import proof_lacking
from spiracle.audit import KINDS, Induction, Key, Kind, Left, Reason
from spiracle.case import events as ev
from spiracle.case.deliveries import BY_VEIN
from spiracle.case.facts import Facts
from spiracle.case.fold import Case
from spiracle.case.premedicated import lasts_minutes, still_works, unknown_how_long, was_reversed
from spiracle.case.pushes import amount_given, drug_id, is_plain_amount, purpose_of, route_of
from spiracle.case.standing import given, is_emergency, species
from spiracle.case.streams import streams
from spiracle.case.tube import lying
from spiracle.refusals import Refusal

__all__ = ["asa_now", "induction_of", "key_now", "lasts_minutes"]

INDUCE, BESIDE = "induction", "co-induction"
APART = timedelta(minutes=30)  # pushes further apart are two inductions, not one given to effect: our own choice


@dataclass(frozen=True, slots=True)
class Went:
    """A push or a dose of before, with its drug and purpose as the tables call them."""

    drug: str
    purpose: str
    at: datetime
    push: ev.DrugGiven | ev.GivenBefore

    @property
    def here(self) -> bool:
        """In this case, and not before it on the ward or elsewhere."""
        return isinstance(self.push, ev.DrugGiven)


@dataclass(frozen=True, slots=True)
class Seen:
    """What of one case an induction is read from. `went` is all that went in by the tube, or by the end where none was proven."""

    case: Case
    facts: Facts
    species: str
    tube_at: datetime | None
    went: tuple[Went, ...]
    agent: str

    @property
    def pushes(self) -> tuple[Went, ...]:
        """Those of the agent, to induce."""
        return tuple(w for w in self.went if w.drug == self.agent and w.purpose == INDUCE and w.here)

    @property
    def first_at(self) -> datetime:
        """When the first of them went in."""
        return self.pushes[0].at

    @property
    def began_at(self) -> datetime:
        """The first push of any drug to induce: what went in before it is premedication."""
        return min(w.at for w in self.went if w.purpose in {INDUCE, BESIDE} and w.here)

    @property
    def before(self) -> tuple[Went, ...]:
        return tuple(w for w in self.went if w.at < self.began_at and w.purpose not in {INDUCE, BESIDE})


def induction_of(case: Case, facts: Facts) -> Induction | Left | None:
    """The induction of a case, or why it is not counted; None where nobody was induced and no tube went in."""
    seen = _seen(case, facts)
    if seen is None:
        return None
    reason = next((why for why, holds in REASONS if holds(seen)), None)
    if reason is not None:
        return Left(reason, _day(seen))
    weight = _weight(case, seen.first_at)
    assert weight is not None and seen.tube_at is not None  # noqa: S101 - the reasons above
    total = sum((_mg(w) or Decimal(0) for w in seen.pushes), Decimal(0))
    return Induction(
        key=Key(seen.species, seen.agent, premedication(seen), _beside(seen)),
        asa=_asa(case, seen.tube_at),
        mg_per_kg=total / weight[0],
        minutes=Decimal(round((seen.tube_at - seen.first_at).total_seconds())) / 60,
        pushes=len(seen.pushes),
        day=_day(seen),
    )


def key_now(case: Case, facts: Facts, agent: str, now: datetime) -> Key | None:
    """The group that an animal about to be induced with this agent belongs to; None where its premedication cannot be told."""
    kind = species(case)
    if kind is None:
        return None
    went = tuple(w for w in _went(case, facts) if w.at <= now)
    coming = Went(agent, INDUCE, now, ev.DrugGiven(id="", case="", happened_at=now, recorded_at=now, by="", drug=agent,
                                                   amount=Decimal(0), unit="mg", route="IV"))  # fmt: skip
    pushed = any(w.drug == agent and w.purpose == INDUCE and w.here for w in went)
    seen = Seen(case, facts, kind, None, went if pushed else (*went, coming), agent)
    if _reversed(seen) or _unknown_how_long(seen):
        return None
    return Key(kind, agent, premedication(seen), _beside(seen))


def asa_now(case: Case) -> str:
    """The last class that was given."""
    last = case.last(ev.AsaAssigned)
    return "" if last is None else last.asa


# ---- reading


def _seen(case: Case, facts: Facts) -> Seen | None:
    kind = species(case)
    all_went = _went(case, facts)
    if kind is None or not (_any_tube(case) or any(w.purpose == INDUCE and w.here for w in all_went)):
        return None
    tube_at = _proven_tube(case, facts)
    went = tuple(w for w in all_went if tube_at is None or w.at <= tube_at)
    return Seen(case, facts, kind, tube_at, went, _agent(went, facts))


def _went(case: Case, facts: Facts) -> tuple[Went, ...]:
    here = [Went(drug_id(g.drug, facts), purpose_of(case, g, facts), g.happened_at, g) for g in given(case)]
    before = [Went(drug_id(b.drug, facts), "", b.given_at, b) for b in case.live(ev.GivenBefore)]
    return tuple(sorted((*here, *before), key=lambda w: (w.at, w.push.id)))


def _agent(went: tuple[Went, ...], facts: Facts) -> str:
    """The drug that was given to effect: of the induction agents among those given to induce, the one that was pushed last."""
    to_induce = [w for w in went if w.purpose == INDUCE and w.here]
    agents = [w for w in to_induce if facts.drugs.class_of(w.drug) == "induction"] or to_induce
    return agents[-1].drug if agents else ""


def _any_tube(case: Case) -> bool:
    return bool(case.live(ev.TubePlaced)) or any(e.outcome == "in" for e in case.live(ev.AttemptEnded))


def _proven_tube(case: Case, facts: Facts) -> datetime | None:
    """When the first tube that was proven went in; the proof is held to the card again, so that a struck sign takes it back."""
    for proven in case.live(ev.AirwayProven):
        lies = lying(case, proven.happened_at)
        if lies is None:
            continue
        noted = {p.sign: p for p in case.live(ev.ProofNoted) if lies.since <= p.happened_at <= proven.happened_at}
        signs: dict[str, int | None] = {sign: p.breaths for sign, p in noted.items() if p.seen}
        try:
            lacking = proof_lacking(facts.airway, signs, second_person=bool(proven.second_person))
        except Refusal:
            continue
        if not lacking:
            return lies.since
    return None


def _day(seen: Seen) -> date:
    at = seen.first_at if seen.pushes else seen.tube_at or seen.case.lines[0].event.happened_at
    return at.astimezone(seen.facts.zone).date()


def _weight(case: Case, at: datetime) -> tuple[Decimal, bool] | None:
    """The weight doses were worked on at a moment, and whether the animal's own was an estimate then."""
    weighed = [w for w in case.live(ev.Weighed) if w.happened_at <= at]
    if not weighed:
        return None
    own = [d for d in case.live(ev.DosingWeightSet) if weighed[-1].happened_at <= d.happened_at <= at]
    return (own[-1].weight_kg if own else weighed[-1].weight_kg), weighed[-1].method != "scale"


def _asa(case: Case, at: datetime) -> str:
    return next((a.asa for a in reversed(case.live(ev.AsaAssigned)) if a.happened_at <= at), "")


def _mg(went: Went) -> Decimal | None:
    """The amount in mg; None where it cannot be read as one."""
    amount = amount_given(went.push)
    if amount is None or not is_plain_amount(amount) or amount.value <= 0:
        return None
    try:
        return amount.number("mg")
    except Refusal:
        return None


# ---- what was given beforehand and beside


def kind_of(drug: str, facts: Facts) -> Kind | None:
    """As what a drug counts before induction; None for one that does not change how much is needed, as far as the tables tell."""
    classes = facts.drugs.classes
    if facts.drugs.is_reversal(drug):
        return None
    if facts.drugs.class_of(drug) == "opioid":
        return "opioid"
    if drug in classes["alpha-2 agonist"]:
        return "alpha-2 agonist"
    if drug == "acepromazine":
        return "acepromazine"
    if drug in classes["benzodiazepine"]:
        return "benzodiazepine"
    return "another sedative" if drug in classes["any sedative"] or drug in classes["induction drug"] else None


def premedication(seen: Seen) -> tuple[Kind, ...]:
    """The kinds that were given before and, by the tables, still worked at the first push."""
    found = {
        kind_of(w.drug, seen.facts) for w in seen.before if still_works(w, seen.species, seen.facts, seen.began_at)
    }
    return tuple(k for k in KINDS if k in found)


def _beside(seen: Seen) -> tuple[str, ...]:
    """Other drugs given to induce, and sedatives or opioids that went in between the first push and the tube."""
    others = (w.drug for w in seen.went if w.drug != seen.agent and w.here and (
        w.purpose in {INDUCE, BESIDE} or (w.at >= seen.began_at and kind_of(w.drug, seen.facts) is not None)))  # fmt: skip
    return tuple(sorted(set(others)))


# ---- why one is left out


def _emergency(seen: Seen) -> bool:
    """Opened as one, graded as one, an arrest before the tube, or a push that was called an emergency's."""
    until = seen.tube_at
    arrest = any(until is None or a.happened_at <= until for a in seen.case.live(ev.ArrestBegan))
    graded = seen.case.last(ev.AsaAssigned)
    pushed = any(w.push.emergency for w in seen.went if isinstance(w.push, ev.DrugGiven))
    return is_emergency(seen.case) or arrest or pushed or (graded is not None and graded.emergency)


def _other_purpose(seen: Seen) -> bool:
    """The agent, or where none was given to induce any induction agent, went in for something else or nobody said for what."""
    if seen.agent:
        return any(w.drug == seen.agent and w.purpose != INDUCE for w in seen.went)
    return any(seen.facts.drugs.class_of(w.drug) == "induction" for w in seen.went)


def _no_agent(seen: Seen) -> bool:
    return not seen.pushes and not any(w.purpose == INDUCE and w.here for w in seen.went)


def _to_induce(seen: Seen) -> tuple[Went, ...]:
    return tuple(w for w in seen.went if w.purpose in {INDUCE, BESIDE} and w.here)


def _not_by_vein(seen: Seen) -> bool:
    """Something to induce went in by another way, or by one that cannot be read: its dose is no dose of the vein."""
    return any(route_of(w.push.route, seen.facts) not in BY_VEIN for w in _to_induce(seen))


def _far_apart(seen: Seen) -> bool:
    moments = [w.at for w in _to_induce(seen)]
    return any(later - earlier > APART for earlier, later in pairwise(moments))


def _ran(seen: Seen) -> bool:
    drugs = seen.facts.drugs
    return any(
        drugs.class_of(s.drug) == "induction"
        and (seen.tube_at is None or s.infusion.started.happened_at <= seen.tube_at)
        for s in streams(seen.case, seen.facts)
    )


def _inhaled(seen: Seen) -> bool:
    """A vaporiser was on at the first push or turned on before the tube: what was breathed in spared some of the agent."""
    dials = [v for v in seen.case.live(ev.VaporiserSet) if seen.tube_at is None or v.happened_at < seen.tube_at]
    before = [v for v in dials if v.happened_at <= seen.began_at]
    return bool(before and before[-1].percent) or any(v.percent for v in dials if v.happened_at > seen.began_at)


def _unreadable(seen: Seen) -> bool:
    """An amount that is no amount of mg, or a name to induce with that the tables do not hold."""
    to_induce = [w for w in seen.went if w.purpose == INDUCE and w.here]
    return any(not w.drug for w in to_induce) or any(_mg(w) is None for w in seen.pushes)


def _counts(seen: Seen) -> Callable[[str], bool]:
    return lambda drug: kind_of(drug, seen.facts) is not None


def _reversed(seen: Seen) -> bool:
    """An agonist that counts, and its antagonist after it and before the first push."""
    return was_reversed(seen.before, _counts(seen), seen.facts)


def _unknown_how_long(seen: Seen) -> bool:
    return unknown_how_long(seen.before, _counts(seen), seen.species, seen.facts)


def _weight_at(seen: Seen) -> tuple[Decimal, bool] | None:
    return _weight(seen.case, seen.first_at)


REASONS: tuple[tuple[Reason, Callable[[Seen], bool]], ...] = (
    ("emergency", _emergency),
    ("no tube was placed", lambda s: not _any_tube(s.case)),
    ("the tube was never proven", lambda s: s.tube_at is None),
    ("the agent was given for another purpose too", _other_purpose),
    ("an anaesthetic also ran as an infusion before the tube", _ran),
    ("no induction agent before the tube", _no_agent),
    ("not given by the vein", _not_by_vein),
    ("more than 30 min between two pushes", _far_apart),
    ("an inhaled anaesthetic was on before the tube", _inhaled),
    ("an amount cannot be read", _unreadable),
    ("no weight at the first push", lambda s: _weight_at(s) is None),
    ("the weight was estimated", lambda s: (_weight_at(s) or (0, True))[1]),
    ("the premedication was reversed before induction", _reversed),
    ("given before the case, and the tables do not say how long it lasts", _unknown_how_long),
)
