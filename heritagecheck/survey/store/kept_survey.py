"""A survey kept in a database: what is saved stays, what changes is on record, nothing is lost."""

from __future__ import annotations

import shutil
import threading
import weakref
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Literal, NamedTuple, cast

import sqlalchemy as sa

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.checks.assessment_gaps import gaps_before_assessment
from heritagecheck.survey.records import TABLE_OF, TABLES, Attachment
from heritagecheck.survey.records.record import AnyRecord, Record
from heritagecheck.survey.store import integrity, journal
from heritagecheck.survey.store.attachments import Files, attachment_of
from heritagecheck.survey.store.backup import back_up
from heritagecheck.survey.store.changes import (
    Counts,
    Imported,
    conflict,
    disagreeing,
    looked_at,
    made_by,
    next_save,
    place_of,
    refuse_if_changed,
    text_or_none,
)
from heritagecheck.survey.store.database import KEPT, Database
from heritagecheck.survey.store.journal import Change, Save, Verdict, key_of, text_of
from heritagecheck.survey.store.read_once import read_once
from heritagecheck.survey.store.record_of_row import stored
from heritagecheck.survey.store.related import Place, links_to
from heritagecheck.survey.store.rows import Now, bring_in, now
from heritagecheck.survey.store.snapshot import Follower, Moment
from heritagecheck.survey.survey import ByZone, Survey

if TYPE_CHECKING:
    import pandas as pd

    from heritagecheck.survey.instruments import HeightFile, MeterFile


class _Writing(NamedTuple):
    """A transaction that writes, and the entries it will leave if all goes well."""

    connection: sa.Connection
    saved: dict[Place, int]


class KeptSurvey(Survey):
    """
    A survey in a database.

    Parameters
    ----------
    place : str or Path
        File of an SQLite database, or ``postgresql+psycopg://…``.
    files : str or Path, optional
        Folder of the attachments; beside an SQLite file where none is named.

    Notes
    -----
    It shows what it read when it read it. `refresh` shows what others saved since; a save over what
    somebody else saved since is refused.
    """

    def __init__(self, place: str | Path, *, files: str | Path | None = None) -> None:
        self._database = Database(place, files=files, brought_up=read_once)
        weakref.finalize(self, self._database.close)
        self._files = Files(self._database.files, self._database.name)
        self._follower = Follower(self._files)
        # What is shown, the journal's last entry when a table was read or the survey opened, and
        # the version of records that were read, or saved here, by themselves.
        self._shown: dict[str, tuple[Record, ...]] = {}
        self._read_at: dict[str, int] = {}
        self._known: dict[Place, int] = {}
        self._lock = threading.RLock()
        self.imported: Imported | None = None
        super().__init__(_Tables(self), None)
        self.refresh()

    def of_zone(self, zone: str, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
        """
        Records of one kind that belong to one zone, without reading those of others.

        Parameters
        ----------
        zone : str
            Code of the zone.
        model : type of Record
            The kind.

        Returns
        -------
        tuple of Record
        """
        table = TABLE_OF[model]
        with self._lock:
            if table in self._shown:
                found = [one for one in self._shown[table] if getattr(one, "zone") == zone]  # noqa: B009
            else:
                found = self._read_of_zone(table, zone)
        return cast("tuple[AnyRecord, ...]", tuple(found))

    def _read_of_zone(self, table: str, zone: str) -> list[Record]:
        """Records of a zone in a table that is not shown yet."""
        columns = KEPT[table].c
        with self._database.reading() as connection:
            read = list(stored(connection, table, columns.deleted == 0, columns.zone == zone))
        for one in read:
            self._known[table, key_of(table, one.record)] = one.version
        return [one.record for one in read]

    @property
    def by_zone(self) -> ByZone:
        """Records that belong to a zone: zone to kind to records, in the order of the tables."""
        return self._whole().by_zone

    @property
    def name(self) -> str:
        """Where it is kept, without any password."""
        return self._database.name

    def complete(self) -> Survey:
        """
        The survey as it is at this moment, with every record at hand, ready to be assessed.

        Returns
        -------
        Survey
            What others save later does not change it.

        Raises
        ------
        SurveyError
            Something is missing without which it can't be assessed; all of it is named.
        """
        whole = self._whole()
        if faults := gaps_before_assessment(whole.records):
            raise SurveyError(faults, nothing="assessed")
        return whole

    def still(self) -> Survey:
        """
        The survey as it is at this moment.

        Returns
        -------
        Survey
            What others save later does not change it.
        """
        return self._whole()

    def _whole(self) -> Moment:
        """Every record at one moment."""
        with self._lock, self._database.reading() as connection:
            moment = self._follower.moment(connection)
            for table in TABLES:
                if table not in self._shown:
                    self._read_at[table] = self._follower.entry
            return moment

    def refresh(self) -> None:
        """Show what is saved now, also by others."""
        with self._lock, self._database.reading() as connection:
            self._shown.clear()
            self._known.clear()
            self._read_at = dict.fromkeys(TABLES, journal.head(connection)[0])

    def save(
        self, *records: Record, who: str | None = None, reason: str = ""
    ) -> tuple[Record, ...]:
        """
        Keep new records, or new values of known ones: all of them or none.

        Parameters
        ----------
        *records : Record
            Records that belong together, such as a panel and its spots.
        who : str, optional
            Who saves, by role; the name with which the computer knows the user where none is given.
        reason : str
            Why something known is changed.

        Returns
        -------
        tuple of Record
            The records as they are kept.

        Raises
        ------
        SurveyError
            A record can't be taken, contradicts another, or was changed by somebody else since this
            survey was read: both values are shown. Nothing was saved.
        StoreError
            The database could not be written. Nothing was saved.
        """
        fit = {place_of(record): record for record in map(looked_at, records)}
        if len(fit) < len(records):
            twice = Counter(map(place_of, records)).most_common(1)[0][0]
            fault = Fault(twice[0], None, "record", twice[1], "given twice in one save")
            raise SurveyError([fault], nothing="saved")
        self.keep(fit, made_by(who, reason))
        return tuple(fit.values())

    def keep(
        self,
        wanted: Mapping[Place, Record],
        made: Save,
        *,
        replace: bool = False,
        agreed_at: bytes | None = None,
    ) -> Counts:
        """
        Keep records that were looked at one by one.

        Parameters
        ----------
        wanted : mapping of (table, key) to Record
            The records.
        made : Save
            Who saves, when and why.
        replace : bool
            Also over what was changed since the survey was read.
        agreed_at : bytes, optional
            Head of the journal when the records were found to agree with all that was kept: they
            are held against it again only if others saved since.

        Returns
        -------
        Counts
            How many are new, changed, and as they were.

        Raises
        ------
        SurveyError
            As `save`.
        """
        with self._writing() as writing:
            connection = writing.connection
            before = now(connection, wanted)
            changes = [
                Change(*place, text_or_none(before[place].record), record)
                for place, record in wanted.items()
                if before[place].record != record
            ]
            if not replace:
                self._refuse_overwriting(connection, changes, before)
            agrees = agreed_at == journal.head(connection)[1]
            self._change(writing, made, changes, before, agrees=agrees)
        new = sum(change.old is None for change in changes)
        return Counts(new, len(changes) - new, len(wanted) - len(changes))

    def delete(self, *records: Record, who: str | None = None, reason: str) -> None:
        """
        Take records out of the survey; they stay in the database and in the journal.

        Parameters
        ----------
        *records : Record
            What is to be taken out.
        who : str, optional
            Who does, by role.
        reason : str
            Why.

        Raises
        ------
        SurveyError
            It is not there, was changed by somebody else since, or another record names it.
            Nothing was deleted.
        """
        with self._writing() as writing:
            connection = writing.connection
            before = now(connection, map(place_of, records))
            changes = []
            for record in records:
                place = place_of(record)
                kept = before[place].record
                if kept is None:
                    fault = Fault(place[0], None, "record", place[1], "there is no such record")
                    raise SurveyError([fault], nothing="deleted")
                if not self._knows(place, before[place].version):
                    faults = conflict(connection, place, record, before[place], self._seen(place))
                    raise SurveyError(faults, nothing="deleted")
                changes.append(Change(*place, text_of(kept), None))
            self._change(writing, made_by(who, reason), changes, before, nothing="deleted")

    def attach(
        self,
        path: str | Path,
        *,
        kind: str,
        attachment: str | None = None,
        file: str | None = None,
        zone: str | None = None,
        panel: str | None = None,
        taken_on: date | None = None,
        taken_by: str | None = None,
        note: str | None = None,
        who: str | None = None,
        reason: str = "",
    ) -> Attachment:
        """
        Keep a copy of a file with the survey: a photograph, a height map, a meter's own file.

        Parameters
        ----------
        path : str or Path
            The file.
        kind : str
            What it is, such as ``"photograph"``.
        attachment : str, optional
            Code of the attachment; the first digits of its content's SHA-256 where none is given.
        file : str, optional
            Name under which it is exported; its own where none is given, with the first digits of
            its SHA-256 where another file has that name.
        zone, panel : str, optional
            What it shows.
        taken_on : date, optional
            When it was made.
        taken_by : str, optional
            Role of its maker.
        note : str, optional
            In words.
        who : str, optional
            Who saves, by role.
        reason : str
            Why.

        Returns
        -------
        Attachment
            Its record, as it was saved.

        Raises
        ------
        SurveyError
            The record can't be taken.
        StoreError
            The file could not be read or kept.
        """
        taken = {one.file: one.sha256 for one in self.all(Attachment)}
        record = attachment_of(
            Path(path), kind=kind, attachment=attachment, file=file, zone=zone, panel=panel,
            taken_on=taken_on, taken_by=taken_by, note=note,
        )  # fmt: skip
        if file is None and taken.get(record.file, record.sha256) != record.sha256:
            own = Path(record.file)
            record = record.changed(file=f"{own.stem}-{record.sha256[:6]}{own.suffix}")
        # First the content, then the record: a crash between them leaves no record without a file.
        self._files.keep(Path(path), record.sha256)
        self.save(record, who=who, reason=reason)
        return record

    def reading(self) -> AbstractContextManager[sa.Connection]:
        """
        A connection that sees one moment of the database.

        Returns
        -------
        context manager of sqlalchemy.Connection
        """
        return self._database.reading()

    def has(self, attachment: Attachment) -> bool:
        """
        Whether the content of an attachment is kept.

        Parameters
        ----------
        attachment : Attachment
            Its record.

        Returns
        -------
        bool
        """
        return self._files.path(attachment.sha256).is_file()

    def keep_file(self, path: Path, attachment: Attachment) -> None:
        """
        Keep the content of an attachment whose record is saved by itself.

        Parameters
        ----------
        path : Path
            The file.
        attachment : Attachment
            Its record.

        Raises
        ------
        StoreError
            It could not be kept.
        """
        self._files.keep(path, attachment.sha256)

    def file(self, name: str) -> Path | None:
        """
        Where a file of the survey lies.

        Parameters
        ----------
        name : str
            Its name, as the records give it, such as ``"drawings/north.svg"``.

        Returns
        -------
        Path or None
            The copy that is kept; None where there is none.
        """
        return self._files.path_of(name, self.all(Attachment))

    def meter_file(
        self, name: str, *, mapping: str | Path | None = None, reflectance_scale: str | None = None
    ) -> MeterFile:
        """
        Read a colour meter's file that is kept with the survey.

        Parameters
        ----------
        name : str
            Its name, as its attachment gives it.
        mapping, reflectance_scale
            As `heritagecheck.survey.instruments.read_meter_file` takes them.

        Returns
        -------
        MeterFile
            `heritagecheck.colour.readings_from` makes readings of it.

        Raises
        ------
        SurveyError
            There is no such file, or it can't be read.
        """
        from heritagecheck.survey.instruments import read_meter_file

        with self._under_its_name(name) as path:
            return read_meter_file(path, mapping=mapping, reflectance_scale=reflectance_scale)

    def height_file(
        self,
        name: str,
        *,
        height_unit: str | None = None,
        pixel_um: float | tuple[float, float] | None = None,
    ) -> HeightFile:
        """
        Read a height map that is kept with the survey.

        Parameters
        ----------
        name : str
            Its name, as its attachment gives it.
        height_unit : {"m", "mm", "µm", "nm"}, optional
            Unit of the heights, where the file leaves it open.
        pixel_um : float or tuple of float, optional
            Pixel size along a row and along a column, likewise. [µm]

        Returns
        -------
        HeightFile
            Print it; once unit, pixel size and extent are found right, `confirmed` gives the record
            to be saved.

        Raises
        ------
        SurveyError
            There is no such file, or it can't be read.
        ImportError
            SurfaceTopography is not installed.
        """
        from heritagecheck.survey.instruments import read_height_map

        with self._under_its_name(name) as path:
            return read_height_map(path, height_unit=height_unit, pixel_um=pixel_um)

    @property
    def journal(self) -> pd.DataFrame:
        """Every change, oldest first: entry, when, who, table, key, old, new, reason, previous."""
        from heritagecheck.cards import table

        with self._database.reading() as connection:
            return table(list(journal.rows(connection)), journal.COLUMNS)

    @property
    def journal_head(self) -> str:
        """Hash of the journal's last entry; each report prints it, to show a changed past."""
        with self._database.reading() as connection:
            return journal.head(connection)[1].hex()

    def verify(self, printed: str | None = None) -> Verdict:
        """
        Whether the journal is whole and the survey what it says.

        Parameters
        ----------
        printed : str, optional
            Hash that a report printed: it must be one that this journal went through.

        Returns
        -------
        Verdict
            True where nothing is amiss; else it names the first bad entry, or what else is damaged.

        Raises
        ------
        StoreError
            It is so damaged that it can't be read.
        ValueError
            What was printed is no hash, or too few digits of it.

        Notes
        -----
        The bytes of the database, its tables, their guards, the journal and every record are looked
        through. Whoever wrote the whole journal anew, or cut its end and the head with it, can't be
        found out from the database alone: that takes the hash of a report.
        """
        with self._database.reading() as connection:
            return integrity.verdict(connection, printed=printed)

    def undo(self, *, who: str | None = None, reason: str = "") -> str:
        """
        Take back one's own last save, by entries that do the opposite.

        Parameters
        ----------
        who : str, optional
            Whose save, by role; as in `save`.
        reason : str
            Why.

        Returns
        -------
        str
            What was taken back, in a sentence.

        Raises
        ------
        SurveyError
            There is nothing to take back, or somebody changed it since. Nothing was changed.
        """
        return self._again("undo", who, reason)

    def redo(self, *, who: str | None = None, reason: str = "") -> str:
        """
        Do again what was taken back last.

        Parameters
        ----------
        who : str, optional
            Whose, by role; as in `save`.
        reason : str
            Why.

        Returns
        -------
        str
            What was done again, in a sentence.

        Raises
        ------
        SurveyError
            There is nothing to do again, or somebody changed it since. Nothing was changed.
        """
        return self._again("redo", who, reason)

    def backup(self, path: str | Path) -> Path:
        """
        Copy the survey with its journal and attachments, also while others write.

        Parameters
        ----------
        path : str or Path
            New file of an SQLite database, whatever the survey itself is kept in.

        Returns
        -------
        Path
            The file; its attachments lie in the folder beside it.

        Raises
        ------
        FileExistsError
            Something bears that name already.
        StoreError
            It could not be written; no half of it is left.
        """
        return back_up(self._database, Path(path))

    def close(self) -> None:
        """Let go of the database; what was saved stays, whether this is called or not."""
        self._database.close()

    def __enter__(self) -> KeptSurvey:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _under_its_name(self, name: str) -> Iterator[Path]:
        """A copy of an attachment under its own name, by which some formats are known."""
        found = self.file(name)
        if found is None:
            known = ", ".join(one.file for one in self.all(Attachment))
            fault = Fault("attachments", None, "file", name, f"there is none. Known: {known}")
            raise SurveyError([fault])
        with TemporaryDirectory() as folder:
            path = Path(folder) / Path(name).name
            shutil.copyfile(found, path)
            yield path

    @contextmanager
    def _writing(self) -> Iterator[_Writing]:
        """Write alone, until all is kept or nothing; only then is it known here as well."""
        saved: dict[Place, int] = {}
        with self._lock:
            with self._database.writing() as connection:
                journal.head(connection, lock=True)
                yield _Writing(connection, saved)
            self._known.update(saved)
            for table, _ in saved:
                self._shown.pop(table, None)

    def _table(self, table: str) -> tuple[Record, ...]:
        """One table, as it was when it was first asked for."""
        with self._lock:
            if table not in self._shown:
                with self._database.reading() as connection:
                    self._shown[table] = self._follower.table(connection, table)
                    self._read_at[table] = self._follower.entry
            return self._shown[table]

    def _knows(self, place: Place, version: int) -> bool:
        """Whether whoever saves has seen the version that is kept now."""
        return version <= self._read_at[place[0]] or self._known.get(place) == version

    def _seen(self, place: Place) -> int:
        """The last entry of the journal of which whoever saves knows for a record."""
        return max(self._read_at[place[0]], self._known.get(place, 0))

    def _refuse_overwriting(
        self, connection: sa.Connection, changes: Iterable[Change], before: Mapping[Place, Now]
    ) -> None:
        """Refuse to save over what somebody else saved since this survey was read."""
        faults: list[Fault] = []
        for change in changes:
            place = change.table, change.key
            if change.old is not None and not self._knows(place, before[place].version):
                faults += conflict(
                    connection, place, change.record, before[place], self._seen(place)
                )
        if faults:
            raise SurveyError(faults, nothing="saved")

    def _change(
        self,
        writing: _Writing,
        made: Save,
        changes: Sequence[Change],
        before: dict[Place, Now],
        *,
        nothing: str = "saved",
        agrees: bool = False,
    ) -> None:
        """Write changes into the tables and the journal, if they agree with what is there."""
        if not changes:
            return
        connection = writing.connection
        if not agrees and (faults := list(disagreeing(connection, changes))):
            raise SurveyError(faults, nothing=nothing)
        first = journal.write(connection, made, changes)
        bring_in(connection, first, changes, before)
        gone = [(change.table, change.key) for change in changes if change.after is None]
        if faults := list(links_to(connection, gone)):
            raise SurveyError(faults, nothing=nothing)
        for entry, change in enumerate(changes, start=first):
            writing.saved[change.table, change.key] = entry

    def _again(self, action: Literal["undo", "redo"], who: str | None, reason: str) -> str:
        """Undo or redo one save."""
        made, nothing = made_by(who, reason), {"undo": "undone", "redo": "redone"}[action]
        with self._writing() as writing:
            connection = writing.connection
            save = next_save(connection, action, made.who)
            if save is None:
                fault = Fault("journal", None, "who", made.who, f"has nothing to {action}")
                raise SurveyError([fault], nothing=nothing)
            changes = [change for _, change, _, _ in journal.entries(connection, save=save)]
            if action == "undo":
                changes = [Change(c.table, c.key, c.new, c.old) for c in reversed(changes)]
            # As records, so that what an older release wrote is read in the fields of today.
            changes = [Change(c.table, c.key, c.old_today, c.record) for c in changes]
            before = now(connection, ((change.table, change.key) for change in changes))
            refuse_if_changed(connection, changes, before, nothing)
            again = Save(made.made_at, made.who, reason or f"{action} of save {save}", action, save)
            self._change(writing, again, changes, before, nothing=nothing)
        tables = ", ".join(sorted({change.table for change in changes}))
        back = "taken back" if action == "undo" else "done again"
        return f"Save {save} was {back}: {len(changes)} of {tables}"


class _Tables(Mapping[str, tuple[Record, ...]]):
    """The tables of a kept survey, each read when it is first asked for."""

    def __init__(self, survey: KeptSurvey) -> None:
        self._survey = survey

    def __getitem__(self, table: str) -> tuple[Record, ...]:
        if table not in TABLES:
            raise KeyError(table)
        return self._survey._table(table)

    def __iter__(self) -> Iterator[str]:
        return iter(TABLES)

    def __len__(self) -> int:
        return len(TABLES)
