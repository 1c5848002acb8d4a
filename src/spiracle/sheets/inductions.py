"""The hospital's own inductions: dose to the first proven tube by species, premedication and ASA class, with intervals.

It tells what was given here, beside what is published. It suggests nothing, and no animal's or hand's name is in it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, TypeAlias

from spiracle.audit import (
    FEWEST,
    NEXT,
    Induction,
    Key,
    Left,
    Summary,
    alike,
    band,
    by_asa,
    premedication_words,
    summarise,
)
from spiracle.case.fold import Case
from spiracle.case.standing import opened
from spiracle.quantity import Quantity, figure, round_significant
from spiracle.sheets.induction_of import asa_now, induction_of, key_now
from spiracle.sheets.names import capital, joined
from spiracle.sheets.shapes import Cited, Shape
from spiracle.sheets.worked_shape import cited

if TYPE_CHECKING:
    from datetime import datetime

    from spiracle.case.facts import Facts
    from spiracle.source.stated import Stated

DOSE, TIME = "mg/kg", "min"
FIGURES, HELD = 3, 5  # significant figures as printed, and as sent
ALL = "all"
NO_ORDER = "A population prediction, not a measurement; it gives no order."
SAYS = (
    "What was given here, from the first push to the first tube that was proven: a record of what was done, not a dose to give "
    "and no order.",
    "Animals are counted, never hands. Struck entries do not count.",
)

Read: TypeAlias = "Induction | Left | None"


# ---- shapes


class OwnFigure(Shape, frozen=True, kw_only=True):
    """A figure as printed, and as a number with its unit and how it came about."""

    text: str
    value: Decimal
    unit: str
    ucum: str
    working: str
    predicted: bool = False


class OwnRange(Shape, frozen=True, kw_only=True):
    low: OwnFigure
    high: OwnFigure
    says: str


class OwnPart(Shape, frozen=True, kw_only=True):
    """A group, or those of it of one ASA class or band. `few`: `doses` stand for themselves and nothing is made of them."""

    asa: str
    n: int
    few: bool
    says: str
    doses: tuple[OwnFigure, ...] = ()
    median: OwnFigure | None = None
    interval: OwnRange | None = None
    spread: OwnRange | None = None
    mean: OwnFigure | None = None
    mean_interval: OwnRange | None = None
    next_range: OwnRange | None = None
    next_logs: OwnRange | None = None
    minutes: OwnFigure | None = None
    minutes_interval: OwnRange | None = None
    pushes: OwnFigure | None = None
    pushes_range: OwnRange | None = None


class OwnPublished(Shape, frozen=True, kw_only=True):
    """What the tables hold for this agent and species."""

    says: str
    low: OwnFigure
    high: OwnFigure
    memory: bool
    cited: tuple[Cited, ...]


class OwnGroup(Shape, frozen=True, kw_only=True):
    species: str
    agent: str
    name: str
    premedication: str
    beside: str
    title: str
    n: int
    parts: tuple[OwnPart, ...]
    published: tuple[OwnPublished, ...]


class OwnLeft(Shape, frozen=True, kw_only=True):
    reason: str
    n: int


class OwnInductions(Shape, frozen=True, kw_only=True):
    """`practice`: these are practice cases, because the log holds no others. `fewest`: with fewer there is no interval."""

    first_day: str
    last_day: str
    asked_from: str
    asked_to: str
    counted: int
    left_out: int
    practice: bool
    fewest: int
    says: tuple[str, ...]
    groups: tuple[OwnGroup, ...]
    left: tuple[OwnLeft, ...]


# ---- gathering


@dataclass(frozen=True, slots=True)
class OneRead:
    """What one case gave; kept by whoever keeps cases, so that only a case that grew is read again."""

    practice: bool
    read: Read


@dataclass(frozen=True, slots=True)
class Here:
    """What was given here to animals like this one. `asa`: the band that was counted, or `all` where the band has too few."""

    summary: Summary
    asa: str

    @property
    def words(self) -> str:
        """
        >>> Here(summarise(map(Decimal, ("2", "3", "4", "4", "5", "6"))), "I-II").words
        'here: median 4 mg/kg (n 6, ASA I-II); what was given, no order'
        >>> Here(summarise([Decimal(2)]), "all").words
        'here: n 1, too few to say'
        """
        if self.summary.median is None:
            return f"here: n {self.summary.n}, too few to say"
        of = f"n {self.summary.n}" + ("" if self.asa == ALL else f", ASA {self.asa}")
        return f"here: median {figure(self.summary.median, FIGURES)} {DOSE} ({of}); what was given, no order"


@dataclass(frozen=True, slots=True)
class Own:
    """All inductions of one log."""

    found: tuple[Induction, ...]
    left: tuple[Left, ...]
    practice: bool = False

    def between(self, first: date | None, last: date | None) -> Own:
        """Those of these days, both ends counted."""

        def within(day: date) -> bool:
            return (first is None or day >= first) and (last is None or day <= last)

        return Own(
            tuple(i for i in self.found if within(i.day)), tuple(x for x in self.left if within(x.day)), self.practice
        )

    def here(self, key: Key, asa: str) -> Here:
        """What was given to animals like this one: of its ASA band where that has enough, else of all."""
        group = [i for i in self.found if i.key == key]
        own = [i for i in group if band(i.asa) == band(asa)]
        if len(own) >= FEWEST:
            return Here(summarise(i.mg_per_kg for i in own), band(asa))
        return Here(summarise(i.mg_per_kg for i in group), ALL)


def read_one(case: Case, facts: Facts) -> OneRead:
    first = opened(case)
    return OneRead(first is not None and first.practice, induction_of(case, facts))


def own_of(reads: Iterable[OneRead]) -> Own:
    """Practice cases are left out, unless the log holds nothing else: then it is a practice log, and says so."""
    held = [r for r in reads if r.read is not None]
    practice = bool(held) and all(r.practice for r in held)
    kept = [r.read for r in held if practice or not r.practice]
    shut = [Left("a practice case", r.read.day) for r in held if r.practice and not practice and r.read is not None]
    return Own(
        tuple(r for r in kept if isinstance(r, Induction)),
        (*(r for r in kept if isinstance(r, Left)), *shut),
        practice,
    )


def own_inductions(cases: Iterable[Case], facts: Facts) -> Own:
    """The inductions of these cases, all of one hospital's log."""
    return own_of(read_one(case, facts) for case in cases)


def here(own: Own, case: Case, facts: Facts, agent: str, now: datetime) -> Here | None:
    """What was given here to animals like the one of this case; None where its group cannot be told."""
    key = key_now(case, facts, agent, now)
    return None if key is None else own.here(key, asa_now(case))


# ---- the sheet


def inductions_sheet(
    own: Own, facts: Facts, first: date | None = None, last: date | None = None, stated: Sequence[Stated] = ()
) -> OwnInductions:
    """Those of the asked days, the largest group first. `stated`: facts of published doses to intubation, to stand beside."""
    held = own.between(first, last)
    days = sorted(i.day for i in held.found)
    left = Counter(x.reason for x in held.left)
    return OwnInductions(
        first_day=days[0].isoformat() if days else "",
        last_day=days[-1].isoformat() if days else "",
        asked_from=first.isoformat() if first else "",
        asked_to=last.isoformat() if last else "",
        counted=len(held.found),
        left_out=len(held.left),
        practice=own.practice,
        fewest=FEWEST,
        says=(*SAYS, *(("Practice cases: no real animal is in it.",) if own.practice else ())),
        groups=tuple(_group(key, group, facts, stated) for key, group in alike(held.found).items()),
        left=tuple(OwnLeft(reason=r, n=n) for r, n in sorted(left.items(), key=lambda x: (-x[1], x[0]))),
    )


def _group(key: Key, group: Sequence[Induction], facts: Facts, stated: Sequence[Stated]) -> OwnGroup:
    name = facts.drugs.name(key.agent)
    beside = joined((facts.drugs.name(d) for d in key.beside), " and ")
    before = premedication_words(key.premedication)
    after = f"after {before}" if key.premedication else "no premedication"
    parts = by_asa(group)
    shown = {asa: part for asa, part in parts.items() if len(part) >= FEWEST or asa == band(part[0].asa)}
    return OwnGroup(
        species=key.species,
        agent=key.agent,
        name=name,
        premedication=before,
        beside=beside,
        title=capital(joined((key.species, f"{name} with {beside}" if beside else name, after))),
        n=len(group),
        parts=(_part(ALL, group), *(_part(asa, part) for asa, part in shown.items())),
        published=(*_published(key, facts), *_stated(key, facts, stated)),
    )


def _part(asa: str, group: Sequence[Induction]) -> OwnPart:
    doses = summarise(i.mg_per_kg for i in group)
    if doses.few:
        each = tuple(_figure(v, DOSE, "as given") for v in doses.values)
        return OwnPart(asa=asa, n=doses.n, few=True, says=f"too few to say: under {FEWEST}", doses=each)
    minutes = summarise(i.minutes for i in group)
    pushes = summarise(Decimal(i.pushes) for i in group)
    return OwnPart(
        asa=asa,
        n=doses.n,
        few=False,
        says=_says(doses),
        median=_median(doses, DOSE),
        interval=_interval(doses, DOSE),
        spread=_spread(doses),
        mean=_mean(doses),
        mean_interval=_mean_interval(doses),
        next_range=_next_range(doses),
        next_logs=_next_logs(doses),
        minutes=_median(minutes, TIME),
        minutes_interval=_interval(minutes, TIME),
        pushes=_median(pushes, ""),
        pushes_range=_range(pushes.values[0], pushes.values[-1], "", "least and most pushes", "least and most"),
    )


def _says(s: Summary) -> str:
    assert s.median is not None and s.interval is not None  # noqa: S101 - it has enough
    i = s.interval
    return (f"median {_text(s.median)} {DOSE}, {_percent(i.holds)} interval {_text(i.low)} to {_text(i.high)}, "
            f"{s.n} animals")  # fmt: skip


def _median(s: Summary, unit: str) -> OwnFigure | None:
    if s.median is None:
        return None
    half = s.n // 2
    of = f"the {_place(half + 1)}" if s.n % 2 else f"halfway between the {_place(half)} and the {_place(half + 1)}"
    return _figure(s.median, unit, f"{of} of {s.n} in order")


def _interval(s: Summary, unit: str) -> OwnRange | None:
    i = s.interval
    if i is None:
        return None
    working = f"the {_place(i.rank)} and the {_place(s.n + 1 - i.rank)} of {s.n} in order (binomial, exact)"
    return _range(i.low, i.high, unit, working, f"{_percent(i.holds)} interval of the median")


def _spread(s: Summary) -> OwnRange | None:
    if s.spread is None:
        return None
    return _range(
        *s.spread,
        DOSE,
        f"at places (n + 1/3) p + 1/3 of {s.n} in order",
        "eight of ten animals, 10th to 90th percentile",
    )


def _mean(s: Summary) -> OwnFigure | None:
    m = s.mean
    return None if m is None else _figure(_decimal(m.middle), DOSE, f"exp of the mean of {s.n} logarithms")


def _mean_interval(s: Summary) -> OwnRange | None:
    m = s.mean
    if m is None:
        return None
    working = f"exp(mean ± t × sd / √n) of {s.n} logarithms"
    return _range(_decimal(m.low), _decimal(m.high), DOSE, working, "95 % interval of the geometric mean")


def _next_range(s: Summary) -> OwnRange | None:
    """Between the least and the greatest, with how often the next animal of the same kind would lie there."""
    chance = s.next_by_range
    if chance is None:
        return None
    says = f"the next one like these lies between the least and the greatest in {_percent(chance)}. {NO_ORDER}"
    working = f"least and greatest of {s.n}: (n - 1) / (n + 1)"
    return _range(s.values[0], s.values[-1], DOSE, working, says, predicted=True)


def _next_logs(s: Summary) -> OwnRange | None:
    logs = s.next_by_logs
    if logs is None:
        return None
    working = f"exp(mean ± t × sd × √(1 + 1/n)) of {s.n} logarithms"
    often = f"{figure(Decimal(str(NEXT)) * 100)} %"
    says = f"the next one like these lies here in {often}, if doses are spread log-normally. {NO_ORDER}"
    return _range(_decimal(logs.low), _decimal(logs.high), DOSE, working, says, predicted=True)


def _published(key: Key, facts: Facts) -> tuple[OwnPublished, ...]:
    """Rows for induction of this agent and species, in mg/kg; those that are never picked are not there."""
    rows = facts.drugs.rows(key.agent, key.species, "induction")
    return tuple(
        OwnPublished(
            says=joined((row.facts.purpose, joined(row.routes, " or "))),
            low=_figure(row.low.value, DOSE, "as published"),
            high=_figure(row.high.value, DOSE, "as published"),
            memory=row.facts.memory or bool({"low", "high", "purpose split"} & set(row.memory_fields)),
            cited=cited(row.sources, facts.sources),
        )
        for row in rows
        if str(row.unit) == DOSE
    )


def _stated(key: Key, facts: Facts, stated: Sequence[Stated]) -> tuple[OwnPublished, ...]:
    """Facts of this agent's induction dose that have a figure in mg/kg for this species; an open end is no figure."""
    found = [(row, span) for row in stated for span in row.spans
             if row.topic == f"induction dose of {key.agent}" and row.unit == DOSE and span.species == key.species]  # fmt: skip
    return tuple(
        OwnPublished(
            says=row.says,
            low=_figure(span.low, DOSE, "as published"),
            high=_figure(span.high, DOSE, "as published"),
            memory=row.from_memory,
            cited=cited(row.source, facts.sources),
        )
        for row, span in found
        if span.low is not None and span.high is not None
    )


# ---- figures


def _figure(value: Decimal, unit: str, working: str, *, predicted: bool = False) -> OwnFigure:
    from spiracle.quantity.units import NUMBER

    quantity = Quantity.of(round_significant(value, HELD), unit or NUMBER)
    return OwnFigure(text=_text(value), value=quantity.value, unit=unit, ucum=quantity.unit.ucum, working=working,
                     predicted=predicted)  # fmt: skip


def _range(low: Decimal, high: Decimal, unit: str, working: str, says: str, *, predicted: bool = False) -> OwnRange:
    return OwnRange(low=_figure(low, unit, working, predicted=predicted),
                    high=_figure(high, unit, working, predicted=predicted), says=says)  # fmt: skip


def _text(value: Decimal) -> str:
    return figure(value, FIGURES)


def _decimal(value: float) -> Decimal:
    return Decimal(repr(value))


def _percent(part: Fraction) -> str:
    """Rounded down, so that an interval is never said to hold more than it does.

    >>> _percent(Fraction(31, 32)), _percent(Fraction(9, 10))
    ('96.8 %', '90 %')
    """
    tenths = part * 1000 // 1
    return f"{figure(Decimal(int(tenths)) / 10)} %"


def _place(n: int) -> str:
    """
    >>> [_place(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 112)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '112th']
    """
    ending = "th" if n % 100 in {11, 12, 13} else {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{ending}"
