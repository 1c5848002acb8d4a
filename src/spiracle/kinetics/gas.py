"""The animal and the agent of an inhaled uptake: lung, vessel-rich, muscle, fat, and the breathing system before them.

All is scaled from people, with human solubility: a first guess, and marked so wherever it is shown. Canonical units: L,
L/min, min; concentrations in per cent of an atmosphere, so that gas, blood and tissue stand in one unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from spiracle.kinetics.exponentials import Floats
from spiracle.kinetics.gas_tables import GROUPS, GasTables, SolubilityRow
from spiracle.kinetics.population import ANIMALS, FEWEST, _normals
from spiracle.refusals import Missing, OutOfRange

HUMAN = "Solubility is human, organ groups are scaled from people: dog and cat tables were not seen."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GasBody:
    """Volumes [L] and flows [L/min]; each a number, or one for each virtual animal (..., with groups last).

    `circuit_l` None: a system that does not rebreathe. `breath` is the share of a given alveolar ventilation that counts.
    """

    species: str
    weight_kg: float
    circuit_l: float | None
    lung_l: Floats
    groups_l: Floats
    flows_l_min: Floats
    breath: Floats
    sources: tuple[str, ...]
    memory: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agent:
    """An agent's coefficients: blood over gas, and tissue over blood of the three groups (last axis); dial's last mark [%]."""

    name: str
    dial_high: float
    blood_gas: Floats
    tissue_blood: Floats
    sources: tuple[str, ...]
    memory: bool


def scaled(of_person: float, person_kg: float, weight_kg: float, power: float) -> float:
    """A person's figure for an animal: times (weight / person's weight) to a power, in the figure's own unit.

    Source: row KG21 for the power of clearances; for flows a first guess.
    >>> round(scaled(5.4, 70, 10, 0.75), 2)
    1.25
    """
    return float(of_person * (weight_kg / person_kg) ** power)


def usual_ventilation(tables: GasTables, species: str | None, weight_kg: float | None) -> float:
    """Alveolar ventilation of a person scaled to the animal [L/min]: only where the caller says that none was measured."""
    kg = tables.weight(species, weight_kg)
    return scaled(tables.number("human-ventilation"), tables.number("human-weight"), kg, tables.number("flow-exponent"))


def body_of(tables: GasTables, species: str | None, weight_kg: float | None, circuit_l: float | None) -> GasBody:
    """The animal in the middle. `circuit_l` is the circle's volume with bag [L], as the breathing system has it; None: no rebreathing.

    Raises Missing or Unknown for species, Missing or OutOfRange for weight, OutOfRange for a volume that holds nothing.
    """
    kg = tables.weight(species, weight_kg)
    if circuit_l is not None and not 0 < circuit_l < 100:
        raise OutOfRange("breathing system, volume", f"{circuit_l:g} L is no circle.", "Give litres, like 5.")
    person = tables.number("human-weight")
    output = scaled(tables.number("human-output"), person, kg, tables.number("flow-exponent"))
    lung = tables.setting(f"frc-{species}")
    rows = (*tables.groups, lung, tables.setting("human-output"), tables.setting("flow-exponent"))
    return GasBody(
        species=str(species),
        weight_kg=kg,
        circuit_l=circuit_l,
        lung_l=np.asarray(lung.number * kg / 1000),
        groups_l=np.array([scaled(float(g.litres), person, kg, 1) for g in tables.groups]),
        flows_l_min=np.array([output * float(g.flow_percent) / 100 for g in tables.groups]),
        breath=np.asarray(1.0),
        sources=tuple(dict.fromkeys(s for r in rows for s in r.source)),
    )


def agent_of(tables: GasTables, name: str) -> Agent:
    """An agent in the middle. Raises Unknown for one whose solubility is not there."""
    row = tables.agent(name)
    blood = tables.solubility(row.name, "blood")
    tissues = [tables.solubility(row.name, part) for part in GROUPS]
    rows = (blood, *tissues)
    return Agent(
        name=row.name,
        dial_high=float(row.dial_high),
        blood_gas=np.asarray(float(blood.value)),
        tissue_blood=np.array([float(t.value) for t in tissues]),
        sources=tuple(dict.fromkeys(s for r in rows for s in r.source)),
        memory=any(r.memory for r in rows),
    )


def time_constants_min(body: GasBody, agent: Agent) -> Floats:
    """Minutes in which each tissue group makes up 63 % of a difference to the blood: tissue/blood x volume / flow (..., 3).

    Isoflurane in a person's vessel-rich group: 1.57 x 6 L / 4.05 L/min = 2.33 min. Source: definition of a time constant.
    """
    return np.asarray(agent.tissue_blood * body.groups_l / body.flows_l_min)


def population(tables: GasTables, body: GasBody, agent: Agent, animals: int = ANIMALS) -> tuple[GasBody, Agent]:
    """Virtual animals around a body and an agent: lognormal about the middle, the same ones every time.

    The spreads are rows `spread-*` of the table, printed for lung volume and brain solubility, assumed for the rest. Raises
    OutOfRange under 2,000 animals.
    """
    if animals < FEWEST:
        raise OutOfRange("virtual animals", f"{animals} are too few for a band.", f"Give {FEWEST} or more.")
    z = _normals(animals, 10).T

    def spread(cv: float, *columns: int) -> Floats:
        sigma = np.sqrt(np.log1p((cv / 100) ** 2))
        return np.asarray(np.exp(sigma * z[:, columns]))

    number = tables.number
    groups = [spread(number("spread-volume"), 1, 2), spread(number("spread-fat"), 3)]
    tissues = [spread(_cv(tables, tables.solubility(agent.name, part)), 7 + i) for i, part in enumerate(GROUPS)]
    many = GasBody(
        species=body.species,
        weight_kg=body.weight_kg,
        circuit_l=body.circuit_l,
        lung_l=body.lung_l * spread(number("spread-frc"), 0)[:, 0],
        groups_l=body.groups_l * np.concatenate(groups, axis=1),
        flows_l_min=body.flows_l_min * spread(number("spread-output"), 4),
        breath=spread(number("spread-ventilation"), 5)[:, 0],
        sources=body.sources,
        memory=body.memory,
    )
    return many, Agent(
        name=agent.name,
        dial_high=agent.dial_high,
        blood_gas=agent.blood_gas * spread(number("spread-solubility"), 6)[:, 0],
        tissue_blood=agent.tissue_blood * np.concatenate(tissues, axis=1),
        sources=agent.sources,
        memory=agent.memory,
    )


@lru_cache(maxsize=8)
def animals_of(
    tables: GasTables, species: str, weight_kg: float, circuit_l: float | None, agent: str
) -> tuple[GasBody, Agent, GasBody, Agent]:
    """The animal and the agent in the middle, and the virtual animals about them; kept, for a screen asks again and again.

    Raises as `body_of` and `agent_of`.
    """
    middle, typical = body_of(tables, species, weight_kg, circuit_l), agent_of(tables, agent)
    return middle, typical, *population(tables, middle, typical)


def _cv(tables: GasTables, row: SolubilityRow) -> float:
    """CV of a tissue coefficient [%]: printed, else that of the blood/gas coefficient."""
    return tables.number("spread-solubility") if row.sd is None else 100 * float(row.sd) / float(row.value)


def need_flow(value: float | None, field: str, most: float) -> float:
    """A flow that was given: finite and not below zero [L/min]. Raises Missing or OutOfRange."""
    if value is None:
        raise Missing(field, "was not given, and none is assumed.", "Give it in L/min.")
    if not 0 <= value <= most:
        raise OutOfRange(field, f"{value:g} L/min cannot be.", f"Give 0 to {most:g} L/min.")
    return value
