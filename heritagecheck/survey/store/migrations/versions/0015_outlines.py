"""Outlines of zones as records; an elevation may have no drawing."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0015"
down_revision = "0014"

NUMBER: sa.types.TypeEngine[Any] = sa.REAL().with_variant(
    postgresql.DOUBLE_PRECISION(), "postgresql"
)


def upgrade() -> None:
    """Add the field, and let the fields of a drawing be empty."""
    op.add_column("zones", sa.Column("outline", sa.Text))
    with op.batch_alter_table("elevations", table_kwargs={"sqlite_strict": True}) as elevations:
        elevations.alter_column("drawing", existing_type=sa.Text(), nullable=True)
        elevations.alter_column("width_m", existing_type=NUMBER, nullable=True)
        elevations.alter_column("height_m", existing_type=NUMBER, nullable=True)
