"""The one family tree of refusals. Innermost module: everyone may raise these, it imports nothing.

SpiracleError
└── Refusal                we will not answer; the message says why and what would let us
    ├── NotAQuantity       text that is not one number with one unit
    ├── UnlikeUnits        two quantities that cannot be added, compared or converted
    ├── OutOfRange         a number outside what this field can hold
    ├── Unknown            a name (species, drug, route, key, case ...) that is not on the list
    ├── Missing            something needed was not given; nothing is assumed in its place
    ├── NotOneOf           a choice outside the offered ones
    ├── OverLimit          a dose or setting over a hard limit, without a veterinarian's word
    ├── NotMeasurable      a volume that no syringe on the shelf can show
    ├── Contradiction      two things said that cannot both be true
    ├── AskAgain           plausible but far from expected: the same entry with `confirmed` is accepted
    ├── NotAllowed         this hand may not do this, or not in this state of the case
    ├── StaleReading       a value too old to be used as current
    ├── BadTable           a row of facts that is malformed, has no source, or contradicts itself
    └── IdTaken            an event id that already stands for something else
"""

from __future__ import annotations


class SpiracleError(Exception):
    """Root of everything Spiracle raises on purpose."""


class Refusal(SpiracleError):
    """We will not answer. Two short sentences at most: what and why (`says`), then what would be accepted (`accepts`).

    `field` names the input as the user knows it ("weight", "order 2, dose"). `use` is the one likely value, if there is
    exactly one; the screen may offer it as a key, and nothing ever takes it by itself.
    """

    def __init__(self, field: str, says: str, accepts: str = "", use: str | None = None) -> None:
        self.field, self.says, self.accepts, self.use = field, says, accepts, use
        super().__init__(self.sentence)

    @property
    def name(self) -> str:
        return type(self).__name__

    @property
    def sentence(self) -> str:
        """One line for a terminal: field, reason, what is accepted."""
        tail = f" {self.accepts}" if self.accepts else ""
        return f"{self.field}: {self.says}{tail}"


class NotAQuantity(Refusal): ...


class UnlikeUnits(Refusal): ...


class OutOfRange(Refusal): ...


class Unknown(Refusal): ...


class Missing(Refusal): ...


class NotOneOf(Refusal): ...


class OverLimit(Refusal): ...


class NotMeasurable(Refusal): ...


class Contradiction(Refusal): ...


class AskAgain(Refusal): ...


class NotAllowed(Refusal): ...


class StaleReading(Refusal): ...


class BadTable(Refusal): ...


class IdTaken(Refusal): ...


def every_refusal() -> tuple[type[Refusal], ...]:
    """All named refusals, for the manual and the wire."""
    return tuple(sorted(Refusal.__subclasses__(), key=lambda c: c.__name__))
