"""A prediction as plain data: what `spiracle predict --format json` prints and what its table and its picture are made from.

JSON Schema of this page is doors/predict.schema.json, and the tests hold the output to it. Levels are of a population of a model,
never of this animal: no shape here can be taken for a reading.
"""

from __future__ import annotations

import msgspec

from spiracle.sheets.plan_shapes import Cite, Plain


class Measure(Plain, frozen=True, kw_only=True):
    """A number with its unit, and both as printed."""

    value: float
    unit: str
    text: str


class Series(Plain, frozen=True, kw_only=True):
    """Numbers in one unit, one for each of `times`; none where the curve is withheld."""

    unit: str
    values: tuple[float, ...]


class Percentiles(Plain, frozen=True, kw_only=True):
    """A tenth of the animals lies below p10, half below p50, a tenth above p90; at each of the band's times."""

    p10: tuple[float, ...]
    p50: tuple[float, ...]
    p90: tuple[float, ...]


class Band(Plain, frozen=True, kw_only=True):
    """The spread between animals, in the unit of the levels, at its own `times`: each `every`th of the curve's, where those are many."""

    times: Series
    every: int
    unit: str
    animals: int
    says: str
    plasma: Percentiles
    effect: Percentiles | None = None


class ParameterPart(Plain, frozen=True, kw_only=True):
    """A constant of the model. `as_written` is what stands in the file; empty for a sourced row."""

    name: str
    value: float
    unit: str
    text: str
    as_written: str = ""


class ModelPart(Plain, frozen=True, kw_only=True):
    """Where the curve comes from. `id` and `quality` are "given" where the parameters stand in the file: nobody vouches for them."""

    id: str
    quality: str
    drug: str
    species: str
    population: str
    n: int | None
    says: str
    compartments: int
    saturable: bool
    parameters: tuple[ParameterPart, ...]
    sources: tuple[Cite, ...]
    cautions: tuple[str, ...]
    memory: bool


class PatientPart(Plain, frozen=True, kw_only=True):
    name: str
    species: str
    weight: Measure


class GivenPart(Plain, frozen=True, kw_only=True):
    """A dose or an infusion, per kilogram and for this animal; `working` says how one came from the other."""

    field: str
    kind: str
    start_min: float
    stop_min: float
    per_kg: Measure
    for_animal: Measure
    working: str


class Peak(Plain, frozen=True, kw_only=True):
    """The highest level of the curve, and when."""

    site: str
    at_min: float
    level: Measure


class FallPart(Plain, frozen=True, kw_only=True):
    """When, with nothing more given, the level has fallen so far. No minutes where it never was that high."""

    site: str
    to: Measure
    at_min: float | None
    after_stop_min: float | None
    p10_min: float | None = None
    p90_min: float | None = None
    says: str


class NowPart(Plain, frozen=True, kw_only=True):
    """The levels at the moment that the file calls now."""

    at_min: float
    plasma: Measure
    effect: Measure | None = None


class FactsPart(Plain, frozen=True, kw_only=True):
    """What follows from the constants alone; empty for elimination that saturates, which has no one half-life."""

    half_lives: tuple[Measure, ...] = ()
    clearance: Measure | None = None
    vss: Measure | None = None
    mean_residence: Measure | None = None


class Predicted(Plain, frozen=True, kw_only=True):
    """One prediction. `withheld` says why there is no curve; the sums of what is given stand all the same."""

    says: str
    patient: PatientPart
    model: ModelPart
    times: Series
    plasma: Series
    effect: Series | None
    band: Band | None
    withheld: str
    given: tuple[GivenPart, ...]
    total: Measure
    total_per_kg: Measure
    last_stop_min: float
    peaks: tuple[Peak, ...]
    facts: FactsPart
    falls: tuple[FallPart, ...]
    now: NowPart | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def predicted_json(made: Predicted) -> bytes:
    """The prediction's JSON: a line for each key, so that a row of thousands of numbers stays one line."""
    parts = msgspec.json.decode(msgspec.json.encode(made), type=dict[str, msgspec.Raw])
    return b"{\n" + b",\n".join(b'  "%s": %s' % (k.encode(), bytes(v)) for k, v in parts.items()) + b"\n}\n"
