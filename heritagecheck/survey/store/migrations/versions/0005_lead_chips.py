"""How many coatings a zone has; depth, detection limit and coating of a chip."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0005"
down_revision = "0004"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: Any = sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql")


def upgrade() -> None:
    """Add the fields."""
    op.add_column("zones", sa.Column("coatings", WHOLE))
    op.add_column("site_tests", sa.Column("detection_limit", NUMBER))
    op.add_column("site_tests", sa.Column("full_depth", sa.Text))
    op.add_column("site_tests", sa.Column("coating", sa.Text))
