"""The journal: one entry for each record saved, each holding the hash of the one before."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
import sqlalchemy as sa

import heritagecheck as hc
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.schema import HEAD, JOURNAL, SAVES

SAVED = 3


@pytest.fixture
def survey(survey: DatabaseSurvey) -> DatabaseSurvey:
    """Give the example survey with three saves after its import."""
    for number in range(SAVED):
        zone = survey.record("zones", "N06").changed(note=f"note {number}")
        survey.save(zone, who="engineer", reason="looked again")
    return survey


def unguarded(database: str, *statements: sa.Executable | str) -> None:
    """Do to a database what no program of ours does; the triggers that forbid it come back."""
    url = database if "://" in database else f"sqlite:///{database}"
    engine = sa.create_engine(url)
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            guards = connection.exec_driver_sql(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            ).all()
            off = [f"DROP TRIGGER {name}" for name, _ in guards]
            on = [text for _, text in guards]
        else:
            off, on = (
                [f"ALTER TABLE {table} {act} TRIGGER ALL" for table in ("journal", "saves")]
                for act in ("DISABLE", "ENABLE")
            )
        for text in off:
            connection.exec_driver_sql(text)
        for statement in statements:
            connection.execute(sa.text(statement) if isinstance(statement, str) else statement)
        for text in on:
            connection.exec_driver_sql(text)
    engine.dispose()


def test_an_entry_says_who_when_what_and_why(survey: DatabaseSurvey) -> None:
    """All that a referee asks of a change stands in one row, the time in UTC."""
    last = survey.journal.iloc[-1]

    assert list(survey.journal.columns) == [
        "entry", "when", "who", "table", "key", "old", "new", "reason", "previous",
    ]  # fmt: skip
    assert (last["who"], last["table"], last["key"], last["reason"]) == (
        "engineer", "zones", "N06", "looked again",
    )  # fmt: skip
    assert last["when"].endswith("+00:00")
    assert json.loads(last["old"])["note"] == "note 1"
    assert json.loads(last["new"])["note"] == "note 2"


def test_each_record_of_an_import_has_its_entry(survey: DatabaseSurvey) -> None:
    """One entry for each record, none without."""
    begun = survey.journal.query("reason == 'begun'")

    assert len(begun) == sum(len(survey.records[table]) for table in survey.records)
    assert list(survey.journal["entry"]) == list(range(1, len(begun) + SAVED + 1))


def test_the_chain_is_that_of_sha_256_over_what_is_written(survey: DatabaseSurvey) -> None:
    """
    Reckoned anew with Python's own hashlib (FIPS 180-4) from the rows alone.

    Each entry's `previous` is the hash of the entry before; the head is that of the last.
    """
    previous = bytes(32).hex()
    with survey.reading() as connection:
        asked = sa.select(JOURNAL, SAVES).join_from(JOURNAL, SAVES).order_by(JOURNAL.c.entry)
        for row in connection.execute(asked).mappings():
            assert bytes(row[JOURNAL.c.previous]).hex() == previous
            parts = [
                row[JOURNAL.c.entry], row[SAVES.c.made_at], row[SAVES.c.who],
                row[JOURNAL.c.of_table], row[JOURNAL.c.record_key], row[JOURNAL.c.old],
                row[JOURNAL.c.new], row[SAVES.c.reason], row[SAVES.c.action], row[SAVES.c.of_save],
                previous,
            ]  # fmt: skip
            text = json.dumps(parts, ensure_ascii=False, separators=(",", ":"))
            previous = hashlib.sha256(text.encode()).hexdigest()

    assert survey.journal_head == previous


def test_a_whole_journal_is_called_whole(survey: DatabaseSurvey) -> None:
    """The verdict is true, and says how many entries there are and the hash of the last."""
    verdict = survey.verify()

    assert verdict
    assert (verdict.first_bad, verdict.why) == (None, "")
    assert survey.journal_head in str(verdict)


@pytest.mark.parametrize(
    ("tampering", "first_bad", "why"),
    [
        ("UPDATE journal SET new = old WHERE entry = 7", 7, "was changed after it was written"),
        ("UPDATE journal SET new = '{}' WHERE entry = 7", 7, "was changed after it was written"),
        ("DELETE FROM journal WHERE entry = 7", 7, "is missing"),
        ("UPDATE journal SET record_key = '[\"N02\"]' WHERE entry = 9", 9, "old value differs"),
    ],
)
def test_the_first_bad_entry_is_named(
    survey: DatabaseSurvey, database: str, tampering: str, first_bad: int, why: str
) -> None:
    """An entry changed, emptied, taken out, or given to another record."""
    unguarded(database, tampering)
    verdict = survey.verify()

    assert not verdict
    assert verdict.first_bad == first_bad
    assert why in str(verdict)


def test_another_author_or_time_shows(survey: DatabaseSurvey, database: str) -> None:
    """Who and when are part of what is hashed; the import is the first save."""
    unguarded(database, sa.update(SAVES).where(SAVES.c.save == 1).values(who="somebody else"))

    assert survey.verify().first_bad == 1


def test_a_changed_last_entry_shows_by_the_head(survey: DatabaseSurvey, database: str) -> None:
    """No entry follows it, but the head holds its hash."""
    last = len(survey.journal)
    unguarded(database, sa.update(JOURNAL).where(JOURNAL.c.entry == last).values(new=None))

    assert survey.verify().first_bad == last


def test_a_cut_tail_shows_by_the_head_and_by_a_printed_hash(
    survey: DatabaseSurvey, database: str
) -> None:
    """Even where the head is written anew, whoever holds a printed report finds it out."""
    printed = survey.journal_head
    last = len(survey.journal)
    previous = survey.journal.iloc[-1]["previous"]
    unguarded(database, sa.delete(JOURNAL).where(JOURNAL.c.entry == last))

    verdict = survey.verify()
    assert verdict.first_bad == last - 1
    assert "entries after it are missing" in str(verdict)

    entries = survey.journal
    before = entries.loc[
        (entries["table"] == "zones") & entries["key"].str.contains("N06"), "entry"
    ]
    unguarded(
        database,
        sa.update(HEAD).values(entry=last - 1, hash=bytes.fromhex(previous)),
        "UPDATE zones SET note = 'note 1' WHERE zone = 'N06'",
    )
    assert "is not what the journal says" in str(survey.verify())

    unguarded(
        database,
        f"UPDATE zones SET last_entry = {before.iloc[-1]} WHERE zone = 'N06'",
    )
    assert str(survey.verify()) == f"save {last} has no entry in the journal"

    unguarded(database, sa.delete(SAVES).where(SAVES.c.save == last))
    assert survey.verify()
    assert "no entry has the printed hash" in str(survey.verify(printed))


def test_a_printed_hash_holds_for_ever(survey: DatabaseSurvey) -> None:
    """Later saves do not make an older report wrong; its first digits are enough."""
    printed = survey.journal_head
    survey.save(survey.record("zones", "N06").changed(note="later"))

    assert survey.verify(printed)
    assert survey.verify(printed[:16])
    assert not survey.verify("0" * 16)
    assert survey.verify(f" {printed.upper()}\n")
    with pytest.raises(ValueError, match=r"first 16 digits; 00 has 2, where a whole one has 64"):
        survey.verify("00")
    with pytest.raises(ValueError, match=r"0 to 9 and a to f; 0123456789abcdefgh has g, h\."):
        survey.verify("0123456789abcdefgh")
    with pytest.raises(ValueError, match=r"first 16 digits; 0{65} has 65, where"):
        survey.verify("0" * 65)


def test_a_record_changed_past_the_journal_shows(survey: DatabaseSurvey, database: str) -> None:
    """Whoever edits the tables with another program is found out, record by record."""
    unguarded(database, "UPDATE zones SET area_m2 = 99 WHERE zone = 'N07'")
    verdict = survey.verify()

    assert str(verdict) == "zone N07 is not what the journal says"


def test_a_record_taken_out_past_the_journal_shows(survey: DatabaseSurvey, database: str) -> None:
    """The same for what is hidden or removed."""
    unguarded(database, "DELETE FROM views WHERE criterion = 'people'")

    assert "is missing, and the journal does not say why" in str(survey.verify())


@pytest.mark.parametrize("act", ["UPDATE {} SET {} = {}", "DELETE FROM {}"])
@pytest.mark.parametrize(("table", "field"), [("journal", "entry"), ("saves", "save")])
def test_the_database_itself_refuses_to_change_the_journal(
    survey: DatabaseSurvey, database: str, act: str, table: str, field: str
) -> None:
    """Not only our own code: any program that opens the database is refused by it."""
    url = database if "://" in database else f"sqlite:///{database}"
    engine = sa.create_engine(url)

    with (
        pytest.raises(sa.exc.DBAPIError, match="the journal is only ever added to"),
        engine.begin() as connection,
    ):
        connection.execute(sa.text(act.format(table, field, field)))

    engine.dispose()
    assert survey.verify()


def test_the_journal_of_a_report_is_printed_whole(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """The head's hash stands in the report, for whoever wants to hold the survey against it."""
    assessment = hc.assess(survey, zones=["N04"])
    (page,) = hc.write_report(assessment, tmp_path, formats=("html",))

    assert survey.journal_head in page.read_text(encoding="utf-8")
