"""Kind of damage and fields read before, on panels; damage agreed by significance."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0008"
down_revision = "0007"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: Any = sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql")


def upgrade() -> None:
    """Add the fields; what a team agreed before stays as it is."""
    op.add_column("panels", sa.Column("damage_kind", sa.Text))
    op.add_column("panels", sa.Column("fields_before", WHOLE))
    op.add_column("panels", sa.Column("damaged_before", WHOLE))
    op.add_column("panels", sa.Column("before_on", sa.Text))
    for name in ("damage_limit_medium", "damage_limit_high", "damage_seen", "damage_seen_high"):
        op.add_column("policy", sa.Column(name, NUMBER))
