"""How far a series of panels reaches: which layers, how large an area, and until when."""

from __future__ import annotations

import math
from collections.abc import Iterator

from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate_7_panels.check import Check
from heritagecheck.tables import threshold
from heritagecheck.tables.expiry import oldest_allowed
from heritagecheck.tables.row_types import Soiling


def reach_checks(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """
    Ask whether a series reaches all that would be treated on a zone.

    Layers, steps of a sequence, area, age of the reading; a check that says nothing is left out.
    """
    missing = [
        Soiling.named(layer.soiling).name
        for layer in evidence.targets
        if layer.soiling not in series.treated_in_all
    ]
    if missing:
        yield Check(
            "layers", None, f"no panel shows how it comes off: {', '.join(missing)}",
            what_to_do="Lay panels that take it off too, and name it under also_treated",
        )  # fmt: skip
    steps = [one.series for one in series.before]
    short = [one.series for one in series.before if len(one.panels) < len(series.panels)]
    if short or (series.after is not None and series.after not in steps):
        yield Check(
            "sequence", None,
            f"not every panel had the step before: {', '.join(short) or series.after}",
            what_to_do="Lay every panel of the sequence in all its steps, in their order",
        )  # fmt: skip
    laid, area = len(series.panels), evidence.spoken_m2[series.zone]
    if (needed := panels_for_area(area)) > 1:
        yield Check(
            "area", laid >= needed, f"{laid} panels for {area:,.0f} m² ({needed} required)",
            by_doubt=True,
        )  # fmt: skip
    oldest = oldest_allowed("panels", evidence.survey_date)
    if series.oldest_read is not None and series.oldest_read < oldest:
        yield Check(
            "too old", None,
            f"read on {series.oldest_read}; what was read before {oldest} is too old to count",
            what_to_do="Read the panels again",
        )  # fmt: skip


def panels_for_area(area_m2: float) -> int:
    """
    How many panels are required for the area that they speak for.

    They grow with the square root of the area: one for 100 m², 15 for 20,000 m².

    Examples
    --------
    >>> panels_for_area(100), panels_for_area(400), panels_for_area(20_000)
    (1, 2, 15)
    """
    return math.ceil(math.sqrt(area_m2 / threshold("panel_area_m2")))
