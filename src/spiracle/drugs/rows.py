"""A way to give a drug: the figures of one row as quantities, and the guardrail they make for one animal."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal

from spiracle.drugs.table import FIGURE_KINDS, Basis, Pick, RowFacts, Species, StopFacts
from spiracle.quantity import Quantity, Unit, unit
from spiracle.refusals import BadTable, UnlikeUnits
from spiracle.source import Guardrail

OURS = "spiracle"
# Fields whose figures stand on the screen beside a dose: from memory, they mark the whole line.
_SHOWN = frozenset({"low", "high", "max", "purpose split", "weight_kg", "give_over_min", "route", "species cat"})
_KG = unit("kg")
_ANIMAL = unit("animal")


@dataclass(frozen=True, slots=True)
class Stop:
    """Where a dose stops, and on whose word. `ask`: past it the veterinarian is asked."""

    at: Quantity
    basis: Basis
    sources: tuple[str, ...]
    memory: bool = False
    ask: bool = False
    why: str = ""
    origin: str = OURS

    @property
    def words(self) -> str:
        what = {"single": "", "cumulative": " in all", "rate": ""}[self.basis]
        told = f"{'ask above' if self.ask else 'hard stop'} {self.at}{what}"
        return told + (f" ({self.why})" if self.why else "") + (" [from memory]" if self.memory else "")


@dataclass(frozen=True, slots=True)
class DoseRow:
    """One row of the dose tables; see `RowFacts` for what each field means."""

    id: str
    drug: str
    species: Species
    purposes: tuple[str, ...]
    purpose: str
    routes: tuple[str, ...]
    low: Quantity
    high: Quantity
    usual_low: Quantity
    usual_high: Quantity
    stops: tuple[Stop, ...]
    pick: Pick
    pick_why: str
    sources: tuple[str, ...]
    facts: RowFacts
    origin: str = OURS
    kind: str = "dose"
    infusion: bool = field(default=False)
    printed: str = ""  # the drug's name as this hospital reads it; the formulary fills it in

    @property
    def name(self) -> str:
        return self.printed or self.drug.replace("_", " ")

    @property
    def unit(self) -> Unit:
        return self.low.unit

    @property
    def default(self) -> bool:
        return self.pick == "default"

    @property
    def emergency(self) -> bool:
        return self.facts.emergency

    @property
    def conditions(self) -> tuple[str, ...]:
        return self.facts.conditions

    @property
    def give_over_min(self) -> tuple[Decimal, Decimal] | None:
        return self.facts.give_over_min

    @property
    def give_how(self) -> str:
        return self.facts.give_how

    @property
    def onset_min(self) -> tuple[Decimal, Decimal] | None:
        return self.facts.onset_min

    @property
    def lasts_min(self) -> tuple[Decimal, Decimal] | None:
        return self.facts.lasts_min

    @property
    def repeat_min(self) -> tuple[Decimal, Decimal] | None:
        return self.facts.repeat_min

    @property
    def strength(self) -> str:
        return self.facts.strength

    @property
    def ask(self) -> tuple[str, ...]:
        return self.facts.ask

    @property
    def flag(self) -> str:
        return self.facts.flag

    @property
    def memory_fields(self) -> tuple[str, ...]:
        return self.facts.memory_fields

    @property
    def critical(self) -> bool:
        return self.facts.critical

    @property
    def note(self) -> str:
        return self.facts.note

    @property
    def memory(self) -> bool:
        """Whether any figure that is shown rests on memory: the row, its usual band, its low or high, or a stop."""
        figures = _SHOWN & set(self.facts.memory_fields)
        return (
            self.facts.memory or self.facts.usual_memory or bool(figures) or any(s.memory for s in self.stops)
        ) and self.origin == OURS

    @property
    def usual_text(self) -> str:
        low, high = self.usual_low, self.usual_high
        band = str(low) if low.equals(high) else f"{str(low).split()[0]} to {high}"
        return f"{band}, {self.facts.usual_words}" if self.facts.usual_words else band

    @property
    def weight_band(self) -> tuple[Decimal, Decimal | None] | None:
        band = self.facts.weight_kg
        return (band[0], band[1] if len(band) > 1 else None) if band else None

    def fits(self, kg: Decimal) -> bool:
        """Whether an animal of this weight lies in the row's band; the lower bound belongs to the band below it."""
        band = self.weight_band
        return band is None or (band[0] < kg <= (band[1] if band[1] is not None else kg))

    def guardrail(self, kg: Decimal) -> Guardrail:
        """Usual band and lowest hard stop in the row's own unit, caps per animal turned into this animal's.

        >>> # 1 mg per animal in a 50 kg dog is 0.02 mg/kg: the cap, not 0.03 mg/kg, ends the usual band
        """
        high = self.usual_high
        cap = self.facts.usual_cap
        if cap is not None:
            high = _least(high, in_unit(Quantity.of(cap.at, cap.unit), self.unit, kg))
        stop = self.lowest(kg)
        hard = in_unit(stop.at, self.unit, kg) if stop else None
        low = self.usual_low
        if hard is not None:
            high, low = _least(high, hard), _least(low, hard)
        return Guardrail(
            name=self.id,
            usual_low=_least(low, high),
            usual_high=high,
            hard_high=hard,
            sources=tuple(dict.fromkeys((*self.sources, *(stop.sources if stop else ())))),
            memory=self.memory,
            hard_memory=bool(stop and stop.memory),
        )

    def lowest(self, kg: Decimal) -> Stop | None:
        """The stop that binds first at this weight."""
        able = [s for s in self.stops if comparable(s.at.unit, self.unit)]
        return min(able, key=lambda s: in_unit(s.at, self.unit, kg).value, default=None)


def _least(a: Quantity, b: Quantity) -> Quantity:
    return b if b < a else a


def amount_of(dose: Quantity, kg: Decimal) -> Quantity:
    """A dose per kg, per animal or in all as an amount for this animal (per time stays per time).

    >>> str(amount_of(Quantity.of("0.2", "mg/kg"), Decimal("8.4")))
    '1.68 mg'
    """
    parts = dict(dose.unit.parts)
    if parts.get("kg") == -1:
        return dose * Quantity(kg, _KG)
    if parts.get("lb") == -1:
        return dose * Quantity(kg, _KG).to("lb")
    if parts.get("animal") == -1:
        return dose * Quantity(Decimal(1), _ANIMAL)
    return dose


def in_unit(dose: Quantity, target: Unit, kg: Decimal) -> Quantity:
    """The same dose for this animal in another way of writing it: per kg, per animal or in all.

    >>> str(in_unit(Quantity.of(1, "mg/animal"), unit("mg/kg"), Decimal(50)))
    '0.02 mg/kg'
    """
    if dose.unit.dimension == target.dimension:
        return dose.to(target)
    amount = amount_of(dose, kg)
    parts = dict(target.parts)
    if parts.get("kg") == -1:
        amount = amount / Quantity(kg, _KG)
    elif parts.get("lb") == -1:
        amount = amount / Quantity(kg, _KG).to("lb")
    elif parts.get("animal") == -1:
        amount = amount / Quantity(Decimal(1), _ANIMAL)
    return amount.to(target)


def comparable(one: Unit, other: Unit) -> bool:
    """Whether two dose units measure the same thing once the animal is known."""
    return _bare(one) == _bare(other)


def _bare(u: Unit) -> frozenset[object]:
    return Unit(tuple((s, e) for s, e in u.parts if s not in {"kg", "lb", "animal"})).dimension


def stop_of(facts: StopFacts, origin: str = OURS) -> Stop:
    if not facts.sources:
        raise BadTable("hard stop", f"{facts.at} {facts.unit} has no source.")
    return Stop(
        at=Quantity.of(facts.at, facts.unit),
        basis=facts.basis,
        sources=facts.sources,
        memory=facts.memory,
        ask=facts.ask,
        why=facts.why,
        origin=origin,
    )


def dose_row(facts: RowFacts, origin: str = OURS) -> DoseRow:
    """A dose row with its quantities; one whose figures contradict each other does not load."""
    low, high = Quantity.of(facts.low, facts.unit), Quantity.of(facts.high, facts.unit)
    if low > high:
        raise BadTable(f"row {facts.id}", f"{low} to {high} runs backwards.")
    usual = facts.usual or (facts.low, facts.high)
    made = DoseRow(
        id=facts.id,
        drug=facts.drug,
        species=facts.species,
        purposes=facts.purposes,
        purpose=facts.purpose,
        routes=facts.routes,
        low=low,
        high=high,
        usual_low=Quantity.of(usual[0], facts.unit),
        usual_high=Quantity.of(usual[1], facts.unit),
        stops=tuple(stop_of(s) for s in facts.stops),
        pick=facts.pick,
        pick_why=facts.pick_why,
        sources=facts.sources,
        facts=facts,
        origin=origin,
        infusion=any(s in {"h", "min", "day"} for s, _ in low.unit.parts),
    )
    if made.usual_low > made.usual_high:
        raise BadTable(f"row {facts.id}", f"usual {made.usual_low} to {made.usual_high} runs backwards.")
    _hold(made)
    return made


def _hold(row: DoseRow) -> None:
    """The usual band of a row that can be picked lies inside every stop written in the row's own unit."""
    if row.pick == "never":
        return
    for stop in row.stops:
        if stop.at.unit.dimension == row.unit.dimension and row.usual_high > stop.at:
            raise BadTable(f"row {row.id}", f"usual top {row.usual_high} is over {stop.words}.")


def with_limit(row: DoseRow, low: Decimal, high: Decimal, hard: Decimal | None, why: str, origin: str) -> DoseRow:
    """The row with a hospital's own band; our stops stay, and theirs may only be lower."""
    stops = row.stops
    if hard is not None:
        own = Stop(
            at=Quantity(hard, row.unit), basis="rate" if row.infusion else "single", sources=(origin,), why=why,
            origin=origin,
        )  # fmt: skip
        looser = [s for s in stops if s.at.unit.dimension == own.at.unit.dimension and own.at > s.at]
        if looser:
            raise BadTable(
                f"own limit of {row.id}", f"{own.at} is over our {looser[0].words}.", "An own limit may be stricter."
            )
        stops = (*stops, own)
    made = replace(
        row, usual_low=Quantity(low, row.unit), usual_high=Quantity(high, row.unit), stops=stops, origin=origin
    )
    if made.usual_low > made.usual_high:
        raise BadTable(f"own limit of {row.id}", "usual low is over usual high.")
    _hold(made)
    return made


def figure_kinds() -> tuple[str, ...]:
    return FIGURE_KINDS


def same_measure(dose: Quantity, row: DoseRow) -> None:
    """Refuse an order whose unit is of another kind than the row's (mg for IU, a rate for a bolus)."""
    if comparable(dose.unit, row.unit):
        return
    raise UnlikeUnits(
        "dose", f"{dose} does not fit: this way of giving {row.name} is written in {row.unit}.",
        f"Write it like {row.usual_low}.",
    )  # fmt: skip
