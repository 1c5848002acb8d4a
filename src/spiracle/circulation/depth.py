"""Inhaled agent against its MAC. A multiple of MAC is a number about a dial, never a name for a depth.

Sources print 1.23 to 1.69 % isoflurane and 1.86 to 2.4 % sevoflurane for dogs: a multiple may be wrong by a third.
"""

from __future__ import annotations

from decimal import Decimal

from spiracle.refusals import OutOfRange


def multiple(end_tidal: Decimal, mac: Decimal) -> Decimal:
    """End-tidal % over MAC % [x MAC]. Source: definition (row AG9).

    >>> round(multiple(Decimal("1.6"), Decimal("1.27")), 2)
    Decimal('1.26')
    """
    if mac <= 0:
        raise OutOfRange("MAC", f"{mac} % is no MAC.", "Give a MAC above zero.")
    return end_tidal / mac


def mac_when_cold(mac: Decimal, fall_c: Decimal, percent_per_degree: Decimal) -> Decimal:
    """MAC after a fall of temperature: less by 2 to 5 % for each °C, linearly [%]. Source: rows H18, H19.

    >>> mac_when_cold(Decimal("1.28"), Decimal(3), Decimal(5))
    Decimal('1.0880')
    """
    return mac * (1 - fall_c * percent_per_degree / 100)
