"""Whom a contractor calls first."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    """Add the field."""
    op.add_column("structure", sa.Column("call_first", sa.Text))
