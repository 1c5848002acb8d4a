"""Text to a TOML table as every file that is written by hand is read: decimals stay decimals, and whatever is no TOML is refused."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

from spiracle.refusals import OutOfRange, Refusal

# U+FEFF at the start says only how the text is stored, and is no part of it (RFC 3629, section 6: from memory).
BYTE_ORDER_MARK = "\ufeff"


def toml_of(text: str, name: str, see: str) -> dict[str, Any]:
    """The table of a file called `name`, laid out as the page `see` says. Raises Refusal, or OutOfRange for what no number holds.

    >>> toml_of("\\ufeffdose = 1.5", "plan file", "docs/plan.md")
    {'dose': Decimal('1.5')}
    """
    try:
        return tomllib.loads(text.removeprefix(BYTE_ORDER_MARK), parse_float=Decimal)
    except tomllib.TOMLDecodeError as fault:
        raise Refusal(name, f"is not TOML: {fault}.", f"See {see} for the layout.") from fault
    except RecursionError as fault:
        raise Refusal(
            name, "has brackets within brackets, more than can be read.", f"See {see} for the layout."
        ) from fault
    except (ValueError, ArithmeticError) as fault:
        raise OutOfRange(
            name, "holds a number too long to be read.", f"See {see}: figures are text with a unit."
        ) from fault
