"""Stone, or part of the zone, on which a colour was read."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the field."""
    op.add_column("readings", sa.Column("place", sa.Text))
