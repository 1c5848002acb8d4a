"""What a case has told so far, indexed once: every sheet of one view reads from the same `Told`.

Nothing here decides or words anything. Readings keep all their lines, struck and artefact ones too; `current` is the
only way to a value that may be acted on, and it leaves those out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from spiracle.breathing import LISTS, lists
from spiracle.case import standing
from spiracle.case.events import (
    CaseOpened,
    DrugGiven,
    DrugOrdered,
    PatientDescribed,
    PressureTaken,
    ReadingTaken,
    RecoveryLooked,
    TimeMarked,
    TubePlaced,
)
from spiracle.case.facts import Facts
from spiracle.case.fold import Case, Line
from spiracle.case.hospital import Hospital
from spiracle.case.syringes import Infusion, Syringe, infusions, syringes
from spiracle.refusals import Missing, Refusal
from spiracle.sheets.names import Names, capital
from spiracle.sheets.readings import READINGS
from spiracle.sheets.shapes import MarkName
from spiracle.sheets.words_before import order_words


@dataclass(frozen=True, slots=True)
class Seen:
    """One value of one reading, in the reading's own unit where it can be turned into it."""

    reading: str
    value: Decimal
    text: str
    at: datetime
    recorded_at: datetime
    by: str
    event_id: str
    device: bool
    row_at: datetime | None
    struck: bool
    artefact: bool
    good: bool
    monitor: str = ""
    extra: str = ""

    @property
    def current(self) -> bool:
        """May stand for now and be acted on: neither struck, nor an artefact, nor of doubtful signal."""
        return self.good and not self.struck and not self.artefact

    @property
    def mark(self) -> MarkName:
        return "measured" if self.device else "typed"


@dataclass(frozen=True, slots=True)
class Told:
    case: Case
    facts: Facts
    now: datetime
    names: Names
    opened: CaseOpened
    name: str
    breed: str
    sex: str
    age: str
    weight: standing.WeightInUse | None
    conditions: frozenset[str]
    age_days: Decimal | None
    orders: Mapping[str, DrugOrdered]
    syringes: tuple[Syringe, ...]
    infusions: tuple[Infusion, ...]
    given: tuple[DrugGiven, ...]
    induced_at: datetime | None
    extubated_at: datetime | None
    ended_at: datetime | None
    marks: Mapping[str, tuple[TimeMarked, ...]]
    seen: Mapping[str, tuple[Seen, ...]] = field(default_factory=dict)

    @property
    def species(self) -> str:
        return self.opened.species

    @property
    def hospital(self) -> Hospital:
        return self.facts.hospital

    @property
    def kg(self) -> Decimal | None:
        """The weight doses are worked on."""
        return standing.dosing_weight_kg(self.case)

    @property
    def estimated(self) -> bool:
        return self.weight is not None and self.weight.estimated

    @property
    def induction_given(self) -> tuple[DrugGiven, ...]:
        return tuple(g for g in self.given if "induction" in purpose_of(g, self.orders))

    @property
    def asleep(self) -> bool:
        """From induction until the tube is out or the case has ended."""
        return self.induced_at is not None and self.extubated_at is None and self.ended_at is None

    @property
    def woken_at(self) -> datetime | None:
        """When the time asleep stopped counting: the tube out, or the case ended without one."""
        return self.extubated_at or self.ended_at

    def current(self, reading: str) -> Seen | None:
        """The latest value that may be acted on."""
        return next((s for s in reversed(self.seen.get(reading, ())) if s.current), None)

    def before(self, reading: str, at: datetime) -> Seen | None:
        return next((s for s in reversed(self.seen.get(reading, ())) if s.current and s.at < at), None)

    def mark(self, mark: str) -> datetime | None:
        """When a moment was last marked."""
        found = self.marks.get(mark)
        return found[-1].happened_at if found else None


def told(case: Case, facts: Facts, now: datetime) -> Told:
    """One index of a case. A case that nobody opened (or whose opening was struck) is refused."""
    opened = standing.opened(case)
    if opened is None:
        raise Missing("case", "Nobody has opened this case.", "Open it with a species.")
    said = _described(case)
    breed = said.get("breed", "")
    weight = standing.weight_in_use(case)
    age_days = _age_days(said.get("age", ""))
    standing_orders = standing.orders(case)
    return Told(
        case=case,
        facts=facts,
        now=now,
        names=_names(case, facts),
        opened=opened,
        name=said.get("name") or opened.name,
        breed=breed,
        sex=said.get("sex", ""),
        age=said.get("age", ""),
        weight=weight,
        conditions=_conditions(case, facts, opened.species, breed, age_days, weight),
        age_days=age_days,
        orders={o.order: o for o in standing_orders},
        syringes=syringes(case, now),
        infusions=infusions(case),
        given=case.live(DrugGiven),
        induced_at=standing.induced_at(case),
        extubated_at=_extubated_at(case),
        ended_at=standing.ended_at(case),
        marks=_marks(case),
        seen=_seen(case),
    )


def _extubated_at(case: Case) -> datetime | None:
    """When the tube came out for good: one that was put back in recovery lies there again."""
    out, placed = standing.extubated_at(case), case.last(TubePlaced)
    return None if out is not None and placed is not None and placed.happened_at > out else out


def purpose_of(given: DrugGiven, orders: Mapping[str, DrugOrdered]) -> str:
    """What a dose was for: as entered, else as its order says."""
    if given.purpose:
        return given.purpose
    order = orders.get(given.order)
    return order.purpose if order else ""


def _described(case: Case) -> dict[str, str]:
    """Signalment as last told; an empty field leaves what was said before."""
    said: dict[str, str] = {}
    for event in case.live(PatientDescribed):
        for name in ("name", "breed", "sex", "age"):
            if getattr(event, name):
                said[name] = getattr(event, name)
    return said


def _age_days(text: str) -> Decimal | None:
    from spiracle.quantity import read_age_days

    if not text:
        return None
    try:
        return read_age_days(text)
    except Refusal:
        return None


def _conditions(
    case: Case, facts: Facts, species: str, breed: str, age_days: Decimal | None, weight: standing.WeightInUse | None
) -> frozenset[str]:
    """What is named of this patient, and what follows from its breed, age, weight, condition score and ASA."""
    from spiracle.case.events import BodyConditionScored, HistoryTaken

    listed = {id_ for id_, _ in facts.patient.hospital_conditions()}
    named = {c for history in case.live(HistoryTaken) for c in history.conditions} & listed
    score = case.last(BodyConditionScored)
    try:
        return facts.patient.conditions_of(
            species,
            named=tuple(sorted(named)),
            breed=breed,
            age_days=age_days,
            kg=weight.kg if weight else None,
            body_condition=score.score if score else None,
        )
    except Refusal:
        return frozenset(named)


def _names(case: Case, facts: Facts) -> Names:
    from spiracle.case.events import InfusionStarted

    people = facts.hospital.people
    base = Names(
        drugs=drug_names(facts),
        hands={p.id: p.initials for p in people},
        people={p.id: p.name for p in people},
        conditions=dict(facts.patient.hospital_conditions()),
        lines=line_names(facts),
        zone=facts.zone,
    )
    orders = {o.order: order_words(o, base) for o in _all(case, DrugOrdered)}
    orders |= {i.infusion: base.drug(i.drug) for i in _all(case, InfusionStarted)}
    return replace(base, orders=orders)


def drug_names(facts: Facts) -> dict[str, str]:
    """Every drug's printed name by its id, first letter large."""
    return {d.id: capital(d.name) for d in facts.drugs.drugs}


def line_names(facts: Facts) -> dict[str, str]:
    """Every line of every list that is read aloud, and of the card before the tube comes out, by its id."""
    read_aloud = {row.id: row.says for name in LISTS for row in lists(facts.breathing, name)}
    card = (*facts.recovery.table.extubation, *facts.recovery.table.leave, *facts.recovery.table.sign_out)
    return {row.id: row.says for row in card} | read_aloud


def _all(case: Case, kind: type) -> Iterable:  # type: ignore[type-arg]
    return (line.event for line in case.every(kind))


def _marks(case: Case) -> dict[str, tuple[TimeMarked, ...]]:
    marks: dict[str, list[TimeMarked]] = defaultdict(list)
    for event in case.live(TimeMarked):
        marks[event.mark].append(event)
    return {k: tuple(v) for k, v in marks.items()}


def _seen(case: Case) -> dict[str, tuple[Seen, ...]]:
    """Every value by reading, in the order of happening; a pressure is three readings of one moment."""
    found: dict[str, list[Seen]] = defaultdict(list)
    for line in case.every(ReadingTaken):
        found[line.event.reading].append(_reading(line))  # type: ignore[attr-defined]
    for line in case.every(PressureTaken):
        for name in ("sap", "map", "dap"):
            value = getattr(line.event, name)
            if value is not None:
                found[name].append(_pressure(line, name, value))
    for line in case.every(RecoveryLooked):
        for seen in _look(line):
            found[seen.reading].append(seen)
    return {k: tuple(sorted(v, key=lambda s: (s.at, s.recorded_at, s.event_id))) for k, v in found.items()}


def _base(line: Line, reading: str, value: Decimal, unit: str, *, device: bool, quality: str = "") -> Seen:
    shape = READINGS[reading]
    e = line.event
    turned = shape.number(value, unit)
    return Seen(
        reading=reading,
        value=value if turned is None else turned,
        text=shape.text(value, unit),
        at=e.happened_at,
        recorded_at=e.recorded_at,
        by=e.by,
        event_id=e.id,
        device=device,
        row_at=getattr(e, "row_at", None),
        struck=line.struck is not None,
        artefact=line.artefact is not None or quality == "invalid",
        # a value in a unit that measures something else is shown, never compared with a limit
        good=quality in {"good", ""} and turned is not None,
        monitor=getattr(e, "monitor", ""),
        extra=getattr(e, "site", ""),
    )


def _reading(line: Line) -> Seen:
    e = line.event
    assert isinstance(e, ReadingTaken)  # noqa: S101 - every(ReadingTaken) holds nothing else
    return _base(line, e.reading, e.value, e.unit, device=e.source == "device", quality=e.quality)


def _pressure(line: Line, name: str, value: Decimal) -> Seen:
    e = line.event
    assert isinstance(e, PressureTaken)  # noqa: S101
    return _base(line, name, value, "mmHg", device=e.source == "device", quality=e.quality)


def _look(line: Line) -> Iterable[Seen]:
    e = line.event
    assert isinstance(e, RecoveryLooked)  # noqa: S101
    for name, value in (("heart_rate", e.heart_rate), ("respiratory_rate", e.respiratory_rate), ("spo2", e.spo2),
                        ("temperature", e.temperature_c)):  # fmt: skip
        if value is not None:
            yield _base(line, name, Decimal(value), READINGS[name].unit, device=False)
