"""Kind of damage on trial spots."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the field."""
    op.add_column("spots", sa.Column("damage_kind", sa.Text))
