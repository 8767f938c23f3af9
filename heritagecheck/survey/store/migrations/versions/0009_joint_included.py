"""Whether a panel takes in a joint and what stands beside it."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add the field."""
    op.add_column("panels", sa.Column("joint_included", sa.Text))
