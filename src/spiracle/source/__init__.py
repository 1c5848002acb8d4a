"""Facts with a birth certificate: sources, figures, limits, and the working of every computed number."""

from spiracle.source.citing import Seen, Source, Sources, read_sources
from spiracle.source.limits import Guardrail, Zone
from spiracle.source.rows import convert_rows, need_sources, read_table
from spiracle.source.working import Input, Mark, Worked, Working

__all__ = [
    "Guardrail",
    "Input",
    "Mark",
    "Seen",
    "Source",
    "Sources",
    "Worked",
    "Working",
    "Zone",
    "convert_rows",
    "need_sources",
    "read_sources",
    "read_table",
]
