"""How a store of ours comes to its newest shape: the log and the archive of waves each in their own tables, both in this one way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa


@dataclass(frozen=True, slots=True)
class Shape:
    """The newest migration, the table that says which one stands, and the advisory lock under which PostgreSQL passes one by one."""

    head: str
    version_table: str
    turnstile: int
    migrations: Path

    def take_turn(self, connection: sa.Connection) -> None:
        """On PostgreSQL those who write pass one by one, whichever process they are of. SQLite has one writer anyway."""
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SET LOCAL lock_timeout = '10s'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({self.turnstile})")

    def migrate(self, engine: sa.Engine) -> None:
        """Bring it to the newest shape. Alembic is imported only when there is something to do: it is slow to load."""
        with engine.connect() as connection:
            if self.revision(connection) == self.head:
                return
        with engine.begin() as connection:
            self.take_turn(connection)
            if self.revision(connection) != self.head:
                self._upgrade(connection)

    def revision(self, connection: sa.Connection) -> str | None:
        if not sa.inspect(connection).has_table(self.version_table):
            return None
        row = f"SELECT version_num FROM {self.version_table}"  # noqa: S608 - a name of ours
        found: str | None = connection.exec_driver_sql(row).scalar()
        return found

    def _upgrade(self, connection: sa.Connection) -> None:
        from alembic import command
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(self.migrations))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
