"""Lines of the plan on a terminal: eighty columns, a label and its text, figures with their marks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap

from spiracle.quantity import figure, reading
from spiracle.sheets.cautions import ESTIMATED_SIGN, MEMORY_SIGN, PREDICTED_SIGN
from spiracle.sheets.plan_shapes import Amount, Cite, Refused

WIDTH = 80
LABEL = 12


def marked(amount: Amount | None, absent: str = "not known", *, places: int | None = None, digits: int = 0) -> str:
    """A figure with the marks that belong to it: from memory, estimated, predicted.

    `places` prints so many decimals (tubes), `digits` so many significant ones (what nobody draws up).
    """
    if amount is None:
        return absent
    text = amount.text
    if places is not None:
        text = f"{reading(amount.value, places)} {amount.unit}"
    elif digits:
        text = f"{figure(amount.value, digits)} {amount.unit}"
    signs = "".join(f" {s}" for s, on in ((MEMORY_SIGN, amount.memory), (PREDICTED_SIGN, amount.predicted)) if on)
    return f"{ESTIMATED_SIGN if amount.estimated else ''}{text}{signs}"


def title(text: str, right: str = "") -> list[str]:
    return [f"{text.upper()}{right:>{WIDTH - len(text)}}".rstrip(), "-" * WIDTH]


def row(label: str, text: str, indent: int = 2) -> Iterator[str]:
    """A label and its text, wrapped under itself."""
    first = " " * indent + f"{label:<{LABEL}}"
    yield from wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]


def plain(text: str, indent: int = 2) -> Iterator[str]:
    yield from wrap(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * indent)


def why(amount: Amount | None, working: bool) -> Iterator[str]:
    if working and amount is not None and amount.working:
        yield from row("", f"= {amount.working}")


def sources(cites: Iterable[Cite], working: bool) -> Iterator[str]:
    if working:
        for cite in cites:
            yield from row("", f"source: {cite.citation} ({cite.seen})")


def not_worked(refused: Refused, label: str = "REFUSED") -> Iterator[str]:
    yield from row(label, f"{refused.field}: {refused.sentence} ({refused.name})")
