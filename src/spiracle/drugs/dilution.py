"""A recipe where a volume is too small to measure: every part of it is itself on a mark of a real syringe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from spiracle.drugs.stock import Diluent, Drug
from spiracle.drugs.syringe import Barrel, Fineness, Measured, exact, measure, percent, usable
from spiracle.quantity import Quantity, down_to, figure
from spiracle.source import Input, Mark, Working

_FOLDS = tuple(Decimal(f) for f in (2, 5, 10, 20, 50, 100))
_TOTALS = tuple(Decimal(t) for t in ("1", "2", "5", "10", "20", "50"))
_FIRST_STEPS = (Decimal(10), Decimal(100))
_SHARED = 2  # doses that make a recipe worth sharing
_TENFOLD = Decimal(10)  # the recipe that is said and checked most easily


@dataclass(frozen=True, slots=True)
class Dilution:
    """`drug_volume` of the vial (or of the first step) with `diluent_volume` makes `total` of `concentration`."""

    concentration: Quantity
    factor: Decimal
    drug_volume: Quantity
    diluent_volume: Quantity
    diluent: str
    total: Quantity
    drug_barrel: Barrel
    diluent_barrel: Barrel
    label: str
    memory: bool
    sources: tuple[str, ...]
    working: Working
    steps: tuple[str, ...]
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, order=True)
class Wish:
    """One part in `factor` making `total` mL: the recipe several drugs of one animal share."""

    factor: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class _Mix:
    factor: Decimal
    drug: Decimal
    diluent: Decimal
    drug_barrel: Barrel
    diluent_barrel: Barrel

    @property
    def total(self) -> Decimal:
        return self.drug + self.diluent


@dataclass(frozen=True, slots=True)
class Small:
    """A dose too small to measure: `volume` of a vial of this strength."""

    volume: Quantity
    conc: Quantity
    drug: Drug


@dataclass(frozen=True, slots=True)
class _Bench:
    """The syringes a recipe is made with: one kind for the drug's strength, any for the diluent, one kind for what it makes."""

    barrels: tuple[Barrel, ...]
    fineness: Fineness

    def mix(self, factor: Decimal, total: Decimal, conc: Quantity) -> _Mix | None:
        return _mix(factor, total, usable(self.barrels, conc), usable(self.barrels, None), self.fineness)

    def dose(self, ml: Decimal, factor: Decimal, conc: Quantity) -> Measured | None:
        return measure(Quantity.of(ml * factor, "mL"), usable(self.barrels, conc / factor), self.fineness)


@lru_cache(maxsize=4096)
def _mix(
    factor: Decimal, total: Decimal, drug_barrels: tuple[Barrel, ...], barrels: tuple[Barrel, ...], fineness: Fineness
) -> _Mix | None:
    """One part in `factor` making `total` mL, if drug and diluent are both on marks."""
    drug = Quantity.of(total / factor, "mL")
    diluent = Quantity.of(total - total / factor, "mL")
    of_drug, of_diluent = exact(drug, drug_barrels, fineness), exact(diluent, barrels, fineness)
    if of_drug is None or of_diluent is None:
        return None
    return _Mix(factor, drug.value, diluent.value, of_drug, of_diluent)


def _folds(conc: Quantity, made_up: Iterable[Quantity]) -> Iterator[Decimal]:
    """Factors to try: strengths that are made up by custom first, then the round ones, weakest dilution first."""
    for want in made_up:
        if want.unit.dimension == conc.unit.dimension:
            factor = conc.number(want.unit) / want.value
            if factor > 1 and factor == factor.to_integral_value():
                yield factor
    yield from _FOLDS


def _fitting(volume: Decimal, factor: Decimal, conc: Quantity, bench: _Bench) -> tuple[_Mix, Measured] | None:
    """The smallest mix by this factor that holds the dose, with the dose as it is then measured."""
    dose = bench.dose(volume, factor, conc)
    if dose is None:
        return None
    for total in _TOTALS:
        if total < volume * factor:
            continue
        found = bench.mix(factor, total, conc)
        if found is not None:
            return found, dose
    return None


def _wished(ml: Decimal, conc: Quantity, wish: Wish, bench: _Bench) -> tuple[_Mix, Measured] | None:
    """The shared recipe, where this dose fits into it and is measured within the limit."""
    if ml * wish.factor > wish.total:
        return None
    mix, dose = bench.mix(wish.factor, wish.total, conc), bench.dose(ml, wish.factor, conc)
    if mix is None or dose is None or not bench.fineness.within(dose.error_percent):
        return None
    return mix, dose


def dilute(
    volume: Quantity, conc: Quantity, drug: Drug, barrels: tuple[Barrel, ...], fineness: Fineness, wish: Wish | None = None
) -> tuple[Dilution, Measured] | None:  # fmt: skip
    """A recipe for a dose of `volume` of the vial that cannot be measured, and the dose as then measured.

    `wish` is taken where it can be. None: the drug may not be diluted, or no recipe of one or two steps can be measured.
    """
    if not drug.diluents:
        return None
    ml, bench = volume.number("mL"), _Bench(barrels, fineness)
    best = None if wish is None else _wished(ml, conc, wish, bench)
    best = best or _best(ml, conc, drug, bench)
    if best is not None:
        mix, dose = best
        return _recipe(mix, conc, drug, ()), dose
    for first in _FIRST_STEPS:
        step = next((m for t in _TOTALS if (m := bench.mix(first, t, conc)) is not None), None)
        then = _best(ml * first, conc / first, drug, bench)
        if step is not None and then is not None and then[0].drug <= step.total:
            return _recipe(then[0], conc / first, drug, (step,)), then[1]
    return None


def _best(ml: Decimal, conc: Quantity, drug: Drug, bench: _Bench) -> tuple[_Mix, Measured] | None:
    found: list[tuple[_Mix, Measured]] = []
    for factor in dict.fromkeys(_folds(conc, drug.made_up)):
        pair = _fitting(ml, factor, conc, bench)
        if pair is None:
            continue
        if -pair[1].error_percent <= bench.fineness.error_limit:
            return pair
        found.append(pair)
    able = [p for p in found if bench.fineness.within(p[1].error_percent)]
    return max(able, key=lambda p: p[1].error_percent, default=None)


def alike(smalls: Sequence[Small], barrels: tuple[Barrel, ...], fineness: Fineness) -> tuple[Wish | None, ...]:
    """One recipe for as many small doses as can share it, then one for those left over; a dose alone keeps its own.

    The recipe that serves most doses is taken, then the one that measures most of them finely, then the smaller total, then one
    part in ten, then the lesser dilution: the same doses get the same recipes in whatever order they stand.
    """
    bench = _Bench(barrels, fineness)
    able = [_able(s, bench) if s.drug.diluents else {} for s in smalls]
    found: list[Wish | None] = [None] * len(smalls)
    while True:
        left = [n for n, wish in enumerate(found) if wish is None]
        served = Counter(w for n in left for w in able[n])
        fine = Counter(w for n in left for w, error in able[n].items() if -error <= fineness.error_limit)
        best = min(served, key=lambda w: (-served[w], -fine[w], w.total, w.factor != _TENFOLD, w.factor), default=None)
        if best is None or served[best] < _SHARED:
            return tuple(found)
        for n in left:
            found[n] = best if best in able[n] else None


def _able(small: Small, bench: _Bench) -> dict[Wish, Decimal]:
    """Every recipe of one step that this dose can be measured from, with its error."""
    ml = small.volume.number("mL")
    found: dict[Wish, Decimal] = {}
    for factor in dict.fromkeys(_folds(small.conc, small.drug.made_up)):
        if ml * factor > _TOTALS[-1]:
            continue
        dose = bench.dose(ml, factor, small.conc)
        if dose is None or not bench.fineness.within(dose.error_percent):
            continue
        for total in _TOTALS:
            if ml * factor <= total and bench.mix(factor, total, small.conc) is not None:
                found[Wish(factor, total)] = dose.error_percent
    return found


def _sentence(mix: _Mix, conc: Quantity, drug: Drug, of: str) -> str:
    weak = conc / mix.factor
    drawn = mix.drug_barrel.on_scale(Quantity.of(mix.drug, "mL"))
    diluent = mix.diluent_barrel.on_scale(Quantity.of(mix.diluent, "mL"))
    return f"{drawn} of {of} ({conc}) with {diluent} of {drug.diluents[0].name} makes {figure(mix.total)} mL of {weak}"


def _needs(mix: _Mix, drug: Drug, of: str) -> tuple[str, ...]:
    drawn = mix.drug_barrel.on_scale(Quantity.of(mix.drug, "mL"))
    diluent = mix.diluent_barrel.on_scale(Quantity.of(mix.diluent, "mL"))
    return (
        f"{mix.drug_barrel.name} for {drawn} of {of}, not rinsed into the mix",
        f"{mix.diluent_barrel.name} for {diluent} of {drug.diluents[0].name}",
    )


def _recipe(mix: _Mix, conc: Quantity, drug: Drug, before: tuple[_Mix, ...]) -> Dilution:
    weak = conc / mix.factor
    diluent: Diluent = drug.diluents[0]
    of = "the first step" if before else "the vial"
    last = _sentence(mix, conc, drug, of)
    says = f"{conc} ÷ {figure(mix.factor)} = {weak}; {last}"
    working = Working(
        says=says,
        inputs=(
            Input("strength", str(conc)),
            Input("one part in", figure(mix.factor), Mark.WORKED),
            Input("diluent", diluent.name, Mark.TABLE, "from memory" if diluent.memory else ""),
        ),
        sources=diluent.sources,
        memory=diluent.memory,
    )
    first = tuple(_sentence(m, conc * m.factor, drug, "the vial") for m in before)
    ready = tuple(n for m in before for n in _needs(m, drug, "the vial"))
    return Dilution(
        concentration=weak,
        factor=mix.factor,
        drug_volume=Quantity.of(mix.drug, "mL"),
        diluent_volume=Quantity.of(mix.diluent, "mL"),
        diluent=diluent.name,
        total=Quantity.of(mix.total, "mL"),
        drug_barrel=mix.drug_barrel,
        diluent_barrel=mix.diluent_barrel,
        label=f"{drug.name} {weak}, diluted in {diluent.name}",
        memory=diluent.memory,
        sources=diluent.sources,
        working=working,
        steps=(*first, last),
        needs=(*ready, *_needs(mix, drug, of)),
    )


def dilute_for_rate(
    rate: Quantity, conc: Quantity, drug: Drug, barrels: tuple[Barrel, ...], fineness: Fineness
) -> Dilution | None:
    """A recipe that brings an infusion's rate up to what a pump delivers evenly and within the error limit, in the largest mix."""
    if not drug.diluents or rate.value <= 0:
        return None
    slow, bench = rate.number("mL/h"), _Bench(barrels, fineness)
    for factor in dict.fromkeys(_folds(conc, drug.made_up)):
        if not _runs(slow * factor, fineness):
            continue
        for total in reversed(_TOTALS):
            found = bench.mix(factor, total, conc)
            if found is not None:
                return _recipe(found, conc, drug, ())
    for first in _FIRST_STEPS:
        step = next((m for t in reversed(_TOTALS) if (m := bench.mix(first, t, conc)) is not None), None)
        weak = conc / first
        if step is None:
            continue
        for factor in _FOLDS:
            mix = bench.mix(factor, _TOTALS[-1], weak)
            if mix and _runs(slow * first * factor, fineness) and mix.drug <= step.total:
                return _recipe(mix, weak, drug, (step,))
    return None


def _runs(ml_h: Decimal, fineness: Fineness) -> bool:
    """Whether a pump runs this rate evenly, and its step takes no more away than the limit."""
    if ml_h < fineness.least_rate.value:
        return False
    return fineness.within(percent(down_to(ml_h, fineness.pump_step.value), ml_h))
