"""Who the animal is: signalment, weight, body condition, physical status, and the conditions that change a plan."""

from spiracle.patient.breeds import Breed
from spiracle.patient.checks import CHECKS
from spiracle.patient.conditions import Condition, Derived, Flag
from spiracle.patient.signalment import (
    SEXES,
    SPECIES,
    Asa,
    Species,
    read_asa,
    read_body_condition,
    read_sex,
    read_species,
)
from spiracle.patient.tables import PatientTables
from spiracle.patient.weighing import METHODS, Weight

__all__ = [
    "CHECKS",
    "METHODS",
    "SEXES",
    "SPECIES",
    "Asa",
    "Breed",
    "Condition",
    "Derived",
    "Flag",
    "PatientTables",
    "Species",
    "Weight",
    "read_asa",
    "read_body_condition",
    "read_sex",
    "read_species",
]
