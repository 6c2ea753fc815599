"""What Alembic runs to bring the tables to an edition, within the transaction that `migration.upgrade` began."""

from __future__ import annotations

from alembic import context

# Alembic runs this file under this name; whoever merely imports it, as a test of examples does, runs nothing.
if __name__ == "env_py":
    context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
    context.run_migrations()
