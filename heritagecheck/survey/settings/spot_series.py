"""Whether the trial spots of a series can be read together; what their numbers stand in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from heritagecheck.sentences import count_of
from heritagecheck.survey.records import Panel, Spot
from heritagecheck.survey.records.quantities import Scale


def why_not_together(panels: Sequence[Panel], spots: Sequence[Spot]) -> Iterator[str]:
    """Everything that hinders that the spots of one series are read together."""
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
    yield from _half_told(spots)
    yield from _conditions_apart(panels, spots)


def _half_told(spots: Sequence[Spot]) -> Iterator[str]:
    """What is told of some spots and not of others."""
    for name, field in (
        ("what lay under the spot", "component"),
        ("the number of pulses or passes", "passes"),
        ("whether the surface was wetted", "wetted"),
    ):
        told = sum(getattr(spot, field) is not None for spot in spots)
        if 0 < told < len(spots):
            yield f"{name} is recorded for some spots only"
    blind = [one.spot for one in spots if one.damaged_component and one.component is None]
    if blind:
        yield f"spot {blind[0]} names what was damaged, not what lay under it"


def _conditions_apart(panels: Sequence[Panel], spots: Sequence[Spot]) -> Iterator[str]:
    """Pulses and wetting that only the spots or only the panels say, or of which panels differ."""
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
    """What numbers stand in, in words."""
    return str(scale) or "no unit"


def unit_doubt(scales: Sequence[Scale]) -> str:
    """Say what the scales of some settings leave open, so that nobody works by a number misread."""
    # The peak of a Gaussian beam is twice its mean over the 1/e² area (ISO 21254-1, ISO 11146-1): a
    # limit read as the other of the two is off by that factor. In a flat beam the two are one.
    doubts = [scale.doubt for scale in scales if scale.doubt]
    if doubts:
        return doubts[0]
    if len({scale.quantity for scale in scales}) > 1:
        return f"settings are given in {' and in '.join(sorted(set(map(_named, scales))))}"
    return ""


def component_of(spot: Spot) -> str:
    """What lay under a spot, however it is spelt."""
    return (spot.component or "").strip().lower()
