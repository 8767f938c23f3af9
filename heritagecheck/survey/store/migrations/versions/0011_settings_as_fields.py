"""What was dialled as fields: quantities of panels and spots, settings of a series; notes of spots.

The sentences and units of before are read by `old_settings.read_once`, through the journal.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0011"
down_revision = "0010"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: Any = sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql")


def upgrade() -> None:
    """Make the new table, and the new fields of others."""
    zone = sa.ForeignKey(
        "zones.zone", name="fk_settings_zone", deferrable=True, initially="DEFERRED"
    )
    op.create_table(
        "settings",
        sa.Column("first_entry", WHOLE, autoincrement=False),
        sa.Column("last_entry", WHOLE, nullable=False),
        sa.Column("deleted", WHOLE, nullable=False),
        sa.Column("series", sa.Text, nullable=False),
        sa.Column("zone", sa.Text, zone, nullable=False),
        sa.Column("quantity", sa.Text, nullable=False),
        sa.Column("value", NUMBER),
        sa.Column("value_to", NUMBER),
        sa.Column("unit", sa.Text),
        sa.Column("words", sa.Text),
        sa.PrimaryKeyConstraint("first_entry", name="pk_settings"),
        sa.UniqueConstraint("series", "quantity", name="uq_settings"),
        sqlite_strict=True,
    )
    op.create_index("ix_settings_series", "settings", ["series"])
    op.create_index("ix_settings_zone", "settings", ["zone"])
    op.add_column("panels", sa.Column("setting_quantity", sa.Text))
    op.add_column("spots", sa.Column("dose_quantity", sa.Text))
    op.add_column("spots", sa.Column("note", sa.Text))
