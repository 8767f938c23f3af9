"""List of the beds and coating systems that zones may name.

The beds that zones name already are listed by `read_once.read_once`, through the journal.
"""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Add the field."""
    op.add_column("structure", sa.Column("beds", sa.Text))
