"""Names of drugs: which list a hospital reads them from, every other name that finds the drug, and words that find none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from spiracle.drugs.stock import Drug
from spiracle.drugs.table import NamingFacts, NotOneFacts
from spiracle.refusals import BadTable, Contradiction

LISTS = ("INN", "USAN", "BAN")


def plain_name(name: str) -> str:
    """A name as it is compared: no case, no hyphens or low lines, single spaces.

    >>> plain_name("Preservative-free  Morphine")
    'preservative free morphine'
    """
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())


def listed_name(facts: NamingFacts, naming: str) -> str:
    """What a drug is called under a list of names; the INN where that list has no name of its own.

    `everyday` stands in for an INN that no vial carries, under the INN only.
    """
    own = {"USAN": facts.usan, "BAN": facts.ban}.get(naming, "")
    return own or facts.everyday or facts.inn


def known_names(drug: Drug, facts: NamingFacts | None) -> tuple[str, ...]:
    """Every name that finds a drug, as written, its printed one first."""
    named = (facts.inn, facts.everyday, facts.usan, facts.ban, *facts.also) if facts else ()
    return _once((drug.name, drug.id.replace("_", " "), *drug.synonyms, *named))


def named(
    drugs: Mapping[str, Drug], facts: Iterable[NamingFacts], naming: str, shown: Mapping[str, str]
) -> dict[str, Drug]:
    """The drugs under the names of one list, with a hospital's own choice over it. Every other name still finds them.

    A choice for a drug that is not listed, or of a name that is not one of its names, does not load.
    """
    if naming not in LISTS:
        raise BadTable("hospital names", f"{naming!r} is no list of names.", "One of: " + ", ".join(LISTS) + ".")
    by = _by_drug(facts, drugs)
    chosen = {_drug_id(key, drugs, by): (key, name) for key, name in shown.items()}
    made: dict[str, Drug] = {}
    for id_, drug in drugs.items():
        listed = by.get(id_)
        names = known_names(drug, listed)
        printed = listed_name(listed, naming) if listed else drug.name
        if id_ in chosen:
            printed = _chosen(id_, chosen[id_][1], names)
        others = tuple(n for n in names if plain_name(n) != plain_name(printed))
        made[id_] = replace(drug, name=printed, synonyms=others)
    _no_name_twice(made)
    return made


def _by_drug(facts: Iterable[NamingFacts], drugs: Mapping[str, Drug]) -> dict[str, NamingFacts]:
    by: dict[str, NamingFacts] = {}
    for row in facts:
        if row.drug not in drugs:
            raise BadTable(f"names of {row.drug}", "is not a drug here.")
        if row.drug in by:
            raise BadTable(f"names of {row.drug}", "stands twice.")
        by[row.drug] = row
    return by


def _drug_id(key: str, drugs: Mapping[str, Drug], by: Mapping[str, NamingFacts]) -> str:
    """The drug a hospital means by the left side of `shown`: its id or any of its names."""
    wanted = plain_name(key)
    for id_, drug in drugs.items():
        if wanted in {plain_name(n) for n in known_names(drug, by.get(id_))}:
            return id_
    raise BadTable("hospital shown", f"{key!r} is not a drug Spiracle knows.", "Name a drug of the list.")


def _chosen(id_: str, name: str, names: tuple[str, ...]) -> str:
    if plain_name(name) not in {plain_name(n) for n in names}:
        raise BadTable(
            "hospital shown", f"{name!r} is not a name of {id_}.", "One of: " + ", ".join(names) + "."
        )  # fmt: skip
    return name.strip()


def _no_name_twice(drugs: Mapping[str, Drug]) -> None:
    """Two drugs under one printed name would be one drug on a label."""
    seen: dict[str, str] = {}
    for id_, drug in drugs.items():
        other = seen.setdefault(plain_name(drug.name), id_)
        if other != id_:
            raise BadTable(f"drug {id_}", f"would be printed as {drug.name!r}, as {other} is.")


def names_index(drugs: Iterable[Drug], words: Iterable[NotOneFacts]) -> dict[str, str]:
    """Every name to its drug. One name of two drugs, or a name that is listed as meaning no one drug, does not load."""
    index: dict[str, str] = {}
    for drug in drugs:
        for name in (drug.id, drug.name, *drug.synonyms):
            if index.setdefault(plain_name(name), drug.id) != drug.id:
                raise BadTable(f"drug {drug.id}", f"shares the name {name!r} with {index[plain_name(name)]}.")
    for word in words:
        for name in (word.name, *word.also):
            if plain_name(name) in index:
                raise BadTable(f"word {word.name}", f"{name!r} is a name of {index[plain_name(name)]}.")
    return index


def not_one_drug(name: str, words: Iterable[NotOneFacts], drugs: Mapping[str, Drug]) -> Contradiction | None:
    """The refusal of a word that means several drugs here, or another substance than any of them."""
    wanted = plain_name(name)
    for word in words:
        if wanted in {plain_name(n) for n in (word.name, *word.also)}:
            meant = " or ".join(drugs[d].name for d in word.drugs)
            said = f"{name.strip()} is not the name of one drug here. {word.says}"
            return Contradiction("drug", said, f"Say which: {meant}." if meant else "Choose a drug of the list.")
    return None


def _once(names: Iterable[str]) -> tuple[str, ...]:
    kept: dict[str, str] = {}
    for name in names:
        if name:
            kept.setdefault(plain_name(name), name)
    return tuple(kept.values())
