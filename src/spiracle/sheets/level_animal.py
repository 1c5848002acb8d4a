"""Which set of constants may stand for the animal of a case: its species, age, weight, physical status and what it is under."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.animal import age_days, conditions
from spiracle.case.moments import went_in
from spiracle.case.pushes import drug_id
from spiracle.case.streams import streams
from spiracle.kinetics import Model, choose
from spiracle.sheets.told import purpose_of

if TYPE_CHECKING:
    from spiracle.kinetics.rows import Background, Premedication, Use
    from spiracle.sheets.told import Told

MONTH_DAYS = Decimal("30.44")
ASA = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
# For how long a sedative or opioid that went in counts as premedication: common practice, from memory, long on purpose.
SEDATED = timedelta(hours=8)
_OPIOIDS = ("full mu opioid", "partial mu opioid", "kappa agonist", "weak mu agonist")
_GASES = ("isoflurane", "sevoflurane")


def chosen(t: Told, drug: str, use: str) -> Model:
    """The set for this drug and animal; refused by name where none may stand for it."""
    asa = t.case.last(ev.AsaAssigned)
    days = age_days(t.case, t.now)
    said = conditions(t.case, t.facts, t.now)
    at = first_push(t, drug)
    wanted: Use = "induction" if use == "induction" else "infusion"
    return choose(
        t.facts.kinetics,
        drug,
        t.species,
        age_months=None if days is None else float(days / MONTH_DAYS),
        weight_kg=t.kg,
        asa=None if asa is None else ASA[asa.asa],
        sighthound="sighthound" in said,
        conditions=said,
        background=background(t, drug),
        premedicated=premedication(t, drug, at) != "none",
        use=wanted,
    )


def use_of(t: Told, drug: str) -> str:
    """As an infusion where a pump ran; else by what the push was for."""
    if any(s.drug == drug and s.holds is not None for s in streams(t.case, t.facts)):
        return "infusion"
    induced = any("induction" in purpose_of(g, t.orders) for g in t.given if drug_id(g.drug, t.facts) == drug)
    return "induction" if induced else "infusion"


def background(t: Told, drug: str) -> Background:
    """What keeps the animal under beside the drug itself: the gas whose dial is open, else nothing."""
    dial = t.case.last(ev.VaporiserSet)
    if dial is not None and dial.percent > 0 and t.extubated_at is None:
        return "sevoflurane" if drug_id(dial.agent, t.facts) == "sevoflurane" else "isoflurane"
    return "awake"


def first_push(t: Told, drug: str) -> datetime:
    return min((g.happened_at for g in t.given if drug_id(g.drug, t.facts) == drug), default=t.now)


def premedication(t: Told, drug: str, at: datetime) -> Premedication:
    """What sedatives and opioids were on board at a moment, in the words of the published groups."""
    most = Decimal(SEDATED // timedelta(minutes=1))
    had = {d for d, minutes in went_in(t.case, t.facts, at) if d != drug and minutes <= most and _was(t, d, at)}
    classes = t.facts.drugs.classes
    alpha2 = bool(had & set(classes.get("alpha-2 agonist", ())))
    opioid = any(had & set(classes.get(name, ())) for name in _OPIOIDS)
    sedatives = {d for d in had if t.facts.drugs.class_of(d) == "hypnotic"}
    if alpha2:
        return "alpha-2+opioid" if opioid else "alpha-2"
    if "acepromazine" in had and opioid:
        return "acepromazine+opioid"
    return "mixed" if opioid or sedatives or "acepromazine" in had else "none"


def _was(t: Told, drug: str, at: datetime) -> bool:
    """Whether any of it went in before the moment: what came later is no premedication."""
    pushes = any(drug_id(g.drug, t.facts) == drug and g.happened_at < at for g in t.given)
    before = any(drug_id(b.drug, t.facts) == drug and b.given_at < at for b in t.case.live(ev.GivenBefore))
    ran = any(s.drug == drug and s.infusion.started.happened_at < at for s in streams(t.case, t.facts))
    return pushes or before or ran
