"""A reading that was not taken has no state: nobody looked whether the stone was wet."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    """Let the field be empty."""
    with op.batch_alter_table("readings", table_kwargs={"sqlite_strict": True}) as readings:
        readings.alter_column("state", existing_type=sa.Text(), nullable=True)
