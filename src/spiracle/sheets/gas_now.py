"""Dial, inspired and end-tidal: what a model of uptake expects from the settings in the log, beside what was measured.

Carries D4, D5. Without a dial, a flow, a breathing system or a count of breaths there is no estimate, and it is said why.
"""

from __future__ import annotations
