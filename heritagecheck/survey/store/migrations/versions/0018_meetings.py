"""Meetings of the team: opinions, decisions with their dissent, open questions, signatures."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
DAY = sa.Text().with_variant(sa.Date(), "postgresql")
# Fields of each table; an exclamation mark ends the name of one that may not be empty.
FIELDS = {
    "meetings": "meeting! held_on! facilitator! members! place readers",
    "opinions": "meeting! zone! member! given! outcome why veto dissent",
    "decisions": "meeting! zone! outcome! reasons! recommended! evidence! snapshot! method "
    "conditions override_reason",
    "open_questions": "question! meeting! zone words! owner! due!",
    "signatures": "meeting! zone! signer! signed_at! evidence! decision! name",
}
KEYS = {
    "meetings": ("meeting",), "opinions": ("meeting", "zone", "member", "given"),
    "decisions": ("meeting", "zone"), "open_questions": ("question",),
    "signatures": ("meeting", "zone", "signer"),
}  # fmt: skip
DAYS = {"held_on", "due"}
OTHERS = {"meeting": "meetings.meeting", "zone": "zones.zone"}


def upgrade() -> None:
    """Make the tables."""
    for table, fields in FIELDS.items():
        op.create_table(
            table,
            sa.Column("first_entry", WHOLE, autoincrement=False),
            sa.Column("last_entry", WHOLE, nullable=False),
            sa.Column("deleted", WHOLE, nullable=False),
            *(_column(table, field) for field in fields.split()),
            sa.PrimaryKeyConstraint("first_entry", name=f"pk_{table}"),
            sa.UniqueConstraint(*KEYS[table], name=f"uq_{table}"),
            sqlite_strict=True,
        )
        if table != "meetings":
            op.create_index(f"ix_{table}_zone", table, ["zone"])


def _column(table: str, field: str) -> sa.Column[object]:
    """One field, with its link to another table."""
    name = field.removesuffix("!")
    links = []
    if name in OTHERS and table != "meetings":
        links = [
            sa.ForeignKey(
                OTHERS[name], name=f"fk_{table}_{name}", deferrable=True, initially="DEFERRED"
            )
        ]
    kind = DAY if name in DAYS else sa.Text()
    return sa.Column(name, kind, *links, nullable=name == field)
