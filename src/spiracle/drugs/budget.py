"""Ceilings that several injections share: fractions of each drug's own stop, added over a window of time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from spiracle.drugs.order import DosingWeight
from spiracle.drugs.rows import amount_of
from spiracle.drugs.table import BudgetFacts
from spiracle.quantity import Quantity, figure
from spiracle.refusals import Missing, Unknown
from spiracle.source import Input, Mark, Working

if TYPE_CHECKING:
    from spiracle.drugs.formulary import Formulary

LOCAL = "local anaesthetic"
_STOP = Decimal(100)
State = Literal["room", "warn", "ask", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalDose:
    """A dose given or planned. `amount` is a total (mg, mL). A planned `infusion` is shown beside the sum, never in it; one that
    is `running` counts by what is estimated to be in the body, with `told` saying how that came about. A `rescue` stands beside
    every sum that stops."""

    drug: str
    amount: Quantity
    at: datetime | None = None
    planned: bool = False
    infusion: bool = False
    route: str = ""
    strength: str = ""
    purpose: str = ""
    by: str = ""
    running: bool = False
    told: str = ""
    rescue: bool = False


@dataclass(frozen=True, slots=True)
class BudgetPart:
    name: str
    drug: str
    percent: Decimal
    amount: Quantity
    planned: bool
    at: datetime | None = None
    by: str = ""
    running: bool = False
    told: str = ""
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class BudgetSum:
    """A ceiling and what fills it, in per cent. `apart`: infusions of the same drugs, told and not counted; `exempt`: doses for
    what is never held to it; `expired`: doses whose window is over."""

    id: str
    title: str
    warn_percent: Decimal
    parts: tuple[BudgetPart, ...]
    apart: tuple[str, ...]
    state: State
    working: Working
    memory: bool
    ask: bool = False
    expired: tuple[BudgetPart, ...] = field(default=())
    exempt: tuple[BudgetPart, ...] = field(default=())

    @property
    def given_percent(self) -> Decimal:
        return sum((p.percent for p in self.parts if not p.planned and not p.running), Decimal(0))

    @property
    def running_percent(self) -> Decimal:
        """What infusions are estimated to have left in the body: a prediction."""
        return sum((p.percent for p in self.parts if p.running), Decimal(0))

    @property
    def exempt_percent(self) -> Decimal:
        return sum((p.percent for p in self.exempt), Decimal(0))

    @property
    def planned_percent(self) -> Decimal:
        return sum((p.percent for p in self.parts if p.planned), Decimal(0))

    @property
    def percent(self) -> Decimal:
        return self.given_percent + self.running_percent + self.planned_percent


def local_budget(
    doses: Iterable[LocalDose], weight: DosingWeight, species: str, formulary: Formulary, now: datetime
) -> BudgetSum:
    """Plain local anaesthetics as fractions of their stops: larynx, blocks and infiltration together."""
    return cumulative(LOCAL, doses, weight, species, formulary, now)


def budgets(
    doses: Iterable[LocalDose], weight: DosingWeight, species: str, formulary: Formulary, now: datetime
) -> tuple[BudgetSum, ...]:
    """Every shared ceiling that has something in it."""
    listed = tuple(doses)
    sums = (cumulative(b.id, listed, weight, species, formulary, now) for b in formulary.budgets)
    return tuple(s for s in sums if s.parts or s.apart or s.exempt or s.expired)


def left_of(total: BudgetSum, drug: str, weight: DosingWeight, species: str, formulary: Formulary) -> Quantity | None:
    """What may still be given of one drug under this sum, as its ceiling is written; None where it has no ceiling here.

    The room that is left in per cent, times the drug's own ceiling for this animal; never below nothing.
    """
    facts = _facts(total.id, formulary)
    found = _ceilings(facts, species, formulary).get(drug)
    if found is None:
        return None
    whole = _in_all(amount_of(found[0], weight.kg))
    return Quantity(max(Decimal(0), (_STOP - total.percent) / _STOP * whole.value), whole.unit)


def cumulative(
    kind: str, doses: Iterable[LocalDose], weight: DosingWeight, species: str, formulary: Formulary, now: datetime
) -> BudgetSum:
    """One shared ceiling by its id: each dose as a per cent of its drug's stop in this species, inside the window."""
    facts = _facts(kind, formulary)
    ceilings = _ceilings(facts, species, formulary)
    counted: list[BudgetPart] = []
    expired: list[BudgetPart] = []
    exempt: list[BudgetPart] = []
    apart: list[str] = []
    inputs: list[Input] = []
    for dose in doses:
        if not _belongs(dose, facts):
            continue
        if dose.infusion:
            apart.append(
                f"{formulary.printed_names.get(dose.drug, dose.drug)} infusion, {dose.amount}: beside the sum, not in it"
            )
            continue
        part, line = _part(dose, ceilings, weight, formulary)
        inputs.append(line)
        free = dose.purpose in facts.exempt or (dose.rescue and not facts.ask)
        where = expired if _old(dose, facts, now) else exempt if free else counted
        where.append(part)
    total = sum((p.percent for p in counted), Decimal(0))
    sources = tuple(dict.fromkeys((*facts.sources, *(s for c in ceilings.values() for s in c[1]))))
    memory = facts.memory or any(c[2] for c in ceilings.values())
    says = " + ".join(f"{figure(p.percent, 3)} % {p.name}" for p in counted) or "nothing counted"
    held = (f"asks from {figure(facts.warn_percent)} %", f"{'asks' if facts.ask else 'stops'} above 100 %")
    working = Working(f"{says} = {figure(total, 3)} %", tuple(inputs), held, None, sources, memory, weight.estimated)
    return BudgetSum(
        facts.id, facts.title, facts.warn_percent, tuple(counted), tuple(apart), _state(total, facts), working, memory,
        facts.ask, tuple(expired), tuple(exempt),
    )  # fmt: skip


def _facts(kind: str, formulary: Formulary) -> BudgetFacts:
    found = next((b for b in formulary.budgets if b.id == kind), None)
    if found is None:
        raise Unknown("budget", f"{kind!r} is not a shared ceiling.", "Known: " + _ids(formulary) + ".")
    return found


def _ids(formulary: Formulary) -> str:
    return ", ".join(b.id for b in formulary.budgets)


def _state(total: Decimal, facts: BudgetFacts) -> State:
    """A sum just at its ceiling is still inside it."""
    if total > _STOP:
        return "ask" if facts.ask else "stop"
    return "warn" if total >= facts.warn_percent else "room"


def _belongs(dose: LocalDose, facts: BudgetFacts) -> bool:
    """A local anaesthetic by vein is an infusion or a rhythm drug: it stands apart from the blocks."""
    if dose.drug not in facts.drugs or (facts.routes and dose.route not in facts.routes):
        return False
    if facts.not_routes and dose.route in facts.not_routes and not dose.infusion:
        return False
    if dose.running and facts.infusions == "apart":
        return False
    if (facts.form and facts.form not in dose.strength) or (facts.unless_form and facts.unless_form in dose.strength):
        return False
    return not (facts.id == "fluid boluses" and (dose.infusion or dose.purpose == "maintenance fluid"))


def _ceilings(
    facts: BudgetFacts, species: str, formulary: Formulary
) -> dict[str, tuple[Quantity, tuple[str, ...], bool]]:
    found: dict[str, tuple[Quantity, tuple[str, ...], bool]] = {}
    for row_id in facts.limits:
        if f"-{species}-" not in row_id:
            continue
        ceiling = formulary.cumulative(row_id)
        if ceiling is not None:
            found[row_id.split("-", 1)[0]] = ceiling
    return found


def _part(
    dose: LocalDose,
    ceilings: dict[str, tuple[Quantity, tuple[str, ...], bool]],
    weight: DosingWeight,
    formulary: Formulary,
) -> tuple[BudgetPart, Input]:
    name = formulary.printed_names.get(dose.drug, dose.drug)
    if dose.drug not in ceilings:
        raise Missing("budget", f"no ceiling for {name} in this species is known.", "Ask the veterinarian for one.")
    limit = ceilings[dose.drug][0]
    whole = _in_all(amount_of(limit, weight.kg))
    percent = dose.amount.number(whole.unit) / whole.value * _STOP
    part = BudgetPart(
        name, dose.drug, percent, dose.amount, dose.planned, dose.at, dose.by, dose.running, dose.told, dose.purpose
    )
    mark = Mark.PREDICTED if dose.planned or dose.running else Mark.TYPED
    how = dose.told or ("running" if dose.running else "planned" if dose.planned else "given")
    return part, Input(name, f"{dose.amount} of {whole} ({limit})", mark, how)


def _in_all(amount: Quantity) -> Quantity:
    """A ceiling per day as the amount itself: the window of the budget is the day."""
    return Quantity.of(amount.value, amount.unit.parts[0][0])


def _old(dose: LocalDose, facts: BudgetFacts, now: datetime) -> bool:
    window = facts.window_h.get(dose.drug)
    if window is None or dose.at is None or dose.planned:
        return False
    return now - dose.at > timedelta(hours=float(window))
