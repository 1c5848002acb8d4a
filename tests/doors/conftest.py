"""The fixtures of the door tests; what they are made of stands in served.py."""

from served import clock, database, facts, hand, log, pg_server, store, stores, web

__all__ = ["clock", "database", "facts", "hand", "log", "pg_server", "store", "stores", "web"]
