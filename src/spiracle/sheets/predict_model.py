"""Which model a prediction runs on: a sourced row by its id, or the parameters that stand in the file, marked as given.

Everything here may refuse by name: an id that is not there, a row that is known only in part, a row of the other species. No row is
ever taken in place of the one asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from math import log1p, sqrt

from spiracle.case.facts import Facts
from spiracle.kinetics.choosing import PREDICTION, Model, by_id
from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.population import Spread
from spiracle.kinetics.saturable import Saturable
from spiracle.kinetics.tables import KineticsTables
from spiracle.quantity import Quantity
from spiracle.quantity.units import Base
from spiracle.refusals import Contradiction, Missing, NotOneOf, OutOfRange, Refusal, Unknown
from spiracle.sheets.predict_request import GivenModel, PredictRequest
from spiracle.sheets.predict_shapes import ModelPart, ParameterPart
from spiracle.sheets.worked_shape import cites

GIVEN = "given"
GIVEN_SAYS = "Parameters given in the file: no source stands behind them and nobody vouches for them."
NO_BAND = "No band is worked out where elimination saturates: real animals differ."
UNITS = {"volume": "L/kg", "clearance": "L/kg/min", "constant": "1/min", "vmax": "mg/kg/min", "km": "mg/L"}
KIND = {"v1": "volume", "v2": "volume", "v3": "volume", "clearance": "clearance", "cl2": "clearance", "cl3": "clearance",
        "k10": "constant", "k12": "constant", "k21": "constant", "k13": "constant", "k31": "constant", "ke0": "constant",
        "vmax": "vmax", "km": "km"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Chosen:
    """What is run. `spread` is None where no population is known; `row` stands for a sourced model."""

    part: ModelPart
    typical: Disposition
    spread: Spread | None
    widen: tuple[Disposition, ...] = ()
    saturating: Saturable | None = None
    row: Model | None = None


def model_for(request: PredictRequest, facts: Facts) -> Chosen:
    """The model of a request, or the refusal that names what is wrong with it."""
    if isinstance(request.model, GivenModel):
        return _given(request.model, request.species)
    return _sourced(request.model, request, facts)


# ---- a sourced row


def _sourced(id_: str, request: PredictRequest, facts: Facts) -> Chosen:
    tables = facts.kinetics
    known = {m.id: m for m in tables.models}
    if id_ not in known:
        raise _no_such_model(id_, request.species, facts, tables)
    row = known[id_]
    if row.species != request.species:
        raise Contradiction("model, id", f"{id_} is a model for the {row.species}, the species says {request.species}.",
                            _of_species(tables, row.drug, request.species))  # fmt: skip
    try:
        model = by_id(tables, id_)
    except Refusal as refusal:
        raise type(refusal)("model, id", refusal.says, refusal.accepts) from refusal
    if row.weight_from_kg is not None and request.weight.number("kg") < row.weight_from_kg:
        raise OutOfRange("weight", f"{request.weight} is less than the animals of {id_} weighed.",
                         f"This model is used from {row.weight_from_kg} kg on.")  # fmt: skip
    return _chosen(model, facts)


def _chosen(model: Model, facts: Facts) -> Chosen:
    row, typical, full = model.row, model.disposition, model.saturable
    told = [*(c for c in model.cautions if c != PREDICTION), *_untold(model)]  # the prediction says that itself
    shown = _parameters(typical)
    if full is not None:  # the clearance of its row is that of a trace; all leaves by the way that fills up
        typical = full.linear
        shown = (*(p for p in shown if p.name != "clearance"), _parameter("vmax", full.vmax, UNITS["vmax"]),
                 _parameter("km", full.km, UNITS["km"]))  # fmt: skip
        told.append(NO_BAND)
    part = ModelPart(
        id=row.id, quality=row.quality, drug=row.drug, species=row.species, population=row.population, n=row.n, says=model.words,
        compartments=len(typical.volumes), saturable=full is not None, parameters=shown,
        sources=cites(model.sources, facts.sources), cautions=tuple(told), memory=model.memory,
    )  # fmt: skip
    return Chosen(part, typical, model.spread, model.widen, saturating=full, row=model)


def _untold(model: Model) -> tuple[str, ...]:
    """What the file does not say of the animal, and the model assumes."""
    row, told = model.row, []
    if row.adult_from_months:
        told.append(f"animals from {row.adult_from_months} months on")
    if row.asa_at_most:
        told.append(f"ASA status up to {row.asa_at_most}")
    if row.not_for:
        told.append(f"not with {', '.join(c.replace('-', ' ') for c in row.not_for)}")
    return (f"The model is for {', '.join(told)}: the file does not say whether this animal is one.",) if told else ()


def _parameters(typical: Disposition) -> tuple[ParameterPart, ...]:
    named = [("v1", typical.v1), ("clearance", typical.clearance)]
    for n, (flow, volume) in enumerate(typical.exchange, 2):
        named += [(f"cl{n}", flow), (f"v{n}", volume)]
    if typical.ke0 is not None:
        named.append(("ke0", typical.ke0))
    return tuple(_parameter(name, float(value), UNITS[KIND[name]]) for name, value in named)


def _parameter(name: str, value: float, unit: str, as_written: str = "") -> ParameterPart:
    return ParameterPart(name=name, value=value, unit=unit, text=f"{value:.4g} {unit}", as_written=as_written)


def _no_such_model(id_: str, species: str, facts: Facts, tables: KineticsTables) -> Refusal:
    """Why there is no such row, as far as can be told from the name: a drug, a set of humans, a slip of the keyboard."""
    word = id_.strip().lower()
    if "human" in word:
        return NotOneOf("model, id", f"{id_[:60]!r} names humans: no model of humans predicts for an animal.",
                        "Write the id of a model for the dog or the cat.")  # fmt: skip
    drug = _drug_named(word, facts)
    if any(m.drug == word for m in tables.models):
        return Unknown("model, id", f"{id_!r} is a drug, not the id of a model.", _of_species(tables, word, species))
    begun = _begun_so(word, species, tables)
    if begun:
        return Unknown("model, id", f"{id_[:60]!r} is only how an id begins.", f"So begin: {', '.join(begun)}.",
                       use=begun[0] if len(begun) == 1 else None)  # fmt: skip
    if drug and any(m.drug == drug for m in tables.models):
        return Unknown("model, id", f"{id_[:60]!r} is no id of a model of {drug}.", _of_species(tables, drug, species))
    if drug:
        return Missing(
            "model, id", f"no model of {drug} is known.", "Only sums can be shown; or give parameters in the file."
        )
    runs = [m.id for m in tables.models if m.runs and m.species == species]
    every = [m.id for m in tables.models if m.runs]
    near = get_close_matches(id_.strip(), runs, n=3, cutoff=0.5) or get_close_matches(
        id_.strip(), every, n=3, cutoff=0.5
    )
    hint = f"Near it: {', '.join(near)}." if near else f"For the {species}: {', '.join(runs)}."
    return Unknown(
        "model, id", f"{id_[:60]!r} is no model that Spiracle holds.", hint, use=near[0] if len(near) == 1 else None
    )


def _drug_named(word: str, facts: Facts) -> str:
    """A drug of the formulary that this word names, with or without a species behind it; "" for none."""
    for name in (word, word.removesuffix("-dog").removesuffix("-cat")):
        try:
            return str(facts.drugs.drug(name).id)
        except Refusal:
            continue
    return ""


def _begun_so(word: str, species: str, tables: KineticsTables) -> list[str]:
    """Ids that begin with these words, of the animal's species where there are such."""
    if not word:
        return []
    rows = [m for m in tables.models if m.runs and m.id.lower().startswith(word)]
    return [m.id for m in rows if m.species == species] or [m.id for m in rows]


def _of_species(tables: KineticsTables, drug: str, species: str) -> str:
    ids = [m.id for m in tables.of(drug, species) if m.runs]
    if ids:
        return f"For the {species}: {', '.join(ids)}."
    others = [m.id for m in tables.models if m.drug == drug and m.runs]
    part = "known only in part" if tables.of(drug, species) else "not known"
    return f"A model of {drug} for the {species} is {part}." + (
        f" Of another species: {', '.join(others)}." if others else ""
    )


# ---- parameters in the file


def _given(model: GivenModel, species: str) -> Chosen:
    typical, saturating = _built(model)
    shown = tuple(_parameter(p.name, float(p.value.number(UNITS[KIND[p.name]])), UNITS[KIND[p.name]], p.written)
                  for p in model.parameters)  # fmt: skip
    cautions = ["The parameters stand in the file, given by whoever wrote it: this curve is as good as they are."]
    spread = None
    if saturating is not None:
        cautions.append(NO_BAND)
    elif model.spread is None:
        cautions.append("No spread between animals is given: no band, and real animals differ.")
    else:
        spread = _alike(float(model.spread.number("%")) / 100)
        cautions.append(f"The spread of {model.spread} between animals is given in the file for every parameter alike.")
    if typical.ke0 is None:
        cautions.append("No effect-site constant is given: the curve is that of the plasma.")
    part = ModelPart(
        id=GIVEN, quality=GIVEN, drug=model.name, species=species, population="", n=None, says=GIVEN_SAYS,
        compartments=len(typical.volumes), saturable=saturating is not None, parameters=shown, sources=(),
        cautions=tuple(cautions), memory=False,
    )  # fmt: skip
    return Chosen(part, typical, spread, saturating=saturating)


def _built(model: GivenModel) -> tuple[Disposition, Saturable | None]:
    """The compartments. Where elimination saturates, the disposition has no clearance of its own: all leaves by that way."""

    def of(name: str) -> float | None:
        value = model.of(name)
        return None if value is None else float(value.number(UNITS[KIND[name]]))

    def sure(value: float | None) -> float:
        return 0.0 if value is None else value

    v1 = sure(of("v1"))
    out = sure(of("k10")) * v1 if of("clearance") is None else sure(of("clearance"))
    if of("cl2") is None:
        made = Disposition.of_constants(v1, clearance=out, k12=sure(of("k12")), k21=sure(of("k21")), k13=sure(of("k13")),
                                        k31=sure(of("k31")), ke0=of("ke0"))  # fmt: skip
    else:
        pairs = [(sure(of(f"cl{n}")), sure(of(f"v{n}"))) for n in (2, 3) if of(f"cl{n}") is not None]
        made = Disposition(v1, out, tuple(pairs), of("ke0"))
    return made, Saturable(made, sure(of("vmax")), sure(of("km"))) if model.saturable else None


def _alike(cv: float) -> Spread:
    """One coefficient of variation for every parameter; the constant of the effect site by its logarithm, sqrt(ln(1 + cv^2))."""
    return Spread(cv_v1=cv, cv_v2=cv, cv_v3=cv, cv_clearance=cv, cv_q2=cv, cv_q3=cv, sd_log_ke0=sqrt(log1p(cv * cv)))


def written_per_kg(amount: Quantity) -> bool:
    return any(base is Base.BODY for base, _ in amount.unit.dimension)


def per_kg(amount: Quantity, weight: Quantity) -> Quantity:
    """A dose or rate for the whole animal divided by its weight; one per kilogram as it is."""
    return amount if written_per_kg(amount) else amount / weight
