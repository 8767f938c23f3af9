"""Several who save at once: none is lost, none overwrites another, each sees one moment."""

from __future__ import annotations

import itertools
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from pathlib import Path
from types import SimpleNamespace
from typing import TypeVar

import pytest
from bursts import STEPS, Forks, example, place_of, step
from tiers import full_on_sqlite, server_is_long, two_sizes

import heritagecheck as hc
from heritagecheck.survey.records import Elevation, Observation, Zone
from heritagecheck.survey.store import sqlite_file
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import text_of

THREADS, SAVES, FEW = 8, 25, 6
TURNS, RECORDS = 5, 50
IMPORTS, NEW = 2, 30
Given = TypeVar("Given")


def named(survey: DatabaseSurvey, zone: str) -> Zone:
    """Give one zone."""
    found = survey.record("zones", zone)
    assert isinstance(found, Zone)
    return found


def all_at_once(work: Callable[[Given], object], given: list[Given]) -> list[object]:
    """Do something for each of some things at the same moment, each in a thread of its own."""
    start = threading.Barrier(len(given))

    def begin(one: Given) -> object:
        start.wait()
        return work(one)

    with ThreadPoolExecutor(len(given)) as threads:
        return [done.result() for done in [threads.submit(begin, one) for one in given]]


@pytest.mark.parametrize("how", ["one survey shared by all", "a survey of one's own"])
@full_on_sqlite("saves", FEW, SAVES)
def test_many_threads_that_save_at_once_lose_nothing(
    survey: DatabaseSurvey, database: str, files: Path, how: str, saves: int
) -> None:
    """Eight threads: all their entries stand in one unbroken chain, and each value is there."""
    began = len(survey.journal)

    def work(thread: int) -> None:
        with ExitStack() as stack:
            mine = survey
            if how != "one survey shared by all":
                mine = stack.enter_context(DatabaseSurvey(database, files=files))
            for turn in range(saves):
                mine.save(step(turn * THREADS + thread), who=f"member {thread}")

    all_at_once(work, list(range(THREADS)))

    survey.refresh()
    entries = survey.journal.iloc[began:]
    steps = [step(number) for number in range(THREADS * saves)]
    assert survey.verify()
    assert sorted(entries["new"]) == sorted(text_of(record) for record in steps)
    for thread in range(THREADS):
        own = entries[entries["who"] == f"member {thread}"]["new"]
        assert list(own) == [text_of(record) for record in steps[thread::THREADS]]
    for record in {place_of(record): record for record in steps}.values():
        assert survey.record(*place_of(record)) == record


@pytest.mark.parametrize("saves", two_sizes(2 * FEW, SAVES))
@server_is_long
def test_four_programs_that_save_at_once_lose_nothing(
    survey: DatabaseSurvey, database: str, files: Path, programs: list[Forks], saves: int
) -> None:
    """Each saves its own records while the others do; whoever reads meanwhile sees sense."""
    began, whole = len(survey.journal), len(programs) * saves
    # Once for nothing, so that all of them have been started when the first begins to save.
    for what in (range(0), range(whole)):
        children = [
            program.begin(
                "save", database, files, what[first :: len(programs)], who=f"member {first}"
            )
            for first, program in enumerate(programs)
        ]
        while any(child.exit_code is None for child in children):
            assert survey.verify()
            for child in children:
                child.hear()
    for child in children:
        assert child.error is None
        assert child.exit_code == 0
        assert len(child.done) == saves

    survey.refresh()
    entries = survey.journal.iloc[began:]
    assert survey.verify()
    assert sorted(entries["new"]) == sorted(text_of(step(number)) for number in range(whole))
    assert set(entries["who"]) == {f"member {first}" for first in range(len(programs))}
    spans = entries.groupby("who")["when"].agg(["min", "max"]).sort_values("min")
    others_ended = spans["max"].cummax().shift().iloc[1:]
    assert (spans["min"].iloc[1:] < others_ended).all(), "one began when the others had ended"


@server_is_long
def test_whoever_reads_sees_whole_saves_only(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """A hundred records of two tables, saved at once again and again: all of one save, or none."""
    zones, answers = survey.all(Zone), survey.all(Observation)[:RECORDS]
    written = threading.Event()

    def write() -> None:
        try:
            with DatabaseSurvey(database, files=files) as writer:
                for turn in range(TURNS):
                    writer.save(*(one.changed(note=f"turn {turn}") for one in (*zones, *answers)))
        finally:
            written.set()

    # A note that all of them bear already, so that every moment has one.
    survey.save(*(one.changed(note="before") for one in (*zones, *answers)))
    seen: list[set[str | None]] = []
    with ThreadPoolExecutor(1) as thread:
        done = thread.submit(write)
        while not written.is_set():
            moment = survey.complete()
            kept = (*moment.all(Zone), *moment.all(Observation)[:RECORDS])
            seen.append({one.note for one in kept})
            assert survey.verify()
        done.result()

    assert {len(notes) for notes in seen} == {1}
    assert len(set.union(*seen)) > 2, "hardly anything was read while the other saved"


def test_an_import_while_others_save_takes_all_or_nothing_and_loses_none(
    survey: DatabaseSurvey,
    database: str,
    files: Path,
    tmp_path: Path,
    fork: Forks,
    other: DatabaseSurvey,
) -> None:
    """Its entries stand together in the journal; between two imports others' saves go on."""
    began, zone = len(survey.journal), named(survey, "N06")
    sources = []
    for turn in range(IMPORTS):
        other.save(*(zone.changed(zone=f"wall {turn}-{one}") for one in range(NEW)))
        sources.append(other.export(tmp_path / f"source{turn}"))

    child = fork.begin("save", database, files, range(3, 100 * STEPS, 4))
    for turn, source in enumerate(sources):
        child.hear_until(5 * (turn + 1))
        with hc.import_survey(source, database, files=files, who="engineer") as taken:
            assert taken.imported is not None
            assert (taken.imported.new, taken.imported.changed) == (NEW, 0)
    child.end()
    assert child.error is None
    assert child.exit_code is not None
    assert child.exit_code < 0, "it had ended before the last import was made"

    survey.refresh()
    assert survey.verify()
    entries = survey.journal.iloc[began:]
    own = list(entries[entries["who"] == "conservator"]["new"])
    assert own[: len(child.done)] == [text_of(step(number)) for number in child.done]
    for turn in range(IMPORTS):
        brought = entries[entries["key"].str.startswith(f"wall {turn}-")]["entry"]
        assert len(brought) == NEW
        assert brought.max() - brought.min() == NEW - 1


def test_an_import_does_not_overwrite_what_is_saved_while_its_rows_are_read(
    survey: DatabaseSurvey, database: str, files: Path, tmp_path: Path, other: DatabaseSurvey
) -> None:
    """Both values are shown, and nothing is imported."""
    other.save(named(other, "N06").changed(note="of the sheet"))
    source = other.export(tmp_path / "source")
    saved = threading.Event()

    def meanwhile(looked_at: int, rows: int) -> None:
        if looked_at < rows and not saved.is_set():
            survey.save(named(survey, "N06").changed(note="of the wall"), who="conservator")
            saved.set()

    with pytest.raises(
        hc.SurveyError, match=r"note = of the sheet: the survey already has of the wall here"
    ):
        hc.import_survey(source, database, files=files, progress=meanwhile)

    assert saved.is_set()
    survey.refresh()
    assert named(survey, "N06").note == "of the wall"
    assert survey.verify()


def test_of_many_who_change_one_zone_at_once_one_goes_through(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """The others are refused with their own value and the one that stands: none is overwritten."""
    began = len(survey.journal)
    with ExitStack() as stack:
        members = [
            stack.enter_context(DatabaseSurvey(database, files=files)) for _ in range(THREADS)
        ]
        wanted = [named(one, "N06").changed(note=f"words of {turn}")
                  for turn, one in enumerate(members)]  # fmt: skip

        def work(turn: int) -> str:
            try:
                members[turn].save(wanted[turn], who=f"member {turn}")
            except hc.SurveyError as error:
                return str(error)
            return ""

        told = all_at_once(work, list(range(THREADS)))

        assert told.count("") == 1
        first = told.index("")
        for turn, said in enumerate(told):
            if turn != first:
                assert "Nothing was saved." in str(said)
                assert f"note = words of {turn}: N06 was saved by member {first} at" in str(said)
                assert f"with words of {first} here" in str(said)
        survey.refresh()
        assert named(survey, "N06") == wanted[first]
        assert len(survey.journal) == began + 1
        assert survey.verify()

        late = members[(first + 1) % THREADS]
        late.refresh()
        late.save(named(late, "N06").changed(note="agreed"), who="member")
        survey.refresh()
        assert named(survey, "N06").note == "agreed"


def test_a_record_that_two_make_under_one_code_is_not_overwritten(
    survey: DatabaseSurvey, database: str, files: Path
) -> None:
    """Both chalk N99 on the wall: the second is told what the first wrote."""
    with DatabaseSurvey(database, files=files) as other:
        new = named(survey, "N06").changed(zone="N99", note="left of the door")
        other.save(new, who="engineer")

        with pytest.raises(
            hc.SurveyError,
            match=r"note = right of it: N99 was saved by engineer at .* with left of the door here",
        ):
            survey.save(new.changed(note="right of it"), who="conservator")

        survey.refresh()
        assert named(survey, "N99") == new


def test_many_who_open_a_new_survey_at_once_all_get_it(
    new_database: Callable[[], str], files: Path
) -> None:
    """Its tables are made once, by one of them; the others wait. Several new ones do not mix."""
    shared = new_database()
    places = [shared] * 4 + [new_database() for _ in range(4)]

    def work(place: str) -> None:
        with DatabaseSurvey(place, files=files) as survey:
            assert survey.journal.empty

    all_at_once(work, places)

    for place in set(places):
        with DatabaseSurvey(place, files=files) as survey:
            survey.save(example().all(Elevation)[0])
            assert survey.verify()


@pytest.fixture
def backup(other: DatabaseSurvey, tmp_path: Path) -> Path:
    """Give a copy of the example in one file, which no survey has saved into yet."""
    return other.backup(tmp_path / "backup.db")


def test_the_first_save_waits_for_whoever_is_writing_the_file(
    backup: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite does not wait by itself here: the file is turned to write-ahead by a reader."""
    waited: list[float] = []
    with closing(sqlite3.connect(backup, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")

        def pause(seconds: float) -> None:
            waited.append(seconds)
            if len(waited) == 3:
                writer.execute("COMMIT")

        with DatabaseSurvey(backup) as survey:
            monkeypatch.setattr(
                sqlite_file, "time", SimpleNamespace(monotonic=time.monotonic, sleep=pause)
            )
            survey.save(step(0))
            assert survey.verify()

    assert waited == [sqlite_file.PAUSE] * 3


def test_the_first_save_does_not_wait_for_ever(
    backup: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After half a minute it says who stands in its way; nothing is changed, and it reads on."""
    was, clock = backup.read_bytes(), itertools.count(step=10)
    with closing(sqlite3.connect(backup, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        with DatabaseSurvey(backup) as survey:
            monkeypatch.setattr(
                sqlite_file,
                "time",
                SimpleNamespace(monotonic=lambda: next(clock), sleep=lambda _: None),
            )

            with pytest.raises(
                OSError, match=r"backup\.db: .* somebody else has been writing for half"
            ):
                survey.save(step(0))
            assert survey.verify()
    assert backup.read_bytes() == was


@server_is_long
def test_two_programs_that_open_a_new_survey_at_once_both_get_it(
    new_database: Callable[[], str], files: Path, programs: list[Forks]
) -> None:
    """The same between two processes, which share no lock but the database's."""
    for _ in range(6):
        place = new_database()
        children = [one.begin("save", place, files, range(0)) for one in programs[:2]]
        for child in children:
            while child.hear():
                pass
            assert child.error is None, child.error["trace"]
            assert child.exit_code == 0
        with DatabaseSurvey(place, files=files) as survey:
            assert survey.verify()
