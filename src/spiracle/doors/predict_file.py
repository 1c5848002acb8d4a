"""Reads the file of a prediction: strict TOML, every value with its unit, no key ignored, no default species or weight.

Layout (docs/predict.md explains each key): [patient], [model], [[bolus]], [[infusion]], [output]. A refusal names the place as the
writer knows it: "weight", "model, k21", "infusion 2, rate".
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Any

from spiracle.doors.plan_file import _flag, _known, _need, _table, _tables, _text
from spiracle.doors.strict_toml import toml_of
from spiracle.quantity import KINDS, Quantity, read
from spiracle.refusals import Contradiction, Missing, NotAQuantity, NotOneOf, OutOfRange
from spiracle.sheets.predict_request import BolusAsked, GivenModel, InfusionAsked, Parameter, PredictRequest

TOP = ("patient", "model", "bolus", "infusion", "output")
PATIENT = ("name", "species", "weight", "weight_confirmed")
BOLUS = ("at", "dose", "over")
INFUSION = ("from", "to", "rate")
OUTPUT = ("until", "every", "fall_to", "now")
# [model]: what each parameter is
PARAMETERS = {
    "v1": "volume per weight", "clearance": "clearance", "k10": "rate constant", "k12": "rate constant",
    "k21": "rate constant", "k13": "rate constant", "k31": "rate constant", "v2": "volume per weight", "cl2": "clearance",
    "v3": "volume per weight", "cl3": "clearance", "ke0": "rate constant", "vmax": "drug rate", "km": "level",
}  # fmt: skip
MODEL = ("id", "name", "spread", *PARAMETERS)
CONSTANTS, FLOWS = ("k12", "k21", "k13", "k31"), ("v2", "cl2", "v3", "cl3")
PAIRS = (("k12", "k21"), ("k13", "k31"), ("v2", "cl2"), ("v3", "cl3"))
MOST_POINTS, LONGEST_H, WIDEST_PERCENT = 100_000, 7 * 24, 150
MOST_DOSES, MOST_FALLS = 1_000, 20  # bounds of our own


def read_predict_file(text: str, name: str = "prediction file") -> PredictRequest:
    """The whole file, or the first refusal in reading order. Nothing is computed from a file with one fault in it."""
    top = toml_of(text, name, "docs/predict.md")
    _known(top, TOP, "file")
    for part, what in (("patient", "species and weight"), ("model", "the id of a model, or its parameters"),
                       ("output", 'like until = "120 min" and every = "10 s"')):  # fmt: skip
        if part not in top:
            raise Missing(part, f"there is no [{part}] part.", f"Write [{part}] with {what}.")
    patient = _table(top["patient"], "patient")
    species, weight = _patient(patient)
    model = _model(_table(top["model"], "model"))
    _not_too_many(top)
    boluses = tuple(_bolus(t, n) for n, t in enumerate(_tables(top.get("bolus", []), "bolus"), 1))
    infusions = tuple(_infusion(t, n) for n, t in enumerate(_tables(top.get("infusion", []), "infusion"), 1))
    if not boluses and not infusions:
        raise Missing(
            "bolus", "nothing is given in this file.", "Write a [[bolus]] with at and dose, or an [[infusion]]."
        )
    _apart(infusions)
    until, every, falls, now = _output(_table(top["output"], "output"))
    return PredictRequest(
        species=species, weight=weight, model=model, until=until, every=every, boluses=boluses, infusions=infusions,
        fall_to=falls, now=now, name=_text(patient, "name", "patient"),
        weight_confirmed=_flag(patient, "weight_confirmed", "", absent=False),
    )  # fmt: skip


def _not_too_many(top: dict[str, Any]) -> None:
    """Each dose is carried through every animal: a file that holds more than a case does is a slip, or would take the memory."""
    count = sum(len(_tables(top.get(part, []), part)) for part in ("bolus", "infusion"))
    if count > MOST_DOSES:
        raise OutOfRange("bolus", f"{count:,} boluses and infusions are more than one prediction holds.",
                         f"Write {MOST_DOSES:,} at most together; a rate that stays the same is one infusion.")  # fmt: skip


def _patient(table: dict[str, Any]) -> tuple[str, Quantity]:
    _known(table, PATIENT, "patient")
    species = _need(table, "species", "", 'Write species = "dog" or species = "cat"; there is no default.')
    if species not in {"dog", "cat"}:
        raise NotOneOf("species", f"{species!r} is not a species Spiracle predicts for.", "Write dog or cat.")
    weight = _read(_need(table, "weight", "", 'Write it like weight = "8.4 kg".'), "weight", "weight")
    return str(species), _above_nothing(weight, "weight", "Write the animal's weight.")


def _read(value: object, place: str, kind: str) -> Quantity:
    """A quantity. A bare number is shown as it was written, with what it lacks."""
    if isinstance(value, int | float | Decimal) and not isinstance(value, bool):
        example = KINDS[kind].example.split(",")[0].split(" or ")[0].partition(" ")[2]
        raise NotAQuantity(place, f"{value} is a bare value without a unit.",
                           f'Write it in quotes with its unit, like "{value} {example}".')  # fmt: skip
    return read(value, place, kind)


# ---- [model]


def _model(table: dict[str, Any]) -> str | GivenModel:
    _known(table, MODEL, "model")
    told = [k for k in PARAMETERS if k in table]
    if "spread" in table and "vmax" in table:
        raise Contradiction(
            "model, spread", "no band is worked out where elimination saturates.", "Leave the spread out."
        )
    if "id" in table:
        if told or "spread" in table or "name" in table:
            other = (told + [k for k in ("spread", "name") if k in table])[0]
            raise Contradiction(f"model, {other}", "stands beside an id, which has its own.",
                                "Keep the id, or give all the parameters without one.")  # fmt: skip
        wanted = _text(table, "id", "model")
        if not wanted:
            raise Missing("model, id", "is empty.", "Write the id of a model, or its parameters.")
        return wanted
    if not told:
        raise Missing("model", "has neither an id nor parameters.", 'Write an id, or v1 = "0.4 L/kg" and the others.')
    given = tuple(Parameter(k, _parameter(table, k), str(table[k]).strip()) for k in told)
    _whole(set(told))
    return GivenModel(given, _spread(table), _text(table, "name", "model"))


def _parameter(table: Mapping[str, Any], key: str) -> Quantity:
    place = f"model, {key}"
    value = _read(table[key], place, PARAMETERS[key])
    if key == "vmax":
        _per_kg(value, place)
    return _above_nothing(value, place, "Leave out what is not there, or write its figure.")


def _per_kg(value: Quantity, place: str) -> None:
    if "kg" not in str(value.unit):
        raise NotOneOf(place, f"{value} is not per kilogram.", "Write it like 0.5 mg/kg/min.")


def _whole(told: set[str]) -> None:
    """Parameters that make one model: a volume, one way out, whole pairs of one kind."""
    if "v1" not in told:
        raise Missing("model, v1", "was not given.", 'Write it like v1 = "0.4 L/kg".')
    _way_out(told)
    for pair in PAIRS:
        have = [k for k in pair if k in told]
        if len(have) == 1:
            lacks = next(k for k in pair if k not in told)
            raise Missing(f"model, {lacks}", f"{have[0]} stands alone.", f"Give {pair[0]} and {pair[1]}, or neither.")
    constants, flows = [k for k in CONSTANTS if k in told], [k for k in FLOWS if k in told]
    if constants and flows:
        raise Contradiction(f"model, {flows[0]}", f"stands beside {constants[0]}: two ways to write one thing.",
                            "Write k12 k21 k13 k31, or v2 cl2 v3 cl3.")  # fmt: skip
    for second, third in (("k12", "k13"), ("v2", "v3")):
        if third in told and second not in told:
            raise Missing(f"model, {second}", f"{third} is of the third compartment and the second is not there.",
                          "With one compartment beside the first, write it as the second.")  # fmt: skip


def _way_out(told: set[str]) -> None:
    ways = [k for k in ("clearance", "k10", "vmax") if k in told]
    if not ways and "km" not in told:
        raise Missing(
            "model, clearance", "there is no way out of the body.", "Give clearance, or k10, or vmax with km."
        )
    if len(ways) > 1:
        raise Contradiction(f"model, {ways[1]}", f"stands beside {ways[0]}: two ways out of the body.", "Keep one.")
    for one, other in (("vmax", "km"), ("km", "vmax")):
        if one in told and other not in told:
            raise Missing(f"model, {other}", f"{one} stands alone.", "Give vmax and km, or neither.")


def _spread(table: Mapping[str, Any]) -> Quantity | None:
    if "spread" not in table:
        return None
    spread = _read(table["spread"], "model, spread", "fraction")
    if not 0 < spread.value <= WIDEST_PERCENT:
        raise OutOfRange("model, spread", f"{spread} is not a spread between animals.",
                         f'Write it like spread = "30 %", up to {WIDEST_PERCENT} %.')  # fmt: skip
    return spread


# ---- [[bolus]], [[infusion]]


def _bolus(table: dict[str, Any], number: int) -> BolusAsked:
    place = f"bolus {number}"
    _known(table, BOLUS, place)
    at = _moment(_need(table, "at", place, 'Write it like at = "0 min".'), f"{place}, at")
    dose = _amount(_need(table, "dose", place, 'Write it like dose = "4 mg/kg".'), f"{place}, dose", "drug amount")
    over = None
    if "over" in table:
        over = _above_nothing(_read(table["over"], f"{place}, over", "duration"), f"{place}, over",
                              "Leave it out for a dose at one moment.")  # fmt: skip
        if at.number("h") + over.number("h") > LONGEST_H:
            raise OutOfRange(f"{place}, over", f"{over} from {at} on end after a case does.",
                             f"The dose is in by {LONGEST_H} h at the latest.")  # fmt: skip
    return BolusAsked(place, at, dose, over)


def _infusion(table: dict[str, Any], number: int) -> InfusionAsked:
    place = f"infusion {number}"
    _known(table, INFUSION, place)
    start = _moment(_need(table, "from", place, 'Write it like from = "2 min".'), f"{place}, from")
    stop = _moment(_need(table, "to", place, 'Write it like to = "62 min".'), f"{place}, to")
    rate = _amount(_need(table, "rate", place, 'Write it like rate = "0.3 mg/kg/min".'), f"{place}, rate", "drug rate")
    if stop <= start:
        raise Contradiction(f"{place}, to", f"{stop} is not after its beginning, {start}.", "Write a later moment.")
    return InfusionAsked(place, start, stop, rate)


def _moment(text: object, place: str) -> Quantity:
    """Minutes since the case began."""
    if isinstance(text, str) and text.strip()[:1] in {"-", "−"}:
        raise OutOfRange(place, f"{text!r} is before the case begins.", "Write 0 min or later.")
    moment = _read(text, place, "duration")
    return _within(moment, place)


def _within(moment: Quantity, place: str) -> Quantity:
    if moment.number("h") > LONGEST_H:
        raise OutOfRange(place, f"{moment} is longer than a case.", f"Write up to {LONGEST_H} h.")
    return moment


def _amount(text: object, place: str, kind: str) -> Quantity:
    if isinstance(text, str) and text.strip()[:1] in {"-", "−"}:
        raise OutOfRange(place, f"{text!r} is less than nothing.", "Write what is given, above 0.")
    return _above_nothing(_read(text, place, kind), place, "Leave it out, or write what is given.")


def _above_nothing(value: Quantity, place: str, accepts: str) -> Quantity:
    if value.value <= 0:
        raise OutOfRange(place, f"{value} is nothing.", accepts)
    return value


def _apart(infusions: tuple[InfusionAsked, ...]) -> None:
    """One pump, one rate: infusions of one drug may touch and never overlap."""
    in_order = sorted(infusions, key=lambda i: i.start.number("s"))
    for one, after in pairwise(in_order):
        if after.start < one.stop:
            raise Contradiction(f"{after.field}, from", f"{after.start} is before {one.field} stops at {one.stop}.",
                                "Infusions of one drug follow each other; write the sum of the rates as a part of its own.")  # fmt: skip


# ---- [output]


def _output(table: dict[str, Any]) -> tuple[Quantity, Quantity, tuple[Quantity, ...], Quantity | None]:
    _known(table, OUTPUT, "output")
    until = _step(_need(table, "until", "output", 'Write it like until = "120 min".'), "output, until")
    every = _step(_need(table, "every", "output", 'Write it like every = "10 s".'), "output, every")
    if every > until:
        raise Contradiction("output, every", f"{every} is longer than until, {until}.", "Write a shorter step.")
    points = int(until.number("s") / every.number("s")) + 1
    if points > MOST_POINTS:
        raise OutOfRange("output, every", f"{until} in steps of {every} are {points:,} points.",
                         f"Write a step that makes {MOST_POINTS:,} points at most.")  # fmt: skip
    falls = table.get("fall_to", [])
    if not isinstance(falls, list):
        raise NotOneOf("output, fall_to", f"{falls!r} is not a list.", 'Write it like fall_to = ["2 mg/L"].')
    if len(falls) > MOST_FALLS:
        raise OutOfRange(
            "output, fall_to", f"{len(falls):,} levels are more than are looked for.", f"Write {MOST_FALLS} at most."
        )
    levels = tuple(_amount(f, f"output, fall_to {n}", "level") for n, f in enumerate(falls, 1))
    now = _moment(table["now"], "output, now") if "now" in table else None
    if now is not None and now > until:
        raise Contradiction("output, now", f"{now} is after until, {until}.", "Write a moment inside the curve.")
    return until, every, levels, now


def _step(text: object, place: str) -> Quantity:
    if isinstance(text, str) and text.strip()[:1] in {"-", "−"}:
        raise OutOfRange(place, f"{text!r} is less than nothing.", "Write a time above 0.")
    return _within(_above_nothing(_read(text, place, "duration"), place, "Write a time above 0."), place)
