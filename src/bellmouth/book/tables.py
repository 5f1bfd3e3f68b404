"""The tables of the book, the same on SQLite and PostgreSQL.

``car`` and ``entry`` are the history and only grow; triggers made by the migrations refuse any
change, and any removal except of a car that stands in ``leaving``. ``standing`` is worked out
from the history, one row a car, so that lists need not read the history; it can be made again.
"""

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
)

__all__ = [
    "APPLICATION_ID",
    "VERSION",
    "VERSIONS",
    "car",
    "entry",
    "entry_file",
    "leaving",
    "metadata",
    "standing",
]

#: Versions of the tables, oldest first; the last is the one that this software writes.
VERSIONS = ("0001", "0002", "0003")
VERSION = VERSIONS[-1]
#: Marks an SQLite file as a book, whatever it is called. ("bmbk")
APPLICATION_ID = 0x626D626B

metadata = MetaData()

car = Table(
    "car",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Text, nullable=False, unique=True),
    Column("made_at", Text, nullable=False),
)

entry = Table(
    "entry",
    metadata,
    Column("car_id", Integer, ForeignKey("car.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("job", Integer),
    Column("corrects", Integer),
    Column("on_date", Text),
    Column("distance_km", Float(53)),
    Column("software", Text, nullable=False),
    Column("model", Text),
    Column("input_hash", Text),
    Column("document", Text, nullable=False),
    Column("digest", Text),
    PrimaryKeyConstraint("car_id", "number"),
    ForeignKeyConstraint(["car_id", "job"], ["entry.car_id", "entry.number"]),
    ForeignKeyConstraint(["car_id", "corrects"], ["entry.car_id", "entry.number"]),
)

entry_file = Table(
    "entry_file",
    metadata,
    Column("car_id", Integer, nullable=False),
    Column("number", Integer, nullable=False),
    Column("place", Integer, nullable=False),
    Column("name", Text, nullable=False),
    PrimaryKeyConstraint("car_id", "number", "place"),
    ForeignKeyConstraint(["car_id", "number"], ["entry.car_id", "entry.number"]),
    Index("entry_file_by_name", "name"),
)

leaving = Table(
    "leaving",
    metadata,
    Column("car_id", Integer, primary_key=True),
)

standing = Table(
    "standing",
    metadata,
    Column("car_id", Integer, ForeignKey("car.id"), primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("kind", Text),
    Column("keep_until", Text),
    Column("entries", Integer, nullable=False),
    Column("jobs", Integer, nullable=False),
    Column("last_made_at", Text, nullable=False),
    Column("last_on", Text),
    Column("last_km", Float(53)),
    Column("due_on", Text),
    Column("due_km", Float(53)),
    Column("due", Text),
    Index("standing_by_due", "due_on"),
    Index("standing_by_kind", "kind"),
)
