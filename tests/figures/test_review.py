"""The careful second reader's 56 findings on the drug figures: each is honoured, or says in words where it is.

The reader's grades: A could kill in ordinary use, B could injure, C misleads or blocks good care, D tidy up.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from shelf import formulary, ready, weighing
from spiracle.doors.tables import load_facts
from spiracle.drugs import DoseRow, LocalDose, Prepared, cumulative, local_budget, reverse
from spiracle.drugs.surface import body_surface, surface_dose_per_kg
from spiracle.quantity import Quantity
from spiracle.refusals import AskAgain, Contradiction, Missing, NotAllowed, NotMeasurable, OverLimit, Unknown
from spiracle.source import Zone

NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
FINDINGS: dict[int, Callable[[], None]] = {}
BOTH = ("dog", "cat")


def finding(number: int) -> Callable[[Callable[[], None]], Callable[[], None]]:
    def keep(check: Callable[[], None]) -> Callable[[], None]:
        FINDINGS[number] = check
        return check

    return keep


def never(*row_ids: str) -> None:
    """Rows that are kept as a warning: not in the picker, refused by name if asked for by id, and saying why."""
    for row_id in row_ids:
        row = formulary().row(row_id)
        assert row.pick == "never" and row.pick_why, row_id
        assert row_id not in {r.id for r in formulary().pickable(row.species)}


def stop(row_id: str, at: str, unit: str) -> None:
    row = formulary().row(row_id)
    assert any(
        s.at.equals(Quantity.of(at, unit))
        for s in row.stops
        if s.at.unit.dimension == Quantity.of(1, unit).unit.dimension
    )


def default(drug: str, species: str, purpose: str, route: str) -> DoseRow:
    row = formulary().default(drug, species, purpose, route)
    assert row is not None
    return row


def over(made: Prepared) -> None:
    """Forbidden without a veterinarian's word."""
    assert made.zone is Zone.FORBIDDEN and isinstance(made.refusal, (OverLimit, AskAgain)) and made.volume is None


def asks(row_id: str, word: str) -> None:
    assert any(word in q for q in formulary().row(row_id).ask), row_id


@finding(1)
def propofol_ceiling_is_no_dose() -> None:
    for species in BOTH:
        (ceiling,) = formulary().figures("ceiling", species, "propofol")
        assert ceiling.high == 24 and ceiling.pick == "never"
        assert all(r.high.number("mg/kg") <= 10 for r in formulary().rows("propofol", species, "induction"))
        asks(default("propofol", species, "induction", "IV").id, "benzyl alcohol")


@finding(2)
def alpha2_label_doses_are_locked() -> None:
    never("dexmedetomidine-cat-sedation-or-premedication-im", "medetomidine-cat-sedation-im-sc",
          "medetomidine-cat-premedication-im", "medetomidine-dog-sedation-im-iv", "medetomidine-dog-premedication-im-iv")  # fmt: skip
    surface = formulary().figures("surface", "dog")
    assert {f.drug for f in surface} >= {"dexmedetomidine", "medetomidine"} and all(f.pick == "never" for f in surface)
    for drug, species, route, limit in (("dexmedetomidine", "dog", "IM", "10"), ("dexmedetomidine", "cat", "IV", "5"),
                                        ("medetomidine", "dog", "IM", "20"), ("medetomidine", "dog", "IV", "10")):  # fmt: skip
        for row in formulary().rows(drug, species, "premedication", route):
            hard = row.guardrail(Decimal(10)).hard_high
            assert hard is None or hard <= Quantity.of(limit, "mcg/kg")
            assert row.high <= Quantity.of(limit, "mcg/kg")
    over(ready("dexmedetomidine", "cat", "premedication", "IM", "40 mcg/kg", "4", strength="0.5 mg/mL", confirmed=True))


@finding(3)
def epinephrine_is_split_by_route_and_pulse() -> None:
    never("epinephrine-dog-emergency-anaphylaxis-im-iv", "epinephrine-cat-emergency-anaphylaxis-im-iv")
    for species in BOTH:
        muscle = default("epinephrine", species, "anaphylaxis", "IM")
        assert muscle.routes == ("IM",) and muscle.usual_high.equals(Quantity.of("0.01", "mg/kg"))
        vein = formulary().rows("epinephrine", species, "anaphylaxis", "IV")
        pushes = [r for r in vein if not r.infusion]
        assert pushes and all(r.high <= Quantity.of("0.003", "mg/kg") and r.memory and not r.default for r in pushes)
        assert all(r.guardrail(Decimal(5)).hard_high == Quantity.of("0.01", "mg/kg") for r in pushes)


@finding(4)
def amiodarone_is_not_for_dogs() -> None:
    never("amiodarone-dog-antiarrhythmic-iv-over-10-min", "amiodarone-dog-antiarrhythmic-cri-iv",
          "amiodarone-dog-cpr-refractory-vf-or-pulseless-vt-iv-io")  # fmt: skip
    assert not formulary().rows("amiodarone", "dog")
    assert any(f.species == "dog" for f in formulary().figures("never", "dog", "amiodarone"))
    asks("amiodarone-cat-cpr-refractory-vf-or-pulseless-vt-iv-io", "Polysorbate")


@finding(5)
def insulin_of_the_cat() -> None:
    never("insulin_regular-cat-emergency-hyperkalaemia-iv", "insulin_regular-dog-emergency-hyperkalaemia-iv")
    cat = default("insulin_regular", "cat", "hyperkalaemia", "IV")
    assert (str(cat.usual_low), str(cat.usual_high)) == ("0.1 IU/kg", "0.25 IU/kg")
    over(ready("insulin", "cat", "hyperkalaemia", "IV", "0.6 IU/kg", "4", strength="100 IU/mL", confirmed=True))
    asks(cat.id, "U-40")
    asks(cat.id, "Dextrose")


@finding(6)
def ketamine_of_two_species_in_one_span() -> None:
    never("ketamine-dog-premedication-im", "ketamine-cat-premedication-im")
    over(ready("ketamine", "dog", "premedication", "IM", "20 mg/kg", "10", confirmed=True))
    sole = [c for c in formulary().cautions_of("ketamine", "dog") if "sole agent" in c.condition]
    assert sole and sole[0].severity == "never"


@finding(7)
def tiletamine_steps_and_ceilings() -> None:
    steps = [
        r for s in BOTH for r in formulary().every("tiletamine_zolazepam", s) if "sedation or anaesthesia" in r.purpose
    ]
    assert len(steps) == 8 and all(r.pick == "never" for r in steps)
    assert all(s.at.value != 72 for sp in BOTH for r in formulary().every("tiletamine_zolazepam", sp) for s in r.stops)
    for species, mg_kg in (("dog", "26.4"), ("cat", "15")):
        dose = LocalDose(drug="tiletamine_zolazepam", amount=Quantity.of(Decimal(mg_kg) * 10, "mg"), at=NOW)
        found = cumulative("tiletamine and zolazepam", [dose], weighing("10"), species, formulary(), NOW)
        assert found.percent == 100
    stop("tiletamine_zolazepam-dog-sedation-in-already-sedated-animal-im", "10", "mg/kg")


@finding(8)
def atipamezole_from_micrograms_only() -> None:
    assert all(f.pick == "never" for f in formulary().figures("surface", "dog", "atipamezole"))
    assert not [r for r in formulary().rows("atipamezole", "dog") if "m2" in str(r.unit)]
    found = reverse("dexmedetomidine", Quantity.of(40, "mcg"), Decimal(20), "dog", weighing("20"), formulary())
    assert found.high is not None and found.high.number("mcg") == 400  # 2791 by the label's body surface: seven times
    assert not found.over_stop and any("0.3 mg/kg" in h for h in found.working.held)
    soon = reverse("dexmedetomidine", Quantity.of(40, "mcg"), Decimal(20), "dog", weighing("20"), formulary(),
                   ketamine_minutes=Decimal(39))  # fmt: skip
    assert isinstance(soon.refusal, NotAllowed)


@finding(9)
def local_anaesthetics_leave_room() -> None:
    for row in (r for r in formulary().all_rows() if r.purpose == "local block max total"):
        hard = row.guardrail(Decimal(10)).hard_high
        assert hard is not None and row.usual_high < hard, row.id
    budget = next(b for b in formulary().budgets if b.id == "local anaesthetic")
    assert budget.warn_percent == 70 and budget.window_h["lidocaine"] == 6 and budget.window_h["bupivacaine"] == 8
    assert budget.memory and "bupivacaine_liposomal" not in budget.drugs
    assert any("bupivacaine_liposomal" in b.drugs for b in formulary().budgets)


@finding(10)
def an_infusion_and_a_rhythm_dose_are_not_blocked() -> None:
    block = LocalDose(drug="lidocaine", amount=Quantity.of(40, "mg"), at=NOW, route="perineural")
    drip = LocalDose(drug="lidocaine", amount=Quantity.of(100, "mg"), at=NOW, route="IV", infusion=True)
    found = local_budget([block, drip], weighing("10"), "dog", formulary(), NOW)
    assert found.percent == 80 and found.apart
    made = ready("lidocaine", "dog", "arrhythmia", "IV", "2 mg/kg", "10", strength="20 mg/mL")
    assert made.refusal is None and made.row is not None and made.row.emergency
    vein = next(b for b in formulary().budgets if b.id == "lidocaine by vein")
    assert vein.ask


@finding(11)
def undiluted_sugar_is_not_drawn_up() -> None:
    never("dextrose_50-dog-emergency-hypoglycaemia-iv", "dextrose_50-cat-emergency-hypoglycaemia-iv")
    for species in BOTH:
        assert isinstance(ready("dextrose_50", species, "hypoglycaemia", "IV", "1 mL/kg", "5").refusal, OverLimit)
        (row,) = formulary().rows("dextrose_10", species, "hypoglycaemia", "IV")
        assert row.low.number("mL/kg") == Decimal("2.5") and row.high.number("mL/kg") == Decimal("7.5")


@finding(12)
def potassium_has_a_ceiling_and_no_bolus() -> None:
    for species in BOTH:
        assert isinstance(ready("potassium", species, "hypokalaemia", "IV", "0.5 mEq/kg", "5").refusal, OverLimit)
        stop(f"potassium_chloride-{species}-hypokalaemia-supplement-iv", "0.5", "mEq/kg/h")
        over(ready("potassium", species, "hypokalaemia", "IV", "0.6 mEq/kg/h", "5", confirmed=True))
    asks("potassium_chloride-cat-hypokalaemia-supplement-iv", "bolus")


@finding(13)
def fluid_boluses_of_the_cat() -> None:
    never("isotonic_crystalloid-cat-fluid-bolus-hypotension-iv", "isotonic_crystalloid-cat-fluid-bolus-hypotension-iv-2",
          "isotonic_crystalloid-cat-fluid-bolus-anaphylaxis-iv-over-15-to-30-min",
          "isotonic_crystalloid-cat-shock-fluid-total-in-quarters-iv")  # fmt: skip
    row = default("isotonic_crystalloid", "cat", "fluid bolus", "IV")
    assert (row.usual_low.value, row.usual_high.value) == (3, 5) and row.give_over_min == (15, 20)
    over(ready("crystalloid", "cat", "fluid bolus", "IV", "11 mL/kg", "4"))
    asks(row.id, "Lungs")
    dose = LocalDose(drug="isotonic_crystalloid", amount=Quantity.of(41, "mL"), at=NOW, purpose="fluid bolus")
    assert cumulative("fluid boluses", [dose], weighing("4"), "cat", formulary(), NOW).state == "ask"


@finding(14)
def hypertonic_saline_has_time_strength_and_a_stop() -> None:
    for species, most in (("dog", "5"), ("cat", "4")):
        never(f"hypertonic_saline-{species}-emergency-raised-intracranial-pressure-or-hypovolaemia-iv")
        row_id = f"hypertonic_saline-{species}-emergency-hypovolaemia-iv-over-5-to-10-min"
        stop(row_id, most, "mL/kg")
        stop(row_id, "1", "mL/kg/min")
        assert formulary().row(row_id).give_over_min == (5, 10)
        strong = ready(
            "hypertonic_saline", species, "hypovolaemia", "IV", "1 mL/kg", "8", conditions=("23.4 % strength",)
        )
        assert isinstance(strong.refusal, OverLimit)
        plain = ready("hypertonic_saline", species, "hypovolaemia", "IV", "3 mL/kg", "8")
        assert plain.refusal is None


@finding(15)
def calcium_salts_take_time() -> None:
    for species in BOTH:
        row = default("calcium_gluconate", species, "hyperkalaemia", "IV")
        assert row.give_over_min == (10, 20) and row.lasts_min == (20, 30)
        stop(row.id, "1.5", "mL/kg")
        (chloride,) = formulary().rows("calcium_chloride", species)
        stop(chloride.id, "0.56", "mL/kg")
        assert chloride.high.value == Decimal("0.5") and chloride.give_over_min == (10, 30)
        asks(row.id, "calcium salts")


@finding(16)
def fentanyl_infusions_say_awake_or_asleep() -> None:
    never("fentanyl-dog-cri-iv", "fentanyl-cat-cri-under-anaesthesia-iv")
    tops = {
        ("dog", "awake"): 10,
        ("dog", "under anaesthesia"): 20,
        ("cat", "awake"): 5,
        ("cat", "under anaesthesia"): 10,
    }
    for (species, state), top in tops.items():
        made = ready(
            "fentanyl", species, "analgesia", "IV", f"{top + 1} mcg/kg/h", "5", conditions=(state,), confirmed=True
        )
        assert made.row is not None and state in made.row.conditions
        over(made)
    unsaid = ready("fentanyl", "dog", "analgesia", "IV", "5 mcg/kg/h", "5")
    assert unsaid.row is not None and "awake" in unsaid.row.conditions


@finding(17)
def epidural_morphine_is_preservative_free() -> None:
    never("morphine-dog-epidural-epidural")
    assert isinstance(ready("morphine", "dog", "epidural", "epidural", "0.1 mg/kg", "10").refusal, Unknown)
    row = default("morphine_preservative_free", "dog", "epidural", "epidural")
    asks(row.id, "preservative-free")
    stop(row.id, "0.2", "mg/kg")
    volumes = formulary().figures("volume_rule", "dog", "epidural_injectate")
    assert {(s.at, s.unit) for f in volumes for s in f.stops} >= {(Decimal("0.2"), "mL/kg"), (Decimal(6), "mL/animal")}


@finding(18)
def a_tube_is_dosed_by_the_tube() -> None:
    never("buprenorphine-cat-analgesia-20-mg-ml-topical-product-only-topical-skin")
    for kg, mg in (("2.5", 8), ("6", 20)):
        made = ready("buprenorphine", "cat", "analgesia", "skin", f"{mg} mg/animal", kg)
        assert made.refusal is None and str(made.amount) == f"{mg} mg"
        assert made.strength is not None and made.strength.text == "20 mg/mL" and made.memory
        over(ready("buprenorphine", "cat", "analgesia", "skin", "50 mg/animal", kg, confirmed=True))


@finding(19)
def naloxone_is_titrated() -> None:
    never("naloxone-dog-reversal-iv-im-sc", "naloxone-cat-reversal-iv-im")
    for species in BOTH:
        row = default("naloxone", species, "reversal", "IV")
        assert row.usual_high.equals(Quantity.of("0.005", "mg/kg")) and row.memory
        asks(row.id, "Heart beating")


@finding(20)
def morphine_of_the_cat() -> None:
    never("morphine-cat-cri-iv")
    assert formulary().row("morphine-cat-premedication-or-analgesia-bolus-im-sc-iv").routes == ("IM", "SC")
    stop("morphine-cat-cri-usual-iv", "0.1", "mg/kg/h")
    assert default("morphine", "cat", "analgesia", "IV").usual_high.value <= Decimal("0.05")


@finding(21)
def field_extremes_are_no_plan() -> None:
    never("alfaxalone-cat-induction-premedicated-iv", "alfaxalone-cat-induction-no-premedication-iv",
          "alfaxalone-dog-induction-premedicated-iv-2", "alfaxalone-dog-induction-no-premedication-iv-2",
          "propofol-cat-induction-no-premedication-iv")  # fmt: skip
    for drug, species, dose in (("alfaxalone", "dog", "4.6"), ("alfaxalone", "cat", "5.1"), ("propofol", "dog", "7.1"),
                                ("propofol", "cat", "10.1")):  # fmt: skip
        over(ready(drug, species, "induction", "IV", f"{dose} mg/kg", "5", confirmed=True))
    assert any(s.ask for s in default("alfaxalone", "cat", "induction", "IV").stops)


@finding(22)
def propofol_infusions_are_split_by_species() -> None:
    never("propofol-dog-maintenance-cri-iv", "propofol-cat-maintenance-cri-iv")
    over(ready("propofol", "cat", "maintenance", "IV", "0.31 mg/kg/min", "4", confirmed=True))
    over(ready("propofol", "dog", "maintenance", "IV", "0.61 mg/kg/min", "10", confirmed=True))
    forms = [c for c in formulary().cautions_of("propofol", "cat") if "by infusion" in c.condition]
    assert forms and forms[0].severity == "never"


@finding(23)
def dexmedetomidine_infusions_stop_at_three() -> None:
    for species in BOTH:
        never(f"dexmedetomidine-{species}-cri-iv")
        over(
            ready(
                "dexmedetomidine", species, "sedation", "IV", "3.1 mcg/kg/h", "5", strength="0.5 mg/mL", confirmed=True
            )
        )


@finding(24)
def the_larynx_of_a_kitten() -> None:
    row = default("lidocaine", "cat", "larynx", "topical")
    hard = row.guardrail(Decimal("0.8")).hard_high
    assert hard is not None and hard.equals(Quantity.of("1.6", "mg/animal"))
    over(ready("lidocaine", "cat", "larynx", "topical", "2 mg/animal", "0.8", strength="20 mg/mL"))
    dose = LocalDose(drug="lidocaine", amount=Quantity.of(2, "mg"), at=NOW, route="topical")
    assert local_budget([dose], weighing("4"), "cat", formulary(), NOW).percent > 0


@finding(25)
def lidocaine_of_the_cat_takes_the_lower_set() -> None:
    row = default("lidocaine", "cat", "arrhythmia", "IV")
    stop(row.id, "2", "mg/kg")
    asks(row.id, "Heart disease")
    rates = [r for r in formulary().rows("lidocaine", "cat") if r.infusion]
    assert rates and all(r.high.number("mcg/kg/min") <= 15 for r in rates)


@finding(26)
def starch_of_the_cat() -> None:
    never("colloid_hes-cat-fluid-bolus-hypotension-iv")
    row = default("colloid_hes", "cat", "fluid bolus", "IV")
    assert row.usual_high.value == 3
    stop(row.id, "10", "mL/kg")
    starch = [c for c in formulary().cautions_of("colloid_hes", "cat") if "kidney" in c.condition]
    assert starch and "kidney-disease" in starch[0].when


@finding(27)
def lipid_asks_at_twelve() -> None:
    dose = LocalDose(drug="lipid_emulsion_20", amount=Quantity.of(61, "mL"), at=NOW)
    found = cumulative("lipid emulsion", [dose], weighing("5"), "dog", formulary(), NOW)
    assert found.state == "ask" and found.ask
    assert all(r.emergency for s in BOTH for r in formulary().rows("lipid_emulsion_20", s))


@finding(28)
def pressors_have_a_start() -> None:
    never("norepinephrine-dog-vasopressor-inotrope-cri-iv", "norepinephrine-cat-vasopressor-inotrope-cri-iv",
          "vasopressin-dog-vasopressor-inotrope-cri-iv", "vasopressin-cat-vasopressor-inotrope-cri-iv",
          "phenylephrine-cat-vasopressor-inotrope-cri-iv", "epinephrine-cat-vasopressor-inotrope-cri-iv")  # fmt: skip
    for species in BOTH:
        row = default("norepinephrine", species, "blood pressure", "IV")
        assert row.usual_low.equals(Quantity.of("0.05", "mcg/kg/min"))
        stop(row.id, "2", "mcg/kg/min")
        (vasopressin,) = formulary().rows("vasopressin", species, "blood pressure", "IV")
        assert vasopressin.usual_low.equals(Quantity.of("0.5", "mIU/kg/min"))
        stop(vasopressin.id, "5", "mIU/kg/min")
    stop("phenylephrine-dog-vasopressor-inotrope-cri-iv", "5", "mcg/kg/min")


@finding(29)
def no_volume_under_a_twentieth_of_a_millilitre() -> None:
    assert formulary().fineness.least_volume.equals(Quantity.of("0.05", "mL"))
    for drug, dose, strength in (("ephedrine", "0.1 mg/kg", "50 mg/mL"), ("phenylephrine", "1 mcg/kg", "10 mg/mL")):
        made = ready(drug, "cat", "blood pressure", "IV", dose, "4", strength=strength)
        assert made.dilution is not None and made.drawn is not None and made.drawn.value >= Decimal("0.05")
    kept = ready("diazepam", "cat", "co-induction", "IV", "0.1 mg/kg", "0.5")
    assert isinstance(kept.refusal, NotMeasurable)


@finding(30)
def hydromorphone_of_the_cat() -> None:
    row = default("hydromorphone", "cat", "premedication", "IM")
    assert row.usual_high.equals(Quantity.of("0.05", "mg/kg"))
    over(ready("hydromorphone", "cat", "premedication", "IM", "0.11 mg/kg", "4", strength="2 mg/mL", confirmed=True))
    fever = [c for c in formulary().cautions_of("hydromorphone", "cat") if "40 C" in c.statement]
    assert fever


@finding(31)
def furosemide_label_row_is_kept_away() -> None:
    for species, most in (("dog", "4"), ("cat", "2")):
        never(f"furosemide-{species}-emergency-pulmonary-oedema-im-iv")
        for row in formulary().rows("furosemide", species, "pulmonary oedema", "IV"):
            if not row.infusion:
                assert row.high <= Quantity.of(most, "mg/kg")
        over(ready("furosemide", species, "pulmonary oedema", "IV", f"{most}.1 mg/kg", "5", confirmed=True))


@finding(32)
def esmolol_is_given_over_minutes() -> None:
    for species in BOTH:
        (row,) = (r for r in formulary().rows("esmolol", species, "arrhythmia") if not r.infusion)
        assert row.give_over_min == (5, 5)
        stop(row.id, "500", "mcg/kg")
        (arrest,) = (r for r in formulary().rows("esmolol", species, "arrest") if not r.infusion)
        assert arrest.give_over_min is not None and arrest.give_over_min[1] == 10


@finding(33)
def routes_are_split() -> None:
    never("methadone-dog-premedication-or-analgesia-bolus-sc-im-iv", "methadone-dog-premedication-or-analgesia-bolus-iv-im",
          "methadone-cat-premedication-or-analgesia-bolus-iv-im", "medetomidine-dog-premedication-im-iv")  # fmt: skip
    for species in BOTH:
        muscle = default("methadone", species, "premedication", "IM")
        vein = default("methadone", species, "premedication", "IV")
        assert muscle.routes == ("IM",) and vein.routes == ("IV",) and vein.usual_high < muscle.usual_high


@finding(34)
def meloxicam_of_the_cat() -> None:
    never("meloxicam-cat-nsaid-us-sc", "meloxicam-cat-nsaid-eu-sc")
    row = default("meloxicam", "cat", "anti-inflammatory", "SC")
    assert row.usual_high.equals(Quantity.of("0.2", "mg/kg"))
    stop(row.id, "0.3", "mg/kg")
    asks(row.id, "Kidneys")


@finding(35)
def acepromazine_has_a_cap() -> None:
    never("acepromazine-cat-premedication-im-iv")
    row = default("acepromazine", "cat", "premedication", "IM")
    hard = row.guardrail(Decimal(25)).hard_high
    assert hard is not None and hard.equals(Quantity.of("0.04", "mg/kg"))
    for condition, row_id in (("boxer", "acepromazine-dog-premedication-boxer-im"),
                              ("abcb1-mutation", "acepromazine-dog-premedication-abcb1-mutation-im")):  # fmt: skip
        made = ready(
            "acepromazine",
            "dog",
            "premedication",
            "IM",
            "0.01 mg/kg",
            "20",
            strength="2 mg/mL",
            conditions=(condition,),
        )
        assert made.row is not None and made.row.id == row_id


@finding(36)
def oxymorphone_per_animal_is_a_trap() -> None:
    bands = [r for s in BOTH for r in formulary().every("oxymorphone", s) if "animal" in str(r.unit)]
    assert len(bands) == 6 and all(r.pick == "never" for r in bands)


@finding(37)
def maropitant_by_vein_takes_two_minutes() -> None:
    for species in BOTH:
        assert default("maropitant", species, "antiemetic", "SC").routes == ("SC",)
        (vein,) = formulary().rows("maropitant", species, "antiemetic", "IV")
        assert vein.give_over_min == (2, 2) and vein.give_how == "or longer"


@finding(38)
def toxic_figures_are_no_doses() -> None:
    toxic = formulary().figures("toxic")
    assert len(toxic) == 4 and all(f.pick == "never" for f in toxic)
    cats = [f for f in toxic if f.species == "cat"]
    assert all("lightly anaesthetised" in f.note and "Never derive a limit" in f.note for f in cats)


@finding(39)
def the_vial_is_asked_for() -> None:
    for drug, wanted in (("atropine", "15 mg/mL"), ("xylazine", "300 mg/mL"), ("hydromorphone", "10 mg/mL"),
                         ("dexmedetomidine", "0.05 mg/mL"), ("insulin_regular", "40 IU/mL"), ("morphine", "50 mg/mL")):  # fmt: skip
        assert wanted in {s.text for s in formulary().drug(drug).strengths}
    farm = ready("atropine", "dog", "anticholinergic", "IM", "0.02 mg/kg", "10", strength="15 mg/mL")
    assert isinstance(farm.refusal, OverLimit) and "not a vial for dogs and cats" in farm.refusal.says
    assert isinstance(ready("atropine", "dog", "anticholinergic", "IM", "0.02 mg/kg", "10").refusal, Missing)


@finding(40)
def contraindications_are_rows() -> None:
    every = {c.id for d in formulary().drugs for s in BOTH for c in formulary().cautions_of(d.id, s)}
    assert len(every) >= 200
    for drug, condition in (("etomidate", "adrenal-insufficiency"), ("acepromazine", "hypovolaemia"),
                            ("carprofen", "steroid-recent"), ("tramadol", "mao-inhibitor")):  # fmt: skip
        assert any(condition in c.when and c.stops for c in formulary().cautions_of(drug, "dog"))


@finding(41)
def oral_sedation_of_the_cat_is_by_weight() -> None:
    never("gabapentin-cat-anxiolysis-pre-visit-po")
    row = default("gabapentin", "cat", "anxiolysis", "PO")
    stop(row.id, "30", "mg/kg")
    over(ready("gabapentin", "cat", "anxiolysis", "PO", "100 mg", "2", confirmed=True))
    asks("trazodone-cat-anxiolysis-pre-visit-po", "Weigh")


@finding(42)
def one_number_down_the_tube() -> None:
    for species in BOTH:
        (row,) = formulary().rows("epinephrine", species, "arrest", "intratracheal")
        assert row.usual_low.equals(row.usual_high) and row.usual_high.equals(Quantity.of("0.02", "mg/kg"))


@finding(43)
def a_shock_asks_above_four() -> None:
    (dog,) = (f for f in formulary().figures("shock", "dog") if f.routes == ("external biphasic",))
    assert dog.usual == (2, 4) and any(s.at == 4 and s.ask for s in dog.stops)
    assert not [r for r in formulary().pickable("dog") if r.drug == "defibrillation"]


@finding(44)
def etomidate_stops_at_three() -> None:
    for species in BOTH:
        assert default("etomidate", species, "induction", "IV").usual_high.value == 2
        for row in formulary().rows("etomidate", species, "induction"):
            stop(row.id, "3", "mg/kg")


@finding(45)
def mac_is_no_depth() -> None:
    mac = formulary().figures("mac")
    assert len(mac) == 6 and all(f.pick == "never" for f in mac)
    dog = [f for f in mac if f.species == "dog" and f.drug in {"isoflurane", "sevoflurane"}]
    assert all("depth is never labelled" in f.note for f in dog)


@finding(46)
def label_bands_of_the_cat_are_not_computed() -> None:
    """The bands span 25 to 50 mcg/kg; nothing here works a dose from them."""
    assert 100 * Decimal("0.5") / 1 == 50 and 100 * Decimal("0.5") / 2 == 25
    assert all("band" not in r.purpose for r in formulary().every("dexmedetomidine", "cat"))


@finding(47)
def one_formula_of_body_surface() -> None:
    """K 10.0 gives 0.252 m2 at 4 kg; 500 mcg/m2 in a 3 kg dog is 35 mcg/kg (the reader's own arithmetic)."""
    assert round(body_surface(Decimal(4), Decimal("10.0")).value, 3) == Decimal("0.252")
    at = surface_dose_per_kg(Quantity.of(500, "mcg/m2"), Decimal(3), Decimal("10.1"))
    assert round(at.value) == 35


@finding(48)
def a_transfusion_asks_above_twenty() -> None:
    with pytest.raises(AskAgain):
        load_facts().circulation.transfusion("dog", Decimal(13), Decimal(10), Decimal(30), Decimal(42))
    asked = [s for s in formulary().row("whole_blood-dog-anaemia-or-blood-loss-volume-iv-through-filter").stops]
    assert any(s.at.equals(Quantity.of(20, "mL/kg")) for s in asked)


@finding(49)
def the_allowable_loss_is_linear() -> None:
    """800 by the linear form, 1058 by the logarithmic: blood volume × (45 - 27) / 45."""
    circulation = load_facts().circulation
    volume = circulation.blood_volume("dog", Decimal(20)).value.number("mL")
    loss = circulation.allowable_loss("dog", Decimal(20), Decimal(45), Decimal(27)).value.number("mL")
    assert abs(loss - volume * (45 - 27) / 45) < Decimal("0.01")


@finding(50)
def a_doppler_reading_is_not_corrected() -> None:
    """Nothing in the rooms turns a Doppler reading into a mean: circulation has one formula of the mean, of SAP and DAP."""
    from spiracle.circulation import checks

    assert not [key for key in checks.CHECKS if "doppler" in key.lower()]


@finding(51)
def trazodone_of_the_dog_starts_lower() -> None:
    row = formulary().row("trazodone-dog-anxiolysis-pre-visit-po")
    assert (row.usual_low.value, row.usual_high.value) == (3, 7) and row.memory
    asks(row.id, "serotonergic")


@finding(52)
def study_rates_are_never_offered() -> None:
    flagged = [r for r in formulary().all_rows() if r.flag in {"study-rates", "historic-label", "do-not-use"}]
    assert flagged and all(r.pick == "never" for r in flagged)


@finding(53)
def the_note_on_cats_stands_with_cats() -> None:
    drug = formulary().drug("lidocaine")
    assert "cats" not in drug.note_dog and "cats" in drug.note_cat


@finding(54)
def dexamethasone_says_which() -> None:
    for species in BOTH:
        for row in formulary().rows("dexamethasone_sp", species):
            asks(row.id, "Phosphate")


@finding(55)
def carprofen_of_the_cat_has_its_source() -> None:
    never("carprofen-cat-nsaid-sc-iv")
    row = formulary().row("carprofen-cat-nsaid-label-sc-iv")
    assert "memory" not in row.sources and row.pick == "deliberate"
    stop(row.id, "4", "mg/kg")


@finding(56)
def what_is_not_a_dose_is_not_in_the_picker() -> None:
    tops = {"mg", "mcg", "g", "IU", "mIU", "mEq", "mL", "puff"}
    for row in (r for s in BOTH for r in formulary().pickable(s)):
        top, *under = str(row.unit).split("/")
        assert top in tops and set(under) <= {"kg", "animal", "h", "min"} and row.high.value > 0, row.id
        assert "toxic reference" not in row.purpose and row.flag != "do-not-use"


@pytest.mark.parametrize("number", range(1, 57), ids=lambda n: f"finding-{n:02d}")
def test_a_finding_is_honoured(number: int) -> None:
    """U30: each finding of a second reader is a requirement."""
    FINDINGS[number]()


def test_a_named_row_of_another_species_is_a_contradiction() -> None:
    made = ready("propofol", "cat", "induction", "IV", "4 mg/kg", "4", row="propofol-dog-induction-iv")
    assert isinstance(made.refusal, Contradiction)
