"""For each condition an animal can have, the drugs that matter have a caution, most of them with a page that was read."""

from __future__ import annotations

from pathlib import Path

import pytest

from spiracle.doors.tables import load_facts
from spiracle.drugs import cautions
from spiracle.drugs.cautions import stop_for
from spiracle.drugs.table import CautionFacts

FACTS = load_facts()
DOCS = Path(__file__).parents[2] / "docs"

# Group: its condition ids; the drugs that must have a row; how many rows must rest on a page that was read.
# Which drugs matter for which condition is common teaching of the trade.
GROUPS: dict[str, tuple[tuple[str, ...], tuple[str, ...], int]] = {
    "renal": (("kidney-disease", "urinary-obstruction"),
              ("meloxicam", "carprofen", "robenacoxib", "ketamine", "tiletamine_zolazepam", "dexmedetomidine", "pethidine",
               "methadone", "gabapentin", "potassium_chloride", "magnesium_sulfate", "mannitol", "hypertonic_saline",
               "colloid_hes", "metamizole", "propofol"), 14),
    "hepatic": (("liver-disease", "portosystemic-shunt"),
                ("acepromazine", "dexmedetomidine", "midazolam", "diazepam", "propofol", "alfaxalone", "methadone", "fentanyl",
                 "lidocaine", "carprofen", "paracetamol", "phenobarbital"), 10),
    "cardiac": (("heart-disease", "heart-failure", "hypertrophic-cardiomyopathy", "outflow-obstruction", "dilated-cardiomyopathy"),
                ("acepromazine", "dexmedetomidine", "medetomidine", "ketamine", "tiletamine_zolazepam", "atropine", "meloxicam",
                 "isotonic_crystalloid", "hypertonic_saline", "phenylephrine", "esmolol", "isoflurane", "propofol"), 14),
    "brachycephalic": (("brachycephalic", "airway-obstruction"),
                       ("acepromazine", "methadone", "morphine", "hydromorphone", "midazolam", "rocuronium", "propofol"), 3),
    "seizure history": (("seizures", "seizure-medicine"),
                        ("flumazenil", "ketamine", "tramadol", "acepromazine", "tiletamine_zolazepam", "metoclopramide",
                         "doxapram", "pethidine"), 4),
    "MDR1/ABCB1": (("abcb1-mutation", "abcb1-possible"),
                   ("acepromazine", "butorphanol", "morphine", "fentanyl", "methadone"), 4),
    "pregnancy": (("pregnant",),
                  ("dexmedetomidine", "medetomidine", "meloxicam", "carprofen", "tiletamine_zolazepam", "pethidine", "ketamine",
                   "midazolam", "acepromazine", "atipamezole", "methadone", "propofol"), 6),
    "under 12 weeks": (("age-under-12-weeks", "age-under-16-weeks", "neonate", "paediatric"),
                       ("dexmedetomidine", "medetomidine", "alfaxalone", "propofol", "acepromazine", "meloxicam", "methadone",
                        "isoflurane", "lidocaine", "midazolam"), 6),
    "diabetic": (("diabetes",),
                 ("dexmedetomidine", "medetomidine", "ketamine", "acepromazine", "propofol", "dexamethasone_sp",
                  "insulin_regular"), 5),
    # and more than the usual nine
    "geriatric": (("geriatric",), ("acepromazine", "dexmedetomidine", "methadone", "meloxicam", "propofol"), 3),
    "sighthound": (("sighthound",), ("acepromazine", "propofol"), 1),
    "hyperthyroid": (("hyperthyroidism",), ("ketamine", "atropine", "tiletamine_zolazepam"), 1),
    "hypoadrenocorticism": (("adrenal-insufficiency",), ("etomidate", "potassium_chloride", "propofol"), 0),
    "anaemia": (("anaemia",), ("acepromazine", "dexmedetomidine"), 0),
    "under 3 kg": (("under-3-kg", "under-2-kg"), ("lidocaine", "bupivacaine", "meloxicam", "isotonic_crystalloid"), 1),
    "lactating": (("lactating",), ("meloxicam", "carprofen", "midazolam", "methadone"), 2),
    "raised pressure in the skull": (("raised-intracranial-pressure",),
                                     ("morphine", "methadone", "ketamine", "isoflurane", "nitrous_oxide", "acepromazine"), 2),
    "toy breed, low glucose": (("toy-breed", "insulinoma"), ("dexmedetomidine", "dextrose_10"), 1),
}  # fmt: skip
NINE = tuple(GROUPS)[:9]


def rows_of(ids: tuple[str, ...]) -> dict[str, set[str]]:
    """Per caution that speaks of one of these conditions: the drugs it is about."""
    found: dict[str, set[str]] = {}
    for drug in FACTS.drugs.drugs:
        for species in ("dog", "cat"):
            for caution in FACTS.drugs.cautions_of(drug.id, species):
                if set(caution.when) & set(ids):
                    found.setdefault(caution.id, set()).add(drug.id)
    return found


def by_id() -> dict[str, CautionFacts]:
    every = (c for d in FACTS.drugs.drugs for s in ("dog", "cat") for c in FACTS.drugs.cautions_of(d.id, s))
    return {c.id: c for c in every}


@pytest.mark.parametrize("group", GROUPS)
def test_the_drugs_that_matter_have_a_caution_for_the_condition(group: str) -> None:
    """U14: and enough of the rows rest on a page that was read."""
    ids, drugs, read = GROUPS[group]
    rows, every = rows_of(ids), by_id()
    spoken = {d for about in rows.values() for d in about}
    assert not set(drugs) - spoken, sorted(set(drugs) - spoken)
    assert sum(not every[c].memory for c in rows) >= read, sum(not every[c].memory for c in rows)


def test_nine_groups_were_asked_for() -> None:
    assert NINE == ("renal", "hepatic", "cardiac", "brachycephalic", "seizure history", "MDR1/ABCB1", "pregnancy",
                    "under 12 weeks", "diabetic")  # fmt: skip
    assert len(by_id()) >= 300


@pytest.mark.parametrize(
    ("drug", "species", "condition"),
    [("meloxicam", "dog", "pregnant"), ("tiletamine_zolazepam", "cat", "pregnant"), ("potassium_chloride", "cat", "hyperkalaemia"),
     ("carprofen", "dog", "kidney-disease"), ("etomidate", "dog", "adrenal-insufficiency"), ("dexmedetomidine", "cat", "heart-disease")],
)  # fmt: skip
def test_what_a_label_forbids_stops_the_syringe(drug: str, species: str, condition: str) -> None:
    """U14: no volume without the veterinarian's word."""
    found = stop_for(drug, species, (condition,), FACTS.drugs)
    assert found is not None and found.severity == "never" and condition in found.when


def test_a_caution_of_this_animal_stands_before_those_of_the_drug() -> None:
    """U14."""
    hits = cautions("ketamine", "cat", ("diabetes",), FACTS.drugs)
    assert hits[0].matched and hits[0].because == ("diabetes",) and hits[0].sources == ("cb_pancreas",)
    assert not hits[-1].matched


# ---- forms of a vial


@pytest.mark.parametrize(
    ("drug", "holds"),
    [("propofol", "benzyl alcohol"), ("diazepam", "propylene glycol"), ("etomidate", "propylene glycol"),
     ("amiodarone", "polysorbate 80"), ("morphine", "preservative"), ("midazolam", "benzyl alcohol"),
     ("gabapentin", "xylitol"), ("bupivacaine", "methylparaben"), ("isotonic_crystalloid", "benzyl alcohol")],
)  # fmt: skip
def test_what_else_is_in_the_vial_is_a_caution_of_the_drug(drug: str, holds: str) -> None:
    """U14: limits of a form are told wherever the drug's cautions are."""
    told = [c for c in FACTS.drugs.cautions_of(drug, "dog") if c.id.startswith("form-")]
    assert any(holds in c.condition for c in told), told


def test_the_form_in_the_hand_has_its_own_limits() -> None:
    """U14: the preserved propofol carries the limit, the plain one does not inherit it."""
    from spiracle.drugs.forms import limits_of

    drug = FACTS.drugs.drug("propofol")
    plain, preserved = drug.strengths
    assert [f.id for f in limits_of("propofol", plain, FACTS.drugs.formulations)] == ["form-propofol-plain"]
    assert {f.id for f in limits_of("propofol", preserved, FACTS.drugs.formulations)} == {
        "form-propofol-preserved", "form-propofol-preserved-young", "form-propofol-preserved-cat",
    }  # fmt: skip


# ---- the page


def table_lines() -> list[str]:
    """The table of docs/drugs.md, from the data."""
    every = by_id()
    lines = ["| condition | cautions | read in a source | drugs spoken of |", "| --- | --- | --- | --- |"]
    for group, (ids, _, _) in GROUPS.items():
        rows = rows_of(ids)
        read = sum(not every[c].memory for c in rows)
        lines.append(f"| {group} | {len(rows)} | {read} | {len({d for about in rows.values() for d in about})} |")
    return lines


def test_the_page_says_how_many_there_are() -> None:
    page = (DOCS / "drugs.md").read_text("utf-8")
    assert "\n".join(table_lines()) in page
