"""What is kept up by the journal is what a fresh look at the database finds."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest
from tiers import full_on_sqlite

import heritagecheck as hc
from heritagecheck.survey.places import example_folder, read_folder
from heritagecheck.survey.records import TABLES, Layer, Observation, Reading, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.rows import MANY
from heritagecheck.survey.survey import Survey

# Between them, everything that a survey may hold of a zone.
ZONES = ("N12", "N15")
STEPS, LONG_STEPS = 40, 200
MEMBERS = ("conservator", "engineer")


@pytest.fixture(scope="module")
def part() -> list[Record]:
    """Give what the example holds of two zones."""
    records = read_folder(example_folder()).records.values()
    return [
        one for found in records for one in found if getattr(one, "zone", None) in {None, *ZONES}
    ]


@pytest.fixture
def members(database: str, files: Path, part: list[Record]) -> Iterator[list[DatabaseSurvey]]:
    """Give one survey opened three times: by two who write and by one who only reads."""
    with ExitStack() as stack:
        opened = [stack.enter_context(DatabaseSurvey(database, files=files)) for _ in range(3)]
        opened[0].save(*part, who="importer")
        yield opened


def everything(survey: Survey) -> tuple[object, ...]:
    """All that a moment shows: records in their order, by zone, checksum, head of the journal."""
    by_zone = {
        zone: {kind: found for kind, found in kinds.items() if found}
        for zone, kinds in survey.by_zone.items()
    }
    return dict(survey.records), by_zone, list(by_zone), survey.fingerprint, survey.journal_head


def one_step(survey: DatabaseSurvey, who: str, chance: random.Random, number: int) -> None:
    """Do one thing at random; what the survey refuses has changed nothing."""
    survey.refresh()
    zones, layers = survey.all(Zone), survey.all(Layer)
    zone = chance.choice(zones)
    # The first ones stay: without any layer or observation there would be nothing to be assessed.
    layer = chance.choice(layers[1:]) if len(layers) > 1 else None
    observations = survey.all(Observation)[1:]
    with suppress(hc.SurveyError):
        match chance.randrange(9):
            case 0:
                survey.save(zone.changed(note=f"step {number}"), who=who)
            case 1:
                survey.save(zone.changed(zone=f"new {number}", panels_laid=None), who=who)
            case 2:
                some = chance.sample(survey.all(Reading), 3)
                changed = [one.changed(note=f"step {number}") for one in some]
                survey.save(*changed, zone.changed(area_m2=number + 1.0), who=who)
            case 3 if layer is not None:
                survey.delete(layer, who=who, reason="seen twice")
            case 4 if layer is not None:
                survey.save(layer.changed(layer=f"layer {number}", zone=zone.zone), who=who)
            case 5 if observations:
                survey.delete(chance.choice(observations), who=who, reason="a mistake")
            case 6:
                survey.delete(zone, who=who, reason="never was")
            case 7:
                survey.undo(who=who)
            case _:
                survey.redo(who=who)


def go_through(members: list[DatabaseSurvey], database: str, files: Path, steps: int) -> None:
    """Do so many things; each look at the survey is held against one that starts from nothing."""
    chance = random.Random(2026)
    earlier: list[tuple[Survey, tuple[object, ...]]] = []
    for number in range(steps):
        writer = chance.randrange(2)
        one_step(members[writer], MEMBERS[writer], chance, number)
        if chance.random() < 0.5:
            continue
        with DatabaseSurvey(database, files=files) as fresh:
            expected = everything(fresh.complete())
        for survey in chance.sample(members, 2):
            moment = survey.complete()
            assert everything(moment) == expected
            earlier.append((moment, expected))
    heads = {moment.journal_head for moment, _ in earlier}
    assert len(heads) > steps / 5, "hardly anything was changed"
    for moment, expected in earlier:
        assert everything(moment) == expected
    assert members[0].verify()


# The long way begins with the steps of the short one, and has more of them than any one day brings.
@full_on_sqlite("steps", STEPS, LONG_STEPS)
def test_what_is_kept_up_is_what_a_fresh_look_finds(
    members: list[DatabaseSurvey], database: str, files: Path, steps: int
) -> None:
    """Whoever saves, deletes, undoes; and an earlier moment stays as it was."""
    go_through(members, database, files, steps)


def test_many_changes_at_once_are_found(
    members: list[DatabaseSurvey], database: str, files: Path
) -> None:
    """More than are looked up one by one, in a single save of another."""
    one, other, _ = members
    before = other.complete()
    zone = one.all(Zone)[0]

    one.save(*(zone.changed(zone=f"wall {turn}", panels_laid=None) for turn in range(MANY + 1)))

    assert len(other.complete().all(Zone)) == len(before.all(Zone)) + MANY + 1
    with DatabaseSurvey(database, files=files) as fresh:
        assert everything(other.complete()) == everything(fresh.complete())


def test_a_backup_put_in_its_place_is_found(tmp_path: Path, part: list[Record]) -> None:
    """Where the journal does not go on from what was read, all is read anew."""
    with DatabaseSurvey(tmp_path / "kept.db") as survey:
        survey.save(*part)
        copy = survey.backup(tmp_path / "copy.db")
        for later in (0, 5):
            for turn in range(3):
                survey.save(survey.all(Zone)[0].changed(note=f"lost {later}, {turn}"))
            assert survey.complete().all(Zone)[0].note == f"lost {later}, 2"

            with DatabaseSurvey(copy) as another:
                for turn in range(later):
                    another.save(another.all(Zone)[0].changed(note=f"another {turn}"))
                expected = everything(another.complete())
            with (
                closing(sqlite3.connect(copy)) as source,
                closing(sqlite3.connect(tmp_path / "kept.db")) as target,
            ):
                source.backup(target)
            assert everything(survey.complete()) == expected


def test_what_was_not_changed_is_not_read_again(members: list[DatabaseSurvey]) -> None:
    """The same moment where nothing was saved; after a save all other records are the same ones."""
    one, other, _ = members
    before = other.complete()
    assert other.complete() is before

    zone = one.all(Zone)[0]
    one.save(zone.changed(note="seen from the lift"))
    after = other.complete()

    assert after.all(Zone)[0].note == "seen from the lift"
    assert before.all(Zone)[0] == zone
    for table in set(TABLES) - {"zones"}:
        assert after.records[table] is before.records[table]
    assert all(
        new is old for new, old in zip(after.all(Zone)[1:], before.all(Zone)[1:], strict=True)
    )


def test_what_is_shown_decides_what_may_be_saved_over(members: list[DatabaseSurvey]) -> None:
    """An assessment reads what others saved; a record of the older list is still refused."""
    one, other, _ = members
    shown = one.all(Zone)[0]
    other.save(other.all(Zone)[0].changed(note="theirs"), who="engineer")
    assert one.complete().all(Zone)[0].note == "theirs"
    assert one.all(Zone)[0] == shown

    with pytest.raises(hc.SurveyError, match=r"note = mine: N12 was saved by engineer at"):
        one.save(shown.changed(note="mine"))

    one.refresh()
    one.save(one.all(Zone)[0].changed(note="mine"))
    assert one.all(Zone)[0].note == "mine"
