"""Whether a survey is what its journal says: chain of entries, records, tables, bytes, guards."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy as sa

from heritagecheck.errors import StoreError, in_words
from heritagecheck.sentences import moment_in_words
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.store.database_errors import DamagedError
from heritagecheck.survey.store.journal import (
    entries,
    entry_hash,
    head,
    key_of,
    kind_of,
    legible,
    shown_key,
    text_of,
)
from heritagecheck.survey.store.rows import stored
from heritagecheck.survey.store.schema import (
    ALEMBIC,
    JOURNAL,
    KEPT,
    METADATA,
    NEWEST,
    NONE_YET,
    SAVES,
    SQLITE_GUARDS,
    WORDS,
)

# Fewer digits of a hash might be met by chance.
FEWEST_DIGITS, ALL_DIGITS = 16, 64
HEXADECIMAL = frozenset("0123456789abcdef")
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


@dataclass(frozen=True, slots=True)
class Verdict:
    """Result of a check: whether journal and records agree, and what else is odd."""

    entries: int
    head: str
    first_bad: int | None
    why: str
    odd: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Nothing was found amiss."""
        return not self.why

    def __bool__(self) -> bool:
        return self.ok

    def __str__(self) -> str:
        """Say it in a sentence."""
        if self.ok and not self.entries:
            return "The journal is whole: nothing was saved yet"
        if self.ok:
            return f"The journal is whole: {self.entries} entries, the last with hash {self.head}"
        where = "" if self.first_bad is None else f"Entry {self.first_bad}: "
        return f"{where}{self.why}"


def verdict(connection: sa.Connection, *, printed: str | None = None) -> Verdict:
    """Look through a survey's whole database."""
    printed = None if printed is None else as_printed(printed)
    lacking, altered = _schema(connection)
    if why := "; ".join([*_bytes(connection), *lacking]):
        return Verdict(0, "", None, why)
    found = _verified(connection, printed)
    if not found:
        return found
    why = "; ".join([*_saves_alone(connection), *altered])
    odd = () if why else tuple(_back_in_time(connection))
    return Verdict(found.entries, found.head, None, why, odd)


def as_printed(given: str) -> str:
    """A hash that a report printed, as somebody typed it."""
    digits = given.strip().lower()
    if wrong := sorted(set(digits) - HEXADECIMAL):
        raise ValueError(
            f"A printed hash holds only 0 to 9 and a to f; {given} has {', '.join(wrong)}."
        )
    if not FEWEST_DIGITS <= len(digits) <= ALL_DIGITS:
        raise ValueError(
            f"Give a printed hash, or at least its first {FEWEST_DIGITS} digits; {given} has "
            f"{len(digits)}, where a whole one has {ALL_DIGITS}."
        )
    return digits


def _verified(connection: sa.Connection, printed: str | None) -> Verdict:
    """
    Read the whole journal and compare the survey with it.

    The chain shows that an entry was changed, removed or inserted, unless all later ones were
    rewritten too, or the last ones cut off together with the head. Only a hash stored elsewhere,
    such as in a report, protects against that: `printed` must be one of this journal's.
    """
    last, last_hash = head(connection)
    expected, number = NONE_YET, 0
    told: dict[tuple[str, str], _Told] = {}
    reached = set()
    for entry, change, save, previous in entries(connection):
        number += 1
        if entry != number:
            return Verdict(last, last_hash.hex(), number, "this entry is missing")
        if previous != expected:
            return Verdict(
                last, last_hash.hex(), max(number - 1, 1),
                f"it was changed after it was written: entry {number} holds another hash of it",
            )  # fmt: skip
        place = change.table, change.key
        before = told.get(place)
        if (before and before.text) != change.old:
            wrong = "its old value differs from what the entries before it left"
            return Verdict(last, last_hash.hex(), number, wrong)
        first = before.first if before else number
        told[place] = _Told(change.new, first, number)
        expected = entry_hash(entry, place, change.old, change.new, save, previous)
        reached.add(expected.hex())
    if number != last or expected != last_hash:
        what = "entries after it are missing" if number < last else "it was changed or put in"
        return Verdict(last, last_hash.hex(), max(number, 1), f"{what}: it is not the last written")
    if printed is not None and not any(known.startswith(printed) for known in reached):
        return Verdict(last, last_hash.hex(), None, f"no entry has the printed hash {printed}")
    why = _differs(connection, told)
    return Verdict(last, last_hash.hex(), None, why)


class _Told(NamedTuple):
    """A record as the journal says it is, and the entries that made and last changed it."""

    text: str | None
    first: int
    last: int


def _differs(connection: sa.Connection, told: dict[tuple[str, str], _Told]) -> str:
    """Name the first record that is not what the journal says; empty where all are."""
    left = {place for place, one in told.items() if one.text is not None}
    for table in TABLES:
        for found in stored(connection, table, KEPT[table].c.deleted == 0):
            place = table, key_of(table, found.record)
            if told.get(place) != (text_of(found.record), found.first, found.version):
                return f"{kind_of(table)} {shown_key(place[1])} is not what the journal says"
            left.discard(place)
    if left:
        table, key = min(left)
        return f"{kind_of(table)} {shown_key(key)} is missing, and the journal does not say why"
    return ""


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
        # SQLite lists the whole schema in one table.
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
            said = "is a view, not a table" if taken else "is missing"
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
    """Saves without an entry in the journal, each by the number of its first entry."""
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
            raise DamagedError(f"save {number}, {made_at!r} is not a time") from None
        if before and when < before[1] - CLOCKS_DIFFER:
            yield (
                f"Save {number} is dated {moment_in_words(made_at)}, before save {before[0]}, "
                f"which it follows ({moment_in_words(before[1].isoformat())}): a clock was wrong, "
                "or it was made up later"
            )
        before = number, when


# -- Hashes that reports printed -------------------------------------------------------------------

IN_FOLDER = "journal-heads.txt"
REPORT = "report"
FIRST_LINE = "# Hashes of the journal that reports printed; heritagecheck check looks for the last."
LINE = re.compile(r"(\S+) ([0-9a-f]{64}) (.*)")


class Head(NamedTuple):
    """The hash that a report printed, when, and the file that says so."""

    when: str
    digits: str
    file: Path


def keep_head(survey: str, digits: str, folder: Path) -> Path:
    """Write down the hash that a report printed."""
    beside = _beside(survey)
    if beside is not None:
        try:
            return _added(beside, survey, digits)
        except OSError:
            pass  # the folder of the report was just written
    return _added(folder / IN_FOLDER, survey, digits)


def newest_head(survey: str) -> Head | None:
    """The hash that the last report of a survey printed, as far as its file is found."""
    beside = _beside(survey)
    places = [Path(REPORT) / IN_FOLDER]
    if beside is not None:
        places += [beside, beside.parent / REPORT / IN_FOLDER]
    found = [head for path in places for head in _read(path, survey)]
    # Of two reports within one second the later line counts.
    return max(reversed(found), key=lambda head: head.when, default=None)


def _is_moment(text: str) -> bool:
    """Whether a text is a day with a time."""
    try:
        return bool(datetime.fromisoformat(text))
    except ValueError:
        return False


def _beside(survey: str) -> Path | None:
    """The file next to a survey; None for one on a server."""
    return None if "://" in survey else Path(survey).with_suffix(".heads.txt")


def _added(path: Path, survey: str, digits: str) -> Path:
    """Add a line to a file, unless the last one says the same."""
    last = list(_read(path, survey))[-1:]
    if not last or last[0].digits != digits:
        when = datetime.now(UTC).isoformat(timespec="seconds")
        first = "" if path.exists() else f"{FIRST_LINE}\n"
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{first}{when} {digits} {_named(survey)}\n")
    return path


def _named(survey: str) -> str:
    """A survey as a line names it: a file by its name, so that a folder may be moved."""
    return survey if "://" in survey else " ".join(legible(Path(survey).name).splitlines())


def _read(path: Path, survey: str) -> Iterable[Head]:
    """Lines about a survey, in the order in which they were written."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return
    except (OSError, UnicodeDecodeError) as error:
        why = in_words(error) if isinstance(error, OSError) else f"{path} is not a text file"
        raise StoreError(f"{why}. This file keeps the hashes that reports printed") from error
    for number, line in enumerate(lines, start=1):
        if line == FIRST_LINE:
            continue
        found = LINE.fullmatch(line)
        if found is None or not _is_moment(found[1]):
            raise StoreError(
                f"{path}, line {number} is damaged. This file keeps the hashes that reports "
                "printed. Give check --head the hash from a report itself, then remove the line"
            )
        if found[3] == _named(survey):
            yield Head(found[1], found[2], path)
