"""A checksum for every entry; those that are there get theirs as they stand now."""

import sqlalchemy as sa
from alembic import op

from bellmouth.book.digests import digest

__all__ = ["downgrade", "upgrade"]

revision = "0003"
down_revision = "0002"

_REFUSAL = "the book only grows: write a correction instead"


def upgrade() -> None:
    """Add the column and fill it; for that long the trigger that refuses updates is away."""
    op.add_column("entry", sa.Column("digest", sa.Text))
    connection = op.get_bind()
    sqlite = connection.dialect.name == "sqlite"
    op.execute("DROP TRIGGER entry_stays" if sqlite else "ALTER TABLE entry DISABLE TRIGGER USER")
    _fill(connection)
    op.execute(
        "CREATE TRIGGER entry_stays BEFORE UPDATE ON entry "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        if sqlite
        else "ALTER TABLE entry ENABLE TRIGGER USER"
    )


def downgrade() -> None:
    """Forget what can be reckoned again."""
    op.drop_column("entry", "digest")


def _fill(connection: sa.Connection) -> None:
    names: dict[tuple[int, int], list[str]] = {}
    for one in connection.execute(sa.text("SELECT * FROM entry_file ORDER BY place")):
        names.setdefault((one.car_id, one.number), []).append(one.name)
    told = []
    for entry in connection.execute(sa.text("SELECT * FROM entry")):
        where = (entry.car_id, entry.number)
        row = entry._asdict()
        made = digest(row, names.get(where, ()))
        told.append({"car": entry.car_id, "entry": entry.number, "digest": made})
    if told:
        set_it = "UPDATE entry SET digest = :digest WHERE car_id = :car AND number = :entry"
        connection.execute(sa.text(set_it), told)
