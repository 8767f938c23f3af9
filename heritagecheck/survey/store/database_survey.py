"""A survey in a database: what is saved stays, what changes is on record, nothing is lost."""

from __future__ import annotations

import shutil
import weakref
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, cast

import sqlalchemy as sa

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import TABLE_OF, Attachment
from heritagecheck.survey.records.record import AnyRecord, Record
from heritagecheck.survey.store import journal, saving, verification
from heritagecheck.survey.store.attachments import Files, attachment_of
from heritagecheck.survey.store.database import Database, back_up
from heritagecheck.survey.store.journal import Place, Save, made_by
from heritagecheck.survey.store.record_changes import RecordChange, changes_between
from heritagecheck.survey.store.record_migrations import read_old_records
from heritagecheck.survey.store.verification import Verdict
from heritagecheck.survey.store.working_copy import WorkingCopy
from heritagecheck.survey.survey import ByZone, Survey

if TYPE_CHECKING:
    import pandas as pd

    from heritagecheck.survey.instruments import HeightFile, MeterFile, StressFile


class DatabaseSurvey(Survey):
    """
    A survey in a database.

    Parameters
    ----------
    place : str or Path
        File of an SQLite database, or ``postgresql+psycopg://…``.
    files : str or Path, optional
        Folder of the attachments; next to an SQLite file if none is named.

    Notes
    -----
    It shows what it read when it read it. `refresh` shows what others saved since; a save over what
    somebody else saved since is refused.
    """

    def __init__(self, place: str | Path, *, files: str | Path | None = None) -> None:
        self._database = Database(place, files=files, brought_up=read_old_records)
        weakref.finalize(self, self._database.close)
        self._files = Files(self._database.files, self._database.name)
        self._copy = WorkingCopy(self._database, self._files)
        self.imported: saving.Imported | None = None
        super().__init__(self._copy, None)

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
        return cast("tuple[AnyRecord, ...]", self._copy.of_zone(TABLE_OF[model], zone))

    @property
    def by_zone(self) -> ByZone:
        """Records that belong to a zone: zone to kind to records, in the order of the tables."""
        return self._copy.moment().by_zone

    @property
    def day(self) -> date | None:
        """Day to which the age of records is counted, as `Survey.day` says."""
        return self._copy.moment().day

    @property
    def name(self) -> str:
        """Address of the database, without any password."""
        return self._database.name

    def opened_again(self) -> DatabaseSurvey:
        """The same survey for another thread: it reads and saves by itself, as others do."""
        return DatabaseSurvey(self._database.place, files=self._database.files)

    def still(self) -> Survey:
        """
        The survey as it is at this moment.

        Returns
        -------
        Survey
            What others save later does not change it.
        """
        return self._copy.moment()

    def refresh(self) -> None:
        """Show what is saved now, also by others."""
        self._copy.refresh()

    def save(
        self, *records: Record, who: str | None = None, reason: str = "",
        in_place_of: Sequence[Record] = (),
    ) -> tuple[Record, ...]:  # fmt: skip
        """
        Save new records, or new values of known ones: all of them or none.

        Parameters
        ----------
        *records : Record
            Records that belong together, such as a panel and its spots.
        who : str, optional
            Who saves, by role; the name with which the computer knows the user where none is given.
        reason : str
            Why something known is changed.
        in_place_of : sequence of Record
            Kept records that these replace under another key, such as a structure under a new name.
            They are taken out in the same save, and stay in the journal.

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
        return saving.save(self._copy, records, made_by(who, reason), in_place_of)

    def keep(
        self,
        wanted: Mapping[Place, Record],
        made: Save,
        *,
        replace: bool = False,
        agreed_at: bytes | None = None,
    ) -> saving.Counts:
        """Keep records that were looked at one by one, as `saving.keep` does."""
        return saving.keep(self._copy, wanted, made, replace=replace, agreed_at=agreed_at)

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
        saving.delete(self._copy, records, made_by(who, reason))

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
            The file could not be read or stored.
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
        """A connection that sees one moment of the database."""
        return self._database.reading()

    def has(self, attachment: Attachment) -> bool:
        """Whether the content of an attachment is stored."""
        return self._files.path(attachment.sha256).is_file()

    @property
    def files_folder(self) -> Path | None:
        """Folder of the content of attachments; it may not exist yet."""
        return self._files.folder

    def keep_file(self, path: Path, attachment: Attachment) -> None:
        """Keep the content of an attachment whose record is saved by itself."""
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
            Path of the stored copy; None if there is none.
        """
        return self._files.path_of(name, self.all(Attachment))

    def meter_file(
        self, name: str, *, mapping: str | Path | None = None, reflectance_scale: str | None = None
    ) -> MeterFile:
        """
        Read a colour meter's file that is stored with the survey.

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
        Read a height map that is stored with the survey.

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

    def profile_file(
        self, name: str, *, height_unit: str | None = None, step_um: float | None = None
    ) -> HeightFile:
        """
        Read a stylus profile that is stored with the survey.

        Parameters
        ----------
        name : str
            Its name, as its attachment gives it: text with one column of heights, or two of places
            and heights; a spreadsheet with the same; or an instrument's file.
        height_unit : {"m", "mm", "µm", "nm"}, optional
            Unit of the heights, where the file leaves it open.
        step_um : float, optional
            Distance from one height to the next, likewise. [µm]

        Returns
        -------
        HeightFile
            A map of one row. Print it; once unit and step are found right, `confirmed` gives the
            record to be saved.

        Raises
        ------
        SurveyError
            There is no such file, or it can't be read.
        ImportError
            The file is an instrument's own, and SurfaceTopography is not installed.
        """
        from heritagecheck.survey.instruments import read_profile

        with self._under_its_name(name) as path:
            return read_profile(path, height_unit=height_unit, step_um=step_um)

    def stress_file(self, name: str, *, also: Mapping[str, str] | None = None) -> StressFile:
        """
        Read a laboratory's file of residual stress that is stored with the survey.

        Parameters
        ----------
        name : str
            Its name, as its attachment gives it: text, CSV or a spreadsheet. Columns are ψ and d or
            2θ for tilts; depth, stress and standard error for stresses; direction, strain and its
            standard error for strains in three directions. Each names its unit, such as d [nm].
        also : mapping of str to str, optional
            Lines of the head that the file leaves out and the laboratory said elsewhere, such as
            ``{"½S2": "5.8 1/TPa", "direction": "along"}``.

        Returns
        -------
        StressFile
            Print it; `heritagecheck.section.readings_from` makes records of it.

        Raises
        ------
        SurveyError
            There is no such file; it names no elastic constants, or no unit; or its numbers can't
            be in the unit that it names. Every fault at once.
        ValueError
            A line of `also` is not known.
        """
        from heritagecheck.survey.instruments import read_stress_file

        with self._under_its_name(name) as path:
            return read_stress_file(path, also=also)

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

    @property
    def last_saved(self) -> tuple[str, str]:
        """Who saved last, and when; empty where nobody has."""
        with self._database.reading() as connection:
            entry, _ = journal.head(connection)
            return journal.last_change(connection, entry) if entry else ("", "")

    def changed_records(self, before: str, now: str) -> tuple[RecordChange, ...] | None:
        """
        Records that are not the same at two heads of the journal.

        Parameters
        ----------
        before, now : str
            What `journal_head` gave at the earlier and at the later moment.

        Returns
        -------
        tuple of RecordChange or None
            In the order in which they were first changed. None where this journal never had one of
            the heads, or had them the other way round.

        Raises
        ------
        SurveyError
            A record as it was can't be read by this release.
        """
        with self._database.reading() as connection:
            return changes_between(connection, before, now)

    def verify(self, printed: str | None = None) -> Verdict:
        """
        Whether the journal is whole and the survey what it says.

        Parameters
        ----------
        printed : str, optional
            Hash that a report printed; it must be one of this journal.

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
            return verification.verdict(connection, printed=printed)

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
        return saving.undo_or_redo(self._copy, "undo", made_by(who, reason))

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
        return saving.undo_or_redo(self._copy, "redo", made_by(who, reason))

    def backup(self, path: str | Path) -> Path:
        """
        Copy the survey with its journal and attachments, also while others write.

        Parameters
        ----------
        path : str or Path
            New SQLite file, whatever database the survey itself is in.

        Returns
        -------
        Path
            The file; its attachments are in the folder next to it.

        Raises
        ------
        FileExistsError
            Something of that name exists already.
        StoreError
            It could not be written; no half of it is left.
        """
        return back_up(self._database, Path(path))

    def close(self) -> None:
        """Let go of the database; what was saved stays, whether this is called or not."""
        self._database.close()

    def __enter__(self) -> DatabaseSurvey:
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
