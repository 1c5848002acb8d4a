"""Tubes: which three to lay out, how deep, how long, what dead space they leave, and when the airway is proven."""

from spiracle.airway.burden import Bench, TubeBurden
from spiracle.airway.changes import Change
from spiracle.airway.checks import CHECKS
from spiracle.airway.cuff import (
    cuff_band,
    cuff_recheck_minutes,
    cuff_volume_limit,
    cuff_words,
    larynx_wait,
    leak_band,
)
from spiracle.airway.estimating import Combined, Estimate
from spiracle.airway.lay_out import AirwayChoice, TubeFit, fit, lay_out
from spiracle.airway.measured import Measured, check_bore, read_tube
from spiracle.airway.placing import PartVolume
from spiracle.airway.proof import AttemptRules, attempt_rules, breaths_needed, proof_lacking, proofs
from spiracle.airway.ranking import Chance, Ranked
from spiracle.airway.seating import Seat, Span, Stylet
from spiracle.airway.sizing import Tube, TubeInStock
from spiracle.airway.tables import AirwayTables, ProofRow

__all__ = [
    "CHECKS", "AirwayChoice", "AirwayTables", "AttemptRules", "Bench", "Chance", "Change", "Combined", "Estimate",
    "Measured", "PartVolume", "ProofRow", "Ranked", "Seat", "Span", "Stylet", "Tube", "TubeBurden", "TubeFit",
    "TubeInStock", "attempt_rules", "breaths_needed", "check_bore", "cuff_band", "cuff_recheck_minutes",
    "cuff_volume_limit", "cuff_words", "fit", "larynx_wait", "lay_out", "leak_band", "proof_lacking", "proofs",
    "read_tube",
]  # fmt: skip
