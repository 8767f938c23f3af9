"""Scores that members of a meeting give in private: harm if a zone is left, if it is cleaned."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    """Add the two fields."""
    whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    for field in ("harm_if_left", "harm_if_cleaned"):
        op.add_column("opinions", sa.Column(field, whole))
