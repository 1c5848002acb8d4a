"""What an order becomes: everything worked from it, each figure with its working; a refusal is part of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from spiracle.drugs.dilution import Dilution
from spiracle.drugs.order import Judgement, OrderedDose
from spiracle.drugs.rows import DoseRow
from spiracle.drugs.stock import Drug, Strength
from spiracle.drugs.syringe import Barrel, Measured
from spiracle.drugs.table import ClassName
from spiracle.quantity import Quantity
from spiracle.refusals import Refusal
from spiracle.source import Guardrail, Working, Zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """An order made ready. `error_percent` is delivered against ordered, never above 0 but for rounding of its own.

    `fills`: each syringe of the dose; one as a rule, and then it is `barrel`. `hub`: what the hub adds where that matters;
    `scale`: how a scale in units is read; `needs`: what has to lie ready beyond one syringe.
    """

    order: OrderedDose
    purpose: str
    route: str
    dose: Quantity
    drug: Drug | None = None
    row: DoseRow | None = None
    judgement: Judgement | None = None
    amount: Quantity | None = None
    strength: Strength | None = None
    concentration: Quantity | None = None
    dilution: Dilution | None = None
    volume: Quantity | None = None
    barrel: Barrel | None = None
    drawn: Quantity | None = None
    delivered: Quantity | None = None
    error_percent: Decimal | None = None
    rate: Quantity | None = None
    pushes: tuple[Quantity, ...] = ()
    fills: tuple[Measured, ...] = ()
    hub: str = ""
    scale: str = ""
    needs: tuple[str, ...] = ()
    workings: dict[str, Working] = field(default_factory=dict)
    estimated: bool = False
    refusal: Refusal | None = None

    @property
    def mark(self) -> Quantity | None:
        return self.fills[0].barrel.mark if self.fills else None

    @property
    def zone(self) -> Zone | None:
        return self.judgement.zone if self.judgement else None

    @property
    def guardrail(self) -> Guardrail | None:
        return self.judgement.guardrail if self.judgement else None

    @property
    def limits(self) -> tuple[str, ...]:
        return self.judgement.words if self.judgement else ()

    @property
    def working(self) -> Working:
        """The whole arithmetic in one line, with every input and source."""
        lines = list(self.workings.values())
        rail = self.guardrail
        return Working(
            says="; ".join(w.says for w in lines),
            inputs=tuple(dict.fromkeys(i for w in lines for i in w.inputs)),
            held=self.limits,
            limit=rail,
            sources=self.sources,
            memory=self.memory,
            estimated=self.estimated,
        )

    @property
    def sources(self) -> tuple[str, ...]:
        row = (*self.row.sources, *(s for stop in self.row.stops for s in stop.sources)) if self.row else ()
        strength = self.strength.sources if self.strength else ()
        return tuple(dict.fromkeys((*row, *strength, *(self.dilution.sources if self.dilution else ()))))

    @property
    def memory(self) -> bool:
        return bool(
            (self.row and self.row.memory)
            or (self.strength and self.strength.memory)
            or (self.dilution and self.dilution.memory)
        )

    @property
    def conditions(self) -> tuple[str, ...]:
        return self.row.conditions if self.row else ()

    @property
    def syringe_class(self) -> ClassName:
        return self.drug.syringe_class if self.drug else "other"

    @property
    def is_reversal(self) -> bool:
        return bool(self.drug and self.drug.is_reversal)

    @property
    def controlled(self) -> str:
        return self.drug.controlled if self.drug else ""

    @property
    def reversal(self) -> str:
        return self.drug.reversal if self.drug else ""

    @property
    def give_over_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.give_over_min if self.row else None

    @property
    def give_how(self) -> str:
        return self.row.give_how if self.row else ""

    @property
    def onset_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.onset_min if self.row else None

    @property
    def lasts_min(self) -> tuple[Decimal, Decimal] | None:
        return self.row.lasts_min if self.row else None

    @property
    def ask(self) -> tuple[str, ...]:
        return self.row.ask if self.row else ()
