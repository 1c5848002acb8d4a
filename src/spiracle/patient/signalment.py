"""Who the animal is: species, sex, physical status and body condition, read in the trade's words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Literal

from spiracle.refusals import Missing, NotOneOf, OutOfRange, Unknown

Species = Literal["dog", "cat"]
SPECIES: tuple[Species, ...] = ("dog", "cat")
SEXES = ("female", "male", "female neutered", "male neutered", "unknown")
_SEX_WORDS = {
    "f": "female", "female": "female", "female entire": "female", "entire female": "female", "intact female": "female",
    "m": "male", "male": "male", "male entire": "male", "entire male": "male", "intact male": "male",
    "fn": "female neutered", "fs": "female neutered", "female neutered": "female neutered",
    "female spayed": "female neutered", "spayed female": "female neutered", "neutered female": "female neutered",
    "mn": "male neutered", "mc": "male neutered", "male neutered": "male neutered", "neutered male": "male neutered",
    "male castrated": "male neutered", "castrated male": "male neutered",
    "unknown": "unknown",
}  # fmt: skip
_GRADES = {"1": "I", "2": "II", "3": "III", "4": "IV", "5": "V"}
_ASA = re.compile(r"^\s*(?:ASA\s*)?(IV|V|I{1,3}|[1-5])\s*-?\s*(E)?\s*$", re.IGNORECASE)


def read_species(text: object, field: str = "species") -> Species:
    """The species as said; there is no default and no guess.

    >>> read_species("Cat")
    'cat'
    """
    word = text.strip().lower() if isinstance(text, str) else ""
    if not word:
        raise Missing(field, "is not given.", 'Say "dog" or "cat"; Spiracle never assumes one.')
    if word not in SPECIES:
        raise Unknown(
            field, f"{text!r} is not a species Spiracle has figures for.", 'It works for "dog" and "cat" only.'
        )
    return word


def read_sex(text: object, field: str = "sex") -> str:
    """Sex in one of five words.

    >>> read_sex("FN"), read_sex("entire male")
    ('female neutered', 'male')
    """
    word = re.sub(r"[\s,/()-]+", " ", text.strip().lower()).strip() if isinstance(text, str) else ""
    if word not in _SEX_WORDS:
        raise NotOneOf(field, f"{text!r} is not one of the words.", "Say " + ", ".join(SEXES) + ".")
    return _SEX_WORDS[word]


@dataclass(frozen=True, slots=True)
class Asa:
    """Physical status as the veterinarian gave it."""

    grade: str
    emergency: bool = False

    @property
    def text(self) -> str:
        return f"{self.grade} E" if self.emergency else self.grade

    @property
    def number(self) -> int:
        return next(int(n) for n, g in _GRADES.items() if g == self.grade)


def read_asa(text: object, field: str = "ASA status") -> Asa:
    """ASA I to V with or without E, in Roman or Arabic figures.

    >>> read_asa("2e").text, read_asa("ASA III").text
    ('II E', 'III')
    """
    found = _ASA.match(text) if isinstance(text, str) else None
    if not found:
        raise NotOneOf(
            field, f"{text!r} is not a physical status.", "Give I, II, III, IV or V, with E for an emergency."
        )
    grade = found.group(1).upper()
    return Asa(_GRADES.get(grade, grade), found.group(2) is not None)


def read_body_condition(value: object, field: str = "body condition") -> int:
    """A whole score from 1 (emaciated) to 9 (grossly fat).

    >>> read_body_condition(5)
    5
    """
    accepts = "Give a whole number from 1 to 9."
    if isinstance(value, bool) or not isinstance(value, int | str | Decimal):
        raise OutOfRange(field, f"{value!r} is not a score.", accepts)
    try:
        number = Decimal(str(value).strip())
    except InvalidOperation as fault:
        raise OutOfRange(field, f"{value!r} is not a score.", accepts) from fault
    if not number.is_finite() or number != number.to_integral_value() or not 1 <= number <= 9:
        raise OutOfRange(field, f"{value} is outside the scale.", accepts)
    return int(number)
