"""Reads a plan file: strict TOML, every value with its unit, no key ignored, no default species or weight.

Layout (docs/plan.md explains each key): [patient], [[order]], [stock], [airway], [oxygen], [gas], [[limit]]. A refusal names the place
as the writer knows it: "weight", "order 2, dose", "stock, cylinder 1, gauge".
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, cast

from spiracle.airway import Measured, TubeInStock
from spiracle.airway.measured import OUTCOMES
from spiracle.breathing import SUPPLIES, Price, Supply
from spiracle.breathing.oxygen import gauge_pressure
from spiracle.case.decide_spans import inside
from spiracle.doors.strict_toml import toml_of
from spiracle.patient import read_sex
from spiracle.quantity import Quantity, read, read_age_days
from spiracle.refusals import Contradiction, Missing, NotAQuantity, NotOneOf, OutOfRange, Unknown
from spiracle.sheets.plan_request import (
    GRADES,
    METHODS,
    Cylinder,
    LimitAsked,
    OrderAsked,
    Patient,
    PlanRequest,
    Stock,
)

TOP = ("patient", "order", "stock", "airway", "oxygen", "gas", "limit")
PATIENT = ("name", "species", "breed", "sex", "age", "weight", "weighed", "method", "body_condition", "asa", "conditions",
           "dosing_weight", "pcv", "dosing_reason", "last_weight", "weight_confirmed")  # fmt: skip
ORDER = ("drug", "purpose", "route", "dose", "row", "concentration", "when", "given_as", "ordered_by", "over_hard_by",
         "reason")  # fmt: skip
STOCK = ("strengths", "concentrations", "syringes", "tubes", "cylinder", "case_minutes", "parts", "circuit",
         "circuits", "bags", "bottle")  # fmt: skip
TUBE = ("id", "od", "cuffed", "length", "tip_to_cuff_top", "cuff_length", "side_hole")
CYLINDER = ("contents", "full", "gauge")
BOTTLE = ("agent", "bottle", "price", "currency")
OXYGEN = ("source", "max_flow", "percent", "drive_gas")
GAS = ("agent", "dial", "ventilated", "circuit_volume")
PARTS = ("connector", "elbow", "filter", "sensor", "adapter", "mask")
# [airway]: the file's key, the airway room's name for it, and what is measured
LENGTHS = (
    ("incisors_to_thoracic_inlet", "incisors_to_inlet", "length"), ("incisors_to_larynx", "larynx_depth", "length"),
    ("tracheal_diameter", "tracheal_diameter", "diameter"), ("ultrasound_diameter", "ultrasound_diameter", "diameter"),
    ("palpated_diameter", "palpated_outer", "diameter"), ("septum_width", "septum_width", "diameter"),
    ("occiput_to_tail_base", "occiput_to_tail", "length"), ("tube_id", "previous_tube_id", "diameter"),
)  # fmt: skip
AIRWAY = (*(key for key, _, _ in LENGTHS), "previous_outcome", "previous_full_grown", "trachea_to_inlet")
LIMIT = ("reading", "below", "above", "action", "ordered_by")
_DASHED = re.compile(r"^\s*([\d.,]+)\s*[-\u2010-\u2015]\s*([\d.,]+)\s*(\D.*)$")
OLDEST_YEARS = 30
_RANGE = re.compile(r"^\s*([\d.,]+)\s*(\S*)\s+to\s+(.+)$")


@dataclass(frozen=True, slots=True)
class PlanFile:
    """A plan file as read: the request, and what only its own checks need."""

    request: PlanRequest
    last_weight: Quantity | None = None
    weight_confirmed: bool = False


def read_plan_file(text: str, name: str = "plan file") -> PlanFile:
    """The whole file, or the first refusal in reading order. Nothing is computed from a file with one fault in it."""
    top = toml_of(text, name, "docs/plan.md")
    _known(top, TOP, "file")
    if "patient" not in top:
        raise Missing("patient", "there is no [patient] part.", "Write [patient] with species and weight.")
    patient, last, confirmed = _patient(_table(top["patient"], "patient"))
    request = PlanRequest(
        patient=patient,
        orders=tuple(_order(t, n) for n, t in enumerate(_tables(top.get("order", []), "order"), 1)),
        stock=_gas(
            _table(top.get("gas", {}), "gas"),
            _oxygen(_table(top.get("oxygen", {}), "oxygen"), _stock(_table(top.get("stock", {}), "stock"))),
        ),
        airway=_airway(_table(top.get("airway", {}), "airway")),
        limits=tuple(_limit(t, n) for n, t in enumerate(_tables(top.get("limit", []), "limit"), 1)),
    )
    return PlanFile(request, last, confirmed)


def _known(table: Mapping[str, Any], keys: Iterable[str], place: str) -> None:
    """No key is ignored: an unknown one is refused, with the nearest known one."""
    keys = tuple(keys)
    for key in table:
        if key not in keys:
            near = get_close_matches(key, keys, n=1, cutoff=0.5)
            hint = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(keys)}."
            raise Unknown(f"{place}, {key}", "is not a key of this part.", hint, use=near[0] if near else None)


def _table(value: object, place: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise NotOneOf(place, "is not a part of its own.", f"Write it as [{place}] with keys below it.")
    return cast("dict[str, Any]", value)


def _tables(value: object, place: str) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
        raise NotOneOf(place, "is not a list of parts.", f"Write each as [[{place}]] with keys below it.")
    return cast("list[dict[str, Any]]", value)


def _text(table: Mapping[str, Any], key: str, place: str = "") -> str:
    """Plain words; "" when the key is absent."""
    value = table.get(key, "")
    if not isinstance(value, str):
        raise NotOneOf(_at(place, key), f"{value!r} is not text.", "Write it in quotation marks.")
    return value.strip()


def _at(place: str, key: str) -> str:
    return f"{place}, {key}" if place else key


def _need(table: Mapping[str, Any], key: str, place: str, accepts: str) -> object:
    if key not in table or table[key] == "":
        raise Missing(_at(place, key), "was not given.", accepts)
    return table[key]


def _flag(table: Mapping[str, Any], key: str, place: str, absent: bool) -> bool:
    value = table.get(key, absent)
    if not isinstance(value, bool):
        raise NotOneOf(_at(place, key), f"{value!r} is neither true nor false.", "Write true or false.")
    return value


def _whole(table: Mapping[str, Any], key: str, place: str, low: int, high: int) -> int | None:
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int):
        raise NotAQuantity(_at(place, key), f"{value!r} is not a whole number.", f"Write {low} to {high}.")
    if not low <= value <= high:
        raise OutOfRange(_at(place, key), f"{value} is not possible here.", f"Write {low} to {high}.")
    return value


def _words(table: Mapping[str, Any], key: str, place: str) -> tuple[str, ...]:
    value = table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise NotOneOf(_at(place, key), "is not a list of words.", 'Write it like ["one", "two"].')
    return tuple(value)


def _quantity(table: Mapping[str, Any], key: str, place: str, kind: str) -> Quantity | None:
    return read(table[key], _at(place, key), kind) if key in table else None


# ---- [patient]


def _patient(table: dict[str, Any]) -> tuple[Patient, Quantity | None, bool]:
    _known(table, PATIENT, "patient")
    species = _need(table, "species", "", 'Write species = "dog" or species = "cat"; there is no default.')
    if species not in {"dog", "cat"}:
        raise NotOneOf("species", f"{species!r} is not a species Spiracle plans for.", "Write dog or cat.")
    weight = read(_need(table, "weight", "", 'Write it like weight = "8.4 kg".'), "weight", "weight")
    method = _text(table, "method") or "scale"
    if method not in METHODS:
        raise NotOneOf("method", f"{method!r} is not a way of weighing.", f"Write {', '.join(METHODS)}.")
    age = _text(table, "age")
    dosing = _quantity(table, "dosing_weight", "", "weight")
    if dosing is not None and not _text(table, "dosing_reason"):
        raise Missing("dosing_reason", "a dosing weight apart from the scale's was given without a reason.",
                      'Write like dosing_reason = "lean weight, condition 9 of 9".')  # fmt: skip
    pcv = _quantity(table, "pcv", "", "fraction")
    if pcv is not None and not 1 <= pcv.value <= 80:
        raise OutOfRange("pcv", f"{pcv} is not a packed cell volume.", "Write it like 38 %.")
    patient = Patient(
        species=species, weight=weight, method=method, weighed=_moment(table, "weighed"),
        name=_text(table, "name"), breed=_text(table, "breed"), sex=_sex(table), age=age,
        age_days=_age(age), body_condition=_whole(table, "body_condition", "", 1, 9),
        asa=_asa(table), conditions=_words(table, "conditions", ""), dosing_weight=dosing,
        dosing_reason=_text(table, "dosing_reason"), pcv=None if pcv is None else pcv.number("%"),
    )  # fmt: skip
    return patient, _quantity(table, "last_weight", "", "weight"), _flag(table, "weight_confirmed", "", absent=False)


def _sex(table: Mapping[str, Any]) -> str:
    told = _text(table, "sex")
    return read_sex(told) if told else ""


def _age(text: str) -> Decimal | None:
    """In days. Over thirty years the unit is more likely wrong than the animal old."""
    if not text:
        return None
    days = read_age_days(text)
    if days > OLDEST_YEARS * Decimal("365.25"):
        raise OutOfRange("age", f"{text} is older than dogs and cats become.", f"Write up to {OLDEST_YEARS} y.")
    return days


def _asa(table: Mapping[str, Any]) -> str:
    grade = _text(table, "asa")
    if grade and grade.removesuffix("E").strip() not in GRADES:
        raise NotOneOf("asa", f"{grade!r} is not an ASA grade.", "Write I, II, III, IV or V, with E for an emergency.")
    return grade


def _moment(table: Mapping[str, Any], key: str) -> datetime | None:
    """When it was weighed: a TOML date-time, or one in quotation marks. A moment without a zone is local time."""
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, str):
        with suppress(ValueError):
            value = datetime.fromisoformat(value)
    if isinstance(value, datetime):
        return value if value.tzinfo else value.astimezone()
    day = " without a time of day" if isinstance(value, date) else ""
    raise NotOneOf(key, f"{value!r} is not a date and time{day}.", "Write it like 2026-11-24T07:40.")


# ---- [[order]]


def _order(table: dict[str, Any], number: int) -> OrderAsked:
    place = f"order {number}"
    _known(table, ORDER, place)
    drug = str(_need(table, "drug", place, "Name the drug.")).strip().lower()
    low, high = _dose(_need(table, "dose", place, 'Write it like dose = "0.3 mg/kg".'), f"{place}, dose")
    over, reason = _text(table, "over_hard_by", place), _text(table, "reason", place)
    if over and not reason:
        raise Missing(f"{place}, reason", "an order over a hard stop needs its reason.", "Write the reason in words.")
    return OrderAsked(
        field=place, order=place, drug=drug, purpose=_text(table, "purpose", place), route=_text(table, "route", place),
        low=low, high=high, row=_text(table, "row", place),
        concentration=_quantity(table, "concentration", place, "concentration"), when=_text(table, "when", place),
        given_as=_text(table, "given_as", place), ordered_by=_text(table, "ordered_by", place), over_hard_by=over,
        reason=reason,
    )  # fmt: skip


def _dose(text: object, place: str) -> tuple[Quantity, Quantity]:
    """One dose, or a range written "0.2 to 0.4 mg/kg".

    >>> [str(q) for q in _dose("0.2 to 0.4 mg/kg", "order 1, dose")]
    ['0.2 mg/kg', '0.4 mg/kg']
    """
    if isinstance(text, str) and (dashed := _DASHED.match(text)):
        meant = f"{dashed.group(1)} to {dashed.group(2)} {dashed.group(3).strip()}"
        raise NotAQuantity(place, f"{text!r} is a range with a dash, which can be read as a minus.", f"Write {meant!r}.",
                           use=meant)  # fmt: skip
    found = _RANGE.match(text) if isinstance(text, str) else None
    if found is None:
        one = _positive(read(text, place, "dose"), place)
        return one, one
    high = _positive(read(found.group(3), place, "dose"), place)
    low = read(f"{found.group(1)} {found.group(2) or high.unit}", place, "dose")
    if low > high:
        raise Contradiction(place, f"{low} to {high} runs backwards.", "Write the lower dose first.")
    return low, high


def _positive(dose: Quantity, place: str) -> Quantity:
    if dose.value <= 0:
        raise OutOfRange(place, "a dose of nothing is not an order.", "Leave the order out, or write the dose meant.")
    return dose


# ---- [stock], [airway], [[limit]]


def _stock(table: dict[str, Any]) -> Stock:
    _known(table, STOCK, "stock")
    if "strengths" in table and "concentrations" in table:
        raise Contradiction("stock", "strengths and concentrations are two names of one list.", "Keep one of them.")
    key = "concentrations" if "concentrations" in table else "strengths"
    strengths = _table(table.get(key, {}), f"stock.{key}")
    parts = _table(table.get("parts", {}), "stock.parts")
    _known(parts, PARTS, "stock, parts")
    return Stock(
        strengths={
            drug.strip().lower(): _strengths(value, f"stock, {key}, {drug}") for drug, value in strengths.items()
        },
        syringes=_words(table, "syringes", "stock"),
        tubes=tuple(_tube(t, n) for n, t in enumerate(_tables(table.get("tubes", []), "stock.tubes"), 1)),
        cylinders=tuple(_cylinder(t, n) for n, t in enumerate(_tables(table.get("cylinder", []), "stock.cylinder"), 1)),
        case_minutes=_whole(table, "case_minutes", "stock", 1, 24 * 60),
        parts=tuple((name, read(value, f"stock, parts, {name}", "volume")) for name, value in parts.items()),
        circuit=_text(table, "circuit", "stock"),
        circuits=_words(table, "circuits", "stock"),
        bags_ml=tuple(_bag(text) for text in _words(table, "bags", "stock")),
        prices=dict(_bottle(t, n) for n, t in enumerate(_tables(table.get("bottle", []), "stock.bottle"), 1)),
    )


def _bag(text: str) -> int:
    value = read(text, "stock, bags", "volume").number("mL")
    if value != int(value) or value <= 0:
        raise OutOfRange("stock, bags", f"{text} is not a bag.", 'Write it like ["500 mL", "1 L"].')
    return int(value)


def _bottle(table: dict[str, Any], number: int) -> tuple[str, Price]:
    """A bottle of volatile agent as it was bought: without it no cost is shown."""
    place = f"stock, bottle {number}"
    _known(table, BOTTLE, place)
    agent = str(_need(table, "agent", place, 'Write it like agent = "isoflurane".')).strip().lower()
    holds = read(_need(table, "bottle", place, 'Write it like bottle = "250 mL".'), f"{place}, bottle", "volume")
    _within("agent bottle", holds, "mL", f"{place}, bottle")
    price = _need(table, "price", place, "Write what a bottle costs, like price = 40.")
    if isinstance(price, bool) or not isinstance(price, int | Decimal):
        raise NotAQuantity(f"{place}, price", f"{price!r} is not a figure.",
                           "Write it like price = 40, its currency beside it.")  # fmt: skip
    currency = str(_need(table, "currency", place, 'Write it as the bill does, like currency = "EUR".'))
    return agent, Price(amount=Decimal(price), currency=currency, bottle_ml=holds.number("mL"))


def _oxygen(table: dict[str, Any], stock: Stock) -> Stock:
    """Where the oxygen comes from. A cylinder's own figures stand in [[stock.cylinder]]."""
    _known(table, OXYGEN, "oxygen")
    if not table:
        return stock
    source = _need(table, "source", "oxygen", "Write cylinder, pipeline or concentrator.")
    kind = next((k for k in SUPPLIES if k == source), None)
    if kind is None:
        raise NotOneOf("oxygen, source", f"{source!r} is not a supply.", "Write cylinder, pipeline or concentrator.")
    supply = Supply(kind=kind, max_flow=_quantity(table, "max_flow", "oxygen", "flow"),
                    percent=_quantity(table, "percent", "oxygen", "fraction"))  # fmt: skip
    drive = _quantity(table, "drive_gas", "oxygen", "flow")
    _within("drive gas", drive, "L/min", "oxygen, drive_gas")
    if supply.kind == "concentrator":
        _within("concentrator flow", supply.max_flow, "L/min", "oxygen, max_flow")
        _within("concentrator oxygen", supply.percent, "%", "oxygen, percent")
    return replace(stock, supply=supply, drive_gas=drive)


def _within(span: str, value: Quantity | None, unit: str, place: str) -> None:
    """The same spans as at a case: what no instrument shows is a slip. The refusal names the place in the file."""
    inside(span, None if value is None else value.number(unit), place)


def _gas(table: dict[str, Any], stock: Stock) -> Stock:
    """What will be on the vaporiser, and whether a ventilator breathes."""
    _known(table, GAS, "gas")
    agent, dial = _text(table, "agent", "gas").lower(), _quantity(table, "dial", "gas", "fraction")
    if dial is not None and not agent:
        raise Missing("gas, agent", "was not given, and a dial belongs to one.", 'Write it like agent = "isoflurane".')
    _within("vaporiser", dial, "%", "gas, dial")
    return replace(
        stock,
        agent=agent,
        dial=dial,
        ventilated=_flag(table, "ventilated", "gas", absent=False),
        volume=_quantity(table, "circuit_volume", "gas", "volume"),
    )


def _strengths(value: object, place: str) -> tuple[Quantity, ...]:
    texts = [value] if isinstance(value, str) else value
    if not isinstance(texts, list) or not texts:
        raise NotOneOf(place, f"{value!r} is not a strength.", 'Write it like ["10 mg/mL"].')
    found = tuple(read(text, place, "concentration") for text in texts)
    if any(one.value <= 0 for one in found):
        raise OutOfRange(place, "a strength of nothing is not a drug.", "Write what is printed on the vial.")
    return found


def _tube(table: dict[str, Any], number: int) -> TubeInStock:
    place = f"stock, tube {number}"
    _known(table, TUBE, place)
    inside = read(_need(table, "id", place, 'Write it like id = "3.5 mm".'), f"{place}, id", "diameter").number("mm")
    outside = _quantity(table, "od", place, "diameter")
    if outside is not None and outside.number("mm") <= inside:
        raise Contradiction(f"{place}, od", f"{outside} outside is not more than {inside} mm inside.",
                            "Read both from the tube: ID is the smaller one.")  # fmt: skip

    def mm(key: str) -> Decimal | None:
        found = _quantity(table, key, place, "length")
        return None if found is None else found.number("mm")

    return TubeInStock(
        id_mm=inside,
        od_mm=None if outside is None else outside.number("mm"),
        cuffed=_flag(table, "cuffed", place, absent=True),
        length_mm=mm("length"),
        tip_to_cuff_top_mm=mm("tip_to_cuff_top"),
        cuff_length_mm=mm("cuff_length"),
        side_hole_mm=mm("side_hole"),
    )


def _cylinder(table: dict[str, Any], number: int) -> Cylinder:
    place = f"stock, cylinder {number}"
    _known(table, CYLINDER, place)
    contents = read(
        _need(table, "contents", place, 'Write what is printed, like "680 L".'), f"{place}, contents", "volume"
    )
    full = gauge_pressure(_need(table, "full", place, 'Write what is printed, like "137 bar".'), f"{place}, full")
    gauge = gauge_pressure(table["gauge"], f"{place}, gauge") if "gauge" in table else None
    return Cylinder(contents=contents, full=full, gauge=gauge)


def _airway(table: dict[str, Any]) -> Measured:
    _known(table, AIRWAY, "airway")
    found: dict[str, Any] = {name: _quantity(table, key, "airway", kind) for key, name, kind in LENGTHS}
    outcome = _text(table, "previous_outcome", "airway")
    if outcome and outcome not in OUTCOMES:
        raise NotOneOf(
            "airway, previous_outcome", f"{outcome!r} is not how a tube serves.", "One of: " + ", ".join(OUTCOMES) + "."
        )
    if outcome and found["previous_tube_id"] is None:
        raise Missing("airway, tube_id", "is not given for the tube that was used.",
                      'Write it like tube_id = "4.0 mm".')  # fmt: skip
    grown = _flag(table, "previous_full_grown", "airway", absent=False) if "previous_full_grown" in table else None
    ratio = table.get("trachea_to_inlet")
    if ratio is not None and (isinstance(ratio, bool) or not isinstance(ratio, Decimal)):
        raise NotAQuantity("airway, trachea_to_inlet", f"{ratio!r} is not a ratio.", "Write a number like 0.13.")
    return Measured(**found, previous_outcome=outcome or None, previous_full_grown=grown, trachea_to_inlet=ratio)


def _limit(table: dict[str, Any], number: int) -> LimitAsked:
    place = f"limit {number}"
    _known(table, LIMIT, place)
    reading = str(_need(table, "reading", place, 'Name the reading, like reading = "map".'))
    below, above = _bound(table, "below", place), _bound(table, "above", place)
    if below is None and above is None:
        raise Missing(place, "says neither below nor above.", "Write below = 60, above = 160, or both.")
    return LimitAsked(reading=reading, below=below, above=above, action=_text(table, "action", place),
                      ordered_by=_text(table, "ordered_by", place))  # fmt: skip


def _bound(table: Mapping[str, Any], key: str, place: str) -> Decimal | None:
    """A bare number in the unit of its reading: the one place where a number stands alone, as on a monitor."""
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite() or value < 0:
        raise NotAQuantity(f"{place}, {key}", f"{value!r} is not a monitor's number.", "Write a number like 60.")
    return Decimal(value)
