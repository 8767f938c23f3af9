"""Whether the surface under a trial spot was wetted."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the field."""
    op.add_column("spots", sa.Column("wetted", sa.Text))
