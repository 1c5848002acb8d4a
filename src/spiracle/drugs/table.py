"""The shapes of the drug tables as they stand in TOML. Strict: an unknown key is refused. `docs/drugs.md` reads them aloud."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

Species = Literal["dog", "cat"]
Pick = Literal["default", "deliberate", "never"]
Basis = Literal["single", "cumulative", "rate"]
Severity = Literal["never", "avoid", "care"]
ClassName = Literal["induction", "opioid", "hypnotic", "relaxant", "vasopressor", "anticholinergic", "local", "other"]


class Strict(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Root of every row."""


class StopFacts(Strict, frozen=True, kw_only=True):
    """A hard stop. `ask`: past it the veterinarian is asked rather than stopped. `why` in words, if there is more to say."""

    at: Decimal
    unit: str
    basis: Basis
    sources: tuple[str, ...]
    memory: bool = False
    ask: bool = False
    why: str = ""


class CapFacts(Strict, frozen=True, kw_only=True):
    at: Decimal
    unit: str


class RowFacts(Strict, frozen=True, kw_only=True):
    """One figure as published (`low` to `high`), what is shown first (`usual`), and where it stops.

    `give_over_min` is how long to take over giving it; `lasts_min` how long it works; `onset_min` when it begins.
    `pick`: shown first, picked on purpose, or never picked (`pick_why` says why it is kept at all).
    """

    id: str
    drug: str
    species: Species
    purposes: tuple[str, ...]
    purpose: str
    routes: tuple[str, ...]
    low: Decimal
    high: Decimal
    unit: str
    pick: Pick
    sources: tuple[str, ...]
    of: str = ""
    pick_why: str = ""
    default_for: str = ""
    usual: tuple[Decimal, Decimal] | None = None
    usual_words: str = ""
    usual_memory: bool = False
    usual_cap: CapFacts | None = None
    stops: tuple[StopFacts, ...] = ()
    conditions: tuple[str, ...] = ()
    emergency: bool = False
    give_over_min: tuple[Decimal, Decimal] | None = None
    give_how: str = ""
    onset_min: tuple[Decimal, Decimal] | None = None
    lasts_min: tuple[Decimal, Decimal] | None = None
    repeat_min: tuple[Decimal, Decimal] | None = None
    interval: str = ""
    weight_kg: tuple[Decimal, ...] = ()
    strength: str = ""
    ask: tuple[str, ...] = ()
    flag: Literal["", "conflict", "historic-label", "study-rates", "off-label", "do-not-use"] = ""
    published_totals: tuple[Decimal, ...] = ()
    memory: bool = False
    memory_fields: tuple[str, ...] = ()
    critical: bool = False
    basis: tuple[str, ...] = ()
    note: str = ""


class StrengthFacts(Strict, frozen=True, kw_only=True):
    """What stands in the vial. `form` instead of `text`: a powder, tablet, unit or bag. `trap`: a farm or fatal strength.

    `only`: the routes this product is for (a spray is not drawn up); `species`: the one it is for, where it is for one.
    """

    sources: tuple[str, ...]
    text: str = ""
    form: str = ""
    words: str = ""
    memory: bool = False
    trap: bool = False
    only: tuple[str, ...] = ()
    species: str = ""


class DiluentFacts(Strict, frozen=True, kw_only=True):
    name: str
    sources: tuple[str, ...]
    memory: bool = False


class DrugFacts(Strict, frozen=True, kw_only=True):
    id: str
    name: str
    group: str
    syringe_class: ClassName
    sources: tuple[str, ...]
    synonyms: tuple[str, ...] = ()
    reversal_agent: bool = False
    controlled: str = ""
    controlled_memory: bool = False
    reversal: str = ""
    strengths: tuple[StrengthFacts, ...] = ()
    diluents: tuple[DiluentFacts, ...] = ()
    made_up: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    note_dog: str = ""
    note_cat: str = ""


class ClassFacts(Strict, frozen=True, kw_only=True):
    name: str
    drugs: tuple[str, ...]


class CautionFacts(Strict, frozen=True, kw_only=True, rename={"class_": "class"}):
    """What speaks against a drug or a class. `when`: condition ids it is about. `stops`: with one of them, no syringe."""

    id: str
    species: Literal["dog", "cat", "both"]
    severity: Severity
    condition: str
    statement: str
    sources: tuple[str, ...]
    drug: str = ""
    class_: str = ""
    when: tuple[str, ...] = ()
    stops: bool = False
    memory: bool = False


class NamingFacts(Strict, frozen=True, kw_only=True):
    """What a drug is called under each list of names. `everyday`: printed instead of the INN, which no vial carries.

    `also`: older and longer names that find the drug and are never printed unless a hospital chooses one.
    """

    drug: str
    inn: str
    sources: tuple[str, ...]
    usan: str = ""
    ban: str = ""
    everyday: str = ""
    also: tuple[str, ...] = ()
    memory: bool = False
    note: str = ""


class NotOneFacts(Strict, frozen=True, kw_only=True):
    """A word that is no name of one drug here: it means several (`drugs`), or another substance. It is refused."""

    name: str
    says: str
    sources: tuple[str, ...]
    also: tuple[str, ...] = ()
    drugs: tuple[str, ...] = ()
    memory: bool = False


class FormulationFacts(Strict, frozen=True, kw_only=True):
    """What else is in the vial, and what follows from it. Read as a caution of the drug, and told beside its strengths.

    `form`: how the vial reads. `strengths`: the listed strengths that are of this form; none: every vial of the drug.
    `no_infusion`: a vial known to be of this form is not run as a rate. `keeps_days`: how many days after it was opened it may
    still be drawn from; 0 is the day itself.
    """

    id: str
    drug: str
    form: str
    holds: str
    statement: str
    sources: tuple[str, ...]
    species: Literal["dog", "cat", "both"] = "both"
    severity: Severity = "care"
    strengths: tuple[str, ...] = ()
    routes: tuple[str, ...] = ()
    when: tuple[str, ...] = ()
    stops: bool = False
    tell_apart: bool = False
    no_infusion: bool = False
    memory: bool = False
    keeps_days: int | None = None


class SecondFacts(Strict, frozen=True, kw_only=True):
    """A dangerous figure held against another page than the one it came from. `source` empty: none was found.

    `agrees`: whether the two can stand together; `done`: what was done where they do not.
    """

    id: str
    subject: str
    rows: tuple[str, ...]
    says: str
    source: str = ""
    agrees: bool = True
    done: str = ""


class BarrelFacts(Strict, frozen=True, kw_only=True):
    id: str
    name: str
    holds_ml: Decimal
    mark_ml: Decimal
    sources: tuple[str, ...]
    dead_ml: Decimal
    dead_sources: tuple[str, ...]
    dead_memory: bool = False
    scale: Literal["mL", "units of U-100", "units of U-40"] = "mL"
    memory: bool = False
    common: bool = True
    note: str = ""


class ToleranceFacts(Strict, frozen=True, kw_only=True):
    """How far a barrel of a capacity may be off its own scale: under half of it, and from half on."""

    id: str
    from_ml: Decimal
    of_capacity_percent: Decimal
    of_volume_percent: Decimal
    from_half_percent: Decimal
    sources: tuple[str, ...]
    below_ml: Decimal | None = None
    memory: bool = False
    note: str = ""


class WordFacts(Strict, frozen=True, kw_only=True):
    """A purpose, a route or a diluent, and the other words people write for it."""

    name: str
    also: tuple[str, ...] = ()


class ConditionFacts(Strict, frozen=True, kw_only=True):
    """A condition of the animal or the moment. `moment`: an order need not repeat it. `not_with`: its opposite."""

    name: str
    also: tuple[str, ...] = ()
    moment: bool = False
    not_with: str = ""


class BudgetFacts(Strict, frozen=True, kw_only=True):
    """A shared ceiling. `limits` names the row whose cumulative stop is the ceiling, per drug and species.

    `exempt`: purposes that are never held to it, and are shown beside it. `infusions`: what runs by a pump stands apart, or
    counts by what is estimated to be in the body still, or in full. `form`: only this form of the drug counts; `unless_form`: every
    form but this one.
    """

    id: str
    title: str
    drugs: tuple[str, ...]
    sources: tuple[str, ...]
    limits: tuple[str, ...]
    window_h: dict[str, Decimal] = {}
    warn_percent: Decimal = Decimal(70)
    ask: bool = False
    routes: tuple[str, ...] = ()
    not_routes: tuple[str, ...] = ()
    form: str = ""
    memory: bool = False
    note: str = ""
    exempt: tuple[str, ...] = ()
    infusions: Literal["apart", "load", "sum"] = "apart"
    unless_form: str = ""


class EliminationFacts(Strict, frozen=True, kw_only=True):
    """How fast a drug leaves the body, for what an infusion counts in a shared ceiling. `unless`: conditions of an animal
    in which it is not known to: nothing is taken to have gone then. `disagrees`: what another source says, and which is used."""

    id: str
    drug: str
    species: Literal["dog", "cat"]
    half_life_min: Decimal
    sources: tuple[str, ...]
    unless: tuple[str, ...] = ()
    memory: bool = False
    disagrees: str = ""
    note: str = ""


class VeinFacts(Strict, frozen=True, kw_only=True):
    """How strong a solution may run into a vein of a limb: asked above `ask_percent`, refused above `stop_percent`; into a
    great vein `great_percent` is asked. Grams in 100 mL."""

    id: str
    drugs: tuple[str, ...]
    what: str
    ask_percent: Decimal
    stop_percent: Decimal
    great_percent: Decimal
    sources: tuple[str, ...]
    memory: bool = False
    note: str = ""


class BolusBagFacts(Strict, frozen=True, kw_only=True):
    """A bag that boluses are never given from: it holds more than `most` of a drug in each litre."""

    id: str
    drug: str
    most: Decimal
    unit: str
    why: str
    sources: tuple[str, ...]
    memory: bool = False


class MixingFacts(Strict, frozen=True, kw_only=True, rename={"with_": "with"}):
    """What a drug may share a bag with, and how it may not run. A fluid or drug that is not named here is asked about.

    `alone`: why it has a pump of its own; `no_drops`: why it is never counted in drops; `dark`, `adsorbs`, `turn`: what is
    said beside a bag of it (light, plastic, mixing). `species`: in whom it may be mixed into a bag at all.
    """

    drug: str
    sources: tuple[str, ...]
    species: tuple[Species, ...] = ("dog", "cat")
    fluids: tuple[str, ...] = ()
    with_: tuple[str, ...] = ()
    alone: str = ""
    no_drops: str = ""
    dark: str = ""
    adsorbs: str = ""
    turn: str = ""
    memory: bool = False
    note: str = ""


class MeasureFacts(Strict, frozen=True, kw_only=True):
    """How finely things can be measured: named numbers, each with its source."""

    id: str
    value: Decimal
    unit: str
    sources: tuple[str, ...]
    memory: bool = False
    note: str = ""


class DrugFile(Strict, frozen=True, kw_only=True):
    """Any file of this room: drugs with their rows, or cautions, or syringes, or words, or budgets."""

    drug: tuple[DrugFacts, ...] = ()
    dose: tuple[RowFacts, ...] = ()
    never: tuple[RowFacts, ...] = ()
    multiple: tuple[RowFacts, ...] = ()
    surface: tuple[RowFacts, ...] = ()
    volume_rule: tuple[RowFacts, ...] = ()
    ceiling: tuple[RowFacts, ...] = ()
    toxic: tuple[RowFacts, ...] = ()
    mac: tuple[RowFacts, ...] = ()
    gas: tuple[RowFacts, ...] = ()
    shock: tuple[RowFacts, ...] = ()
    patch: tuple[RowFacts, ...] = ()
    puff: tuple[RowFacts, ...] = ()
    made_up: tuple[RowFacts, ...] = ()
    class_: tuple[ClassFacts, ...] = msgspec.field(default=(), name="class")
    caution: tuple[CautionFacts, ...] = ()
    naming: tuple[NamingFacts, ...] = ()
    not_one: tuple[NotOneFacts, ...] = ()
    formulation: tuple[FormulationFacts, ...] = ()
    second_source: tuple[SecondFacts, ...] = ()
    barrel: tuple[BarrelFacts, ...] = ()
    tolerance: tuple[ToleranceFacts, ...] = ()
    purpose: tuple[WordFacts, ...] = ()
    route: tuple[WordFacts, ...] = ()
    condition: tuple[ConditionFacts, ...] = ()
    diluent: tuple[WordFacts, ...] = ()
    budget: tuple[BudgetFacts, ...] = ()
    elimination: tuple[EliminationFacts, ...] = ()
    vein: tuple[VeinFacts, ...] = ()
    bolus_bag: tuple[BolusBagFacts, ...] = ()
    mixing: tuple[MixingFacts, ...] = ()
    measure: tuple[MeasureFacts, ...] = ()


FIGURE_KINDS = (
    "never",
    "multiple",
    "surface",
    "volume_rule",
    "ceiling",
    "toxic",
    "mac",
    "gas",
    "shock",
    "patch",
    "puff",
    "made_up",
)
