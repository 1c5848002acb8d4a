"""Alembic's entrance: it runs on the connection it is handed, and keeps its own mark beside the log's."""

from alembic import context

from spiracle.doors.waves.schema import METADATA, VERSION_TABLE

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, version_table=VERSION_TABLE, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
