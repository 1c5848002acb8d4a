"""What has to lie ready for a dose beyond its vial and one syringe."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spiracle.quantity import figure

if TYPE_CHECKING:
    from spiracle.drugs.prepared import Prepared

_COUNT = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


def needs_of(made: Prepared) -> tuple[str, ...]:
    """The parts of a recipe with the syringe each is measured in, several syringes of one dose, a bag for a large volume."""
    recipe = () if made.dilution is None else made.dilution.needs
    return (*recipe, *_to_give(made))


def _to_give(made: Prepared) -> tuple[str, ...]:
    if len(made.fills) > 1:
        each = [figure(f.volume.number("mL")) for f in made.fills]
        count = _COUNT.get(len(each), str(len(each)))
        parts = f"{each[0]} mL each" if len(set(each)) == 1 else " and ".join((", ".join(each[:-1]), each[-1])) + " mL"
        return (f"{count} {made.fills[0].barrel.name}s, {parts}",)
    if made.drawn is None:
        return ()
    if made.barrel is None:
        return (f"a bag or bottle to give {made.drawn} from",)
    return (f"{made.barrel.name} to give {made.barrel.on_scale(made.drawn)}",) if made.dilution is not None else ()
