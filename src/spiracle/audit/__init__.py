"""What a practice learns from its own cases: figures with their intervals, of cases and never of a person."""
