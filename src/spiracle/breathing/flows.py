"""Flows and volumes of the breathing system: fresh gas, bag, wash-in, agent used, oxygen needed."""

from __future__ import annotations

from math import exp, log

from spiracle.refusals import OutOfRange


def flow_ml_min(weight_kg: float, ml_kg_min: float) -> float:
    """Fresh gas [mL/min] from a rate per kilogram [mL/kg/min]. Refused for a weight or rate that is not positive.

    >>> flow_ml_min(4, 500)
    2000
    """
    _positive("weight", weight_kg, "kg")
    _positive("rate", ml_kg_min, "mL/kg/min")
    return weight_kg * ml_kg_min


def minute_volume_ml(rate_per_min: float, tidal_ml: float) -> float:
    """Breathed in a minute [mL/min]: rate times tidal volume.

    >>> minute_volume_ml(15, 26)
    390
    """
    return rate_per_min * tidal_ml


def bag_ml(weight_kg: float, tidal_ml_kg: float, multiple: float) -> float:
    """What the reservoir bag must hold at least [mL]: so many tidal volumes. Source: supplier's guide, 6 tidal volumes.

    >>> bag_ml(25, 10, 6)
    1500
    """
    _positive("weight", weight_kg, "kg")
    return weight_kg * tidal_ml_kg * multiple


def time_constant_min(circuit_l: float, fresh_gas_l_min: float) -> float:
    """Minutes in which 63 % of a change reaches the animal: circuit volume over fresh gas.

    Source: OpenAnesthesia, "Time constant". An upper bound: on a 49.26 L circuit the change was 26 to 27 % faster
    (Solano 2005, doi 10.2460/ajvr.2005.66.1675), because surplus gas spills before it mixes.
    >>> time_constant_min(5, 1)
    5.0
    """
    _positive("fresh gas", fresh_gas_l_min, "L/min")
    return circuit_l / fresh_gas_l_min


def part_changed(time_constants: float) -> float:
    """Part of a step change reached after so many time constants, 0 to 1.

    >>> round(part_changed(1), 2), round(part_changed(3), 2)
    (0.63, 0.95)
    """
    return 1 - exp(-time_constants)


def half_time_min(time_constant: float) -> float:
    """Minutes to half of a step change.

    >>> round(half_time_min(6.1), 2)
    4.23
    """
    return log(2) * time_constant


def wash_in_minutes(time_constant: float, share: float) -> float:
    """Minutes until a share (0 to under 1) of a step change is reached in a well-mixed system: -ln(1 - share) time constants.

    Source: first-order wash-in; an upper bound as the time constant is (see there). A share of 1 is never reached.
    >>> round(wash_in_minutes(5, 0.5), 2), round(wash_in_minutes(5, 0.9), 1)
    (3.47, 11.5)
    """
    if not 0 <= share < 1:
        raise OutOfRange("share of a change", f"{share:g} is never reached.", "Give 0 to under 1, like 0.9.")
    return -log(1 - share) * time_constant


def oxygen_need_ml_min(weight_kg: float) -> float:
    """Oxygen the resting body uses [mL/min]: 10 kg^0.75. From memory of anaesthesia texts; dogs under halothane used less.

    >>> round(oxygen_need_ml_min(10), 1)
    56.2
    """
    _positive("weight", weight_kg, "kg")
    need: float = 10.0 * weight_kg**0.75
    return need


def liquid_agent_ml_h(percent: float, fresh_gas_ml_min: float, vapour_ml_per_ml: float) -> float:
    """Liquid agent a vaporiser uses [mL/h]: vapour of an hour over the vapour one millilitre of liquid gives.

    Source: Dhulkhed 2013, doi 10.4103/0019-5049.120141 (about 200 mL of vapour per mL, whence "3 x flow x per cent").
    >>> liquid_agent_ml_h(1, 1000, 200)
    3.0
    """
    return percent / 100 * fresh_gas_ml_min * 60 / vapour_ml_per_ml


def vapour_ml_per_ml(density_g_ml: float, molar_g: float, molar_litres: float) -> float:
    """Vapour from one millilitre of liquid [mL]: density over molar mass, times the volume of a mole at the room's warmth.

    Source: ideal gas; isoflurane was 3 % off it (Anesth Analg 1979;58:322). 24.055 L/mol at 20 degrees and one atmosphere.
    >>> round(vapour_ml_per_ml(1.496, 184.5, 24.055)), round(vapour_ml_per_ml(1.52, 200.05, 24.055))
    (195, 183)
    """
    _positive("density", density_g_ml, "g/mL")
    _positive("molar mass", molar_g, "g/mol")
    return density_g_ml / molar_g * molar_litres * 1000


def times(one: float, other: float) -> float:
    """How many times the second figure the first one is.

    >>> times(455, 200)
    2.275
    """
    _positive("figure to divide by", other, "")
    return one / other


def cat_surface_m2(weight_kg: float, factor: float) -> float:
    """Body surface of a cat [m2]: factor times kg^(2/3). Source: scilit 74f6b657, factor 0.087 (row V4).

    >>> round(cat_surface_m2(4, 0.087), 3)
    0.219
    """
    _positive("weight", weight_kg, "kg")
    surface: float = factor * weight_kg ** (2 / 3)
    return surface


def mg_m3_of_ppm(ppm: float, molar_mass: float, molar_litres: float = 24.45) -> float:
    """Waste gas in the room [mg/m3] from parts per million, at 25 degrees and sea level (24.45 L/mol).

    >>> round(mg_m3_of_ppm(2, 197.38), 2)
    16.15
    """
    return ppm * molar_mass / molar_litres


def _positive(what: str, x: float, unit: str) -> None:
    if not 0 < x < float("inf"):
        raise OutOfRange(what, f"{x:g} {unit} is not a positive figure.", f"Give {what} in {unit}.")
