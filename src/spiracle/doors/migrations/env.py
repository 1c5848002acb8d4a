"""Alembic's entrance: it runs on the connection it is handed and never opens one of its own."""

from alembic import context

from spiracle.doors.log_store_schema import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
