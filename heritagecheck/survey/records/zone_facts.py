"""What rules and questions may ask about a zone, as far as its answers and tests say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from heritagecheck.survey.records.readings import SiteTest, complete_values
from heritagecheck.survey.records.structure import Zone
from heritagecheck.tables import codes, threshold
from heritagecheck.tables.row_types import Soiling, Substrate


def facts_of(
    zone: Zone, findings: Mapping[str, str | None], lead: str
) -> dict[str, frozenset[str] | None]:
    """Facts of a zone by its answers, topic by topic, and by what is known of lead there."""
    substrate = Substrate.named(zone.substrate)
    polished = {"polished"} if zone.substrate == "granite_polished" else set()
    return {topic: fact(findings.get(topic)) for topic in codes("topics")} | {
        "substrate": fact(zone.substrate),
        "kind": fact(substrate.kind),
        "acid_sensitive": fact(substrate.acid_sensitive),
        "silica": fact(substrate.silica),
        "finish": frozenset({zone.finish} | polished),
        "condition": fact(None if zone.condition == "not_assessed" else zone.condition),
        "exposure": fact(zone.exposure),
        "access": fact(zone.access),
        "confined": fact("yes" if zone.confined else "no"),
        "significance": fact(zone.significance),
        "soiling": frozenset(zone.soiling_codes),
        "lead": fact(lead),
        "coated": fact("yes" if coated(zone, lead) else "no"),
    }


def fact(value: str | None) -> frozenset[str] | None:
    """One recorded value as a fact; None where nothing is recorded."""
    return None if value is None else frozenset({value})


# -- Lead ------------------------------------------------------------------------------------------

XRF, LAB = "lead_xrf_mg_cm2", "lead_lab_pct"


def lead_by_xrf(tests: Iterable[SiteTest]) -> str | None:
    """Lead by XRF: "yes", "unknown" (inconclusive, or a gap), "low"; None if none was taken."""
    # A low reading is not a *no*: paint that XRF can't tell from bare metal may still make dust
    # that harms whoever works in it (US OSHA, letter of interpretation of 29 CFR 1926.62, 1 March
    # 1999).
    tests = tuple(tests)
    if not any(test.quantity == XRF for test in tests):
        return None
    values = complete_values(tests, XRF)
    if values is None:
        return "unknown"
    if max(values) > threshold("lead_xrf_high_mg_cm2"):
        return "yes"
    return "low" if max(values) < threshold("lead_xrf_low_mg_cm2") else "unknown"


def lead_by_lab(tests: Iterable[SiteTest], coatings: int | None) -> str | None:
    """Lead by laboratory: "yes", "trace", "no" or "unknown"; None if no chip was taken."""
    # *Yes* from 0.5 % on. *Trace* below and *no* where nothing was found need full-depth chips of
    # every coating, *no* also a detection limit that is fine enough.
    tests = tuple(tests)
    if not any(test.quantity == LAB for test in tests):
        return None
    values = complete_values(tests, LAB)
    if values is None:
        return "unknown"
    if max(values) >= threshold("lead_lab_pct"):
        return "yes"
    if unshown(tests, coatings):
        return "unknown"
    finest = threshold("lead_free_pct")
    limits = [test.detection_limit for test in tests if test.quantity == LAB]
    found_none = all(
        limit is not None and value < limit <= finest
        for value, limit in zip(values, limits, strict=True)
    )
    return "no" if found_none else "trace"


def unshown(tests: Iterable[SiteTest], coatings: int | None) -> tuple[str, ...]:
    """What laboratory results below the limit of lead paint leave open, in words."""
    # Nothing where full-depth chips of every coating were tested, each with a usable result:
    # found, or not found below a detection limit that is recorded.
    chips = [test for test in tests if test.quantity == LAB and test.panel is None]
    named = {chip.coating for chip in chips if chip.coating is not None}
    open_ = []
    if any(chip.full_depth != "yes" for chip in chips):
        open_.append("whether every chip goes down to the substrate")
    if coatings is None:
        open_.append("how many coatings there are")
    elif not coatings or (coatings > 1 and len(named) < coatings):
        open_.append(f"a chip of each of the {coatings} coatings")
    if any(_untold(chip) for chip in chips):
        open_.append("the detection limit")
    return tuple(open_)


def _untold(chip: SiteTest) -> bool:
    """Whether a chip in which nothing was found could still hold as much as lead paint does."""
    limit = chip.detection_limit
    return chip.value == 0 if limit is None else limit >= threshold("lead_lab_pct")


def may_be_coated(zone: Zone, coating_state: str | None) -> bool:
    """Whether a coating lies on a zone, or may: metal is coated unless somebody says not."""
    if zone.coatings or _coating_seen(zone):
        return True
    return zone.metal and zone.coatings is None and coating_state != "none"


def lead_of(said: str | None, xrf: str | None, lab: str | None, *, coated: bool) -> str:
    """Lead in the coating by all that was said and tested: "yes", "trace", "no" or "unknown"."""
    # An answer *no* is enough only where there is no coating that could hold lead.
    if "yes" in {said, xrf, lab}:
        return "yes"
    if lab in {"trace", "no"}:
        return lab
    tested = {xrf, lab} - {None, "low"}
    return "no" if said == "no" and not coated and not tested else "unknown"


def lead_on(
    zone: Zone, said: str | None, coating_state: str | None, tests: Iterable[SiteTest]
) -> str:
    """Lead on a zone by the answers on lead and on the state of the coating, and by its tests."""
    tests = tuple(tests)
    return lead_of(
        said,
        lead_by_xrf(tests),
        lead_by_lab(tests, zone.coatings),
        coated=may_be_coated(zone, coating_state),
    )


def coated(zone: Zone, lead: str) -> bool:
    """Whether there is a coating: lead lies in one; metal has one unless lead is ruled out."""
    return _coating_seen(zone) or lead in {"yes", "trace"} or (zone.metal and lead != "no")


def _coating_seen(zone: Zone) -> bool:
    """Whether a coating is among the soilings of a zone."""
    return any(Soiling.named(code).kind == "coating" for code in zone.soiling_codes)
