"""Gentler methods that were not tried; what else a panel was cleaned of, and after which series."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the fields."""
    op.add_column("zones", sa.Column("not_tried", sa.Text))
    op.add_column("panels", sa.Column("also_treated", sa.Text))
    op.add_column("panels", sa.Column("after_series", sa.Text))
