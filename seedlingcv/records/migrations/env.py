"""Alembic comes here: the connection is passed in by migrate.py, which holds the lock and ends the transaction."""

from alembic import context

from seedlingcv.records.schema import VERSION_TABLE, metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata,
                  version_table=VERSION_TABLE, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
