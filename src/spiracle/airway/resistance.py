"""What a tube costs each breath: pressure lost at a stated flow, laminar or turbulent.

A straight smooth tube is the kindest case: real tubes with a bend and a slip joint lost about twice as much on the bench
(BMC Anesthesiol 2017, tubes of 6 to 8 mm at 30 L/min). So these figures rank sizes; they are no measurement.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi
from typing import Literal

from spiracle.refusals import OutOfRange

PA_PER_CMH2O = 98.0665  # conventional centimetre of water, NIST SP 811
LAMINAR_BELOW = 2300.0  # Reynolds number up to which pipe flow is taken as laminar; taught as 2000 to 2300


Regime = Literal["laminar", "turbulent"]


@dataclass(frozen=True, slots=True)
class Gas:
    """Viscosity [Pa s] and density [kg/m3] at 20 degrees and sea level."""

    viscosity: float
    density: float


def speed_m_s(id_mm: float, flow_l_min: float) -> float:
    """Mean speed in the bore [m/s].

    >>> round(speed_m_s(4.0, 6), 2)
    7.96
    """
    if id_mm <= 0 or flow_l_min < 0:
        raise OutOfRange("tube flow", f"{id_mm:g} mm at {flow_l_min:g} L/min cannot be.", "Give a bore and a flow.")
    return flow_l_min / 60_000 / (pi / 4 * (id_mm / 1000) ** 2)


def reynolds(id_mm: float, flow_l_min: float, gas: Gas) -> float:
    """Reynolds number, rho v d / mu: how near the flow is to eddies.

    >>> round(reynolds(4.0, 6, Gas(1.81e-5, 1.2)))
    2110
    """
    return gas.density * speed_m_s(id_mm, flow_l_min) * id_mm / 1000 / gas.viscosity


def regime(re: float) -> Regime:
    """Smooth layers or eddies, by the Reynolds number; up to 2,300 it is taken as smooth.

    Sources differ: tubes of 2.5 to 3.5 mm are called laminar (Jarreau 1999), yet were found turbulent even at low flow when the
    breath goes to and fro (Perez Fontan 1985).
    >>> regime(2110), regime(4200)
    ('laminar', 'turbulent')
    """
    return "laminar" if re < LAMINAR_BELOW else "turbulent"


def laminar_loss_pa(id_mm: float, length_mm: float, flow_l_min: float, viscosity: float) -> float:
    """Pressure lost in smooth layers [Pa]: Poiseuille, 128 mu l Q / (pi d^4).

    >>> round(laminar_loss_pa(4.0, 200, 6, 1.81e-5) / PA_PER_CMH2O, 4)
    0.5875
    """
    if id_mm <= 0:
        raise OutOfRange("tube inside diameter", f"{id_mm:g} mm is no bore.")
    metres = id_mm / 1000
    return 128 * viscosity * (length_mm / 1000) * (flow_l_min / 60_000) / (pi * metres**4)


def turbulent_loss_pa(id_mm: float, length_mm: float, flow_l_min: float, gas: Gas) -> float:
    """Pressure lost in eddies [Pa]: Blasius friction factor 0.3164 Re^-0.25 for a smooth bore.

    Range: Reynolds 2,300 to 100,000. From memory of standard fluid mechanics; held against the `fluids` library in tests.
    """
    friction: float = 0.3164 * reynolds(id_mm, flow_l_min, gas) ** -0.25
    return friction * (length_mm / id_mm) * gas.density * speed_m_s(id_mm, flow_l_min) ** 2 / 2


def pressure_lost_pa(id_mm: float, length_mm: float, flow_l_min: float, gas: Gas) -> float:
    """Pressure lost along the tube [Pa] at a steady flow; laminar up to Reynolds 2,300, turbulent above.

    >>> air = Gas(1.81e-5, 1.2)
    >>> pressure_lost_pa(4.0, 200, 6, air) == laminar_loss_pa(4.0, 200, 6, 1.81e-5)
    True
    """
    if flow_l_min == 0:
        return 0.0
    if regime(reynolds(id_mm, flow_l_min, gas)) == "laminar":
        return laminar_loss_pa(id_mm, length_mm, flow_l_min, gas.viscosity)
    return turbulent_loss_pa(id_mm, length_mm, flow_l_min, gas)


def times_more_when_narrowed(ratio: float, power: float) -> float:
    """How many times the resistance rises when the radius shrinks to `ratio` of itself: power 4 laminar, 5 turbulent.

    >>> times_more_when_narrowed(0.5, 4)
    16.0
    """
    if not 0 < ratio <= 1:
        raise OutOfRange("narrowing", f"{ratio:g} is not a part of the radius.", "Give more than 0, at most 1.")
    times: float = (1 / ratio) ** power
    return times


def bore_exponent(small_mm: float, small_pa: float, large_mm: float, large_pa: float) -> float:
    """The power n in loss ~ bore^-n between two measured tubes: 4 would be laminar, 4.75 Blasius.

    >>> round(bore_exponent(6.0, 651.6, 8.0, 179.0), 2)
    4.49
    """
    return log(small_pa / large_pa) / log(large_mm / small_mm)
