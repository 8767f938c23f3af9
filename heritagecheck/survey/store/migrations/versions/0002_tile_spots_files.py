"""White tile, trial spots, attachments, height maps; readings by eye, by session and by file."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0002"
down_revision = "0001"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TYPES: dict[str, Any] = {
    "text": sa.Text(),
    "whole": WHOLE,
    "number": sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql"),
    "day": sa.Text().with_variant(sa.Date(), "postgresql"),
}
FIELDS = {
    "tile_readings": """
        tile_reading:text! session:text! tile_readings_in_session:whole! minutes:number!
        L_star:number! a_star:number! b_star:number! instrument:text! read_on:day! read_by:text!
    """,
    "spots": """
        spot:text! panel:text! zone:text! spots_on_panel:whole! dose:number dose_unit:text
        passes:whole cleaned:text damaged:text damaged_component:text read_on:day read_by:text
        not_read_because:text
    """,
    "attachments": """
        attachment:text! kind:text! file:text! sha256:text! bytes:whole! zone:text panel:text
        taken_on:day taken_by:text note:text
    """,
    "height_maps": """
        height_map:text! attachment:text! zone:text! panel:text moment:text! height_unit:text!
        pixel_x_um:number! pixel_y_um:number! rows:whole! columns:whole! lowest_um:number!
        highest_um:number! unseen:number! instrument:text! measured_on:day! confirmed_by:text!
    """,
}
KEYS = {
    "tile_readings": "tile_reading", "spots": "spot", "attachments": "attachment",
    "height_maps": "height_map",
}  # fmt: skip
LINKS = {
    "spots": {"zone": "zones.zone", "panel": "panels.panel"},
    "attachments": {"zone": "zones.zone", "panel": "panels.panel"},
    "height_maps": {
        "attachment": "attachments.attachment", "zone": "zones.zone", "panel": "panels.panel",
    },
}  # fmt: skip
INDEXED = (
    ("readings", "session"), ("spots", "panel"), ("spots", "zone"), ("attachments", "zone"),
    ("attachments", "file"), ("height_maps", "zone"), ("tile_readings", "session"),
)  # fmt: skip


def upgrade() -> None:
    """Make the new tables, and the new fields of readings."""
    for table in FIELDS:
        _records(table)
    with op.batch_alter_table("readings", table_kwargs={"sqlite_strict": True}) as readings:
        readings.alter_column("aperture_mm", existing_type=TYPES["number"], nullable=True)
        readings.add_column(sa.Column("munsell", sa.Text))
        readings.add_column(sa.Column("session", sa.Text))
        readings.add_column(sa.Column("file", sa.Text))
        readings.create_foreign_key(
            "fk_readings_file", "attachments", ["file"], ["attachment"],
            deferrable=True, initially="DEFERRED",
        )  # fmt: skip
    op.add_column("structure", sa.Column("licence", sa.Text))
    for table, field in INDEXED:
        op.create_index(f"ix_{table}_{field}", table, [field])


def _records(table: str) -> None:
    """Make the table of one kind of record."""
    columns: list[sa.Column[Any]] = []
    for word in FIELDS[table].split():
        name, _, kind = word.partition(":")
        other = LINKS.get(table, {}).get(name)
        link = (
            [sa.ForeignKey(other, name=f"fk_{table}_{name}", deferrable=True,
                           initially="DEFERRED")]
            if other else []
        )  # fmt: skip
        columns.append(
            sa.Column(name, TYPES[kind.rstrip("!")], *link, nullable=not kind.endswith("!"))
        )
    op.create_table(
        table,
        sa.Column("first_entry", WHOLE, autoincrement=False),
        sa.Column("last_entry", WHOLE, nullable=False),
        sa.Column("deleted", WHOLE, nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("first_entry", name=f"pk_{table}"),
        sa.UniqueConstraint(KEYS[table], name=f"uq_{table}"),
        sqlite_strict=True,
    )
