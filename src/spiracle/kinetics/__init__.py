"""What a drug or gas is doing in the body: compartments, effect site, inhaled agents. Predictions of populations, never readings."""

from spiracle.kinetics.choosing import Model, by_id, choose, within_total
from spiracle.kinetics.effects import Level, levels, slow_advice
from spiracle.kinetics.rows import EffectRow, EffectSiteRow, ModelRow, SlowRow, VerificationRow
from spiracle.kinetics.tables import KineticsTables

__all__ = [
    "EffectRow", "EffectSiteRow", "KineticsTables", "Level", "Model", "ModelRow", "SlowRow", "VerificationRow", "by_id", "choose",
    "levels", "slow_advice", "within_total",
]  # fmt: skip
