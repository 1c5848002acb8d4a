"""What stands beside a syringe besides its volume: the hub that holds more than the scale shows, and a scale that is not in mL."""

from __future__ import annotations

from decimal import Decimal

from spiracle.drugs.syringe import Barrel, Fineness
from spiracle.quantity import Quantity, figure, nearest

MEMORY = " [from memory]"
_HUNDRED = Decimal(100)
_WHOLE = Decimal(1)


def dead_share(drawn: Quantity, barrel: Barrel) -> Decimal:
    """What nozzle and hub hold, in per cent of the drawn volume.

    >>> one = Barrel("1 mL", "1 mL syringe", Quantity.of(1, "mL"), Quantity.of("0.01", "mL"), dead=Quantity.of("0.07", "mL"))
    >>> dead_share(Quantity.of("0.05", "mL"), one)
    Decimal('140.00')
    """
    if drawn.value <= 0:
        return Decimal(0)
    return barrel.dead.value / drawn.number("mL") * _HUNDRED


def hub_words(drawn: Quantity, barrel: Barrel, fineness: Fineness) -> str:
    """What the hub would add to this volume, where that is over the error limit; nothing where it does not matter.

    The scale does not count it: it stays in the syringe, and goes in with the next fluid drawn into it.
    """
    share = dead_share(drawn, barrel)
    if share <= fineness.largest_error:
        return ""
    mark = MEMORY if barrel.dead_memory else ""
    return (
        f"Nozzle and hub hold up to {barrel.dead} besides the scale, {figure(nearest(share, _WHOLE))} % of these {drawn}{mark}: "
        "flush with another syringe, and dilute in another."
    )


def scale_words(drawn: Quantity, barrel: Barrel) -> str:
    """How a scale in units is read; nothing where the scale is in mL.

    >>> fine = Barrel("i", "0.3 mL insulin syringe", Quantity.of("0.3", "mL"), Quantity.of("0.01", "mL"), "units of U-100")
    >>> scale_words(Quantity.of("0.12", "mL"), fine)
    'The scale is in units of U-100, not in mL: draw to 12 units (0.12 mL).'
    """
    if barrel.units_per_ml is None:
        return ""
    return f"The scale is in {barrel.scale}, not in mL: draw to {barrel.on_scale(drawn)}."
