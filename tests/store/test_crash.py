"""Killed in the middle of a save: nothing acknowledged is lost, nothing is torn."""

from __future__ import annotations

import random
import re
import signal
import sqlite3
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import sqlalchemy as sa
from bursts import STEPS, Child, Forks, content, example, place_of, step
from real_postgres import Server
from tiers import full_on_sqlite, two_sizes

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Attachment, Elevation, Observation, Reading, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import text_of
from heritagecheck.survey.store.schema import JOURNAL

SEED = 2026
# Fifty random moments in one burst, which goes on after a kill until its thousand saves are done.
# Kills, and the saves through which they are spread: short lives, and four long ones, in which
# SQLite also moves its log into the file, as it does every thousand pages, or some 160 saves.
SHORT_LIVES, LONG_LIVES = (46, 200), (4, 800)
# As many moments as an everyday test has time for: five short lives, and one of 180 saves.
FEW_LIVES = (5, 20), (1, 180)
SERVER_LIVES = (3, 150)
FEW_SERVER_LIVES = (1, 10)
OPENING_KILLS, OPENING_S = 8, 0.3
ATTACHING_KILLS = 8


@dataclass
class Burst:
    """A survey to which one thousand saves are made, whatever comes between."""

    place: str
    files: Path
    before: int = 0
    kept: int = 0
    chance: random.Random = field(default_factory=lambda: random.Random(SEED))

    def begin(self) -> None:
        """Look at the survey, which holds the example."""
        with DatabaseSurvey(self.place, files=self.files) as survey:
            self.before = len(survey.journal)

    def moments(self, *lives: tuple[int, int]) -> list[int]:
        """As many moments as kills, spread evenly through so many steps, each at random."""
        found: list[int] = []
        began = 0
        for kills, steps in lives:
            width = steps / kills
            found += [began + int(width * (turn + self.chance.random())) for turn in range(kills)]
            began += steps
        return found

    def go_on(self, fork: Forks, until: int) -> Child:
        """Let a child save, and come back in the middle of the save after `until`."""
        child = fork.begin("save", self.place, self.files, range(self.kept, 2 * STEPS))
        child.hear_until(1)
        began = time.monotonic()
        child.hear_until(until - self.kept)
        one_save_s = (time.monotonic() - began) / max(len(child.done), 1)
        time.sleep(self.chance.random() * min(max(one_save_s, 0.001), 0.02))
        return child

    def look(self, child: Child) -> None:
        """Hold the survey against what a child was assured of; the save after it must work."""
        assured = child.done[-1] + 1 if child.done else self.kept
        with DatabaseSurvey(self.place, files=self.files) as survey:
            assert survey.verify(), str(survey.verify())
            since = sa.select(JOURNAL.c.of_table, JOURNAL.c.new).where(
                JOURNAL.c.entry > self.before
            )
            with survey.reading() as connection:
                entries = [
                    tuple(row) for row in connection.execute(since.order_by(JOURNAL.c.entry))
                ]
            written = len(entries)
            assert assured <= written <= assured + 1, "lost, or more than was asked for"
            steps = [step(number) for number in range(written)]
            assert entries == [(place_of(record)[0], text_of(record)) for record in steps]
            wanted = {place_of(record): record for record in steps}
            found = {
                place_of(record): record
                for kind in (Zone, Observation, Reading)
                for record in survey.all(kind)
            }
            assert {place: found.get(place) for place in wanted} == wanted
            survey.save(step(written), who="engineer")
            assert survey.record(*place_of(step(written))) == step(written)
        if "://" not in self.place:
            assert sound(self.place)
        self.kept = written + 1


def sound(place: str) -> bool:
    """Whether SQLite itself finds its file whole."""
    connection = sqlite3.connect(place)
    try:
        found = connection.execute("PRAGMA integrity_check").fetchall()
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
    finally:
        connection.close()
    return found == [("ok",)] and not loose


def sound_indexes(server: Server, place: str) -> None:
    """Let PostgreSQL look through every index of a database; it complains where one is broken."""
    name = place.rpartition("/")[2]
    server.run("CREATE EXTENSION IF NOT EXISTS amcheck", name)
    found = server.run(
        "SELECT bt_index_check(indexrelid, true) FROM pg_index JOIN pg_class ON oid = indexrelid "
        "WHERE relam = (SELECT oid FROM pg_am WHERE amname = 'btree') AND relpersistence = 'p'",
        name,
    )
    assert len(found) > 100


@full_on_sqlite("lives, steps", (FEW_LIVES, 200), ((SHORT_LIVES, LONG_LIVES), STEPS))
def test_nothing_acknowledged_is_lost_by_kill_9(
    filled: str, files: Path, fork: Forks, lives: tuple[tuple[int, int], ...], steps: int
) -> None:
    """
    A burst of saves, killed at random moments, and taken up again each time.

    After each kill all that was acknowledged is there with its value, in its order; of what was not
    acknowledged at most the one save is there that was under way, and whole; the chain of the
    journal holds, SQLite finds its file sound, and the next save works.
    """
    burst = Burst(filled, files)
    burst.begin()
    moments = burst.moments(*lives)

    for moment in moments:
        child = burst.go_on(fork, moment)
        child.end(signal.SIGKILL)
        assert child.error is None
        assert child.exit_code == -signal.SIGKILL
        burst.look(child)
    rest = fork.begin("save", filled, files, range(burst.kept, steps))
    while rest.hear():
        pass

    assert len(moments) == sum(kills for kills, _ in lives)
    assert rest.exit_code == 0, rest.error
    with DatabaseSurvey(filled, files=files) as survey:
        assert len(survey.journal) == burst.before + max(steps, burst.kept)
        assert survey.verify()


@pytest.mark.parametrize(
    "lives", two_sizes((FEW_SERVER_LIVES,), (SERVER_LIVES,)), ids=["once", "3 times"]
)
def test_nothing_acknowledged_is_lost_when_the_server_is_killed(
    server_to_kill: Server, files: Path, fork: Forks, lives: tuple[int, int]
) -> None:
    """
    PostgreSQL itself is killed, postmaster and children, in the middle of a save.

    Whoever saves is told in words; after a restart all holds as above, PostgreSQL finds its indexes
    sound, and a survey that stood open all the while goes on by itself.
    """
    server = server_to_kill
    burst = Burst(server.new_database(), files)
    hc.import_survey(example_folder(), burst.place, files=files).close()
    burst.begin()
    looking_on = DatabaseSurvey(burst.place, files=files)

    for moment in burst.moments(lives):
        child = burst.go_on(fork, moment)
        server.kill()
        while child.hear():
            pass
        server.start()

        assert child.error is not None
        assert "StoreError" in child.error["kinds"], child.error["trace"]
        # Killed while it kept the save, it can't have said whether it did.
        assert re.search(
            "the server can't be reached|the connection broke during the save",
            child.error["error"],
        )
        burst.look(child)
        looking_on.refresh()
        last = step(burst.kept - 1)
        assert looking_on.record(*place_of(last)) == last

    looking_on.close()
    sound_indexes(server, burst.place)


@full_on_sqlite("kills", 2, OPENING_KILLS)
def test_a_kill_while_a_survey_is_made_leaves_one_that_can_be_opened(
    new_database: Callable[[], str], files: Path, fork: Forks, kills: int
) -> None:
    """Its tables are all there or none; whoever opens it next finds an empty survey, and saves."""
    chance = random.Random(SEED)
    side = example().all(Elevation)[0]

    for turn in range(kills):
        place = new_database()
        child = fork.begin("save", place, files, range(0))
        time.sleep((turn + chance.random()) / kills * OPENING_S)
        child.end()
        assert child.error is None

        with DatabaseSurvey(place, files=files) as survey:
            assert survey.journal.empty
            survey.save(side)
            assert survey.all(Elevation) == (side,)
            assert survey.verify()


def pictures(place: str, files: Path) -> dict[str, bytes]:
    """Content of every file that a child attached."""
    with DatabaseSurvey(place, files=files) as survey:
        assert survey.verify()
        assert not any(survey.check()["table"] == "attachments")
        kept = [one for one in survey.all(Attachment) if one.attachment.startswith("picture ")]
        return {one.attachment: (survey.file(one.file) or Path()).read_bytes() for one in kept}


@full_on_sqlite("kills", 2, ATTACHING_KILLS)
def test_a_kill_while_files_are_attached_leaves_no_record_without_its_file(
    filled: str, files: Path, fork: Forks, kills: int
) -> None:
    """What was acknowledged is there, byte for byte; the one under way is there whole or not."""
    chance, number = random.Random(SEED), 0

    for _ in range(kills):
        child = fork.begin("attach", filled, files, range(number, number + 100))
        child.hear_until(chance.randrange(1, 4))
        time.sleep(chance.random() * 0.02)
        child.end()
        assert child.error is None
        number += len(child.done)

        found = pictures(filled, files)
        assert number <= len(found) <= number + 1
        assert found == {f"picture {done}": content(done) for done in range(len(found))}


def test_each_step_of_a_burst_differs_from_every_other() -> None:
    """Otherwise a lost save could not be told from one that changed nothing."""
    steps = {(place_of(step(number)), text_of(step(number))) for number in range(STEPS)}

    assert len(steps) == STEPS
