"""The emergency sheet of one weight: doses as millilitres of a printed strength, shocks as joules, breaths as millilitres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from spiracle.emergency.pumps import Pump, pump_of
from spiracle.emergency.rows import Barrel, ItemRow, ShockRow, Step, Table
from spiracle.quantity import Quantity, down_to, figure, nearest, read, unit
from spiracle.refusals import NotMeasurable, OutOfRange, Refusal
from spiracle.source import Input, Mark, Worked, Working

_ML = unit("mL")
_TENFOLD = (Decimal(10), Decimal(100), Decimal(1000))
_ENOUGH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class Dilution:
    """A recipe in whole millilitres: one part of the vial, the rest diluent. From common practice."""

    says: str
    concentration: str
    volume: Worked[Quantity]
    diluent: str
    drug_ml: Decimal
    diluent_ml: Decimal
    fold: int = 10
    memory: bool = True


@dataclass(frozen=True, slots=True)
class Item:
    """One drug on the sheet. `volume` is what to push: of the vial, or of the dilution where one is written.

    `vial` is the strength it was worked from; `confirmed` says that this strength, or another, was told to be on the shelf.

    Only one of the two is ever shown: where a dilution is written, name, strength and volume are the dilution's.
    """

    id: str
    row: str
    drug: str
    name: str
    syringe_class: str
    what_for: str
    when: str
    route: str
    strength: str
    dose: Quantity
    dose_text: str
    amount: Worked[Quantity]
    volume_exact: Quantity | None
    volume: Worked[Quantity] | None
    barrel: str
    mark_ml: Decimal | None
    dilution: Dilution | None
    note: str
    memory: bool
    once: bool
    every_min: tuple[int, int] | None
    minutes: str
    group: Literal["arrest", "reversal", "other"]
    on_board: bool
    estimated: bool
    source: tuple[str, ...]
    refusal: Refusal | None = None
    vial: str = ""
    confirmed: bool = True

    @property
    def delivered(self) -> Quantity:
        """What the volume to push really holds, after rounding down to its mark; the dose itself where there is no volume.

        This is what is written when the drug is given, so that amount and volume agree.
        """
        if self.volume is None:
            return self.amount.value
        pushed = self.volume.value
        if self.amount.value.unit.dimension == pushed.unit.dimension:
            return pushed.to(self.amount.value.unit)
        return (pushed * read(self.strength, "strength", "concentration")).to(self.amount.value.unit)


@dataclass(frozen=True, slots=True)
class Shock:
    """Energies of one mode in joules, to the nearest whole one (a tenth under 10 J): then the nearest step of the device."""

    id: str
    row: str
    mode: str
    first: Worked[Quantity]
    then: Worked[Quantity]
    ceiling: Worked[Quantity] | None
    note: str
    memory: bool


@dataclass(frozen=True, slots=True)
class EmergencyPlan:
    species: str
    weight: Quantity
    estimated: bool
    items: tuple[Item, ...]
    shocks: tuple[Shock, ...]
    breath: Worked[Quantity]
    rate_low: int
    rate_high: int
    beat_per_min: int
    cycle_s: int
    breaths_per_min: int
    breath_every_s: int
    etco2_aim: Worked[Quantity]
    steps: tuple[Step, ...]
    cautions: tuple[Step, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    pumps: tuple[Pump, ...] = ()

    def group(self, name: str) -> tuple[Item, ...]:
        return tuple(i for i in self.items if i.group == name)

    @property
    def reversals(self) -> tuple[Item, ...]:
        """What undoes drugs, those this animal had in front."""
        return tuple(sorted(self.group("reversal"), key=lambda i: not i.on_board))


def dose_amount(row: ItemRow, kg: Decimal) -> Quantity:
    """Dose x weight, never above the cap per animal; exact."""
    amount = Quantity(row.dose, unit(row.unit)) * Quantity(kg, unit("kg"))
    if row.cap is not None:
        ceiling = Quantity(row.cap, unit(row.cap_unit))
        return amount if amount <= ceiling else ceiling
    return amount


def volume_of(amount: Quantity, strength: Quantity) -> Quantity:
    """Amount over strength [mL], exact.

    >>> str(volume_of(Quantity.of("0.04", "mg"), Quantity.of(1, "mg/mL")))
    '0.04 mL'
    """
    return Quantity((amount / strength).number("mL"), _ML)


def barrel_for(volume_ml: Decimal, barrels: Sequence[Barrel]) -> Barrel | None:
    """The smallest barrel that holds it; None above the largest: then it runs from a bag."""
    holding = [b for b in barrels if b.holds >= volume_ml]
    return min(holding, key=lambda b: b.holds) if holding else None


def _marked(volume: Quantity, barrels: Sequence[Barrel]) -> tuple[Decimal, Barrel | None]:
    """Down to a mark of the barrel: what is pushed never exceeds the dose."""
    barrel = barrel_for(volume.value, barrels)
    return down_to(volume.value, barrel.mark if barrel else Decimal(1)), barrel


def strengths_of(row: ItemRow, stocked: Sequence[str]) -> tuple[str, ...]:
    """The strengths to print: the sheet's own where it is stocked or nothing is known, else each that stands on the shelf.

    A dose in mL/kg holds for the sheet's own strength only.
    """
    if not stocked or not row.strength or unit(row.unit).dimension == unit("mL/kg").dimension:
        return (row.strength,)
    own = read(row.strength, row.name, "concentration")
    return (row.strength,) if any(_same(own, s) for s in stocked) else tuple(dict.fromkeys(stocked))


def _same(own: Quantity, text: str) -> bool:
    try:
        other = read(text, "strength", "concentration")
    except Refusal:
        return False
    return other.unit.dimension == own.unit.dimension and own.equals(other)


def dilute(
    amount: Quantity, strength: Quantity, diluent: str, barrels: Sequence[Barrel], least_fold: Decimal = Decimal(1)
) -> Dilution | None:
    """The strongest of 1 in 10, 100, 1000 that gives at least 0.1 mL, not stronger than `least_fold`; None if none does."""
    for fold in _TENFOLD:
        if fold < least_fold:
            continue
        weaker = Quantity(strength.value / fold, strength.unit)
        volume = volume_of(amount, weaker)
        if volume.value < _ENOUGH:
            continue
        marked, _ = _marked(volume, barrels)
        drug_ml = Decimal(1) if fold == 10 else Decimal("0.1")
        diluent_ml = drug_ml * (fold - 1)
        text = f"{figure(drug_ml)} mL of {strength} made up to {figure(drug_ml * fold)} mL with {diluent}: {weaker}"
        working = Working(
            f"{amount} / {weaker}, down to a mark", (Input("made up", text),), memory=True, sources=("v_hazards",)
        )
        return Dilution(
            text, str(weaker), Worked(Quantity(marked, _ML), working), diluent, drug_ml, diluent_ml, int(fold)
        )
    return None


@dataclass(frozen=True, slots=True)
class _Poured:
    """What the arithmetic of one item comes to."""

    exact: Quantity | None = None
    volume: Worked[Quantity] | None = None
    barrel: Barrel | None = None
    dilution: Dilution | None = None
    refusal: Refusal | None = None


def _pour(
    row: ItemRow, amount: Quantity, strength: str, table: Table, inputs: tuple[Input, ...], fold: Decimal | None = None
) -> _Poured:
    """`fold`: the dilution in which another line of this sheet holds the same vial; this line is then poured from it too."""
    barrels = table.barrels.rows
    by_volume = amount.unit.dimension == _ML.dimension
    if by_volume:
        exact = amount.to("mL")
        says = f"{figure(row.dose)} {row.unit} x weight, down to a mark"
    else:
        try:
            strong = read(strength, f"{row.name}, strength", "concentration")
            exact = volume_of(amount, strong)
        except Refusal as fault:  # a strength on the shelf that cannot be read: the line stands, its volume does not
            return _Poured(refusal=fault)
        says = f"{amount} / {strong}, down to a mark"
        if fold is not None or exact.value < table.timing.least_ml_without_dilution:
            thin = dilute(amount, strong, row.diluent, barrels, fold or Decimal(1))
            if thin is None:
                return _Poured(
                    exact, refusal=NotMeasurable(row.name, f"{exact} cannot be drawn.", "Dilute on an order.")
                )
            return _Poured(exact, thin.volume, barrel_for(thin.volume.value.value, barrels), thin)
    marked, barrel = _marked(exact, barrels)
    working = Working(
        says, inputs, held=(f"exactly {figure(exact.value, 4)} mL",), sources=row.source, memory=row.memory
    )
    return _Poured(exact, Worked(Quantity(marked, _ML), working), barrel)


Folds = Mapping[tuple[str, str], Decimal]


def folds_of(rows: Sequence[ItemRow], kg: Decimal, strengths: Mapping[str, Sequence[str]], table: Table) -> Folds:
    """The one dilution of each vial on this sheet: the weakest that any of its lines needs. Two would be taken for each other."""
    found: dict[tuple[str, str], Decimal] = {}
    several = Counter(row.drug for row in rows)
    for row in rows:
        if several[row.drug] == 1:
            continue  # nothing on this sheet to agree with
        for strength in strengths_of(row, strengths.get(row.drug, ())):
            thin = _pour(row, dose_amount(row, kg), strength, table, ()).dilution
            if thin is not None:
                key = (row.drug, strength)
                found[key] = max(found.get(key, Decimal(0)), Decimal(thin.fold))
    return found


def _items(
    row: ItemRow, kg: Decimal, estimated: bool, on_board: bool, stocked: Sequence[str], table: Table, folds: Folds
) -> Iterator[Item]:
    """One line for each strength on the shelf: several are never chosen between, each volume stands beside its own vial."""
    for n, strength in enumerate(strengths_of(row, stocked)):
        item_id = f"{row.id}-{n + 1}" if n else row.id
        made = _item(row, kg, estimated, on_board, strength, table, item_id, folds.get((row.drug, strength)))
        yield replace(made, vial=strength, confirmed=bool(stocked))


def _item(
    row: ItemRow,
    kg: Decimal,
    estimated: bool,
    on_board: bool,
    strength: str,
    table: Table,
    item_id: str,
    fold: Decimal | None,
) -> Item:
    amount = dose_amount(row, kg)
    dose = Quantity(row.dose, unit(row.unit))
    inputs = (
        Input("weight", f"{figure(kg)} kg", Mark.TYPED, "estimated" if estimated else ""),
        Input("dose", str(dose)),
    )
    capped = f", not above {figure(row.cap)} {row.cap_unit} per animal" if row.cap is not None else ""
    working = Working(f"{dose} x {figure(kg)} kg{capped}", inputs, held=(row.note,) if row.note else (),
                      sources=row.source, memory=row.memory, estimated=estimated)  # fmt: skip
    poured = _pour(row, amount, strength, table, inputs, fold)
    volume = poured.volume and Worked(poured.volume.value, replace(poured.volume.working, estimated=estimated))
    return Item(
        id=item_id,
        row=row.row,
        drug=row.drug,
        name=f"{row.name}, diluted 1 in {poured.dilution.fold}" if poured.dilution else row.name,
        syringe_class=row.syringe_class,
        what_for=row.what_for,
        when=row.when,
        route=row.route,
        strength=poured.dilution.concentration if poured.dilution else strength,
        dose=dose,
        dose_text=str(dose),
        amount=Worked(amount, working),
        volume_exact=poured.exact,
        volume=volume,
        barrel=poured.barrel.name if poured.barrel else "",
        mark_ml=poured.barrel.mark if poured.barrel else None,
        dilution=poured.dilution,
        note=row.note,
        memory=row.memory,
        once=row.once,
        every_min=row.every_min,
        minutes=row.minutes,
        group=row.group,
        on_board=on_board,
        estimated=estimated,
        source=row.source,
        refusal=poured.refusal,
    )


def shock_joules(joules_per_kg: Decimal, kg: Decimal) -> Decimal:
    """Energy of a shock = J/kg x weight [J], exact."""
    return joules_per_kg * kg


def _shock(row: ShockRow, kg: Decimal, estimated: bool) -> Shock:
    def energy(per_kg: Decimal) -> Worked[Quantity]:
        exact = shock_joules(per_kg, kg)
        whole = nearest(exact, Decimal(1) if exact >= 10 else Decimal("0.1"))
        working = Working(f"{figure(per_kg)} J/kg x {figure(kg)} kg, then the nearest step of the device",
                          (Input("weight", f"{figure(kg)} kg", Mark.TYPED),), held=(row.note,), sources=row.source,
                          memory=row.memory, estimated=estimated)  # fmt: skip
        return Worked(Quantity(whole, unit("J")), working)

    return Shock(row.id, row.row, row.mode, energy(row.first), energy(row.then),
                 energy(row.ceiling) if row.ceiling is not None else None, row.note, True)  # fmt: skip


def emergency_plan(
    table: Table,
    species: str,
    kg: Decimal,
    estimated: bool,
    on_board: Collection[str],
    strengths: Mapping[str, Sequence[str]],
) -> EmergencyPlan:
    """The whole sheet. Pure; reversals of what the animal had stand first among the reversals."""
    if not kg.is_finite() or not Decimal("0.1") <= kg <= 150:
        raise OutOfRange("weight", f"{kg} kg is no weight for this sheet.", "Give 0.1 to 150 kg.")
    t = table.timing
    had = frozenset(on_board)
    rows = sorted(
        (r for r in table.item if species in r.species and (not r.only_if_had or had & set(r.reverses))),
        key=lambda r: r.order,
    )
    folds = folds_of(rows, kg, strengths, table)
    items = [
        item
        for r in rows
        for item in _items(
            r, kg, estimated, any(d in on_board for d in r.reverses), strengths.get(r.drug, ()), table, folds
        )
    ]
    # What undoes a drug that this animal had stands before everything else.
    items.sort(key=lambda i: -1 if i.group == "reversal" and i.on_board else _GROUP_ORDER[i.group])
    begun = sorted((p for p in table.pump if species in p.species), key=lambda p: p.order)
    breath = Working(f"{figure(t.breath_ml_per_kg)} mL/kg x {figure(kg)} kg", (Input("weight", f"{figure(kg)} kg", Mark.TYPED),),
                     held=(f"{t.breaths_per_min} a minute, {figure(t.breath_s)} s each",), sources=t.source,
                     estimated=estimated)  # fmt: skip
    aim = Working(f"{figure(t.etco2_aim)} mmHg or more; {figure(t.etco2_aim_2012)} in 2012", sources=t.source)
    steps = tuple(s for s in table.step if s.species in {species, "any"})
    cautions = tuple(c for c in table.caution if c.species in {species, "any"})
    shocks = tuple(_shock(s, kg, estimated) for s in table.shock if s.species == species)
    cited = dict.fromkeys(s for row in (*rows, *begun, t, *steps, *cautions) for s in row.source)
    return EmergencyPlan(
        species=species,
        weight=Quantity(kg, unit("kg")),
        estimated=estimated,
        items=tuple(items),
        shocks=shocks,
        breath=Worked(Quantity(nearest(t.breath_ml_per_kg * kg, Decimal(1)), _ML), breath),
        rate_low=t.rate_low,
        rate_high=t.rate_high,
        beat_per_min=t.beat_per_min,
        cycle_s=t.cycle_s,
        breaths_per_min=t.breaths_per_min,
        breath_every_s=60 // t.breaths_per_min,
        etco2_aim=Worked(Quantity(t.etco2_aim, unit("mmHg")), aim),
        steps=steps,
        cautions=cautions,
        notes=(t.note,),
        sources=tuple(cited),
        pumps=tuple(pump_of(p, kg, estimated) for p in begun),
    )


_GROUP_ORDER = {"arrest": 0, "reversal": 1, "other": 2}
