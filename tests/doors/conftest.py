"""The fixtures of the door tests; what they are made of stands in served.py."""

from served import clock, database, facts, hand, log, pg_server, store, stores, web
from waves_made import archive, archives, waves_engine

__all__ = [
    "archive",
    "archives",
    "clock",
    "database",
    "facts",
    "hand",
    "log",
    "pg_server",
    "store",
    "stores",
    "waves_engine",
    "web",
]
