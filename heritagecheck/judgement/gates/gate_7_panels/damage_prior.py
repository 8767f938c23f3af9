"""What ratings let expect of damage, before any panel is read."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from heritagecheck.evidence.trials.damaged_fields import SharePrior, effective_fields
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.harm.fabric_rating import fabric_rating
from heritagecheck.judgement.options import Option
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import ExpectedDamage, LaserThreshold

FLUENCE = "J/cm²"
# Peak of a beam that is brightest in its middle (Gaussian), over its mean; of an even beam, 1.
PEAK_OF_MEAN = 2.0
PULSES = {"laser_ultrashort": {"fs", "ps"}, "laser_ns_355_dual": {"ns"}, "laser_ns_1064": {"ns"}}


def damage_prior(evidence: ZoneEvidence, option: Option) -> SharePrior:
    """
    Share of ×50 fields that an option is expected to damage, before any panel.

    Mean share by the rated harm to fabric, between the rows of `tables/damage_prior.csv`; the
    highest where nobody rated the pair, or where a laser was set to a fluence at which damage to
    this stone is published. It is worth `prior_panels` panels, so that more panels than that
    outweigh it, and it can only raise the bound of the panels' own fields.

    Most sources do not say whether they print the peak or the mean of a pulse. The safer reading is
    the peak: as a mean, the same number would be a threshold twice as high. A mean that was dialled
    is doubled, as if the beam were brightest in its middle. A published threshold counts from the
    lower end of its uncertainty on, whatever the wavelength; it never lowers a prior.
    """
    anchors = [(row.rating, row.mean_share) for row in ExpectedDamage.rows()]
    ratings, shares = zip(*anchors, strict=True)
    fields = int(threshold("x50_fields_min"))
    worth = effective_fields((fields,) * int(threshold("prior_panels")))
    if not option.rated:
        return SharePrior(max(shares), worth, "nobody rated this pair")
    if published := _published_damage(evidence, option):
        return SharePrior(max(shares), worth, published)
    rating, _ = fabric_rating(evidence, option)
    mean = float(np.interp(rating, ratings, shares))
    return SharePrior(mean, worth, f"harm to fabric is rated {rating:.1f} of 10 here")


def _published_damage(evidence: ZoneEvidence, option: Option) -> str:
    """Lowest published threshold that the setting reaches, in words; empty where none."""
    for step in () if option.series is None else (*option.series.before, option.series):
        published = [
            (row.value - row.plus_minus, row.row)
            for row in LaserThreshold.rows()
            if evidence.zone.substrate in row.damages
            and PULSES.get(step.method, set()) & set(row.pulse.split())
        ]
        if not published:
            continue
        begins, name = min(published)
        said = f"damage is published from {begins:.2g} {FLUENCE} on ({name}, read as peak)"
        if (peak := max(_peaks(step), default=None)) is None:
            return f"the fluence is not recorded, and {said}"
        if peak >= begins:
            return f"the peak may have reached {peak:.2g} {FLUENCE}, and {said}"
    return ""


def _peaks(series: PanelSeries) -> Iterator[float]:
    """Highest peak fluence of a series in J/cm², as each of its records tells it."""
    for quantity, factor in (("peak_fluence", 1.0), ("mean_fluence", PEAK_OF_MEAN)):
        scale = Scale(quantity, FLUENCE)
        if series.cleaning is not None and series.scale.same_quantity(scale):
            yield factor * series.scale.moved(series.cleaning[1], scale)
        for one in series.settings:
            if one.quantity == quantity and one.highest is not None:
                yield factor * Scale(quantity, one.unit).moved(one.highest, scale)
