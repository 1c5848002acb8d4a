"""The emergency tables, read once, and what is asked of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from spiracle.emergency.clock import ArrestClock, arrest_clock
from spiracle.emergency.rows import ResponseStep, Table, Trouble
from spiracle.emergency.sheet import EmergencyPlan, emergency_plan
from spiracle.quantity import Quantity, read, unit
from spiracle.refusals import BadTable, Unknown
from spiracle.source import Sources, need_sources, read_table
from spiracle.source.stated import Facts, read_stated


@dataclass(frozen=True, slots=True)
class FirstResponses:
    """What is done first in one kind of trouble, for this species and these conditions. `withheld` says what was left out."""

    id: str
    title: str
    threshold: str
    steps: tuple[ResponseStep, ...]
    withheld: tuple[tuple[ResponseStep, tuple[str, ...]], ...]
    source: tuple[str, ...]
    memory: bool
    note: str = ""


class EmergencyTables:
    """Arrest and first responses."""

    def __init__(self, table: Table, facts: Facts) -> None:
        self.table, self.facts = table, facts
        for row in table.rows():
            for fact in row.facts:
                facts[fact]
        for item in table.item:
            unit(item.unit)
            if item.strength:
                read(item.strength, f"item {item.id}, strength", "concentration")
        for pump in table.pump:
            vial = read(pump.vial, f"pump {pump.id}, vial", "concentration")
            for made in pump.made:
                comes_to = vial.value * made.drug_ml / (made.drug_ml + made.diluent_ml)
                holds = read(made.strength, f"pump {pump.id}, strength", "concentration")
                if not Quantity(comes_to, vial.unit).equals(holds):
                    raise BadTable(f"pump {pump.id}", f"{made.strength} is not what its recipe comes to.")
        for shock in table.shock:
            if not shock.first <= shock.then or (shock.ceiling is not None and shock.then > shock.ceiling):
                raise BadTable(f"shock {shock.id}", "runs backwards.")

    @classmethod
    def read(cls, files: Mapping[str, str], sources: Sources) -> EmergencyTables:
        if "emergency" not in files:
            raise BadTable("emergency", "is not among the tables.")
        table = read_table(files["emergency"], Table, "emergency")
        for row in table.rows():
            need_sources(getattr(row, "id", type(row).__name__), row.source)
            sources.of(row.source)
        return cls(table, read_stated(files, "-facts", sources))

    def plan(
        self,
        species: str,
        kg: Decimal,
        *,
        estimated: bool = False,
        on_board: Collection[str] = (),
        strengths: Mapping[str, Sequence[str]] | None = None,
    ) -> EmergencyPlan:
        """The sheet of one weight. `on_board`: drug ids the animal had. `strengths`: what stands on the shelf, as printed."""
        if species not in {"dog", "cat"}:
            raise Unknown("species", f"{species!r} has no emergency sheet.", 'Say "dog" or "cat".')
        return emergency_plan(self.table, species, kg, estimated, on_board, strengths or {})

    def due(
        self, began_at: datetime, now: datetime, given: Mapping[str, Sequence[datetime]], species: str = ""
    ) -> ArrestClock:
        """The arrest's clock; with a species only that animal's drugs are on it."""
        items = [
            i for i in self.table.item if i.group in {"arrest", "reversal"} and (not species or species in i.species)
        ]
        by_drug = {i.drug: i for i in sorted(items, key=lambda i: -i.order)}
        return arrest_clock(self.table.timing, tuple(by_drug.values()), began_at, now, given)

    def troubles(self, species: str = "") -> tuple[tuple[str, str], ...]:
        return tuple((t.id, t.title) for t in self.table.trouble if not species or t.species in {species, "any"})

    def first_responses(self, trouble: str, species: str, conditions: Collection[str] = ()) -> FirstResponses:
        """The steps in order. One whose `unless` holds is withheld, named with the condition, never silently dropped."""
        row = self._trouble(trouble)
        steps: list[ResponseStep] = []
        withheld: list[tuple[ResponseStep, tuple[str, ...]]] = []
        for step in row.step:
            if step.species not in {species, "any"} or (step.conditions and not set(step.conditions) & set(conditions)):
                continue
            against = tuple(c for c in step.unless if c in conditions)
            if against:
                withheld.append((step, against))
            else:
                steps.append(_filled(step, species))
        return FirstResponses(
            row.id, row.title, row.threshold, tuple(steps), tuple(withheld), row.source, row.memory, row.note
        )

    def _trouble(self, id_: str) -> Trouble:
        row = next((t for t in self.table.trouble if t.id == id_), None)
        if row is None:
            known = ", ".join(t.id for t in self.table.trouble)
            raise Unknown("trouble", f"{id_!r} has no list of first responses.", f"Lists: {known}.")
        return row

    def quick_weights(self, species: str) -> tuple[Decimal, ...]:
        """Weights to touch when there is no scale: always an estimate."""
        if species not in {"dog", "cat"}:
            raise Unknown("species", f"{species!r} has no weights to choose.", 'Say "dog" or "cat".')
        return self.table.weights.dog if species == "dog" else self.table.weights.cat


def _filled(step: ResponseStep, species: str) -> ResponseStep:
    rows = tuple(r.replace("{species}", species) for r in step.rows)
    return ResponseStep(says=step.says, rows=rows, conditions=step.conditions, unless=step.unless, species=step.species,
                        source=step.source, seen=step.seen, note=step.note, facts=step.facts)  # fmt: skip
