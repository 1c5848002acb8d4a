"""A recipe where a volume is too small to measure: every part of it is itself on a mark of a real syringe."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from spiracle.drugs.stock import Diluent, Drug
from spiracle.drugs.syringe import Barrel, Fineness, Measured, exact, measure
from spiracle.quantity import Quantity, figure
from spiracle.source import Input, Mark, Working

_FOLDS = tuple(Decimal(f) for f in (2, 5, 10, 20, 50, 100))
_TOTALS = tuple(Decimal(t) for t in ("1", "2", "5", "10", "20", "50"))
_FIRST_STEPS = (Decimal(10), Decimal(100))


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


@lru_cache(maxsize=4096)
def _mix(factor: Decimal, total: Decimal, barrels: tuple[Barrel, ...], fineness: Fineness) -> _Mix | None:
    """One part in `factor` making `total` mL, if drug and diluent are both on marks."""
    drug = Quantity.of(total / factor, "mL")
    diluent = Quantity.of(total - total / factor, "mL")
    of_drug, of_diluent = exact(drug, barrels, fineness), exact(diluent, barrels, fineness)
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


def _fitting(
    volume: Decimal, factor: Decimal, barrels: tuple[Barrel, ...], fineness: Fineness
) -> tuple[_Mix, Measured] | None:
    """The smallest mix by this factor that holds the dose, with the dose as it is then measured."""
    dose = measure(Quantity.of(volume * factor, "mL"), barrels, fineness)
    if dose is None:
        return None
    for total in _TOTALS:
        if total < volume * factor:
            continue
        found = _mix(factor, total, barrels, fineness)
        if found is not None:
            return found, dose
    return None


def dilute(
    volume: Quantity, conc: Quantity, drug: Drug, barrels: tuple[Barrel, ...], fineness: Fineness
) -> tuple[Dilution, Measured] | None:
    """A recipe for a dose of `volume` of the vial that cannot be measured, and the dose as then measured.

    None: the drug may not be diluted, or no recipe of one or two steps can be measured.
    """
    if not drug.diluents:
        return None
    ml = volume.number("mL")
    best = _best(ml, conc, drug, barrels, fineness)
    if best is not None:
        mix, dose = best
        return _recipe(mix, conc, drug, ()), dose
    for first in _FIRST_STEPS:
        step = next((m for t in _TOTALS if (m := _mix(first, t, barrels, fineness)) is not None), None)
        then = _best(ml * first, conc / first, drug, barrels, fineness)
        if step is not None and then is not None and then[0].drug <= step.total:
            return _recipe(then[0], conc / first, drug, (_sentence(step, conc, drug, "the vial"),)), then[1]
    return None


def _best(
    ml: Decimal, conc: Quantity, drug: Drug, barrels: tuple[Barrel, ...], fineness: Fineness
) -> tuple[_Mix, Measured] | None:
    found: list[tuple[_Mix, Measured]] = []
    for factor in dict.fromkeys(_folds(conc, drug.made_up)):
        pair = _fitting(ml, factor, barrels, fineness)
        if pair is None:
            continue
        if -pair[1].error_percent <= fineness.error_limit:
            return pair
        found.append(pair)
    able = [p for p in found if -p[1].error_percent <= fineness.largest_error]
    return max(able, key=lambda p: p[1].error_percent, default=None)


def _sentence(mix: _Mix, conc: Quantity, drug: Drug, of: str) -> str:
    weak = conc / mix.factor
    return (
        f"{figure(mix.drug)} mL of {of} ({conc}) with {figure(mix.diluent)} mL of {drug.diluents[0].name} "
        f"makes {figure(mix.total)} mL of {weak}"
    )


def _recipe(mix: _Mix, conc: Quantity, drug: Drug, before: tuple[str, ...]) -> Dilution:
    weak = conc / mix.factor
    diluent: Diluent = drug.diluents[0]
    last = _sentence(mix, conc, drug, "the first step" if before else "the vial")
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
        steps=(*before, last),
    )


def dilute_for_rate(
    rate: Quantity, conc: Quantity, drug: Drug, barrels: tuple[Barrel, ...], fineness: Fineness
) -> Dilution | None:
    """A recipe that brings an infusion's rate up to what a pump delivers evenly, in the largest mix on the list."""
    if not drug.diluents or rate.value <= 0:
        return None
    slow = rate.number("mL/h")
    for factor in dict.fromkeys(_folds(conc, drug.made_up)):
        if slow * factor < fineness.least_rate.value:
            continue
        for total in reversed(_TOTALS):
            found = _mix(factor, total, barrels, fineness)
            if found is not None:
                return _recipe(found, conc, drug, ())
    for first in _FIRST_STEPS:
        step = next((m for t in reversed(_TOTALS) if (m := _mix(first, t, barrels, fineness)) is not None), None)
        weak = conc / first
        if step is None:
            continue
        for factor in _FOLDS:
            mix = _mix(factor, _TOTALS[-1], barrels, fineness)
            if mix and slow * first * factor >= fineness.least_rate.value and mix.drug <= step.total:
                return _recipe(mix, weak, drug, (_sentence(step, conc, drug, "the vial"),))
    return None
