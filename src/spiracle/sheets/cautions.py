"""The standing cautions: the same words on every entrance, first screen, sheet and print."""

from __future__ import annotations

STANDING: tuple[str, ...] = (
    "Spiracle is decision support and a record, nothing more. A licensed veterinarian orders and is responsible.",
    "Follow local law, the drug's label and your hospital's protocols. Verify every dose before it is given.",
    "It is not a substitute for the monitor's own alarms.",
    'Figures marked "from memory" or "predicted" are not to be relied on without checking.',
)

MEMORY_SIGN = "[m]"
MEMORY_WORDS = "from memory: not read in a source, check it before relying on it"
ESTIMATED_SIGN = "~"
ESTIMATED_WORDS = "rests on an estimated weight: weigh the animal as soon as it can be done"
PREDICTED_SIGN = "[p]"
PREDICTED_WORDS = "predicted, not measured: check it on the animal"
