"""Minerals: grains outlined in the photograph of a height map, and the one a depth is of."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"


def upgrade() -> None:
    """Add the two fields."""
    op.add_column("height_maps", sa.Column("photo_minerals", sa.Text))
    op.add_column("site_tests", sa.Column("mineral", sa.Text))
