"""Run by Alembic: migrate over the connection that `opening` hands over, in its transaction."""

from alembic import context

__all__: list[str] = []


def _migrate() -> None:
    context.configure(connection=context.config.attributes["connection"])
    context.run_migrations()


# Alembic runs this module for its effect; anybody else who imports it has no context.
if hasattr(context, "_proxy") and context._proxy is not None:  # noqa: SLF001
    _migrate()
