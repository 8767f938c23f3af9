"""One survey: its records, table by table, and the folder that holds its drawings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, cast

from heritagecheck.survey.records import TABLES, Record, Structure, Zone

if TYPE_CHECKING:
    import pandas as pd

    from heritagecheck.cards import Table

AnyRecord = TypeVar("AnyRecord", bound=Record)


@dataclass(frozen=True, eq=False)
class Survey:
    """
    Everything seen on one structure.

    Parameters
    ----------
    records : mapping of str to tuple of Record
        Table name to its records, already validated.
    folder : Path or None
        Where its drawings lie.
    """

    records: Mapping[str, tuple[Record, ...]]
    folder: Path | None = None

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
        table = next(name for name, kind in TABLES.items() if kind is model)
        return cast("tuple[AnyRecord, ...]", self.records[table])

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
        """
        return self.all(model)[0]

    @cached_property
    def by_zone(self) -> dict[str, dict[type[Record], tuple[Record, ...]]]:
        """Records that belong to a zone: zone to kind to records, in the order of the tables."""
        found: dict[str, dict[type[Record], list[Record]]] = {
            zone.zone: {} for zone in self.all(Zone)
        }
        for name, kind in TABLES.items():
            if name != "zones" and "zone" in kind.model_fields:
                for record in self.records[name]:
                    if (zone := getattr(record, "zone")) is not None:  # noqa: B009 - every kind here has a zone
                        found[zone].setdefault(kind, []).append(record)
        return {
            zone: {kind: tuple(items) for kind, items in kinds.items()}
            for zone, kinds in found.items()
        }

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
        from heritagecheck.cards import Table

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
        from heritagecheck.cards import Table

        rows = [(record.zone, what, why, key) for record, what, why, key in _reasons(self.records)]
        return Table(rows, columns=["zone", "what", "why", "record"])

    def check(self) -> Table:
        """
        What to look at again: the survey reads well, but this is missing in it or looks odd.

        Returns
        -------
        Table
            One row a finding: zone, table, what, what_to_do. Empty where nothing is amiss.

        Notes
        -----
        A finding is no fault: it may be as it should be. Nor does an empty table say that the
        records are right, only that they are there and agree with one another.
        """
        from heritagecheck.survey.check import findings

        return findings(self.records, self.folder)

    def __str__(self) -> str:
        """Say in a sentence what the survey holds."""
        counts = ", ".join(
            f"{len(self.records[name])} {name.replace('_', ' ')}"
            for name in ("zones", "observations", "readings", "site_tests", "panels")
        )
        return f"Survey of {self.only(Structure).structure}: {counts}"


def _reasons(
    records: Mapping[str, tuple[Record, ...]],
) -> Iterable[tuple[Zone, str, str, str]]:
    """Walk over the reasons given in place of a measurement."""
    fields = {
        "observations": ("topic", "not_recorded_because", "observation"),
        "readings": ("target", "not_measured_because", "reading"),
        "site_tests": ("quantity", "not_measured_because", "site_test"),
        "panels": ("series", "not_read_because", "panel"),
    }
    for table, (what, why, key) in fields.items():
        for record in records[table]:
            reason = getattr(record, why)
            if reason:
                yield cast("Zone", record), getattr(record, what), reason, getattr(record, key)
