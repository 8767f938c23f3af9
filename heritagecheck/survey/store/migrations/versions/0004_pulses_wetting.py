"""Whether the surface under a trial spot was wetted; pulses and wetting of a panel itself."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Add the fields."""
    op.add_column("spots", sa.Column("wetted", sa.Text))
    op.add_column("panels", sa.Column("passes", WHOLE))
    op.add_column("panels", sa.Column("wetted", sa.Text))
