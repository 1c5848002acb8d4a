"""The formulary as shipped, read once for the tests, and short ways to order from it."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from importlib.resources import files
from typing import Any

from spiracle.drugs import DosingWeight, Formulary, OrderedDose, Prepared, Stock, prepare
from spiracle.source import Sources, read_sources


def texts(start: str) -> dict[str, str]:
    """The table files whose names start so."""
    folder = files("spiracle.source") / "tables"
    found = [p for p in folder.iterdir() if p.name.startswith(start) and p.name.endswith(".toml")]
    return {p.name.removesuffix(".toml"): p.read_text(encoding="utf-8") for p in found}


@lru_cache(maxsize=1)
def formulary() -> Formulary:
    sources = Sources(r for name, text in texts("sources-").items() for r in read_sources(text, name))
    return Formulary.read(texts("drugs-"), sources)


def weighing(kg: str | Decimal) -> DosingWeight:
    return DosingWeight(Decimal(kg))


def order(drug: str, species: str, purpose: str, route: str, dose: str, **more: Any) -> OrderedDose:
    return OrderedDose.of(drug, species, purpose, route, dose, **more)


def ready(
    drug: str, species: str, purpose: str, route: str, dose: str, kg: str, stock: Stock | None = None, **more: Any
) -> Prepared:
    """An order made ready from the shipped stock."""
    asked = order(drug, species, purpose, route, dose, **more)
    return prepare(asked, weighing(kg), stock or formulary().stock(), formulary())
