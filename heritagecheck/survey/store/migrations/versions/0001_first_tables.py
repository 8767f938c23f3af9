"""The records of release 2026.1, the journal, and what keeps the journal from being changed."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None

# Written out, not derived: what a migration did stays as it was, whatever the records become.
FIELDS = {
    "structure": """
        structure:text! asked:text! surveyed_by:text! survey_date:day! significance:text!
    """,
    "elevations": """
        elevation:text! name:text! drawing:text! width_m:number! height_m:number!
    """,
    "zones": """
        zone:text! elevation:text! name:text! area_m2:number! substrate:text! finish:text!
        condition:text! exposure:text! access:text! significance:text! significance_reason:text!
        soilings:text! biotite_pct:number bed_or_system:text panels_laid:whole next_access:day
        surveyed_on:day! surveyed_by:text! note:text
    """,
    "layers": """
        layer:text! zone:text! soiling:text! cover_pct:number thickness_mm:number value:text!
        value_reason:text
    """,
    "observations": """
        observation:text! zone:text! topic:text! finding:text not_recorded_because:text
        owner:text due:day seen_on:day! seen_by:text! note:text
    """,
    "panels": """
        panel:text! zone:text! series:text! panels_in_series:whole! soiling:text! method:text!
        setting:text! done_on:day! read_on:day not_read_because:text winter_included:text
        control_kept:text x50_fields:whole x50_fields_weakest:whole damaged_fields:whole
        damaged_component:text residual_pct:number delta_b:number late_effects:text
        setting_unit:text cleaning_low:number cleaning_high:number damage_low:number
        damage_high:number grade_reached:text required_adhesion_mpa:number
        required_profile_low_um:number required_profile_high_um:number read_by:text note:text
    """,
    "readings": """
        reading:text! zone:text! set_name:text! set_size:whole! target:text! panel:text
        L_star:number a_star:number b_star:number state:text! geometry:text! aperture_mm:number!
        illuminant:text! instrument:text! read_on:day! read_by:text! not_measured_because:text
    """,
    "site_tests": """
        site_test:text! zone:text! panel:text quantity:text! value:number spread:number
        set_name:text! set_size:whole! method:text! tested_on:day! tested_by:text!
        not_measured_because:text
    """,
    "policy": """
        alpha:number! agreed_share:number! fabric_cap_high:number! fabric_cap_medium:number!
        fabric_cap_low:number! margin:number! margin_high:number! damage_limit:number!
        horizon_years:number! power:whole! agreed_on:day!
    """,
    "views": """
        member:text! criterion:text! swing:number!
    """,
}
KEYS = {
    "elevations": ["elevation"], "zones": ["zone"], "layers": ["layer"],
    "observations": ["observation"], "readings": ["reading"], "site_tests": ["site_test"],
    "panels": ["panel"], "views": ["member", "criterion"],
}  # fmt: skip
LINKS = {
    "zones": {"elevation": "elevations"}, "layers": {"zone": "zones"},
    "observations": {"zone": "zones"}, "readings": {"zone": "zones", "panel": "panels"},
    "site_tests": {"zone": "zones", "panel": "panels"}, "panels": {"zone": "zones"},
}  # fmt: skip
INDEXED = (
    ("layers", "zone"), ("observations", "zone"), ("readings", "zone"), ("readings", "set_name"),
    ("site_tests", "zone"), ("site_tests", "set_name"), ("panels", "zone"), ("panels", "series"),
)  # fmt: skip
WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TYPES: dict[str, Any] = {
    "text": sa.Text(),
    "whole": WHOLE,
    "number": sa.REAL().with_variant(postgresql.DOUBLE_PRECISION(), "postgresql"),
    "day": sa.Text().with_variant(sa.Date(), "postgresql"),
}


def upgrade() -> None:
    """Make the tables."""
    for table in FIELDS:
        _records(table)
    for table, field in INDEXED:
        op.create_index(f"ix_{table}_{field}", table, [field])
    _journal()
    op.execute("INSERT INTO head (one, entry, hash) VALUES (1, 0, " + _no_hash() + ")")
    _guard()


def _records(table: str) -> None:
    """Make the table of one kind of record."""
    columns: list[sa.Column[Any]] = []
    for word in FIELDS[table].split():
        name, _, kind = word.partition(":")
        other = LINKS.get(table, {}).get(name)
        link = (
            [sa.ForeignKey(f"{other}.{KEYS[other][0]}", name=f"fk_{table}_{name}",
                           deferrable=True, initially="DEFERRED")]
            if other else []
        )  # fmt: skip
        columns.append(
            sa.Column(name, TYPES[kind.rstrip("!")], *link, nullable=not kind.endswith("!"))
        )
    unique = [sa.UniqueConstraint(*KEYS[table], name=f"uq_{table}")] if table in KEYS else []
    op.create_table(
        table,
        sa.Column("first_entry", WHOLE, autoincrement=False),
        sa.Column("last_entry", WHOLE, nullable=False),
        sa.Column("deleted", WHOLE, nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("first_entry", name=f"pk_{table}"),
        *unique,
        sqlite_strict=True,
    )


def _journal() -> None:
    """Make the journal, the saves it names, and its head."""
    op.create_table(
        "saves",
        sa.Column("save", WHOLE, autoincrement=False),
        sa.Column("made_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("action", sa.Text, nullable=False),
        sa.Column("of_save", WHOLE),
        sa.PrimaryKeyConstraint("save", name="pk_saves"),
        sqlite_strict=True,
    )
    op.create_table(
        "journal",
        sa.Column("entry", WHOLE, autoincrement=False),
        sa.Column(
            "save", WHOLE,
            sa.ForeignKey("saves.save", name="fk_journal_save", deferrable=True,
                          initially="DEFERRED"),
            nullable=False,
        ),
        sa.Column("of_table", sa.Text, nullable=False),
        sa.Column("record_key", sa.Text, nullable=False),
        sa.Column("old", sa.Text),
        sa.Column("new", sa.Text),
        sa.Column("previous", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("entry", name="pk_journal"),
        sqlite_strict=True,
    )  # fmt: skip
    op.create_table(
        "head",
        sa.Column("one", WHOLE, autoincrement=False),
        sa.Column("entry", WHOLE, nullable=False),
        sa.Column("hash", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("one", name="pk_head"),
        sqlite_strict=True,
    )


def _no_hash() -> str:
    """Thirty-two bytes of nothing, before the first entry."""
    nothing = "00" * 32
    return f"'\\x{nothing}'" if _postgresql() else f"X'{nothing}'"


def _guard() -> None:
    """Let nobody change what the journal says, by whatever program."""
    words = "the journal is only ever added to"
    if _postgresql():
        op.execute(
            "CREATE FUNCTION journal_is_kept() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{words}'; END $$"
        )
        for table in ("journal", "saves"):
            op.execute(
                f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
                "EXECUTE FUNCTION journal_is_kept()"
            )
        return
    for table in ("journal", "saves"):
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
            )


def _postgresql() -> bool:
    """Whether the database is PostgreSQL."""
    return op.get_bind().dialect.name == "postgresql"
