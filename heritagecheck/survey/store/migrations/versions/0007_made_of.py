"""What a layer of value is made of."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add the field."""
    op.add_column("layers", sa.Column("made_of", sa.Text))
