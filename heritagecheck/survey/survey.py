"""One survey: its records, table by table, and the folder that holds its drawings."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from functools import cached_property
from hashlib import sha256
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, cast

from heritagecheck.cards import summary
from heritagecheck.errors import Fault, Fields, SurveyError
from heritagecheck.sentences import count_of, day_in_words
from heritagecheck.survey.checks.gaps import gaps_before_assessment, unsteady_sessions
from heritagecheck.survey.records import (
    KEYS,
    TABLE_OF,
    TABLES,
    Panel,
    Records,
    Structure,
    TileReading,
    Zone,
    all_of,
    grouped,
    latest_day,
)
from heritagecheck.survey.records.record import AnyRecord, Record, zone_of
from heritagecheck.survey.records.structure import plain_bed, stone_of

if TYPE_CHECKING:
    import pandas as pd

    from heritagecheck.sentence_table import Table

ByZone = Mapping[str, Mapping[type[Record], tuple[Record, ...]]]


class Survey:
    """
    All records of one structure, as they were read; immutable.

    Parameters
    ----------
    records : mapping of str to tuple of Record
        Table name to its records, already validated.
    folder : Path or None
        Where its drawings lie.
    """

    def __init__(self, records: Records, folder: Path | None = None) -> None:
        self.records = records
        self.folder = folder

    def all(self, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
        """
        All records of one kind.

        Parameters
        ----------
        model : type of Record
            The kind, such as `Zone`.

        Returns
        -------
        tuple of Record
        """
        return all_of(self.records, model)

    def only(self, model: type[AnyRecord]) -> AnyRecord:
        """
        The one record of a table that holds exactly one.

        Parameters
        ----------
        model : type of Record
            The kind, such as `Structure`.

        Returns
        -------
        Record

        Raises
        ------
        SurveyError
            The table holds no row yet, as in a survey that was only begun.
        """
        found = self.all(model)
        if not found:
            fault = Fault(
                TABLE_OF[model], None, "", "",
                "this table holds no row yet; write it below its headings and import the sheets",
            )  # fmt: skip
            raise SurveyError([fault])
        return found[0]

    @property
    def closed_on(self) -> date | None:
        """Day on which the survey closed; None while it is open."""
        named = self.all(Structure)
        return named[0].survey_date if named else None

    @cached_property
    def day(self) -> date | None:
        """
        Day to which the age of records is counted.

        The day on which the survey closed. While it is open, the latest day on which a record of it
        was made, so that the same records always give the same answer; None where none is dated.
        """
        return self.closed_on or latest_day(self.records)

    @cached_property
    def by_zone(self) -> ByZone:
        """Records that belong to a zone: zone to kind to records, in the order of the tables."""
        names = {zone.zone for zone in self.all(Zone)}
        return grouped_anew({}, self.records, dict.fromkeys(TABLES, names))

    @cached_property
    def by_bed(self) -> dict[str, tuple[Zone, ...]]:
        """Zones of each bed or coating system that is recorded, by its plain name."""
        found = grouped(self.all(Zone), lambda zone: plain_bed(zone.bed_or_system))
        return {bed: tuple(zones) for bed, zones in found.items() if bed}

    @cached_property
    def tested(self) -> dict[str, dict[str, tuple[Zone, ...]]]:
        """Zones with trial panels, on record or said to be laid: stone to plain bed to zones."""
        found: dict[str, dict[str, list[Zone]]] = {}
        for zone in self.all(Zone):
            if zone.panels_laid or self.of_zone(zone.zone, Panel):
                beds = found.setdefault(stone_of(zone.substrate), {})
                beds.setdefault(plain_bed(zone.bed_or_system), []).append(zone)
        return {
            stone: {bed: tuple(zones) for bed, zones in beds.items()}
            for stone, beds in found.items()
        }

    @cached_property
    def unsteady_sessions(self) -> dict[str, str]:
        """Sessions of colour readings that can't be relied on, each with the reason."""
        return unsteady_sessions(self.all(TileReading))

    @cached_property
    def tiles_by_session(self) -> dict[str, tuple[TileReading, ...]]:
        """Readings of the white tile, by session with the meter."""
        found = grouped(self.all(TileReading), attrgetter("session"))
        return {session: tuple(tiles) for session, tiles in found.items()}

    def of_zone(self, zone: str, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
        """
        Records of one kind that belong to one zone.

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
        return cast("tuple[AnyRecord, ...]", self.by_zone[zone].get(model, ()))

    def record(self, table: str, *key: str) -> Record:
        """
        One record by its key.

        Parameters
        ----------
        table : str
            Name of the table.
        *key : str
            What tells it from the others, such as ``"N06"``; nothing in a table of one record.

        Returns
        -------
        Record
            Its `changed` gives a copy with other values, to be saved.

        Raises
        ------
        KeyError
            There is no such table.
        SurveyError
            There is no such record.
        """
        for found in self.records[table]:
            if not key or tuple(getattr(found, field) for field in KEYS[table]) == key:
                return found
        fault = Fault(table, None, Fields(*KEYS[table]), ", ".join(key), "there is none")
        raise SurveyError([fault])

    def frame(self, table: str) -> pd.DataFrame:
        """
        One table of the survey.

        Parameters
        ----------
        table : str
            Name of the table.

        Returns
        -------
        pandas.DataFrame
            One row a record, one column a field.
        """
        from heritagecheck.sentence_table import Table

        return Table(
            [record.model_dump() for record in self.records[table]],
            columns=list(TABLES[table].model_fields),
        )

    @property
    def zones(self) -> pd.DataFrame:
        """Zones, one a row."""
        return self.frame("zones")

    @property
    def layers(self) -> pd.DataFrame:
        """Layers on the zones, one a row."""
        return self.frame("layers")

    @property
    def observations(self) -> pd.DataFrame:
        """Answers given at the wall and the desk, one a row."""
        return self.frame("observations")

    @property
    def readings(self) -> pd.DataFrame:
        """Colour readings, one a row."""
        return self.frame("readings")

    @property
    def site_tests(self) -> pd.DataFrame:
        """Measured numbers that are no colour, one a row."""
        return self.frame("site_tests")

    @property
    def panels(self) -> pd.DataFrame:
        """Trial panels, one a row."""
        return self.frame("panels")

    @property
    def fingerprint(self) -> str:
        """First digits of the SHA-256 of every record: the same for the same survey, wherever."""
        text = "\n".join(
            f"{name} {record.model_dump_json()}"
            for name, records in self.records.items()
            for record in records
        )
        return sha256(text.encode()).hexdigest()[:16]

    def not_measured(self) -> pd.DataFrame:
        """
        Everything that was not measured, and why.

        Returns
        -------
        pandas.DataFrame
            Columns zone, what, why, record.
        """
        from heritagecheck.sentence_table import Table

        return Table(self.reasons_not_measured(), columns=list(NotMeasured._fields))

    def reasons_not_measured(self) -> list[NotMeasured]:
        """Rows of `not_measured`."""
        return list(_reasons(self.records))

    @property
    def tile_readings(self) -> pd.DataFrame:
        """Readings of the white tile, one a row."""
        return self.frame("tile_readings")

    @property
    def settings(self) -> pd.DataFrame:
        """What was dialled for trial panels, a row a series and quantity."""
        return self.frame("settings")

    @property
    def spots(self) -> pd.DataFrame:
        """Trial spots, one a row."""
        return self.frame("spots")

    @property
    def section_readings(self) -> pd.DataFrame:
        """Readings of profiles from the surface to the core, one a row."""
        return self.frame("section_readings")

    @property
    def attachments(self) -> pd.DataFrame:
        """Files that belong to the survey, one a row."""
        return self.frame("attachments")

    @property
    def height_maps(self) -> pd.DataFrame:
        """Height maps as they were confirmed, one a row."""
        return self.frame("height_maps")

    @property
    def photos(self) -> pd.DataFrame:
        """Photographs that measure a zone, one a row."""
        return self.frame("photos")

    @property
    def journal_head(self) -> str:
        """Hash of the journal's last entry; empty where the survey is a folder, without journal."""
        return ""

    @property
    def name(self) -> str:
        """Address of the database, without any password; empty if the survey is a folder."""
        return ""

    @property
    def place(self) -> Path | None:
        """Folder of the survey; None if it has none."""
        return self.folder

    def file(self, name: str) -> Path | None:
        """
        Path of a file of the survey.

        Parameters
        ----------
        name : str
            Its name, as the records give it, such as ``"drawings/north.svg"``.

        Returns
        -------
        Path or None
            None where there is none.
        """
        path = None if self.folder is None else self.folder / name
        return path if path is not None and path.is_file() else None

    def still(self) -> Survey:
        """
        The survey as it is at this moment.

        Returns
        -------
        Survey
            What others save later does not change it.
        """
        return self

    def holding(self, records: Records) -> Survey:
        """The survey as if it held other records, with its files; nothing is saved."""
        return Survey(records, self.folder)

    def complete(self, *, policy_given: bool = False) -> Survey:
        """
        The survey as it is at this moment, with every record at hand, ready to be assessed.

        Parameters
        ----------
        policy_given : bool
            Whether it is assessed by another policy, so that it need not have agreed its own.

        Returns
        -------
        Survey
            What others save later does not change it.

        Raises
        ------
        SurveyError
            Something is missing without which it can't be assessed; all of it is named.
        """
        whole = self.still()
        if faults := gaps_before_assessment(whole.records, policy_given=policy_given):
            raise SurveyError(faults, nothing="assessed")
        return whole

    def export(self, path: str | Path) -> Path:
        """
        Write the survey for others, in a form that `import_survey` reads again.

        Parameters
        ----------
        path : str or Path
            A new folder, or a new file that ends in ``.zip`` (both a Tabular Data Package with its
            files) or in ``.xlsx`` (field sheets).

        Returns
        -------
        Path
            What was written.

        Raises
        ------
        FileExistsError
            Something of that name exists already.
        SurveyError
            A file that belongs to the survey is missing or altered.
        StoreError
            It could not be written; no half of it is left.
        """
        from heritagecheck.survey.exchange.package import exported

        return exported(self.records, self.file, Path(path))

    def check(self) -> Table:
        """
        What to look at again: the survey reads well, but this is missing in it or looks odd.

        Returns
        -------
        Table
            One row a finding: zone, table, what, what_to_do; then what in its two parts, kind and
            detail. Empty where nothing is amiss.

        Notes
        -----
        A finding is no fault: it may be as it should be. Nor does an empty table say that the
        records are right, only that they are there and agree with one another.
        """
        from heritagecheck.survey.checks.review import records_to_review

        return records_to_review(self.records, self.file)

    def __str__(self) -> str:
        """Say in a sentence what the survey holds."""
        counts = ", ".join(
            count_of(len(self.records[name]), name.removesuffix("s").replace("_", " "))
            for name in ("zones", "observations", "readings", "site_tests", "panels")
        )
        named = self.all(Structure)
        return f"Survey of {named[0].structure if named else 'a structure not yet named'}: {counts}"

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""
        lines = [
            line
            for one in self.all(Structure)
            for line in (
                ("Question", one.asked or "not recorded"),
                ("Surveyed by", one.surveyed_by or "not recorded"),
                (
                    "Closed on",
                    day_in_words(one.survey_date)
                    if one.survey_date
                    else "The survey is still open.",
                ),
            )
        ]
        return summary(
            "Survey", f"{self}.", lines, more="survey.zones, survey.check(), hc.assess(survey)"
        )


def grouped_anew(
    before: ByZone, records: Records, touched: Mapping[str, Collection[str]]
) -> ByZone:
    """
    Records by their zone, after some of them were changed.

    Parameters
    ----------
    before : mapping
        Zone to kind to records, as it was.
    records : mapping of str to tuple of Record
        Table name to its records, as they are.
    touched : mapping of str to collection of str
        Table name to the zones of which records were changed; no table that is as it was.

    Returns
    -------
    mapping
        Zone to kind to records, in the order of the tables.
    """
    every_zone = [str(zone_of(record)) for record in records["zones"]]
    some_changed = set().union(*touched.values())
    found = {zone: dict(before.get(zone, {})) for zone in every_zone if zone in some_changed}
    for table, zones in touched.items():
        kind = TABLES[table]
        if table == "zones" or "zone" not in kind.model_fields:
            continue
        new: dict[str | None, list[Record]] = {zone: [] for zone in zones}
        for record in records[table]:
            if (some := new.get(zone_of(record))) is not None:
                some.append(record)
        for zone in found.keys() & new.keys():
            found[zone].pop(kind, None)
            if new[zone]:
                found[zone][kind] = tuple(new[zone])
    # The others share what they had.
    return {zone: found[zone] if zone in found else before.get(zone, {}) for zone in every_zone}


class NotMeasured(NamedTuple):
    """What was not measured on a zone, why, and which record says so."""

    zone: str
    what: str
    why: str
    record: str


def _reasons(records: Records) -> Iterator[NotMeasured]:
    """Walk over the reasons given in place of a measurement."""
    fields = {
        "observations": ("topic", "not_recorded_because", "observation"),
        "readings": ("target", "not_measured_because", "reading"),
        "site_tests": ("quantity", "not_measured_because", "site_test"),
        "panels": ("series", "not_read_because", "panel"),
    }
    for table, (what, why, key) in fields.items():
        for record in records[table]:
            if reason := getattr(record, why):
                zone = str(zone_of(record))
                yield NotMeasured(zone, getattr(record, what), reason, getattr(record, key))
