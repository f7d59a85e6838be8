"""Alembic's way in: the connection comes from the store, never from a file."""

from alembic import context

from daemon.store.tables import TABLES

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=TABLES,
    # SQLite can't alter most of a table in place: Alembic then makes a new one and copies
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
