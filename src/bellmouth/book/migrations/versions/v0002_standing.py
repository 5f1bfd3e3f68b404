"""Where each car stands, worked out from its history, so that lists are quick."""

import sqlalchemy as sa
from alembic import op

__all__ = ["downgrade", "upgrade"]

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table; `opening` fills it from the history afterwards."""
    op.create_table(
        "standing",
        sa.Column("car_id", sa.Integer, sa.ForeignKey("car.id"), primary_key=True),
        sa.Column("name", sa.Text, nullable=False, unique=True),
        sa.Column("kind", sa.Text),
        sa.Column("keep_until", sa.Text),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("jobs", sa.Integer, nullable=False),
        sa.Column("last_made_at", sa.Text, nullable=False),
        sa.Column("last_on", sa.Text),
        sa.Column("last_km", sa.Float(53)),
        sa.Column("due_on", sa.Text),
        sa.Column("due_km", sa.Float(53)),
        sa.Column("due", sa.Text),
    )
    op.create_index("standing_by_due", "standing", ["due_on"])
    op.create_index("standing_by_kind", "standing", ["kind"])


def downgrade() -> None:
    """Forget what can be worked out again."""
    op.drop_table("standing")
