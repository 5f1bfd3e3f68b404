"""How a book made by an older version becomes one of this version (Alembic)."""

__all__: list[str] = []
