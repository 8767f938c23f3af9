"""The tables of a survey's database, derived from its records, and the version of their schema."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, LINKS, ONE_ROW, TABLES
from heritagecheck.survey.records.fields import kind_of
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_errors import DamagedError

NEWEST = "0022"
MIGRATIONS = Path(__file__).parent / "migrations"
# SQLite's strict tables take these four types alone.
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[Any] = sa.REAL().with_variant(sa.DOUBLE_PRECISION(), "postgresql")
HASH = sa.LargeBinary()


class Day(sa.types.TypeDecorator[date]):
    """A date: one of PostgreSQL's own, or year-month-day as text, since SQLite has none."""

    impl = sa.Text
    cache_ok = True

    def load_dialect_impl(self, dialect: sa.Dialect) -> sa.types.TypeEngine[Any]:
        """Type of the column."""
        return dialect.type_descriptor(sa.Date() if dialect.name == "postgresql" else sa.Text())

    def process_bind_param(self, value: date | None, dialect: sa.Dialect) -> Any:
        """Value as the column takes it."""
        return value if value is None or dialect.name == "postgresql" else value.isoformat()

    def process_result_value(self, value: Any, dialect: sa.Dialect) -> date | None:
        """Value as the record takes it."""
        try:
            return date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            raise DamagedError(f"{value!r} is not a date") from None


def _column(table: str, model: type[Record], field: str) -> sa.Column[Any]:
    """One field of a record as a column."""
    taken = {date: Day(), float: NUMBER, int: WHOLE, str: sa.Text()}[kind_of(model, field)]
    links = []
    if other := LINKS.get(table, {}).get(field):
        # Asked when a save ends, so that one save may bring a record and what it names.
        links = [sa.ForeignKey(f"{other}.{KEYS[other][0]}", deferrable=True, initially="DEFERRED")]
    return sa.Column(field, taken, *links, nullable=not model.model_fields[field].is_required())


def _metadata() -> tuple[sa.MetaData, dict[str, sa.Table]]:
    """Every table of the database."""
    naming = {
        "ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s", "pk": "pk_%(table_name)s",
    }  # fmt: skip
    data = sa.MetaData(naming_convention=naming)
    found: dict[str, sa.Table] = {}
    for name, model in TABLES.items():
        unique = [] if name in ONE_ROW else [sa.UniqueConstraint(*KEYS[name])]
        found[name] = sa.Table(
            name,
            data,
            # The journal's entries that made and last changed the record: its place and version.
            sa.Column("first_entry", WHOLE, primary_key=True, autoincrement=False),
            sa.Column("last_entry", WHOLE, nullable=False),
            sa.Column("deleted", WHOLE, nullable=False),
            *(_column(name, model, field) for field in model.model_fields),
            *unique,
            sqlite_strict=True,
        )
    for name, field in INDEXED:
        sa.Index(None, found[name].c[field])
    return data, found


# What one zone, set, series or session holds is found without reading a whole table.
INDEXED = (
    ("layers", "zone"), ("observations", "zone"), ("readings", "zone"), ("readings", "set_name"),
    ("readings", "session"), ("site_tests", "zone"), ("site_tests", "set_name"),
    ("panels", "zone"), ("panels", "series"), ("settings", "series"), ("settings", "zone"),
    ("spots", "panel"), ("spots", "zone"), ("section_readings", "zone"),
    ("section_readings", "profile"),
    ("attachments", "zone"), ("attachments", "file"), ("height_maps", "zone"),
    ("tile_readings", "session"), ("photos", "zone"),
    ("opinions", "zone"), ("decisions", "zone"), ("open_questions", "zone"), ("signatures", "zone"),
)  # fmt: skip
METADATA, KEPT = _metadata()
SAVES = sa.Table(
    "saves",
    METADATA,
    sa.Column("save", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("made_at", sa.Text, nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("action", sa.Text, nullable=False),
    sa.Column("of_save", WHOLE, nullable=True),
    sqlite_strict=True,
)
JOURNAL = sa.Table(
    "journal",
    METADATA,
    sa.Column("entry", WHOLE, primary_key=True, autoincrement=False),
    sa.Column(
        "save", WHOLE, sa.ForeignKey("saves.save", deferrable=True, initially="DEFERRED"),
        nullable=False,
    ),
    sa.Column("of_table", sa.Text, nullable=False),
    sa.Column("record_key", sa.Text, nullable=False),
    sa.Column("old", sa.Text, nullable=True),
    sa.Column("new", sa.Text, nullable=True),
    sa.Column("previous", HASH, nullable=False),
    sqlite_strict=True,
)  # fmt: skip
HEAD = sa.Table(
    "head",
    METADATA,
    sa.Column("one", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("entry", WHOLE, nullable=False),
    sa.Column("hash", HASH, nullable=False),
    sqlite_strict=True,
)
NONE_YET = bytes(32)
WORDS = "the journal is only ever added to"
ALEMBIC = "alembic_version"
# As the first migration made them: what keeps journal and saves from being changed.
SQLITE_GUARDS = {
    f"{table}_no_{act.lower()}": f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
    f"BEGIN SELECT RAISE(ABORT, '{WORDS}'); END"
    for table in ("journal", "saves")
    for act in ("UPDATE", "DELETE")
}


def make_tables(connection: sa.Connection) -> None:
    """Make in an empty file of SQLite what all migrations together make, in a tenth of the time."""
    METADATA.create_all(connection)
    for guard in SQLITE_GUARDS.values():
        connection.exec_driver_sql(guard)
    connection.execute(sa.insert(HEAD), {"one": 1, "entry": 0, "hash": NONE_YET})
    connection.exec_driver_sql(
        f"CREATE TABLE {ALEMBIC} (version_num VARCHAR(32) NOT NULL, "
        f"CONSTRAINT {ALEMBIC}_pkc PRIMARY KEY (version_num))"
    )
    connection.exec_driver_sql(f"INSERT INTO {ALEMBIC} VALUES ('{NEWEST}')")
