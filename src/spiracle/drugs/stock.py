"""Drugs, the strengths they stand on the shelf in, and what a hospital has stocked."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from spiracle.drugs.table import ClassName, DiluentFacts, DrugFacts, StrengthFacts
from spiracle.quantity import Quantity, read
from spiracle.refusals import NotAQuantity, OutOfRange

_TEXT = re.compile(r"^\s*([\d.,]+\s*(?:[A-Za-zµμ]+/m[lL]|%))\s*(.*)$")
_POWDERS = ("powder", "vial", "tablet", "capsule", "patch", "bag", "unit", "gas", "liquid", "puff")


@dataclass(frozen=True, slots=True)
class Strength:
    """What stands in a vial. `quantity` None: a powder, tablet or bag, with no strength until it is made up."""

    text: str
    quantity: Quantity | None
    words: str = ""
    memory: bool = False
    trap: bool = False
    only: tuple[str, ...] = ()
    species: str = ""
    sources: tuple[str, ...] = ()
    origin: str = "spiracle"

    @property
    def printed(self) -> str:
        return f"{self.text} {self.words}".strip()

    def same(self, other: Strength) -> bool:
        """The same amount in each mL, whatever the words."""
        if self.quantity is None or other.quantity is None:
            return self.text == other.text
        alike = self.quantity.unit.dimension == other.quantity.unit.dimension
        return alike and self.quantity.equals(other.quantity)


@dataclass(frozen=True, slots=True)
class Diluent:
    name: str
    memory: bool
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drug:
    """A drug by its international name, with everything that does not depend on the animal."""

    id: str
    name: str
    synonyms: tuple[str, ...]
    group: str
    syringe_class: ClassName
    is_reversal: bool
    controlled: str
    controlled_memory: bool
    reversal: str
    strengths: tuple[Strength, ...]
    diluents: tuple[Diluent, ...]
    made_up: tuple[Quantity, ...]
    cautions: tuple[str, ...]
    note_dog: str
    note_cat: str
    sources: tuple[str, ...]

    def note(self, species: str) -> str:
        return self.note_dog if species == "dog" else self.note_cat


@dataclass(frozen=True, slots=True)
class Stock:
    """Strengths on the shelf per drug id, as printed on the vial, and the syringes in the drawer.

    `own`: drugs whose shelf somebody told; the others stand as listed, which is not a shelf.
    """

    strengths: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    barrels: tuple[str, ...] = ()
    origin: str = "spiracle"
    own: frozenset[str] = frozenset()

    def over(self, strengths: Mapping[str, tuple[str, ...]], barrels: tuple[str, ...] = (), origin: str = "") -> Stock:
        """This stock with another laid over it: a drug named there replaces ours, syringes named there replace ours."""
        return Stock(
            {**self.strengths, **strengths}, barrels or self.barrels, origin or self.origin, self.own | set(strengths)
        )


def read_strength(text: str, field_: str = "strength") -> tuple[Quantity | None, str, str]:
    """The strength on a vial: quantity, its plain text, and the words after it. A powder has no quantity.

    >>> read_strength("20 mg/mL (2 %)")[1:]
    ('20 mg/mL', '2 %')
    """
    found = _TEXT.match(text)
    if not found:
        if any(word in text.lower() for word in _POWDERS) and not re.match(r"^\s*[\d.,]+\s*$", text):
            return None, text, ""
        raise NotAQuantity(field_, f"{text!r} is not a strength.", "Write it as on the vial, like 10 mg/mL.")
    quantity = read(found.group(1).strip(), field_, "concentration")
    if quantity.value <= 0:
        raise OutOfRange(field_, f"{text!r} holds nothing.", "Write it as on the vial, like 10 mg/mL.")
    words = found.group(2).strip().removeprefix("(").removesuffix(")")
    return quantity, str(quantity), words


def strength_of(facts: StrengthFacts) -> Strength:
    quantity, text, _ = (None, facts.form, "") if facts.form else read_strength(facts.text)
    return Strength(text, quantity, facts.words, facts.memory, facts.trap, facts.only, facts.species, facts.sources)


def drug_of(facts: DrugFacts) -> Drug:
    return Drug(
        id=facts.id,
        name=facts.name,
        synonyms=facts.synonyms,
        group=facts.group,
        syringe_class=facts.syringe_class,
        is_reversal=facts.reversal_agent,
        controlled=facts.controlled,
        controlled_memory=facts.controlled_memory,
        reversal=facts.reversal,
        strengths=tuple(strength_of(s) for s in facts.strengths),
        diluents=tuple(_diluent(d) for d in facts.diluents),
        made_up=tuple(read(text, "made-up strength", "concentration") for text in facts.made_up),
        cautions=facts.cautions,
        note_dog=facts.note_dog,
        note_cat=facts.note_cat,
        sources=facts.sources,
    )


def _diluent(facts: DiluentFacts) -> Diluent:
    return Diluent(facts.name, facts.memory, facts.sources)


def times(one: Quantity, other: Quantity) -> Decimal:
    """How many times one strength is the other."""
    return one.number(other.unit) / other.value
