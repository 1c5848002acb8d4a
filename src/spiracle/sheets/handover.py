"""The handover on one page, made from the record: what is not known comes first, because that is what gets lost."""

from __future__ import annotations

from spiracle.case import events as ev
from spiracle.case.syringes import Infusion, bag_of
from spiracle.case.tube import last_lay
from spiracle.quantity import figure
from spiracle.sheets.airway_proof import proven_since
from spiracle.sheets.collar import about, allergies
from spiracle.sheets.names import joined, minutes_text, with_unit
from spiracle.sheets.readings import READINGS
from spiracle.sheets.repeats import repeats
from spiracle.sheets.shapes import Allergies
from spiracle.sheets.told import Told
from spiracle.sheets.words import words
from spiracle.sheets.words_during import tube_words

Item = tuple[str, str]
LAST_READINGS = ("heart_rate", "map", "sap", "spo2", "etco2", "respiratory_rate", "temperature")


def handover(t: Told) -> tuple[Item, ...]:
    """Title and words of each item; unknowns first, then in the order in which one tells it."""
    items = _items(t)
    unknown = [title for title, text in items if not text]
    known = tuple((title, text) for title, text in items if text)
    return ((("Not known", joined(x.lower() for x in unknown)),) if unknown else ()) + known


def _items(t: Told) -> tuple[Item, ...]:
    return (
        ("Patient", joined((t.name, about(t)), ", ")),
        ("Procedure", _procedure(t)),
        ("Allergies", _allergy(t)),
        ("Conditions", joined(t.names.condition(c) for h in t.case.live(ev.HistoryTaken) for c in h.conditions) or "none named"),
        ("Airway", _airway(t)),
        ("Drugs, last times", _drugs(t)),
        ("Fluids", _fluids(t)),
        ("Last readings", _readings(t)),
        ("Trouble", _trouble(t)),
        ("Limits", joined((words(e, t.names).removeprefix("Limit: ") for e in t.case.live(ev.LimitOrdered)), "; ")),
        ("Lines", joined((words(e, t.names) for e in t.case.live(ev.CatheterPlaced)), "; ")),
        ("Pain relief", _analgesia(t)),
        ("Falls due again", _again(t)),
        ("Resuscitation", _wish(t)),
        ("Owner", joined((owner.phone and f"{owner.name} {owner.phone}") or owner.name for owner in t.case.live(ev.OwnerNamed)[-1:])),
    )  # fmt: skip


def _procedure(t: Told) -> str:
    planned = t.case.last(ev.ProcedurePlanned)
    start, end = t.mark("procedure start"), t.mark("procedure end")
    times = joined((f"began {t.names.clock(start)}" if start else "", f"ended {t.names.clock(end)}" if end else ""))
    return joined((planned.procedure if planned else "", planned.side if planned else "", times))


def _allergy(t: Told) -> str:
    found: Allergies = allergies(t)
    return {"not asked": "", "none known": "none known"}.get(found.state, found.text)


def _airway(t: Told) -> str:
    tube = t.case.last(ev.TubePlaced)
    if tube is None:
        return "no tube was placed" if t.induced_at else ""
    tries = len(t.case.live(ev.AttemptBegan))
    out = f"out {t.names.clock(t.extubated_at)}" if t.extubated_at else "in place"
    lies = last_lay(t.case)
    proven = "proven" if proven_since(t, None if lies is None else lies.since) is not None else "NOT proven"
    return joined((tube_words(tube), f"{tries} tries" if tries > 1 else "", proven, out))


def _drugs(t: Told) -> str:
    """Each drug once: its sum, how often, and how long ago the last push was."""
    by_drug: dict[str, list[ev.DrugGiven]] = {}
    for g in t.given:
        by_drug.setdefault(g.drug, []).append(g)
    said = []
    for drug, given in by_drug.items():
        last = given[-1]
        ago = minutes_text(t.now - last.happened_at)
        said.append(
            f"{t.names.drug(drug)} {with_unit(last.amount, last.unit)} {t.names.clock(last.happened_at)}, {ago} ago"
        )
    for b in t.case.live(ev.GivenBefore):
        said.append(joined((
            f"{t.names.drug(b.drug)} {with_unit(b.amount, b.unit)} {t.names.clock(b.given_at)}", b.where or "before the case",
            f"{minutes_text(t.now - b.given_at)} ago",
        )))  # fmt: skip
    return joined(said, "; ")


def _fluids(t: Told) -> str:
    from spiracle.sheets.maintain import fluids_in, losses

    went_in, lost = fluids_in(t), losses(t)
    now = joined((_runs(t, i) for i in t.infusions if i.running), "; ")
    return joined((now, f"{went_in.text} mL in" if went_in else "", f"{lost.text} mL lost" if lost else ""), "; ")


def _runs(t: Told, infusion: Infusion) -> str:
    """What runs, a bag by the drugs that are in it."""
    bag = bag_of(t.case, infusion.started.bag)
    parts = joined((t.names.drug(p.drug) for p in bag.mixed.parts), " + ") if bag is not None else ""
    fluid = t.names.drug(infusion.started.drug)
    return f"{f'{parts} in {fluid}' if parts else fluid} {figure(infusion.rate_ml_h)} mL/h"


def _readings(t: Told) -> str:
    said = []
    for name in LAST_READINGS:
        seen = t.current(name)
        if seen is not None and not (name == "sap" and t.current("map") is not None):
            said.append(
                f"{READINGS[name].title} {seen.text} {READINGS[name].printed_unit}".rstrip()
                + f" at {t.names.clock(seen.at)}"
            )
    return joined(said, "; ")


def _trouble(t: Told) -> str:
    ended = {e.trouble for e in t.case.live(ev.TroubleEnded)}
    said = [
        f"{words(b, t.names).removeprefix('Trouble: ')}{'' if b.trouble in ended else ', NOT over'}"
        for b in t.case.live(ev.TroubleBegan)
    ]
    return joined(said, "; ") or "none noted"


def _analgesia(t: Told) -> str:
    plan = t.case.last(ev.AnalgesiaPlanned)
    return words(plan, t.names).removeprefix("Pain relief after: ") if plan else ""


def _again(t: Told) -> str:
    """Each drug whose clock runs on, the ward's too: when it may be given again at the soonest."""
    again = (f"{d.title} at the soonest {t.names.day_clock(d.at)} ({d.detail})" for d in repeats(t))
    return joined(again, "; ") or "nothing by its own clock"


def _wish(t: Told) -> str:
    consent = t.case.last(ev.ConsentRecorded)
    return "" if consent is None or consent.resuscitation == "not asked" else consent.resuscitation
