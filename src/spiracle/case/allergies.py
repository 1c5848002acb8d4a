"""Allergies as told, held against a drug by its names, the classes it belongs to and what else is in its vials. Carries U15."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from spiracle.case.events import AllergiesAsked
from spiracle.case.fold import Case
from spiracle.refusals import AskAgain

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

# A word an owner says, and the class of the tables it means. Penicillins and cephalosporins share the beta-lactam ring.
SAID = {"penicillin": "beta-lactam antibiotic", "cephalosporin": "beta-lactam antibiotic", "painkiller": "NSAID"}
SHORT = 4  # a name of fewer letters is matched whole, never inside another word


def allergy_to(case: Case, drug: str, facts: Facts) -> str:
    """The allergy told that names this drug, one of its synonyms, a class it is in or a part of its vials; empty where none does."""
    told = case.last(AllergiesAsked)
    if told is None or not told.allergies:
        return ""
    found = facts.drugs.drug(drug)
    names = {_plain(n) for n in (found.id, found.name, *found.synonyms)}
    names |= {
        _plain(f.holds) for f in facts.drugs.formulations if f.drug == found.id and f.holds
    }  # what else is in the vial
    classes = {_plain(name) for name, drugs in facts.drugs.classes.items() if found.id in drugs} | {_plain(found.group)}
    for allergy in told.allergies:
        said = _plain(allergy)
        means = {said, *(_plain(c) for word, c in SAID.items() if word in said)}
        if any(_within(name, s) or _within(s, name) for s in means for name in names | classes if name and s):
            return allergy
    return ""


def ask_about_allergy(case: Case, drug: str, facts: Facts, passed: bool) -> None:
    """Asked once: an entry that answers it, or a veterinarian's word with a reason, passes."""
    allergy = "" if passed else allergy_to(case, drug, facts)
    if allergy:
        raise AskAgain("drug", f"{drug}: the patient is said to be allergic to {allergy}.",
                       "Choose another drug, or have the veterinarian say so with a reason.")  # fmt: skip


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^\w]+", " ", text.casefold().replace("_", " ")).split())


def _within(part: str, whole: str) -> bool:
    """Whether one name stands in the other as a word of its own, plural or not."""
    if len(part) < SHORT:
        return part == whole
    return re.search(rf"\b{re.escape(part.removesuffix('s'))}(?:s|es)?\b", whole) is not None
