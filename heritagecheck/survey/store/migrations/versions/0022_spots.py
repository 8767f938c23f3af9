"""Spots: the trial spot that a height map shows, or on which depth or roughness was measured."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    """Add the field to both tables, with its link."""
    for table in ("height_maps", "site_tests"):
        with op.batch_alter_table(table, table_kwargs={"sqlite_strict": True}) as changed:
            changed.add_column(sa.Column("spot", sa.Text))
            changed.create_foreign_key(
                f"fk_{table}_spot", "spots", ["spot"], ["spot"],
                deferrable=True, initially="DEFERRED",
            )  # fmt: skip
