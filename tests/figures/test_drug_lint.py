"""The lint of the drug tables: silent on the tables as shipped, and each rule finds the fault it is for in a broken copy."""

from __future__ import annotations

from functools import lru_cache

import msgspec
import pytest

from shelf import texts
from spiracle.doors.tables import load_facts
from spiracle.drugs.formulary import drug_file
from spiracle.drugs.lint import EMERGENCIES, faults
from spiracle.drugs.table import DrugFile


@lru_cache(maxsize=1)
def shipped() -> dict[str, str]:
    return texts("drugs-")


@lru_cache(maxsize=1)
def conditions() -> tuple[str, ...]:
    return tuple(row.id for row in load_facts().patient.conditions)


def with_change(table: str, was: str, becomes: str, after: str = "") -> DrugFile:
    """The shipped tables with one stretch of one table replaced: the first one after `after`."""
    text = shipped()[table]
    start = text.index(after) if after else 0
    at = text.index(was, start)
    return drug_file({**shipped(), table: text[:at] + becomes + text[at + len(was) :]})


def test_the_tables_as_shipped_have_no_fault() -> None:
    """U26, U30: every rule over every row."""
    assert faults(drug_file(shipped()), conditions()) == ()


SEEDED = [
    # a reversible drug without a reversal, or one whose reversal has no row for its species
    ("drugs-sedatives", 'reversal = "atipamezole"\n', "", 'id = "dexmedetomidine"', "is reversible and names no reversal"),
    ("drugs-opioids", 'reversal = "naloxone"', 'reversal = "edrophonium"', 'id = "methadone"',
     "edrophonium has no row for a cat"),
    # a controlled drug without its class
    ("drugs-induction", 'controlled = "C-III"\n', "", 'id = "ketamine"', "ketamine: is a controlled drug and has no class"),
    ("drugs-induction", 'controlled = "C-IV"\n', "", 'id = "alfaxalone"', "alfaxalone: is a controlled drug and has no class"),
    # a unit that cannot be a dose
    ("drugs-sedatives", 'unit = "mcg/kg"', 'unit = "mmHg"', 'id = "dexmedetomidine-dog-sedation-or-premedication-im"',
     "in mmHg cannot be a dose"),
    ("drugs-sedatives", 'unit = "mcg/kg"', 'unit = "mg/mL"', 'id = "dexmedetomidine-dog-sedation-or-premedication-im"',
     "in mg/mL cannot be a dose"),
    # a limit without a source, and one from memory that does not say so
    ("drugs-circulation", 'sources = ["sa_sheet2022", "practical_methods", "rishniw1999"], why', "sources = [], why",
     'id = "atropine-dog-anticholinergic-iv-im-sc"', "its limit 0.04 mg/kg has no source"),
    ("drugs-circulation", 'basis = "single", memory = true, sources = ["memory"]', 'basis = "single", sources = ["memory"]',
     'id = "glycopyrrolate-dog-anticholinergic-premedication', "is from memory and does not say so"),
    # the usual range outside the hard range
    ("drugs-circulation", "usual = [0.02, 0.04]", "usual = [0.02, 0.4]", 'id = "atropine-dog-anticholinergic-iv-im-sc"',
     "usual top 0.4 mg/kg is over its limit 0.04 mg/kg"),
    ("drugs-circulation", 'usual_cap = { at = 0.5, unit = "mg/animal" }\n', "",
     'id = "epinephrine-dog-emergency-anaphylaxis-by-muscle-im"', "over its limit 0.5 mg/animal at 80 kg"),
    ("drugs-circulation", "usual = [0.02, 0.04]", "usual = [0.04, 0.02]", 'id = "atropine-dog-anticholinergic-iv-im-sc"',
     "runs backwards"),
    # a row without a route or purpose of the lists
    ("drugs-circulation", 'routes = ["IV", "IM", "SC"]', 'routes = ["into the ear"]', "", "its route into the ear is not on the list"),
    ("drugs-circulation", 'routes = ["IV", "IM", "SC"]', "routes = []", "", "its route is missing"),
    ("drugs-circulation", 'purposes = ["anticholinergic", "premedication"]', 'purposes = ["tidying"]', "",
     "its purpose tidying is not on the list"),
    ("drugs-sedatives", 'conditions = ["Boxer"]', 'conditions = ["green eyes"]', "", "its condition 'green eyes' is not on the list"),
    # an emergency that would be blocked, and a first row without a limit
    ("drugs-circulation", "emergency = true\n", "", 'id = "epinephrine-dog-cpr-iv-io"', "would be blocked by its limits"),
    ("drugs-circulation", 'pick = "deliberate"', 'pick = "default"', 'id = "vasopressin-dog-cpr-iv-io"',
     "is shown first and has no limit"),
    # conditions that no animal can have, and a stop that says for nobody
    ("drugs-cautions", '"dehydration"', '"dehidration"', "", "'dehidration' is not a condition an animal can have"),
    ("drugs-cautions", 'when = ["dehydration", "hypovolaemia", "shock"]\n', "", "", "does not say in which animal"),
    # a ceiling that names a row that is not there, or of another drug
    ("drugs-budgets", '"lidocaine-dog-local-block-max-total-infiltration-or-perineural"', '"lidocaine-dog-nowhere"', "",
     "'lidocaine-dog-nowhere' is not a row"),
    ("drugs-budgets", '"lidocaine-dog-local-block-max-total-infiltration-or-perineural"', '"atropine-dog-cpr-iv-io"', "",
     "is of a drug it does not count"),
    ("drugs-budgets", 'exempt = ["arrest"]', 'exempt = ["arest"]', "", "nothing is given for 'arest'"),
    ("drugs-budgets", 'drug = "lidocaine"\nspecies', 'drug = "lidocain"\nspecies', "", "'lidocain' is not a drug"),
    ("drugs-budgets", "stop_percent = 10", "stop_percent = 4", "", "a stop is no lower than a question"),
    ("drugs-budgets", 'sources = ["wilcke1983"]', "sources = []", "", "lidocaine-dog: has no source"),
    # a diluent, a strength, a drug and a row that are not there
    ("drugs-circulation", 'name = "sodium chloride 0.9 %"', 'name = "tap water"', "", "its diluent 'tap water' is not on the list"),
    ("drugs-circulation", 'text = "0.4 mg/mL"', 'text = "nearly 0.4"', "", "its strength 'nearly 0.4' cannot be read"),
    ("drugs-names", 'drug = "epinephrine"', 'drug = "epinefrin"', "", "'epinefrin' is not a drug"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "was", "becomes", "after", "said"), SEEDED, ids=[s[4] for s in SEEDED])
def test_a_broken_copy_of_a_real_row_is_found(table: str, was: str, becomes: str, after: str, said: str) -> None:
    """U26, U30: each rule finds its own fault, by name and in one sentence, and nothing else is said."""
    found = faults(with_change(table, was, becomes, after), conditions())
    assert [f for f in found if said in f], found
    assert len(found) <= 2, found
    assert all(f.endswith(".") and ": " in f for f in found)


def test_no_emergency_purpose_is_left_out_of_the_rule() -> None:
    """Every purpose whose rows are exempt now is one the rule knows, or a treatment that has time to be asked about."""
    file = drug_file(shipped())
    exempt = {p for row in file.dose if row.emergency for p in row.purposes}
    assert exempt - EMERGENCIES <= {"bronchospasm", "fluid bolus"}


def test_the_lint_changes_nothing() -> None:
    file = drug_file(shipped())
    before = msgspec.json.encode(file)
    faults(file, conditions())
    assert msgspec.json.encode(file) == before
