"""The usual cautions: a hazard, and what is usual against it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from heritagecheck.tables.conditions import Facts, holds, method_facts
from heritagecheck.tables.row_types import CautionRow, OutcomeCaution

# A row is about the zone, with work or without; about each method; or about some methods.
OF_ZONE = "any"
# Beside a window, plan or setting that does not know whose it is; a series brings its own cautions.
WITH_CAUTIONS = (
    "No setting is used without the cautions of its method and zone; nothing here is permission to "
    "work."
)
OF_TRIALS, ALWAYS = "trial first", "always"


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard, what is usual against it, and whom or what it threatens."""

    hazard: str
    words: str
    source_id: str
    about: str

    def __str__(self) -> str:
        """Give hazard and words."""
        return f"{self.hazard}: {self.words}"


def usual_cautions(zone: Facts, methods: Sequence[str]) -> Iterator[Caution]:
    """
    Cautions of a zone and of the methods that are spoken of there.

    Parameters
    ----------
    zone : Facts
        What is recorded of the zone. Where a caution asks for what is not recorded, it is given.
    methods : sequence of str
        Codes of the methods; none where no work is meant.

    Yields
    ------
    Caution
        Rows of `tables/cautions.csv` that apply, in its order.
    """
    for row in CautionRow.rows():
        meant = row.methods == OF_ZONE or any(
            holds(row.methods, method_facts(method)) for method in methods
        )
        if meant and holds(row.when, zone) is not False:
            yield Caution(row.hazard, row.words, row.source_id, row.about)


def of_outcome(outcome: str) -> Caution:
    """Caution for an outcome, or for every outcome."""
    row = OutcomeCaution.named(outcome)
    return Caution(outcome.capitalize(), row.words, row.source_id, "this advice")


def in_words(cautions: Iterable[Caution]) -> str:
    """
    Cautions as printed below an instruction or a setting.

    Returns
    -------
    str
        One a line, under the word *Cautions*.
    """
    return "\n".join(("Cautions:", *(f"  {one}" for one in cautions)))
