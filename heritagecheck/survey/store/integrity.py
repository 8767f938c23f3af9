"""Whether a survey's database is sound: its bytes, its tables, what guards them, its journal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from heritagecheck.survey.store import journal
from heritagecheck.survey.store.database import JOURNAL, METADATA, NEWEST, SAVES, DamagedError
from heritagecheck.survey.store.journal import Verdict

WORDS = "the journal is only ever added to"
ALEMBIC = "alembic_version"
# As the first migration made them: what keeps journal and saves from being changed.
SQLITE_GUARDS = {
    f"{table}_no_{act.lower()}": f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
    f"BEGIN SELECT RAISE(ABORT, '{WORDS}'); END"
    for table in ("journal", "saves")
    for act in ("UPDATE", "DELETE")
}
POSTGRESQL_GUARDS = {
    f"{table}_kept": f"CREATE TRIGGER {table}_kept BEFORE DELETE OR UPDATE OR TRUNCATE ON {table} "
    "FOR EACH STATEMENT EXECUTE FUNCTION journal_is_kept()"
    for table in ("journal", "saves")
}
FUNCTION = f" BEGIN RAISE EXCEPTION '{WORDS}'; END "
# Schemas of SQLite that were found as they should be: comparing one takes a tenth of a second.
_SOUND: set[str] = set()
# Clocks of two computers that are set by the network differ by less.
CLOCKS_DIFFER = timedelta(minutes=5)


def verdict(connection: sa.Connection, *, printed: str | None = None) -> Verdict:
    """
    Look through a survey's whole database.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Of the survey's database, at one moment.
    printed : str, optional
        As `journal.verified` takes it.

    Returns
    -------
    Verdict
        The first thing that is amiss: bytes, then tables, journal and records, then the guards.

    Raises
    ------
    DamagedError
        Something is so damaged that it can't be read.
    ValueError
        As `journal.verified`.
    """
    printed = None if printed is None else journal.as_printed(printed)
    lacking, altered = _schema(connection)
    if why := "; ".join([*_bytes(connection), *lacking]):
        return Verdict(0, "", None, why)
    found = journal.verified(connection, printed=printed)
    if not found:
        return found
    why = "; ".join([*_saves_alone(connection), *altered])
    odd = () if why else tuple(_back_in_time(connection))
    return Verdict(found.entries, found.head, None, why, odd)


def _bytes(connection: sa.Connection) -> Iterator[str]:
    """What the database itself finds damaged in its pages and indexes."""
    if connection.dialect.name == "sqlite":
        found = connection.exec_driver_sql("PRAGMA integrity_check(3)").scalars().all()
        yield from (str(one).replace("\n", " ") for one in found if one != "ok")
        return
    # Every page of every table, whatever the survey reads of it; indexes where PostgreSQL's own
    # extension for that is there, and this user may call it.
    for table in METADATA.sorted_tables:
        whole = sa.func.count(sa.text(f"{table.name}::text"))
        connection.execute(sa.select(whole).select_from(table))
    checks = "bt_index_check(regclass, boolean)"
    may = f"CASE WHEN to_regprocedure('{checks}') IS NULL THEN false "
    may += f"ELSE has_function_privilege(to_regprocedure('{checks}'), 'EXECUTE') END"
    if connection.scalar(sa.text(f"SELECT {may}")):
        connection.execute(
            sa.text(
                "SELECT bt_index_check(i.indexrelid, true) FROM pg_index i "
                "JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_class t ON t.oid = i.indrelid "
                "WHERE c.relam = (SELECT oid FROM pg_am WHERE amname = 'btree') "
                "AND t.relname = ANY(:ours) AND t.relnamespace = current_schema()::regnamespace"
            ),
            {"ours": list(METADATA.tables)},
        ).all()


def _schema(connection: sa.Connection) -> tuple[list[str], list[str]]:
    """What the tables lack of those that the records ask for, and what else is altered."""
    words = ""
    if connection.dialect.name == "sqlite":
        # All that a schema is stands in one table.
        asked = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY rowid"
        words = repr(connection.exec_driver_sql(asked).all())
    if words not in _SOUND:
        lacking, altered = _compared(connection)
        if lacking or altered:
            return lacking, altered
        _SOUND.update({words} - {""})
    versions = connection.execute(sa.text(f"SELECT version_num FROM {ALEMBIC}")).scalars().all()
    several = list(versions) != [NEWEST]
    return [], [f"table {ALEMBIC} names more than one release"] if several else []


def _compared(connection: sa.Connection) -> tuple[list[str], list[str]]:
    """Compare the tables with those that the records ask for, one by one."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    context = MigrationContext.configure(connection, opts={"compare_type": True})
    seen = sa.inspect(connection)
    views = set(seen.get_view_names())
    lacking, altered = [], []
    for one in _flat(compare_metadata(context, METADATA)):
        act, place = str(one[0]), _place(one)
        if act in {"add_table", "add_column"} or act.startswith("modify_"):
            taken = act == "add_table" and place.removeprefix("table ") in views
            said = "is a view, no table" if taken else "is missing"
            lacking.append(f"{place} {'is altered' if act.startswith('modify_') else said}")
        elif place != f"table {ALEMBIC}":
            altered.append(f"{place} {'is missing' if act.startswith('add_') else 'is not ours'}")
    altered += [f"view {name} is not ours" for name in sorted(views - METADATA.tables.keys())]
    return lacking, [*altered, *_guards(connection)]


def _flat(found: Iterable[Any]) -> Iterator[tuple[Any, ...]]:
    """Differences one by one; those of a column come as a list of their own."""
    for one in found:
        yield from one if isinstance(one, list) else [one]


def _place(difference: tuple[Any, ...]) -> str:
    """Table, column, index or constraint that differs, as a message names it."""
    act, what = str(difference[0]), difference[1]
    if act in {"add_table", "remove_table"}:
        return f"table {what.name}"
    if act in {"add_column", "remove_column"}:
        return f"column {difference[3].name} of table {difference[2]}"
    if act.startswith("modify_"):
        return f"column {difference[3]} of table {difference[2]}"
    kind = "index" if act.endswith("_index") else "rule"
    return f"{kind} {what.name or 'without a name'} of table {what.table.name}"


def _guards(connection: sa.Connection) -> Iterator[str]:
    """Triggers that keep the journal from being changed and are not as they were made; others."""
    if connection.dialect.name == "sqlite":
        asked = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        expected = SQLITE_GUARDS
        loose = [
            name
            for name, strict in connection.exec_driver_sql(
                "SELECT name, strict FROM pragma_table_list WHERE schema = 'main'"
            ).all()
            if not strict and name in METADATA.tables
        ]
        yield from (f"table {name} takes any kind of value" for name in loose)
    else:
        # Without the schema's name; a trigger that is switched off guards nothing.
        asked = (
            "SELECT t.tgname, CASE WHEN t.tgenabled = 'O' "
            "THEN replace(pg_get_triggerdef(t.oid), current_schema() || '.', '') END "
            "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE c.relnamespace = current_schema()::regnamespace "
            "AND NOT (t.tgisinternal AND t.tgenabled = 'O')"
        )
        expected = POSTGRESQL_GUARDS
        body = connection.scalar(
            sa.text("SELECT prosrc FROM pg_proc WHERE oid = to_regproc('journal_is_kept')")
        )
        if body != FUNCTION:
            yield "function journal_is_kept is missing or altered"
    found = {str(name): text for name, text in connection.execute(sa.text(asked)).all()}
    for name, text in expected.items():
        if found.pop(name, "") != text:
            yield f"trigger {name} is missing or altered, and no longer guards the journal"
    yield from (f"trigger {name} is not ours, or is switched off" for name in sorted(found))


def _saves_alone(connection: sa.Connection) -> Iterator[str]:
    """Saves of which the journal has no entry; each bears the number of its first."""
    asked = (
        sa.select(SAVES.c.save)
        .join_from(SAVES, JOURNAL, JOURNAL.c.entry == SAVES.c.save, isouter=True)
        .where(JOURNAL.c.save.is_distinct_from(SAVES.c.save))
        .order_by(SAVES.c.save)
    )
    for number in connection.execute(asked.limit(1)).scalars():
        yield f"save {number} has no entry in the journal"


def _back_in_time(connection: sa.Connection) -> Iterator[str]:
    """Saves that are dated before the one that they follow."""
    before: tuple[int, datetime] | None = None
    asked = sa.select(SAVES.c.save, SAVES.c.made_at).order_by(SAVES.c.save)
    for number, made_at in connection.execute(asked):
        try:
            when = datetime.fromisoformat(made_at)
        except ValueError:
            raise DamagedError(f"save {number}, {made_at!r} is no time") from None
        if before and when < before[1] - CLOCKS_DIFFER:
            yield (
                f"Save {number} is dated {when:%Y-%m-%d %H:%M}, before save {before[0]}, which it "
                f"follows ({before[1]:%Y-%m-%d %H:%M}): a clock was wrong, or it was made up later"
            )
        before = number, when
