"""Photographs that measure, readings of them; how many sets, spots; what lay under a spot."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0003"
down_revision = "0002"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: Any = sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql")
DAY = sa.Text().with_variant(sa.Date(), "postgresql")


def upgrade() -> None:
    """Make the new table, and the new fields of others."""
    op.create_table(
        "photos",
        sa.Column("first_entry", WHOLE, autoincrement=False),
        sa.Column("last_entry", WHOLE, nullable=False),
        sa.Column("deleted", WHOLE, nullable=False),
        sa.Column("photo", sa.Text, nullable=False),
        sa.Column("attachment", sa.Text, _link("attachment", "attachments"), nullable=False),
        sa.Column("zone", sa.Text, _link("zone", "zones"), nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("points", sa.Text, nullable=False),
        sa.Column("clean_stone", sa.Text),
        sa.Column("chart_corners", sa.Text),
        sa.Column("board", sa.Text, _link("board", "attachments")),
        sa.Column("taken_on", DAY, nullable=False),
        sa.Column("taken_by", sa.Text, nullable=False),
        *(sa.Column(name, NUMBER) for name in ("chart_error", "error_L", "error_a", "error_b")),
        sa.Column("note", sa.Text),
        sa.PrimaryKeyConstraint("first_entry", name="pk_photos"),
        sa.UniqueConstraint("photo", name="uq_photos"),
        sqlite_strict=True,
    )
    op.create_index("ix_photos_zone", "photos", ["zone"])
    with op.batch_alter_table("readings", table_kwargs={"sqlite_strict": True}) as readings:
        readings.add_column(sa.Column("photo", sa.Text))
        readings.create_foreign_key(
            "fk_readings_photo", "photos", ["photo"], ["photo"],
            deferrable=True, initially="DEFERRED",
        )  # fmt: skip
    for table, column in (
        ("zones", sa.Column("colour_sets", WHOLE)),
        ("panels", sa.Column("spots_laid", WHOLE)),
        ("panels", sa.Column("reader_blind", sa.Text)),
        ("spots", sa.Column("component", sa.Text)),
    ):
        op.add_column(table, column)


def _link(field: str, table: str) -> sa.ForeignKey:
    """Link of a photograph to another record."""
    key = table.removesuffix("s")
    return sa.ForeignKey(
        f"{table}.{key}", name=f"fk_photos_{field}", deferrable=True, initially="DEFERRED"
    )
