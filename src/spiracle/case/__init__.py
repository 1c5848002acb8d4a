"""The language of the log: events, the fold that makes a case of them, and the decision that lets a new one in."""
