"""What gate 7 requires about damage: how much was seen, of which kind, how much may be missed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from operator import itemgetter

import numpy as np

from heritagecheck.evidence.trials.damaged_fields import (
    MILD_DAMAGE,
    FieldsRead,
    NextPanels,
    SharePrior,
    effective_fields,
    meets,
    next_panels,
)
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.panel_requirements import ASK_UNIT, COMPLETE_SPOTS, Check
from heritagecheck.judgement.harm.simulations import fabric_rating
from heritagecheck.judgement.options import Option
from heritagecheck.sentences import rounded_down
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import ExpectedDamage, LaserThreshold

# -- What gate 7 requires about damage -------------------------------------------------------------

ABOVE_WINDOW = "setting above the window"
BELOW = "damage below ×50"
KIND_WORDS = {
    "cracked": "cracks",
    "melted": "melting",
    "tooling_lost": "tooling lost",
    "mark_lost": "a mark lost",
    "plate_lost": "plate lost beyond the engineer's allowance",
    "visible": "damage that the eye sees",
    "other": "damage of another kind",
}


def damage_checks(
    series: PanelSeries, evidence: ZoneEvidence, prior: SharePrior
) -> Iterator[Check]:
    """Checks of gate 7 on damage."""
    yield from _fields(series, evidence)
    yield from _spots(series)
    yield from _kind(series)
    yield from _below(series)
    if series.x50 is None:
        yield Check("damage", None, "damage at ×50 not recorded")
        yield Check("damage bound", None, "share of fields damaged can't be bounded")
    else:
        yield from _share(series, series.x50, prior)


def prospect(series: PanelSeries, prior: SharePrior) -> NextPanels | None:
    """Chance that further panels meet the damage limits; None where not known or already met."""
    read = series.x50
    beyond = any(one.holds is False for one in series.below)
    if series.grave or beyond or (read is not None and read.apart(series.limits.seen) is not None):
        return NextPanels(0, 0, 0.0)
    if read is None or meets(read, series.limits, prior):
        return None
    return next_panels(read, series.limits, prior)


def _fields(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """Whether each panel has enough fields, and enough of them show the weakest component."""
    least = int(threshold("x50_fields_min"))
    read = None if series.fields is None else min(series.fields)
    yield Check(
        "fields", None if read is None else read >= least,
        "×50 fields not read" if read is None
        else f"{read} fields at ×50 on each panel ({least} required)",
    )  # fmt: skip
    component = None if evidence.metal else evidence.weakest_component
    if component is not None:
        held = series.fields_weakest
        yield Check(
            "weakest component", None if held is None else held >= least,
            f"fields that hold {component} not counted" if held is None
            else f"{held} of them hold {component} ({least} required)",
        )  # fmt: skip


def _kind(series: PanelSeries) -> Iterator[Check]:
    """Kinds of damage of which none is allowed, whatever the share of fields damaged."""
    if series.grave:
        seen = ", ".join(KIND_WORDS[kind] for kind in series.grave)
        yield Check("kind of damage", False, f"{seen} (none is allowed)")
    elif series.kind_unknown:
        yield Check(
            "kind of damage", None, "what kind of damage was seen is not recorded",
            what_to_do="Record the worst kind of damage of each panel; look again where unsure",
        )  # fmt: skip


def _below(series: PanelSeries) -> Iterator[Check]:
    """Measurements below ×50; none where the panels name none."""
    for one in series.below:
        yield Check(
            BELOW, one.holds, one.words,
            what_to_do="Complete the measurement and its records, or measure more closely",
            below=one,
        )  # fmt: skip


def _share(series: PanelSeries, read: FieldsRead, prior: SharePrior) -> Iterator[Check]:
    """Share of fields damaged, its upper bound, and damage concentrated on one panel."""
    limits = series.limits
    further = prospect(series, prior)
    too_few = further is not None and not further.hopeless
    damaged, fields = sum(read.damaged), sum(read.fields)
    first = f" ({series.component} first)" if series.component else ""
    allowed = f"{100 * limits.seen:g} % allowed"
    if not limits.seen:
        allowed = "none allowed, by a policy agreed before limits by significance"
    less = ""
    if read.seen_before:
        less = f", {100 * read.seen_before:.2g} % of fields before it"
    yield Check(
        "damage", read.seen <= limits.seen,
        "no damage seen at ×50" if not damaged
        else f"{damaged} of {fields} fields damaged at ×50{first}{less} "
        f"({allowed})",
        too_few=too_few,
    )  # fmt: skip
    upper, own = read.upper_given(prior), read.upper
    why = f", because {prior.why}" if upper > own else ""
    yield Check(
        "damage bound", upper <= limits.bound,
        f"up to {math.ceil(100 * upper)} % of fields could still be damaged "
        f"(more than {100 * limits.bound:.0f} % must be ruled out){why}",
        too_few=too_few,
    )  # fmt: skip
    apart = read.apart(limits.seen)
    if apart is not None:
        yield Check(
            "damage in one place", False,
            f"panel {series.panels[apart]} by itself shows more damage than agreed: record its "
            "place as a zone of its own",
        )  # fmt: skip


def _spots(series: PanelSeries) -> Iterator[Check]:
    """Spots at the panels' setting or gentler: how many are damaged, and how many might be."""
    spots, limit = series.spots, series.limits.bound
    if spots is None:
        return
    share = spots.damage_share
    if spots.window is None:
        yield Check(
            "spots", None, f"spots not read together, because {spots.why_not}",
            what_to_do=COMPLETE_SPOTS,
        )  # fmt: skip
    elif share is None or spots.used is None:
        yield Check(
            "spots", None, "the panels don't state their setting in the unit of their spots",
            what_to_do=ASK_UNIT,
        )  # fmt: skip
    else:
        yield _on_spots(spots, spots.used[1], series.limits.seen)
        yield Check(
            "damage bound by spots", share[1] <= limit,
            f"up to {math.ceil(100 * share[1])} % of spots could be damaged at this setting "
            f"(more than {100 * limit:.0f} % must be ruled out)",
            too_few=share[0] <= limit,
        )  # fmt: skip
        # The contractor's limits end with the window, so a setting above it would break them.
        if spots.used[1] > spots.window.high:
            yield Check(
                ABOVE_WINDOW, False,
                f"the panels were laid at {_laid(series, spots, spots.used)}, above the window of "
                f"their spots (up to {rounded_down(spots.window.high):.2g})",
                too_few=share[0] <= limit,
            )  # fmt: skip


def _laid(series: PanelSeries, spots: SpotTrial, used: tuple[float, float]) -> str:
    """Setting of the panels in the unit of their spots: dialled value, and range recorded."""
    low, high = (f"{end:.3g}" for end in used)
    span = low if low == high else f"{low} to {high}"
    if series.dialled is None:
        return f"{span} {spots.scale}"
    first, last = (f"{series.scale.moved(end, spots.scale):.3g}" for end in series.dialled)
    if first != last or first == span:
        return f"{span} {spots.scale}"
    return f"{first} {spots.scale} (recorded as {span})"


def _on_spots(spots: SpotTrial, used: float, allowed: float) -> Check:
    """How many spots are damaged at a setting or gentler, and how badly."""
    damaged = [row for row in spots.up_to(used) if row.damaged]
    kinds = {row.kind for row in damaged}
    words = "no spot damaged at this setting or gentler"
    if damaged:
        words = (
            f"{len(damaged)} spots damaged at this setting or gentler "
            f"({100 * allowed:g} % of those that came clean allowed)"
        )
    if grave := sorted(kinds - MILD_DAMAGE - {""}):
        seen = ", ".join(KIND_WORDS[kind] for kind in grave)
        return Check("damage on spots", False, f"{seen} on spots at this setting (none is allowed)")
    if spots.damage_seen(used) > allowed:
        # One damaged spot among few may be a reading error, which more spots would show.
        few = "" not in kinds and spots.damage_shown(used) <= allowed
        return Check("damage on spots", False, words, too_few=few)
    if "" in kinds:
        return Check(
            "damage on spots", None, "what kind of damage spots show is not recorded",
            what_to_do="Record the worst kind of damage of each spot; look again where unsure",
        )  # fmt: skip
    return Check("damage on spots", True, words)


# -- Damage expected from ratings, before any panel is read ----------------------------------------

FLUENCE = "J/cm²"
# Peak of a beam that is brightest in its middle (Gaussian), over its mean; of an even beam, 1.
PEAK_OF_MEAN = 2.0
PULSES = {"laser_ultrashort": {"fs", "ps"}, "laser_ns_355_dual": {"ns"}, "laser_ns_1064": {"ns"}}


def damage_prior(evidence: ZoneEvidence, option: Option) -> SharePrior:
    """
    Share of ×50 fields that an option is expected to damage, before any panel.

    The mean is interpolated in `tables/damage_prior.csv` by the rated harm to fabric. The largest
    share is taken where the pair is not rated, or a laser reached a fluence at which damage to this
    stone is published. The prior weighs as much as `prior_panels` panels, and can only raise
    the bound from the panels' own fields.

    Most sources do not say whether a fluence is a peak or a mean. It is read as the peak, which is
    safer: read as a mean, the same number would be a threshold twice as high. A dialled mean is
    doubled, as for a Gaussian beam. A published threshold counts from the lower end of its
    uncertainty, whatever the wavelength.
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
    """Lowest published threshold of this stone that the setting reaches, in words; else empty."""
    for step in () if option.series is None else (*option.series.before, option.series):
        known = [
            (row.value - row.plus_minus, row.row, row)
            for row in LaserThreshold.rows()
            if evidence.zone.substrate in row.damages
            and PULSES.get(step.method, set()) & set(row.pulse.split())
        ]
        if not known:
            continue
        begins, name, row = min(known, key=itemgetter(0, 1))
        how = "known from memory" if row.evidence == "from memory" else "published"
        said = (
            f"a limit of {row.value:g} {FLUENCE} is {how} for this stone, counted from "
            f"{begins:.2g} on ({name}, read as peak)"
        )
        if (peak := max(_peaks(step), default=None)) is None:
            return f"the fluence is not recorded, and {said}"
        if peak >= begins:
            return f"the peak may have reached {peak:.2g} {FLUENCE}, and {said}"
    return ""


def _peaks(series: PanelSeries) -> Iterator[float]:
    """Highest peak fluence of a series by each of its records, in J/cm²."""
    for quantity, factor in (("peak_fluence", 1.0), ("mean_fluence", PEAK_OF_MEAN)):
        scale = Scale(quantity, FLUENCE)
        if series.cleaning is not None and series.scale.same_quantity(scale):
            yield factor * series.scale.moved(series.cleaning[1], scale)
        for one in series.settings:
            if one.quantity == quantity and one.highest is not None:
                yield factor * Scale(quantity, one.unit).moved(one.highest, scale)
