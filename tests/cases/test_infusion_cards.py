"""Cards of infusions as the pages get them: both time bases, drops, loading, until empty, void; and slips at the pump.

Worked by hand: ketamine 10 mcg/kg/min in 20 kg is 12 mg/h, 0.6 mg/kg/h; lidocaine 50 mcg/kg/min is 60 mg/h, 3 mL/h of 20 mg/mL.
"""

from __future__ import annotations

from typing import Any

import pytest

from small_house import NINE, Telling, d
from spiracle.case import events as ev
from spiracle.case.syringes import syringe
from spiracle.refusals import AskAgain, Contradiction, Missing, OutOfRange, OverLimit
from spiracle.sheets.case_view import case_view
from spiracle.sheets.shapes import InfusionCard, Running


def card(t: Telling, order: str) -> InfusionCard:
    found = next(x.card for x in case_view(t.case, 1, t.facts, t.now).plan.lines if x.order == order)
    assert found is not None
    return found


def now(t: Telling) -> Running:
    return case_view(t.case, 1, t.facts, t.now).maintain.running[0]


def lidocaine(kg: str = "20", low: str = "50", high: str = "50", unit: str = "mcg/kg/min") -> Telling:
    t = Telling(kg=kg)
    t.order("l", "lidocaine", "analgesia", "IV", low, high, unit)
    return t


def started(ml_h: str, **more: Any) -> dict[str, Any]:
    return {
        "infusion": "i1",
        "drug": "lidocaine",
        "rate_ml_h": d(ml_h),
        "concentration": "20 mg/mL",
        "order": "l",
        **more,
    }


# ---- ordered


def test_the_published_base_stays_and_the_other_stands_beside_it() -> None:
    """U3: mcg/kg/min as ordered, mg/kg/h worked beside it with its arithmetic, and mL/h."""
    found = card(lidocaine(), "l")
    assert (found.rate and found.rate.text, found.strength) == ("3", "20 mg/mL")
    assert found.per_min is not None and (found.per_min.text, found.per_min.unit, found.per_min.mark) == (
        "50",
        "mcg/kg/min",
        "typed",
    )
    assert found.per_hour is not None and (found.per_hour.text, found.per_hour.unit) == ("3", "mg/kg/h")
    assert found.per_hour.working is not None and "× 60 ÷ 1,000 = 3 mg/kg/h" in found.per_hour.working.says
    assert found.working is not None and found.speak == "lidocaine, 3 mL/h of 20 mg/mL, 50 mcg/kg/min, IV"
    assert found.ordered == "50 mcg/kg/min IV" and not found.void


def test_a_loading_dose_stands_beside_it_and_says_that_nobody_ordered_it() -> None:
    """U3: 1 mg/kg in 20 kg is 20 mg, 1 mL; once ordered, it is the order's."""
    t = lidocaine()
    found = card(t, "l")
    assert found.loading.startswith("not ordered; usual 1 to 2 mg/kg IV") and found.loading_volume is not None
    assert found.loading_volume.text == "1"
    t.order("load", "lidocaine", "loading", "IV", "2", "2", "mg/kg")
    found = card(t, "l")
    assert found.loading.startswith("ordered: 2 mg/kg IV") and found.loading_volume is not None
    assert found.loading_volume.text == "2"


def test_drops_of_a_fluid_are_whole_and_downward() -> None:
    """U3: 25 kg at 5 mL/kg/h is 125 mL/h: 20, 31, 41 and 125 drops a minute; 31 of a 15 drop set give 124 mL/h, every 1.9 s."""
    t = Telling(kg="25")
    t.order("f", "isotonic_crystalloid", "maintenance fluid", "IV", "5", "5", "mL/kg/h")
    found = {x.drops_per_ml: x for x in card(t, "f").drops}
    assert {n: x.per_min.text for n, x in found.items()} == {10: "20", 15: "31", 20: "41", 60: "125"}
    fifteen = found[15]
    assert fifteen.gives is not None and (fifteen.gives.text, fifteen.seconds_between.text) == ("124", "1.9")
    assert fifteen.error_percent == -0.8 and fifteen.per_min.working is not None


def test_a_small_animals_fluid_is_not_counted_with_large_drops() -> None:
    """U3: 4 kg at 3 mL/kg/h is 12 mL/h: 2 drops of a 10 drop set exactly, 3 of 15, 4 of 20, 12 of 60; 3.7 kg fits the small set alone."""
    t = Telling("cat", "3.7")
    t.order("f", "isotonic_crystalloid", "maintenance fluid", "IV", "3", "3", "mL/kg/h")
    assert [x.drops_per_ml for x in card(t, "f").drops] == [60]


@pytest.mark.parametrize(
    ("drug", "dose", "unit", "vial", "why"),
    [
        ("dopamine", "5", "mcg/kg/min", "40 mg/mL", "from a syringe"),
        ("lidocaine", "50", "mcg/kg/min", "20 mg/mL", "from a syringe"),
    ],
)
def test_what_runs_from_a_syringe_is_not_counted_in_drops(drug: str, dose: str, unit: str, vial: str, why: str) -> None:
    """U3: the reason stands in place of the drops."""
    t = Telling(kg="20")
    purpose = "blood pressure" if drug == "dopamine" else "analgesia"
    t.order("x", drug, purpose, "IV", dose, dose, unit, concentration=vial)
    found = card(t, "x")
    assert not found.drops and why in found.no_drops


@pytest.mark.parametrize("drug", ["norepinephrine", "dopamine", "potassium_chloride", "propofol"])
def test_pressors_and_potassium_are_never_counted_in_drops(drug: str) -> None:
    """U3, D20: also where they run from a bag; the reason is in the table, from memory."""
    from spiracle.drugs.mixing import no_drops

    why = no_drops(drug, Telling().facts.drugs)
    assert why.endswith("[from memory].") and "pump" in why


def test_a_printed_sheet_of_infusions_is_void_at_another_weight() -> None:
    """U4, U5: old and new figure are named."""
    t = lidocaine()
    t.tell(ev.SheetPrinted, sheet="infusions", print_id="p1", weight_kg=d("20"))
    assert not card(t, "l").void
    t.at(5).tell(ev.Weighed, weight_kg=d("17"), method="scale", confirmed=True)
    assert "20 kg" in card(t, "l").void and "17 kg" in card(t, "l").void


# ---- running


def test_a_running_card_reads_the_pump_back_and_says_when_it_is_empty() -> None:
    """U3: 3 mL/h of 20 mg/mL in 20 kg; 10 mL drawn: 200 min, and after an hour 7 mL and 140 min."""
    t = lidocaine()
    t.draw("s1", "l", "lidocaine", "10", "20 mg/mL", "10 mL")
    t.tell(ev.InfusionStarted, **started("3", syringe="s1"))
    found = now(t.at(60))
    assert found.card is not None and found.card.per_min is not None and found.card.per_min.text == "50"
    assert found.card.holds is not None and found.card.holds.text == "7"
    assert found.card.minutes is not None and (found.card.minutes.text, found.card.minutes.mark) == ("140", "predicted")
    assert found.ends_at == found.card.empty_at and found.ends_at is not None
    assert (found.ends_at - NINE).total_seconds() == 200 * 60


def test_a_weight_or_a_vial_that_changed_voids_the_card() -> None:
    """U4, U9: it names the old figure and the new one; a weight that is only said again does not."""
    t = lidocaine()
    t.draw("s1", "l", "lidocaine", "10", "20 mg/mL", "10 mL")
    t.tell(ev.InfusionStarted, **started("3", syringe="s1"))
    t.at(5).tell(ev.Weighed, weight_kg=d("20"), method="scale")
    assert now(t).card.void == ""  # type: ignore[union-attr]
    t.at(6).tell(ev.Weighed, weight_kg=d("21"), method="scale")
    assert now(t).card.void == "Set for 20 kg, the weight is 21 kg now."  # type: ignore[union-attr]
    t.at(7).tell(ev.InfusionChanged, infusion="i1", rate_ml_h=d("3.1"))
    assert now(t).card.void == ""  # type: ignore[union-attr]
    t.at(8).tell(ev.VialPicked, order="l", drug="lidocaine", concentration="10 mg/mL")
    assert now(t).card.void == "Made from 20 mg/mL, 10 mg/mL is picked now."  # type: ignore[union-attr]


# ---- the syringe it runs from


def test_what_ran_is_off_the_syringe_and_the_balance_closes() -> None:
    """D22: 3 mL/h for 40 min is 2 mL of 10 mL; the pump's own total counts where it was read; the rest is thrown away."""
    t = Telling(kg="20")
    t.order("l", "fentanyl", "analgesia", "IV", "5", "5", "mcg/kg/h", concentration="0.05 mg/mL")
    t.draw("s1", "l", "fentanyl", "10", "0.05 mg/mL", "10 mL")
    t.tell(ev.InfusionStarted, infusion="i1", drug="fentanyl", rate_ml_h=d("2"), order="l", syringe="s1")
    t.at(30)
    drawn = syringe(t.case, "s1", t.now)
    assert drawn is not None and (drawn.ran_ml, drawn.left_ml) == (d("1.0"), d("9.0"))
    t.at(60).refused(OutOfRange, "total", ev.InfusionStopped, infusion="i1", total_ml=d("10.1"))
    t.tell(ev.InfusionStopped, infusion="i1", total_ml=d("2.1"))
    drawn = syringe(t.case, "s1")
    assert drawn is not None and drawn.left_ml == d("7.9")
    t.refused(OutOfRange, "volume", ev.DrugWasted, syringe="s1", drug="fentanyl", volume_ml=d("8"), witness="two")
    t.tell(ev.DrugWasted, syringe="s1", drug="fentanyl", volume_ml=d("7.9"), witness="two")
    closed = case_view(t.case, 1, t.facts, t.now).record.balances
    assert [c.closed for c in closed] == [True]


def test_a_syringe_sits_in_one_pump() -> None:
    """D22: the same syringe does not run twice at once, nor is it struck while something ran from it."""
    t = lidocaine()
    t.draw("s1", "l", "lidocaine", "10", "20 mg/mL", "10 mL")
    t.tell(ev.InfusionStarted, **started("1", syringe="s1"))
    t.refused(Contradiction, "syringe", ev.InfusionStarted, **started("1", syringe="s1", infusion="i2"))
    drawn = t.case.live(ev.SyringeDrawn)[-1]
    t.at(5).refused(Contradiction, "target", ev.EntryStruck, target=drawn.id, reason="wrong one")


def test_an_empty_syringe_does_not_run() -> None:
    """D22: 2 mL at 2 mL/h are gone after an hour, by rate and time."""
    t = lidocaine()
    t.draw("s1", "l", "lidocaine", "2", "20 mg/mL", "3 mL")
    t.tell(ev.InfusionStarted, **started("2", syringe="s1"))
    t.at(60).tell(ev.InfusionStopped, infusion="i1")
    assert (
        "empty"
        in t.refused(Contradiction, "syringe", ev.InfusionStarted, **started("2", syringe="s1", infusion="i2")).says
    )


# ---- slips at the pump


@pytest.mark.parametrize(
    ("ml_h", "question"),
    [
        ("180", "Sixty times: per minute taken for per hour?"),
        ("30", "Ten times: a point slipped?"),
    ],
)
def test_too_fast_by_a_slip_is_refused_and_the_slip_is_named(ml_h: str, question: str) -> None:
    """U2, U3: 3 mL/h is ordered."""
    assert question in lidocaine().refused(OverLimit, "rate", ev.InfusionStarted, **started(ml_h)).says


@pytest.mark.parametrize(
    ("ml_h", "question"),
    [
        ("0.05", "A sixtieth: per hour taken for per minute?"),
        ("0.3", "A tenth: a point slipped?"),
    ],
)
def test_too_slow_by_a_slip_is_asked_about(ml_h: str, question: str) -> None:
    """U2, U3: slower than ordered is allowed, a whole slip slower is asked about and may be confirmed."""
    t = lidocaine()
    assert question in t.refused(AskAgain, "rate", ev.InfusionStarted, **started(ml_h)).says
    t.tell(ev.InfusionStarted, **started(ml_h, confirmed=True))


@pytest.mark.parametrize(("ml_h", "type_", "question"), [("1500", OverLimit, "A thousand times: mg taken for mcg?"),
                                                        ("0.0015", None, "")])  # fmt: skip
def test_a_thousandfold_is_its_own_question(ml_h: str, type_: type | None, question: str) -> None:
    """U1: mg for mcg at the pump. 5 mcg/kg/h of fentanyl in 15 kg is 1.5 mL/h of 0.05 mg/mL."""
    t = Telling(kg="15")
    t.order("x", "fentanyl", "analgesia", "IV", "5", "5", "mcg/kg/h", concentration="0.05 mg/mL")
    fields = {"infusion": "i1", "drug": "fentanyl", "rate_ml_h": d(ml_h), "order": "x", "concentration": "0.05 mg/mL"}
    if type_ is None:  # below what any pump can be set to
        t.refused(OutOfRange, "pump rate", ev.InfusionStarted, **fields)
        return
    assert question in t.refused(OverLimit, "rate", ev.InfusionStarted, **fields).says


def test_a_rate_without_a_strength_is_refused() -> None:
    """U9: what each mL holds is said, or nothing runs."""
    lidocaine().refused(Missing, "concentration", ev.InfusionStarted, **started("3", concentration=""))


def test_a_rate_far_over_its_stop_needs_the_veterinarians_own_hand() -> None:
    """U16: a mere name passes a stop, but not twice the stop."""
    t = lidocaine()
    word = {"said_by": "vet", "reason": "arrhythmia"}
    stop = next(r for r in t.facts.drugs.rows("lidocaine", "dog", "analgesia", "IV") if r.infusion).stops
    top = next(s.at.number("mcg/kg/min") for s in stop if s.basis == "rate")
    over = str(top * d("2.2") * 20 * 60 / 1000 / 20)
    t.refused(OverLimit, "rate", ev.InfusionStarted, **started(over, **word))
    t.tell(ev.InfusionStarted, **started(over, **word, by="vet"))
