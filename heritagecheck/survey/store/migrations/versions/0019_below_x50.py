"""What instruments find below ×50: section profiles, pairs of height maps, sources of numbers."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0019"
down_revision = "0018"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TYPES: dict[str, Any] = {
    "text": sa.Text(),
    "whole": WHOLE,
    "number": sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql"),
    "day": sa.Text().with_variant(sa.Date(), "postgresql"),
}
READING = """
    section_reading:text! zone:text! panel:text spot:text profile:text! profile_size:whole!
    moment:text! quantity:text! element:text depth_um:number! value:number! standard_error:number
    count:whole elastic_constants:text method:text! file:text measured_on:day! measured_by:text!
    note:text
"""
LINKS = {
    "zone": "zones.zone", "panel": "panels.panel", "spot": "spots.spot",
    "file": "attachments.attachment",
}  # fmt: skip
LATER: dict[str, Any] = {"deferrable": True, "initially": "DEFERRED"}


def upgrade() -> None:
    """Make the table and the fields."""
    op.create_table(
        "section_readings",
        sa.Column("first_entry", WHOLE, autoincrement=False),
        sa.Column("last_entry", WHOLE, nullable=False),
        sa.Column("deleted", WHOLE, nullable=False),
        *(_column(*word.split(":")) for word in READING.split()),
        sa.PrimaryKeyConstraint("first_entry", name="pk_section_readings"),
        sa.UniqueConstraint("section_reading", name="uq_section_readings"),
        sqlite_strict=True,
    )
    for field in ("zone", "profile"):
        op.create_index(f"ix_section_readings_{field}", "section_readings", [field])
    op.add_column("panels", sa.Column("measured_below", sa.Text))
    _linked("site_tests", ["file"], {"file": ("attachments", "attachment")})
    _linked(
        "height_maps",
        ["before_map", "bare", "treated", "photo", "photo_points"],
        {"before_map": ("height_maps", "height_map"), "photo": ("attachments", "attachment")},
    )


def _column(name: str, kind: str) -> sa.Column[Any]:
    """One field of the new table, with its link to another."""
    links = []
    if other := LINKS.get(name):
        links = [sa.ForeignKey(other, name=f"fk_section_readings_{name}", **LATER)]
    return sa.Column(name, TYPES[kind.rstrip("!")], *links, nullable=not kind.endswith("!"))


def _linked(table: str, fields: list[str], links: dict[str, tuple[str, str]]) -> None:
    """Add texts to a table, some of which name a record of another."""
    with op.batch_alter_table(table, table_kwargs={"sqlite_strict": True}) as changed:
        for field in fields:
            changed.add_column(sa.Column(field, sa.Text))
        for field, (other, key) in links.items():
            changed.create_foreign_key(f"fk_{table}_{field}", other, [field], [key], **LATER)
