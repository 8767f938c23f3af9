"""What ratings let expect of damage, before any panel is read."""

from __future__ import annotations

import numpy as np

from heritagecheck.evidence.damaged_fields import SharePrior, effective_fields
from heritagecheck.evidence.gather import ZoneEvidence
from heritagecheck.judgement.harm import fabric_rating
from heritagecheck.judgement.options import Option
from heritagecheck.tables import rows, threshold


def damage_prior(evidence: ZoneEvidence, option: Option) -> SharePrior:
    """
    Share of ×50 fields that an option is expected to damage, before any panel.

    Parameters
    ----------
    evidence : ZoneEvidence
        Evidence of the zone.
    option : Option
        The option.

    Returns
    -------
    SharePrior
        Mean share by the rated harm to fabric, between the rows of `tables/damage_prior.csv`; the
        highest where nobody rated the pair. It is worth `prior_panels` panels, so that more panels
        than that outweigh it, and it can only raise the bound of the panels' own fields.
    """
    anchors = [(float(row["rating"]), float(row["mean_share"])) for row in rows("damage_prior")]
    ratings, shares = zip(*anchors, strict=True)
    fields = int(threshold("x50_fields_min"))
    worth = effective_fields((fields,) * int(threshold("prior_panels")))
    if not option.rated:
        return SharePrior(max(shares), worth, "nobody rated this pair")
    rating, _ = fabric_rating(evidence, option)
    mean = float(np.interp(rating, ratings, shares))
    return SharePrior(mean, worth, f"harm to fabric is rated {rating:.1f} of 10 here")
