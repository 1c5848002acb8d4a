"""Drugs by the list of names a hospital reads; ids stay, every other name still finds the drug."""

from __future__ import annotations

import pytest

from shelf import formulary
from spiracle.drugs.naming import known_names, plain_name
from spiracle.refusals import BadTable

# WHO recommended INN, USAN and BAN (from memory of the lists, as the table says).
PRINTED = [
    ("epinephrine", "epinephrine", "epinephrine", "adrenaline"),
    ("norepinephrine", "norepinephrine", "norepinephrine", "noradrenaline"),
    ("pethidine", "pethidine", "meperidine", "pethidine"),
    ("glycopyrrolate", "glycopyrronium bromide", "glycopyrrolate", "glycopyrronium bromide"),
    ("paracetamol", "paracetamol", "acetaminophen", "paracetamol"),
    ("metamizole", "metamizole", "dipyrone", "dipyrone"),
    ("salbutamol_inhaled", "salbutamol, inhaled", "albuterol, inhaled", "salbutamol, inhaled"),
    ("lidocaine", "lidocaine", "lidocaine", "lidocaine"),
    ("furosemide", "furosemide", "furosemide", "furosemide"),
    ("dextrose_50", "glucose 50 %", "dextrose 50 %", "glucose 50 %"),
    ("vasopressin", "vasopressin", "vasopressin", "argipressin"),
    ("atracurium", "atracurium", "atracurium besylate", "atracurium"),
    ("methadone", "methadone", "methadone", "methadone"),
]


@pytest.mark.parametrize(("drug", "inn", "usan", "ban"), PRINTED)
def test_a_drug_is_printed_under_the_hospitals_list(drug: str, inn: str, usan: str, ban: str) -> None:
    """U13: one name on every sheet; the id never changes."""
    for naming, name in (("INN", inn), ("USAN", usan), ("BAN", ban)):
        under = formulary().with_names(naming)
        assert under.name(drug) == under.drug(drug).name == under.printed_names[drug] == name
        assert under.drug(name).id == drug


@pytest.mark.parametrize("naming", ["INN", "USAN", "BAN"])
def test_every_name_of_every_drug_finds_it_under_every_list(naming: str) -> None:
    """U13: nobody loses a drug because the hospital reads another list."""
    under = formulary().with_names(naming)
    named = {n.drug: n for n in under._file.naming}
    for drug in formulary().drugs:
        for name in known_names(drug, named.get(drug.id)):
            assert under.drug(name).id == drug.id
            assert under.drug(name.upper()).id == drug.id
    assert len(set(map(plain_name, under.printed_names.values()))) == len(under.drugs)


def test_a_hospital_may_choose_a_name_for_one_drug() -> None:
    """Lignocaine is still said in many places; the rest stays under the list."""
    own = formulary().with_names("BAN", {"lidocaine": "lignocaine", "adrenaline": "epinephrine"})
    assert own.name("lidocaine") == "lignocaine" and "lidocaine" in own.drug("lidocaine").synonyms
    assert own.name("epinephrine") == "epinephrine" and own.name("norepinephrine") == "noradrenaline"
    assert [r.name for r in own.rows("lidocaine", "dog")][:1] == ["lignocaine"]


@pytest.mark.parametrize(
    ("naming", "shown", "says"),
    [("INN", {"lidocaine": "ketamine"}, "is not a name of lidocaine"), ("INN", {"lidocain": "lignocaine"}, "is not a drug"),
     ("JAN", {}, "no list of names"), ("INN", {"epinephrine": "noradrenaline"}, "is not a name of epinephrine")],
)  # fmt: skip
def test_a_choice_that_would_mislead_does_not_load(naming: str, shown: dict[str, str], says: str) -> None:
    """U13: a drug is never printed under a name that is not its own."""
    with pytest.raises(BadTable, match=says):
        formulary().with_names(naming, shown)


def test_limits_and_names_of_a_hospital_go_together() -> None:
    under = formulary().with_names("BAN")
    assert under.with_limits((), "own").name("epinephrine") == "adrenaline"


def test_a_hospitals_file_chooses(tmp_path: object) -> None:
    """The choice in the hospital's own file reaches every sheet that asks the formulary."""
    from pathlib import Path

    from spiracle.doors.tables import load_facts

    path = Path(str(tmp_path)) / "own.toml"
    path.write_text('name = "Teasel"\nnames = "BAN"\n[shown]\nlidocaine = "lignocaine"\n', "utf-8")
    facts = load_facts(path)
    assert facts.drugs.name("epinephrine") == "adrenaline" and facts.drugs.name("lidocaine") == "lignocaine"
    path.write_text('name = "Teasel"\n[shown]\nlidocaine = "lidocain"\n', "utf-8")
    load_facts.cache_clear()
    with pytest.raises(BadTable, match="lidocain"):
        load_facts(path)


@pytest.mark.parametrize(
    ("allergy", "drug"),
    [("adrenaline", "epinephrine"), ("lignocaine", "lidocaine"), ("meperidine", "pethidine"), ("dipyrone", "metamizole"),
     ("cephazolin", "cefazolin"), ("frusemide", "furosemide"), ("acetaminophen", "paracetamol")],
)  # fmt: skip
@pytest.mark.parametrize("naming", ["INN", "BAN"])
def test_an_allergy_told_by_another_name_is_found(allergy: str, drug: str, naming: str) -> None:
    """U15: the owner says the name on the label at home, whatever list the hospital reads."""
    from dataclasses import replace

    from small_house import Telling
    from spiracle.case import events as ev
    from spiracle.case.allergies import allergy_to

    told = Telling(kg="10")
    told.tell(ev.AllergiesAsked, allergies=(allergy,))
    facts = replace(told.facts, drugs=told.facts.drugs.with_names(naming))
    assert allergy_to(told.case, drug, facts) == allergy
    assert allergy_to(told.case, "maropitant", facts) == ""
