"""A structure needs only a name: its survey may still be open."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"

DAY = sa.Text().with_variant(sa.Date(), "postgresql")
WORDS = ("asked", "surveyed_by", "significance")


def upgrade() -> None:
    """Let the fields be empty."""
    with op.batch_alter_table("structure", table_kwargs={"sqlite_strict": True}) as structure:
        for name in WORDS:
            structure.alter_column(name, existing_type=sa.Text(), nullable=True)
        structure.alter_column("survey_date", existing_type=DAY, nullable=True)
