"""What a label's code stands for, over HTTP: the thing in its own case, a refusal by name in another one.

Carries U21, U22, U27. Doses, marks and volumes were worked by hand; the patients are invented.
"""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import httpx
import pytest

from served import NOW, Hand, post
from spiracle.doors.clock import SetClock


def begun(web: httpx.Client, name: str, *more: tuple[str, dict[str, Any]], order: bool = True) -> Hand:
    hand = Hand(str(uuid.uuid4()))
    entries = [hand.entry("CaseOpened", species="dog", name=name), hand.entry("Weighed", weight_kg=10, method="scale")]
    if order:
        entries.append(hand.entry("DrugOrdered", order="o1", drug="methadone", purpose="premedication", route="IM", low=0.2,
                                  high=0.2, unit="mg/kg", ordered_by="vet"))  # fmt: skip
    entries += [hand.entry(kind, **fields) for kind, fields in more]
    assert [a["refused"] for a in post(web, hand, *entries)] == [None] * len(entries)
    return hand


def drawn(syringe: str = "s1", **more: Any) -> tuple[str, dict[str, Any]]:
    return "SyringeDrawn", {"syringe": syringe, "order": "o1", "drug": "methadone", "vial_concentration": "10 mg/mL",
                            "concentration": "10 mg/mL", "volume_ml": 0.2, "drug_volume_ml": 0.2, "barrel": "1 mL", **more}  # fmt: skip


def push(ml: float, mg: float) -> dict[str, Any]:
    return {
        "drug": "methadone",
        "amount": mg,
        "unit": "mg",
        "volume_ml": ml,
        "route": "IM",
        "order": "o1",
        "syringe": "s1",
    }


def read(web: httpx.Client, hand: Hand, kind: str = "syringe", id_: str = "s1", **query: str) -> dict[str, Any]:
    said = web.get(f"/api/cases/{hand.case}/scanned/{kind}/{id_}", params=query)
    assert said.status_code == 200, said.text
    found: dict[str, Any] = said.json()
    return found


def turned(
    web: httpx.Client, hand: Hand, status: int, kind: str = "syringe", id_: str = "s1", **query: str
) -> dict[str, Any]:
    said = web.get(f"/api/cases/{hand.case}/scanned/{kind}/{id_}", params=query)
    assert said.status_code == status, said.text
    found: dict[str, Any] = said.json()["refused"]
    return found


def test_a_syringe_says_what_it_is_and_what_went_in_before(web: httpx.Client, clock: SetClock) -> None:
    hand = begun(web, "Anker", drawn())
    fresh = read(web, hand)
    assert (fresh["state"], fresh["may_give"], fresh["patient"]) == ("stands", True, "Anker")
    assert "0.2 of 0.2 mL left" in fresh["says"] and "Methadone 10 mg/mL" in fresh["says"]
    post(web, hand, hand.entry("DrugGiven", **push(0.1, 1)))
    clock.set(NOW + timedelta(minutes=4))
    again = read(web, hand)
    (part,) = again["parts"]
    assert (again["left"]["text"], part["at_push"]["difference"]) == ("0.1", "given so far 1 of 2 mg")
    assert [b["text"] for b in part["at_push"]["before"]] == ["Methadone 1 mg IM"]


def test_a_label_of_another_patient_is_refused_by_both_names(web: httpx.Client) -> None:
    """U21, U22: whether the code names its case or only the id is known."""
    brig, anker = begun(web, "Brig", drawn("of-brig")), begun(web, "Anker", drawn("of-anker"))
    for query in ({"of": brig.case}, {}):
        said = turned(web, anker, 409, id_="of-brig", **query)
        assert said["name"] == "NotAllowed" and "Methadone 10 mg/mL" in said["says"]
        assert "Brig’s, not Anker’s" in said["says"] and said["accepts"]
    assert read(web, brig, id_="of-brig", of=brig.case)["may_give"]


def test_what_nobody_drew_is_not_here(web: httpx.Client) -> None:
    hand = begun(web, "Anker", drawn())
    assert turned(web, hand, 404, id_="s9")["name"] == "Unknown"
    assert turned(web, hand, 404, kind="bag")["name"] == "Unknown"
    assert turned(web, hand, 422, kind="vial")["name"] == "NotOneOf"
    assert turned(web, hand, 404, of=str(uuid.uuid4()))["name"] == "Unknown"
    assert turned(web, hand, 404, of="not a case")["name"] == "Unknown"


@pytest.mark.parametrize(("entries", "state", "words"), [
    ([("DrugGiven", push(0.2, 2))], "empty", "Nothing is left"),
    ([("DrugWasted", {"syringe": "s1", "drug": "methadone", "volume_ml": 0.2, "witness": "two"})], "thrown away", "thrown away"),
    ([("DrugReturned", {"syringe": "s1", "drug": "methadone", "volume_ml": 0.2})], "given back", "given back"),
    ([("Weighed", {"weight_kg": 8, "method": "scale", "confirmed": True})], "void", "drawn for 10 kg, now 8 kg"),
    ([("OrderWithdrawn", {"order": "o1", "reason": "other plan"})], "void", "order withdrawn"),
])  # fmt: skip
def test_what_may_not_be_given_any_more_says_why(
    web: httpx.Client, entries: list[tuple[str, dict[str, Any]]], state: str, words: str
) -> None:
    hand = begun(web, "Anker", drawn())
    later = [hand.entry(kind, after=timedelta(seconds=1), **fields) for kind, fields in entries]
    assert [a["refused"] for a in post(web, hand, *later)] == [None] * len(later)
    found = read(web, hand)
    assert (found["state"], found["may_give"]) == (state, False) and words in found["why_not"]


def test_a_struck_and_an_expired_syringe(web: httpx.Client, clock: SetClock) -> None:
    """U27: a vial of this month is good to its last day, and not on the next."""
    hand = begun(web, "Anker", drawn(expires="2026-05"))
    clock.set(NOW.replace(day=31))
    assert read(web, hand)["state"] == "stands"
    clock.set(NOW.replace(day=31) + timedelta(days=1))
    assert (read(web, hand)["state"], read(web, hand)["why_not"]) == ("expired", "Its vial expired 2026-05.")
    clock.set(NOW)
    id_ = read(web, hand)["event_id"]
    strike = hand.entry("EntryStruck", target=id_, reason="wrong vial", seen_by="two", after=timedelta(seconds=1))
    assert post(web, hand, strike)[0]["written"]
    found = read(web, hand)
    assert (found["state"], found["may_give"]) == ("struck", False) and "wrong vial" in found["why_not"]


def test_a_bag_and_what_runs_from_it(web: httpx.Client, clock: SetClock) -> None:
    """60 mg of ketamine in 1,000 mL: 0.06 mg/mL; after an hour at 50 mL/h about 950 mL are left."""
    ketamine = {"order": "k", "drug": "ketamine", "purpose": "analgesia", "route": "IV", "low": 0.12, "high": 0.6,
                "unit": "mg/kg/h", "ordered_by": "vet"}  # fmt: skip
    mixed = {"bag": "b1", "fluid": "isotonic_crystalloid", "bag_ml": 1000, "removed_ml": 0.6, "volume_ml": 1000, "seen_by": "vet",
             "confirmed": True, "parts": [{"drug": "ketamine", "vial_concentration": "100 mg/mL", "drug_volume_ml": 0.6,
                                           "order": "k"}]}  # fmt: skip
    runs = {"infusion": "i1", "drug": "isotonic_crystalloid", "rate_ml_h": 50, "bag": "b1", "bag_ml": 1000}
    hand = begun(web, "Anker", ("DrugOrdered", ketamine), ("BagMixed", mixed), ("InfusionStarted", runs), order=False)
    clock.set(NOW + timedelta(hours=1))
    bag, flow = read(web, hand, "bag", "b1"), read(web, hand, "infusion", "i1")
    assert bag["name"].startswith("Ketamine in ") and bag["left"]["text"] == "950" and bag["may_give"]
    assert [(p["drug"], p["strength"]) for p in bag["parts"]] == [("ketamine", "0.06 mg/mL")]
    assert flow["state"] == "stands" and "50 mL/h" in flow["says"]
    assert flow["parts"][0]["at_push"]["order_ref"], "each drug that runs tells its own order"
    post(web, hand, hand.entry("InfusionStopped", infusion="i1", after=timedelta(minutes=59)))
    stopped = read(web, hand, "infusion", "i1")
    assert (stopped["state"], stopped["may_give"]) == ("stopped", False)
