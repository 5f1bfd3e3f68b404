"""The history: cars, entries and their files, which only grow."""

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0001"
down_revision = None

_GROWING = ("car", "entry", "entry_file")
_REFUSAL = "the book only grows: write a correction instead"


def upgrade() -> None:
    """Make the tables and the triggers that keep them growing."""
    op.create_table(
        "car",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("uuid", sa.Text, nullable=False, unique=True),
        sa.Column("made_at", sa.Text, nullable=False),
    )
    op.create_table(
        "entry",
        sa.Column("car_id", sa.Integer, sa.ForeignKey("car.id"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("made_at", sa.Text, nullable=False),
        sa.Column("job", sa.Integer),
        sa.Column("corrects", sa.Integer),
        sa.Column("on_date", sa.Text),
        sa.Column("distance_km", sa.Float(53)),
        sa.Column("software", sa.Text, nullable=False),
        sa.Column("model", sa.Text),
        sa.Column("input_hash", sa.Text),
        sa.Column("document", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("car_id", "number"),
        sa.ForeignKeyConstraint(["car_id", "job"], ["entry.car_id", "entry.number"]),
        sa.ForeignKeyConstraint(["car_id", "corrects"], ["entry.car_id", "entry.number"]),
    )
    op.create_table(
        "entry_file",
        sa.Column("car_id", sa.Integer, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("car_id", "number", "place"),
        sa.ForeignKeyConstraint(["car_id", "number"], ["entry.car_id", "entry.number"]),
    )
    op.create_index("entry_file_by_name", "entry_file", ["name"])
    op.create_table("leaving", sa.Column("car_id", sa.Integer, primary_key=True))
    for table in _GROWING:
        _keep_growing(table, "id" if table == "car" else "car_id")


def downgrade() -> None:
    """There is no way back to nothing."""
    raise NotImplementedError


def _keep_growing(table: str, car: str) -> None:
    leaving = f"EXISTS (SELECT 1 FROM leaving WHERE leaving.car_id = OLD.{car})"  # noqa: S608
    if op.get_bind().dialect.name == "sqlite":
        refuse = f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        op.execute(f"CREATE TRIGGER {table}_stays BEFORE UPDATE ON {table} {refuse}")
        op.execute(
            f"CREATE TRIGGER {table}_kept BEFORE DELETE ON {table} WHEN NOT {leaving} {refuse}"
        )
        return
    op.execute(
        f"CREATE FUNCTION {table}_grows() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF TG_OP = 'DELETE' AND {leaving} THEN RETURN OLD; END IF; "
        f"RAISE EXCEPTION '{_REFUSAL}'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_grows BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table}_grows()"
    )
