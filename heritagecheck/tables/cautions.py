"""The usual cautions: a hazard, and what is usual against it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.tables.conditions import Facts, holds

# Stands in every sentence that names a laser's setting, where the cautions themselves have no room.
CONTROLLED_AREA = "Class 4 beam: only in a controlled area, under the laser safety officer."


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard, and what is usual against it."""

    hazard: str
    words: str
    source_id: str

    def __str__(self) -> str:
        """Give hazard and words."""
        return f"{self.hazard}: {self.words}"


def usual_cautions(zone: Facts, methods: tuple[Facts, ...]) -> Iterator[Caution]:
    """
    Cautions of a zone and of the methods that are spoken of there.

    Parameters
    ----------
    zone : Facts
        What is recorded of the zone.
    methods : tuple of Facts
        The same with what is known of each method.

    Yields
    ------
    Caution
        Rows of `tables/cautions.csv` that apply, in its order.
    """
    for row in tables.rows("cautions"):
        general = row["methods"] == "any" and holds(row["when"], zone)
        special = row["methods"] != "any" and any(
            holds(row["methods"], facts) and holds(row["when"], facts) for facts in methods
        )
        # Nothing is irreversible where no method is meant.
        if (general or special) and (methods or row["caution"] != "CA19"):
            yield Caution(row["hazard"], row["words"], row["source_id"])
