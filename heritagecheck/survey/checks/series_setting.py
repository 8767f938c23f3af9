"""The setting of a series of panels: whether it is recorded in full, and without contradiction."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.old_settings import read
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables.row_types import Method, SettingAsked

# -- What is recorded, and what is missing ---------------------------------------------------------

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class RequiredSetting:
    """
    One quantity that the setting of a method must state, with its unit and the reason.

    One of the fields in `told_by` is enough.
    """

    setting: str
    unit: str
    why: str
    source_id: str
    told_by: tuple[str, ...] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """Quantities of which one is enough, each once."""
        return tuple(dict.fromkeys(one.partition("=")[0] for one in self.told_by))

    @property
    def with_unit(self) -> str:
        """Its name, with the unit if there is one."""
        return f"{self.setting} [{self.unit}]" if self.unit else self.setting

    def __str__(self) -> str:
        """The question for it, with the reason."""
        return f"{self.with_unit[0].upper()}{self.with_unit[1:]}? {self.why}."


def missing_settings(method: str, kind: str, given: Collection[str]) -> tuple[RequiredSetting, ...]:
    """Required quantities that are not among those recorded (`recorded_quantities`)."""
    return tuple(
        one for one in required_settings(method, kind) if set(one.told_by).isdisjoint(given)
    )


def required_settings(method: str, kind: str) -> tuple[RequiredSetting, ...]:
    """Quantities that the setting of a method on masonry or metal must state."""
    # EN 17138: a method is described so that it can be repeated.
    known = tables.codes("methods")
    if method not in known:
        raise ValueError(f"method = {method}: no method has this code. Known: {', '.join(known)}.")
    if kind not in {"masonry", "metal"}:
        raise ValueError(f"kind = {kind}: what is cleaned is masonry or metal.")
    names = {method, Method.named(method).family}
    return tuple(
        RequiredSetting(row.setting, row.unit, row.why, row.source_id, row.told_by)
        for row in SettingAsked.rows()
        if row.kind in {"all", kind} and names & set(row.asked_of)
    )


def recorded_quantities(
    panels: Sequence[Panel], spots: Sequence[Spot], settings: Iterable[Setting]
) -> frozenset[str]:
    """Everything that the record of a series states about its setting."""
    recorded = {panel.setting_quantity for panel in panels if panel.cleaning_low is not None}
    recorded |= {spot.dose_quantity for spot in spots if spot.dose is not None}
    for one in settings:
        recorded |= {one.quantity, f"{one.quantity}={one.words}"}
    laid: list[Panel | Spot] = [*panels, *spots]
    for field in ("passes", "wetted"):
        if any(getattr(one, field) is not None for one in laid):
            recorded.add(field)
    return frozenset(one for one in recorded if one is not None)


def dialled(scale: Scale, settings: Sequence[Setting], passes: int | None) -> Span | None:
    """Recorded setting of the quantity that varied between the panels; None if there is none."""
    if scale.quantity == "passes":
        return None if passes is None else (passes, passes)
    return next(
        (
            (own.moved(one.value, scale), own.moved(one.highest, scale))
            for one in settings
            if (own := Scale(one.quantity, one.unit)).same_quantity(scale)
            and one.value is not None
            and one.highest is not None
        ),
        None,
    )


def meet(one: Span, other: Span) -> bool:
    """Whether two spans overlap, with tolerance for rounding in binary."""
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return low <= high or math.isclose(low, high)


def written(span: Span) -> str:
    """Span in words; one number where both ends are the same."""
    low, high = span
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"


# -- The series that spots belong to ---------------------------------------------------------------


def why_not_together(panels: Sequence[Panel], spots: Sequence[Spot]) -> Iterator[str]:
    """Reasons why the spots of one series can't be evaluated together."""
    if len(panels) < panels[0].panels_in_series:
        yield f"{len(panels)} of {panels[0].panels_in_series} panels recorded"
    here = Counter(spot.panel for spot in spots)
    for panel in panels:
        if panel.spots_laid is None:
            yield f"panel {panel.panel} does not say how many spots were laid"
        elif panel.spots_laid != here[panel.panel]:
            laid = count_of(panel.spots_laid, "spot")
            yield f"panel {panel.panel} has {laid} laid, {here[panel.panel]} recorded"
    unread = [spot.spot for spot in spots if spot.cleaned is None or spot.dose is None]
    if unread:
        yield f"spot {unread[0]} was not read, or its dose is not recorded"
    scales = {spot.scale for spot in spots if spot.dose is not None}
    if len(scales) > 1:
        yield f"doses are given in {' and in '.join(sorted(map(_named, scales)))}"
    yield from _half_recorded(spots)
    yield from _conditions_apart(panels, spots)


def _half_recorded(spots: Sequence[Spot]) -> Iterator[str]:
    """What is recorded for some spots only."""
    for name, field in (
        ("what lay under the spot", "component"),
        ("the number of pulses or passes", "passes"),
        ("whether the surface was wetted", "wetted"),
    ):
        given = sum(getattr(spot, field) is not None for spot in spots)
        if 0 < given < len(spots):
            yield f"{name} is recorded for some spots only"
    blind = [one.spot for one in spots if one.damaged_component and one.component is None]
    if blind:
        yield f"spot {blind[0]} names what was damaged, not what lay under it"


def _conditions_apart(panels: Sequence[Panel], spots: Sequence[Spot]) -> Iterator[str]:
    """Passes and wetting that only spots or only panels state, or in which panels differ."""
    for name, field in (("pulses or passes", "passes"), ("wetting", "wetted")):
        on_spots = {getattr(spot, field) for spot in spots}
        on_panels = {getattr(panel, field) for panel in panels}
        if len(on_panels) > 1:
            yield f"panels of one series differ in {name}, or some do not record it"
        elif on_panels == {None} and None not in on_spots:
            yield f"the spots record their {name}, but the panels do not"
        elif on_spots == {None} and None not in on_panels:
            yield f"the panels record their {name}, but their spots do not"
    surfaces = {spot.wetted for spot in spots} - {None}
    if surfaces and panels[0].wetted not in {None, *surfaces}:
        yield "no spot was laid on a surface wetted like the panels'"


def _named(scale: Scale) -> str:
    """A scale in words."""
    return str(scale) or "no unit"


def unit_doubt(scales: Sequence[Scale]) -> str:
    """What the scales of some settings leave open, so that nobody works by a misread number."""
    # The peak of a Gaussian beam is twice its mean over the 1/e² area (ISO 21254-1, ISO 11146-1): a
    # limit read as the other of the two is off by that factor. In a flat beam the two are one.
    doubts = [scale.doubt for scale in scales if scale.doubt]
    if doubts:
        return doubts[0]
    if len({scale.quantity for scale in scales}) > 1:
        return f"settings are given in {' and in '.join(sorted(set(map(_named, scales))))}"
    return ""


def component_of(spot: Spot) -> str:
    """Component under a spot, without differences of spelling."""
    return (spot.component or "").strip().lower()


# -- Contradictions that may be saved --------------------------------------------------------------


def setting_contradiction(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """First contradiction in the setting of one series, in words; empty if there is none."""
    # The words on the panels do not count here.
    return next(_contradictions(panels, settings), "")


def words_against(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """First number in the words of panels that is recorded differently; empty if there is none."""
    return next(_differences(panels, settings), "")


def _contradictions(panels: Sequence[Panel], settings: Sequence[Setting]) -> Iterator[str]:
    """Records of a series that contradict one another."""
    for name, field in (("pulses or passes", "passes"), ("wetting", "wetted")):
        if len({getattr(panel, field) for panel in panels} - {None}) > 1:
            yield f"panels of one series differ in {name}"
    spans = [
        (panel, (panel.cleaning_low, panel.cleaning_high))
        for panel in panels
        if panel.cleaning_low is not None and panel.cleaning_high is not None
    ]
    scale = panels[0].scale
    if spans and max(low for _, (low, _) in spans) > min(high for _, (_, high) in spans):
        yield "no setting cleaned on every panel: their settings do not overlap"
    set_to = dialled(scale, settings, panels[0].passes)
    for panel, span in spans:
        if set_to is not None and not meet(set_to, span):
            yield (
                f"{written(set_to)} {scale} was dialled, and panel {panel.panel} came clean at "
                f"{written(span)}"
            )


def _differences(panels: Sequence[Panel], settings: Sequence[Setting]) -> Iterator[str]:
    """Numbers in the words that are recorded differently."""
    recorded = {one.quantity: one for one in settings}
    for seen in read(panels[0].setting, panels[0].method)[0]:
        scale, own = Scale(seen.quantity, seen.unit), recorded.get(seen.quantity)
        own_words = None if own is None or seen.quantity == "tool" else own.words
        if own is not None and own_words and seen.words and own_words != seen.words:
            yield f"{seen.words.replace('_', ' ')} is written, {own.told} recorded"
        if seen.value is None:
            continue
        said = (seen.value, seen.value if seen.value_to is None else seen.value_to)
        found = None if own is None else dialled(scale, [own], None)
        if found is not None and not all(map(math.isclose, found, said)):
            yield f"{written(said)} {scale} is written, {written(found)} recorded"
        elif found is None and scale.quantity is not None:
            yield from _beside_panels(said, scale, panels)


def _beside_panels(said: Span, scale: Scale, panels: Sequence[Panel]) -> Iterator[str]:
    """A number of the words that lies outside the settings of a panel."""
    for panel in panels:
        low, high = panel.cleaning_low, panel.cleaning_high
        if low is not None and high is not None and panel.scale.same_quantity(scale):
            span = panel.scale.moved(low, scale), panel.scale.moved(high, scale)
            if not meet(said, span):
                yield f"{written(said)} {scale} is written, {written(span)} recorded"
