"""The class of a drug on a syringe label: ISO 26825's colours have names here, and a reversal has stripes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spiracle.drugs.table import ClassName

if TYPE_CHECKING:
    from spiracle.drugs.formulary import Formulary

CLASS_NAMES: tuple[ClassName, ...] = (
    "induction", "opioid", "hypnotic", "relaxant", "vasopressor", "anticholinergic", "local", "other",
)  # fmt: skip


def syringe_class(drug: str, formulary: Formulary) -> ClassName:
    """The class of a drug by any of its names; "other" for one that is not known."""
    return formulary.class_of(drug)
