"""How a printed picture is drawn: one ink on white, and what each kind of line says. A unit is a quarter of a millimetre.

What is measured is drawn solid, what is typical or from memory dashed, what is predicted hatched; what nobody knows is an open
gap with a question mark.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from textwrap import wrap

from spiracle.airway.drawing import How

WIDTH, EDGE = 640.0, 30.0
# The face's name ends in a digit, so it stands in quotes: without them no letter is printed.
INK, SANS = "#1A221E", "'Source Sans 3'"
BODY, SMALL, ROW = 14.0, 12.0, 17.0
DASH = {"memory": ' stroke-dasharray="6 4"', "predicted": "", "measured": "", "unknown": ' stroke-dasharray="1.5 4"'}
HATCH = ('<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
         f'<path d="M0 0V6" stroke="{INK}" stroke-width="1.4"/></pattern></defs>')  # fmt: skip
GLYPH = 0.48  # mean width of a letter against the type's size, for keeping words apart


def line(x: float, y: float, x2: float, y2: float, wide: float, how: How = "measured") -> str:
    return (
        f'<path d="M{x:.1f} {y:.1f}L{x2:.1f} {y2:.1f}" fill="none" stroke="{INK}" stroke-width="{wide:g}"{DASH[how]}/>'
    )


def text(x: float, y: float, words: str, size: float, anchor: str = "start", *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'


def picture(parts: Iterable[str], height: float, says: str) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:.0f}" width="160mm" role="img" '
            f'font-family="{SANS}" fill="{INK}"><title>{escape(says)}</title>{"".join(parts)}</svg>')  # fmt: skip


def lines_of(words: str, size: float) -> list[str]:
    """Words broken where a line of this size is full."""
    return wrap(words, int((WIDTH - 2 * EDGE) / (size * GLYPH)))


def figure_of(value: float) -> str:
    """At most one decimal, and none where it says nothing.

    >>> figure_of(4.0), figure_of(2.44)
    ('4', '2.4')
    """
    return f"{value:.1f}".removesuffix(".0")
