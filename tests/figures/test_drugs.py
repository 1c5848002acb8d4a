"""Figures of drugs against labels, guidelines and plain arithmetic printed elsewhere; each row names its source."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from shelf import formulary, order, ready, texts, weighing
from spiracle.circulation.checks import CHECKS as FLUID_CHECKS
from spiracle.drugs import (
    CHECKS,
    LocalDose,
    Stock,
    cautions,
    cumulative,
    ladder,
    local_budget,
    minutes_left,
    prepare,
    reverse,
    step_at,
)
from spiracle.quantity import Quantity
from spiracle.refusals import (
    AskAgain,
    BadTable,
    Contradiction,
    Missing,
    NotAllowed,
    NotMeasurable,
    OutOfRange,
    OverLimit,
    Unknown,
    UnlikeUnits,
)
from spiracle.source import Zone

ROWS = tomllib.loads(texts("checks-drugs")["checks-drugs"], parse_float=Decimal)["check"]
CHOICES = tomllib.loads((Path(__file__).parent / "first_choices.toml").read_text())["choice"]
FORMULAS = {**CHECKS, **FLUID_CHECKS}
NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["id"])
def test_a_published_figure_is_met(row: dict[str, Any]) -> None:
    """U30: Labels, guideline tables and reference arithmetic: the source stands in the row."""
    assert row["source"] and row["seen"]
    got = Decimal(str(FORMULAS[row["compute"]](row["inputs"])))
    assert abs(got - Decimal(row["expected"])) <= Decimal(row["tolerance"])


def test_the_figures_are_the_84_that_can_be_worked_out() -> None:
    assert len(ROWS) == 84


@pytest.mark.parametrize("choice", CHOICES, ids=lambda c: c["row"])
def test_the_first_choice_is_the_one_set_down(choice: dict[str, Any]) -> None:
    """A second reader's list of what to show first and where to stop (its words are in the row)."""
    facts = _facts(choice["row"])
    if choice["row"] == "lidocaine-cat-cri-analgesia-iv":
        assert facts.pick == "never" and (facts.low, facts.high) == (0, 0)
        return
    assert facts.pick == "default" and facts.default_for
    shown = facts.usual or (facts.low, facts.high)
    for said, found in zip(choice["usual"], shown, strict=bool(choice["usual"])):
        assert not said or Decimal(said) == found
    stops = {s.at for s in facts.stops}
    assert {Decimal(s) for s in choice["stops"]} <= stops


def _facts(row_id: str) -> Any:
    shelf = formulary()
    for kind in ("multiple", "shock", "volume_rule", "never"):
        for facts in shelf.figures(kind):
            if facts.id == row_id:
                return facts
    return shelf.row(row_id).facts


def test_the_list_of_first_choices_is_whole() -> None:
    assert len(CHOICES) == 127 == len({c["row"] for c in CHOICES})
    listed = {c["row"] for c in CHOICES}
    assert {r.id for r in formulary().all_rows() if r.default} <= listed


# ---- names


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("epinephrine", "epinephrine"), ("Adrenaline", "epinephrine"), ("meperidine", "pethidine"),
        ("lignocaine", "lidocaine"), ("noradrenaline", "norepinephrine"), ("frusemide", "furosemide"),
        ("acetaminophen", "paracetamol"), ("glycopyrronium", "glycopyrrolate"), ("dipyrone", "metamizole"),
        ("albuterol", "salbutamol_inhaled"), ("phenobarbitone", "phenobarbital"),
    ],
)  # fmt: skip
def test_a_drug_answers_to_its_other_names(said: str, meant: str) -> None:
    """International and US adopted names of the same substance (WHO INN lists; common knowledge of the trade)."""
    assert formulary().drug(said).id == meant


@pytest.mark.parametrize(
    ("said", "meant"),
    [("premed", "premedication"), ("CPR", "arrest"), ("analgesia (NSAID)", "analgesia"), ("hypotension", "blood pressure"),
     ("premedication or analgesia bolus (IM)", "premedication")],
)  # fmt: skip
def test_a_purpose_is_understood_in_the_words_people_write(said: str, meant: str) -> None:
    """Words of the trade (common practice), and the wording of the rows themselves."""
    assert formulary().purpose(said) == meant


def test_an_unknown_purpose_is_refused_with_what_there_is() -> None:
    with pytest.raises(Unknown, match="purpose"):
        formulary().purpose("luck")


def test_an_unknown_drug_is_refused_with_near_names() -> None:
    with pytest.raises(Unknown) as refused:
        formulary().drug("methadon")
    assert "methadone" in refused.value.accepts


def test_a_drug_without_a_row_for_the_species_is_refused_by_name() -> None:
    """U13: a dose of one species is never taken for another."""
    with pytest.raises(Unknown, match="cat"):
        formulary().drug("edrophonium", "cat")


def test_no_species_is_refused() -> None:
    """U13: there is no default."""
    with pytest.raises(Unknown, match="species"):
        formulary().drug("methadone", "")


# ---- from order to syringe


def test_methadone_by_hand() -> None:
    """0.3 mg/kg × 13.2 kg = 3.96 mg; 3.96 / 10 = 0.396 mL; a 1 mL syringe of 0.01 mL marks shows 0.39 mL = 3.9 mg."""
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "13.2")
    assert made.refusal is None and made.zone is Zone.USUAL
    assert (str(made.amount), str(made.drawn), str(made.delivered)) == ("3.96 mg", "0.39 mL", "3.9 mg")
    assert made.barrel is not None and made.barrel.id == "1 mL"
    assert made.error_percent == Decimal("-1.52")
    assert "0.3 mg/kg × 13.2 kg = 3.96 mg" in made.working.says and "0.01 mL mark" in made.working.says
    assert made.sources and made.memory and made.controlled == "C-II" and made.reversal == "naloxone"


def test_two_stocked_strengths_give_no_volume_until_one_is_picked() -> None:
    """U9: no volume without the vial in the hand."""
    made = ready("dexmedetomidine", "cat", "premedication", "IM", "5 mcg/kg", "4.1")
    assert isinstance(made.refusal, Missing) and made.volume is None and str(made.amount) == "20.5 mcg"
    assert "strengths are stocked" in made.refusal.says and "Pick the vial in your hand" in made.refusal.accepts
    two = formulary().stock().over({"dexmedetomidine": ("0.5 mg/mL", "0.1 mg/mL")})
    again = ready("dexmedetomidine", "cat", "premedication", "IM", "5 mcg/kg", "4.1", two)
    assert again.refusal is not None and again.refusal.says == "No volume yet: two strengths are stocked."
    one = formulary().stock().over({"dexmedetomidine": ("0.5 mg/mL",)})
    assert ready("dexmedetomidine", "cat", "premedication", "IM", "5 mcg/kg", "4.1", one).drawn is not None


def test_a_volume_too_small_is_diluted_with_parts_that_can_be_measured() -> None:
    """U10: 0.1 mg/kg × 4 kg of 50 mg/mL ephedrine is 0.008 mL (a second reader's example): 5 mg/mL makes it 0.08 mL."""
    made = ready("ephedrine", "cat", "blood pressure", "IV", "0.1 mg/kg", "4", strength="50 mg/mL")
    assert made.dilution is not None
    assert str(made.dilution.concentration) == "5 mg/mL" and str(made.drawn) == "0.08 mL"
    assert made.dilution.memory and "sodium chloride 0.9 %" in made.dilution.label


def test_a_drug_that_may_not_be_diluted_is_refused_below_the_least_volume() -> None:
    """Alfaxalone's label says it is not mixed with other solutions (noah_alfaxalone)."""
    made = ready("alfaxalone", "cat", "induction", "IV", "2 mg/kg", "0.2")
    assert isinstance(made.refusal, NotMeasurable) and made.drawn is None and made.amount is not None


def test_an_induction_dose_is_four_pushes_of_whole_marks() -> None:
    """A quarter at a time is the label's way (noah_alfaxalone: a quarter of the dose every 15 s)."""
    made = ready("propofol", "dog", "induction", "IV", "4 mg/kg", "8.4")
    assert len(made.pushes) == 4 and made.drawn is not None
    assert sum(p.value for p in made.pushes) == made.drawn.value
    assert made.pushes[0].value <= made.drawn.value / 4


def test_an_infusion_keeps_its_time_base_and_gives_a_rate() -> None:
    """U3: Dopamine 10 mcg/kg/min for 10 kg from 1.6 mg/mL is 3.75 mL/h by arithmetic.

    A pump set to 0.1 mL/h shows 3.7.
    """
    made = ready("dopamine", "dog", "blood pressure", "IV", "10 mcg/kg/min", "10", strength="1.6 mg/mL", confirmed=True)
    assert str(made.rate) == "3.7 mL/h" and made.drawn is None
    assert made.rate is not None and minutes_left(Quantity.of(50, "mL"), made.rate) == 810


def test_a_fluid_bolus_needs_no_strength() -> None:
    made = ready("isotonic_crystalloid", "dog", "fluid bolus", "IV", "10 mL/kg", "30.4")
    assert str(made.delivered) == "304 mL" and made.concentration is None and made.barrel is None


def test_the_ladder_tells_every_mark() -> None:
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "10")
    steps = ladder(made, weighing("10"))
    assert len(steps) == 100
    at = step_at(steps, Decimal("0.30"))
    assert at is not None and str(at.amount) == "3 mg" and not at.over_order and at.zone is Zone.USUAL
    past = step_at(steps, Decimal("0.31"))
    assert past is not None and past.over_order
    assert steps[-1].zone is Zone.USUAL or str(steps[-1].per_kg) == "1 mg/kg"


# ---- slips and limits


@pytest.mark.parametrize(
    ("drug", "species", "purpose", "route", "dose", "named"),
    [
        ("methadone", "dog", "premedication", "IM", "3 mg/kg", "ten times"),
        ("dexmedetomidine", "dog", "premedication", "IM", "5 mg/kg", "mg written for mcg"),
        ("fentanyl", "dog", "maintenance", "IV", "8 mcg/kg/min", "per minute written for per hour"),
        ("dopamine", "cat", "blood pressure", "IV", "300 mcg/kg/min", "times the usual"),
        ("hydromorphone", "dog", "premedication", "IM", "1.5 mg/kg", "total for"),
    ],
)
def test_a_slip_is_named(drug: str, species: str, purpose: str, route: str, dose: str, named: str) -> None:
    """U1, U2, U3, U4: slips of a point, mg and mcg, minute and hour, total and per kg (common practice)."""
    made = ready(drug, species, purpose, route, dose, "20", strength="", conditions=("under anaesthesia",))
    assert isinstance(made.refusal, AskAgain) and named in made.refusal.says
    assert made.amount is None and made.volume is None


def test_a_confirmed_dose_over_the_stop_still_needs_the_veterinarian() -> None:
    said = {"confirmed": True}
    made = ready("methadone", "dog", "premedication", "IM", "3 mg/kg", "10", **said)
    assert isinstance(made.refusal, OverLimit) and made.zone is Zone.FORBIDDEN
    named = ready("methadone", "dog", "premedication", "IM", "3 mg/kg", "10", over_hard_by="vet-1", reason="tolerant")
    assert named.refusal is None and named.zone is Zone.FORBIDDEN


def test_an_emergency_row_warns_and_is_never_blocked() -> None:
    """D36: nothing stands before a life-saving dose. While nothing is wrong yet, ten times the usual is asked about."""
    made = ready("epinephrine", "dog", "arrest", "IV", "0.1 mg/kg", "10", strength="1 mg/mL", urgent=True)
    assert made.refusal is None and made.zone is Zone.FORBIDDEN
    assert made.judgement is not None and made.judgement.slip
    calm = ready("epinephrine", "dog", "arrest", "IV", "0.1 mg/kg", "10", strength="1 mg/mL")
    assert isinstance(calm.refusal, AskAgain) and calm.refusal.field == "dose"


def test_a_dose_of_another_kind_is_refused() -> None:
    assert isinstance(ready("methadone", "dog", "analgesia", "IM", "0.3 mg/kg/h", "10").refusal, UnlikeUnits)
    assert isinstance(ready("insulin", "cat", "hyperkalaemia", "IV", "0.1 mg/kg", "4").refusal, UnlikeUnits)
    assert isinstance(ready("dexmedetomidine", "dog", "sedation", "IM", "500 mcg/m2", "9").refusal, UnlikeUnits)


def test_a_dose_in_units_is_not_drawn_from_a_vial_in_milligrams() -> None:
    made = ready("vasopressin", "dog", "arrest", "IV", "0.8 IU/kg", "10", strength="20 mg/mL", confirmed=True)
    assert isinstance(made.refusal, UnlikeUnits) and made.refusal.field == "strength"


def test_a_row_bound_to_a_product_refuses_another_vial() -> None:
    """0.24 mg/kg belongs to the 1.8 mg/mL product alone (cfr_buprenorphine): twelve times the 0.3 mg/mL dose."""
    made = ready("buprenorphine", "cat", "analgesia", "SC", "0.24 mg/kg", "4.5", strength="0.3 mg/mL")
    assert isinstance(made.refusal, Contradiction)
    right = ready("buprenorphine", "cat", "analgesia", "SC", "0.24 mg/kg", "4.5", strength="1.8 mg/mL")
    assert str(right.drawn) == "0.6 mL"


def test_a_tube_band_outside_the_weight_is_refused() -> None:
    made = ready("buprenorphine", "cat", "analgesia", "skin", "8 mg/animal", "9")
    assert isinstance(made.refusal, OutOfRange) and made.refusal.field == "weight"


def test_an_unlisted_vial_is_asked_about() -> None:
    """U9: a strength nobody lists is read again."""
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "10", strength="50 mg/mL")
    assert isinstance(made.refusal, AskAgain) and made.refusal.field == "strength"


def test_a_condition_that_stops_the_drug_needs_the_veterinarian() -> None:
    """U14: datasheets.

    NSAID not with kidney disease (noah_carprofen_ci); alpha-2 not with heart disease (us_dexmed_cat_chart).
    """
    made = ready(
        "meloxicam", "dog", "analgesia", "SC", "0.2 mg/kg", "10", strength="5 mg/mL", conditions=("kidney-disease",)
    )
    assert isinstance(made.refusal, OverLimit) and made.refusal.field == "caution"
    cat = ready("dexmedetomidine", "cat", "premedication", "IM", "5 mcg/kg", "4", strength="0.5 mg/mL",
                conditions=("heart-disease",))  # fmt: skip
    assert isinstance(cat.refusal, OverLimit) and "heart-disease" in cat.refusal.says


def test_cautions_that_name_this_animal_come_first() -> None:
    hits = cautions("ketamine", "cat", ("hypertrophic-cardiomyopathy",), formulary())
    assert hits[0].matched and hits[0].severity == "avoid" and hits[0].sources
    assert not any(h.matched for h in cautions("ketamine", "cat", (), formulary()))


# ---- hospital


class Own:
    def __init__(self, low: str, high: str, hard: str | None) -> None:
        self.row = "methadone-dog-premedication-or-analgesia-bolus-im-im"
        self.usual_low, self.usual_high = Decimal(low), Decimal(high)
        self.hard = Decimal(hard) if hard else None
        self.reason, self.signed_by = "house protocol", "A. Okafor"


def test_a_hospital_may_be_stricter_and_stays_visible() -> None:
    own = formulary().with_limits([Own("0.2", "0.3", "0.4")], "Fenside")
    made = prepare(order("methadone", "dog", "premedication", "IM", "0.5 mg/kg"), weighing("10"), own.stock(), own)
    assert isinstance(made.refusal, OverLimit)
    row = own.row(Own("0.2", "0.3", "0.4").row)
    assert row.origin == "Fenside" and {s.origin for s in row.stops} == {"spiracle", "Fenside"}


def test_a_hospital_may_not_be_looser_than_a_hard_stop() -> None:
    with pytest.raises(BadTable, match="stricter"):
        formulary().with_limits([Own("0.2", "0.5", "2")], "Fenside")


def test_the_overlay_of_a_stock_replaces_ours_drug_by_drug() -> None:
    stock = formulary().stock().over({"methadone": ("5 mg/mL",)}, ("1 mL", "10 mL"), "Fenside")
    made = ready("methadone", "dog", "premedication", "IM", "0.3 mg/kg", "10", stock)
    assert str(made.drawn) == "0.6 mL" and made.strength is not None and made.strength.origin == "Fenside"
    assert isinstance(Stock(), Stock)


# ---- reversal and budgets


@pytest.mark.parametrize(
    ("agonist", "species", "mcg", "expected_mcg"),
    [("dexmedetomidine", "dog", 40, 400), ("dexmedetomidine", "cat", 40, 200), ("medetomidine", "dog", 80, 400),
     ("medetomidine", "cat", 80, 200)],
)  # fmt: skip
def test_a_reversal_comes_from_recorded_micrograms(agonist: str, species: str, mcg: int, expected_mcg: int) -> None:
    """U26: UK label of atipamezole (uk_atipamezole).

    Ten and five times the micrograms in dogs, five and two and a half in cats.
    """
    found = reverse(agonist, Quantity.of(mcg, "mcg"), Decimal(20), species, weighing("4"), formulary())
    assert found.high is not None and found.high.number("mcg") == expected_mcg and found.row and found.working.sources


def test_a_reversal_is_less_after_an_hour() -> None:
    """Half or less after 60 min is from memory, and is marked so."""
    late = reverse("dexmedetomidine", Quantity.of(40, "mcg"), Decimal(75), "dog", weighing("20"), formulary())
    assert late.high is not None and late.high.number("mcg") == 200 and late.working.memory


def test_a_reversal_over_its_stop_says_so() -> None:
    """0.3 mg/kg IM is the top of cb_dexmed's range: 10 × 200 mcg in a 4 kg dog is 0.5 mg/kg."""
    found = reverse("dexmedetomidine", Quantity.of(200, "mcg"), Decimal(10), "dog", weighing("4"), formulary())
    assert found.over_stop and str(found.stop) == "1,200 mcg"


def test_atipamezole_waits_for_ketamine_and_stays_out_of_the_vein() -> None:
    """U26: UK label: 30 to 40 min after ketamine (noah_atipamezole)."""
    soon = reverse("dexmedetomidine", Quantity.of(40, "mcg"), Decimal(20), "dog", weighing("20"), formulary(),
                   ketamine_minutes=Decimal(20))  # fmt: skip
    assert isinstance(soon.refusal, NotAllowed) and soon.high is None
    vein = reverse(
        "dexmedetomidine", Quantity.of(40, "mcg"), Decimal(20), "dog", weighing("20"), formulary(), route="IV"
    )
    assert isinstance(vein.refusal, NotAllowed)


def test_naloxone_is_titrated_while_the_heart_beats() -> None:
    """0.04 mg/kg in arrest (merck_cpr); small steps with the heart beating are from memory."""
    beating = reverse("methadone", Quantity.of(5, "mg"), Decimal(30), "dog", weighing("10"), formulary(), route="IV")
    arrest = reverse("methadone", Quantity.of(5, "mg"), Decimal(30), "dog", weighing("10"), formulary(), route="IV",
                     heart_beating=False)  # fmt: skip
    assert beating.high is not None and beating.high.number("mg") == Decimal("0.05") and beating.working.memory
    assert arrest.high is not None and arrest.high.number("mg") == Decimal("0.4")


def _local(drug: str, mg: str, hours_ago: float = 0, *, planned: bool = False, **more: Any) -> LocalDose:
    return LocalDose(
        drug=drug, amount=Quantity.of(mg, "mg"), at=NOW - timedelta(hours=hours_ago), planned=planned, **more
    )


def test_fractions_of_two_local_anaesthetics_add_up() -> None:
    """U24: toxic doses are additive (d_veteriankey_dental).

    Dog of 10 kg: 25 of 50 mg lidocaine and 8 of 20 mg bupivacaine: 90 %.
    """
    found = local_budget(
        [_local("lidocaine", "25"), _local("bupivacaine", "8", planned=True)], weighing("10"), "dog", formulary(), NOW
    )
    assert (found.given_percent, found.planned_percent, found.percent) == (50, 40, 90) and found.state == "warn"


def test_the_larynx_counts_and_old_doses_do_not() -> None:
    """U24: 4 kg cat: 2 mg on the larynx of a stop of 16 mg is 12.5 %; the window of 6 h is from memory."""
    doses = [_local("lidocaine", "2", route="topical"), _local("lidocaine", "10", 7)]
    found = local_budget(doses, weighing("4"), "cat", formulary(), NOW)
    assert found.percent == Decimal("12.5") and len(found.expired) == 1 and found.state == "room" and found.memory


def test_over_the_ceiling_stops_and_at_it_does_not() -> None:
    """U24: 8 mg are the whole stop of a 4 kg cat at 2 mg/kg."""
    assert local_budget([_local("bupivacaine", "8")], weighing("4"), "cat", formulary(), NOW).state == "warn"
    assert local_budget([_local("bupivacaine", "8.1")], weighing("4"), "cat", formulary(), NOW).state == "stop"


def test_an_infusion_stands_beside_the_sum() -> None:
    found = local_budget([_local("lidocaine", "90", infusion=True)], weighing("10"), "dog", formulary(), NOW)
    assert found.percent == 0 and len(found.apart) == 1


def test_liposomal_bupivacaine_has_its_own_budget() -> None:
    """U24: Label: 5.3 mg/kg (cfr_liposomal), 265 % of the plain stop: it must not be summed with it."""
    dose = _local("bupivacaine_liposomal", "53")
    assert local_budget([dose], weighing("10"), "dog", formulary(), NOW).percent == 0
    own = cumulative("liposomal bupivacaine", [dose], weighing("10"), "dog", formulary(), NOW)
    assert own.percent == 100


def test_the_preserved_propofol_has_a_ceiling_and_the_plain_one_has_none() -> None:
    """24 mg/kg in one anaesthetic is the label's ceiling of the benzyl-alcohol form (noah_propofol_ba)."""
    plain = _local("propofol", "80", strength="10 mg/mL")
    preserved = _local("propofol", "80", strength="10 mg/mL with benzyl alcohol")
    kind = "propofol with benzyl alcohol"
    assert cumulative(kind, [plain], weighing("4"), "cat", formulary(), NOW).percent == 0
    found = cumulative(kind, [preserved], weighing("4"), "cat", formulary(), NOW)
    assert found.percent > 83 and found.state == "warn"


def test_tiletamine_adds_up_to_its_ceiling() -> None:
    """26.4 mg/kg in all in dogs: published, here from memory."""
    found = cumulative("tiletamine and zolazepam", [_local("tiletamine_zolazepam", "264")], weighing("10"), "dog",
                       formulary(), NOW)  # fmt: skip
    assert found.percent == 100 and found.state == "warn"
