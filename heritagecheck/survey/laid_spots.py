"""Whether the trial spots of a series can be read together; units of settings and of doses."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from unicodedata import normalize

from heritagecheck.survey.records import Panel, Spot

# Energy per area, as it reads once blanks, dots and raised figures are gone.
FLUENCE = re.compile(r"[mμk]?j(?:/|per)?[mc]?m\^?[-−]?2")
BASES = tuple(
    re.compile(rf"\b(?:{words})\b", re.IGNORECASE)
    for words in ("peak", "mean|average", r"(?:flat|top)[\s-]*(?:top|hat)")
)
# An average power is no mean fluence, and what somebody asks or does not know is no basis.
NO_BASIS = re.compile(r"\bpower\b|\bnot\b|\bunknown\b|\?", re.IGNORECASE)


def why_not_together(panels: Sequence[Panel], spots: Sequence[Spot]) -> Iterator[str]:
    """
    Everything that hinders that the spots of one series are read together.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the series on record, at least one.
    spots : sequence of Spot
        The spots on them.

    Yields
    ------
    str
        Reason in words, the plainest first; nothing where they can be read.
    """
    if len(panels) < panels[0].panels_in_series:
        yield f"{len(panels)} of {panels[0].panels_in_series} panels are on record"
    here = Counter(spot.panel for spot in spots)
    for panel in panels:
        if panel.spots_laid is None:
            yield f"panel {panel.panel} does not say how many spots were laid"
        elif panel.spots_laid != here[panel.panel]:
            yield (
                f"panel {panel.panel} carries {panel.spots_laid} spots, {here[panel.panel]} are "
                "on record"
            )
    unread = [spot.spot for spot in spots if spot.cleaned is None or spot.dose is None]
    if unread:
        yield f"spot {unread[0]} was not read, or its dose is not recorded"
    units = {
        plain_unit(spot.dose_unit): spot.dose_unit for spot in spots if spot.dose_unit is not None
    }
    if len(units) > 1:
        yield f"doses stand in {' and in '.join(sorted(units.values()))}"
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
            yield f"panels of one series differ in {name}, or not all say it"
        elif on_panels == {None} and None not in on_spots:
            yield f"the spots say their {name}, and the panels do not"
        elif on_spots == {None} and None not in on_panels:
            yield f"the panels say their {name}, and their spots do not"
    surfaces = {spot.wetted for spot in spots} - {None}
    if surfaces and panels[0].wetted not in {None, *surfaces}:
        yield "no spot was laid on a surface wet or dry as that of the panels"


def same_unit(one: str | None, other: str | None) -> bool:
    """
    Whether two units are the same, however they are spelt.

    Parameters
    ----------
    one, other : str or None
        Units; None where none is recorded.

    Returns
    -------
    bool
        False where one is not recorded.

    Examples
    --------
    >>> same_unit("J/cm2 peak", "J/cm² Peak"), same_unit("h", "min"), same_unit(None, None)
    (True, False, False)
    """
    return one is not None and other is not None and plain_unit(one) == plain_unit(other)


def unit_doubt(units: Sequence[str | None]) -> str:
    """
    Say what the units of some settings leave open, so that nobody works by a number misread.

    Parameters
    ----------
    units : sequence of str or None
        Units of settings that are read together; None where one is not recorded.

    Returns
    -------
    str
        What is in doubt, in words; empty where numbers in these units have one meaning.

    Notes
    -----
    Fluence needs its basis beside it: the peak of a Gaussian beam is twice its mean over the 1/e²
    area [1]_, so a limit read as the other of the two is off by that factor. Where the beam is
    flat the two are one, and the unit may say "flat top".

    References
    ----------
    .. [1] ISO 21254-1, laser-induced damage threshold, and ISO 11146-1, beam widths.

    Examples
    --------
    >>> unit_doubt(["J/cm²", "J/cm²"])
    'whether J/cm² is the peak fluence or the mean is not recorded'
    >>> unit_doubt(["J/cm² peak"]), unit_doubt(["bar", "Bar"]), unit_doubt(["bar", "psi"])
    ('', '', 'settings stand in bar and in psi')
    """
    spelt = {plain_unit(unit): unit for unit in units if unit is not None}
    if None in units:
        return "the unit of the setting is not recorded"
    if len(spelt) > 1:
        return f"settings stand in {' and in '.join(sorted(spelt.values()))}"
    for unit in spelt.values():
        bare = re.sub(r"[\s·*]", "", normalize("NFKC", unit)).casefold()
        told = sum(bool(basis.search(unit)) for basis in BASES) == 1 and not NO_BASIS.search(unit)
        if FLUENCE.search(bare) and not told:
            return f"whether {unit} is the peak fluence or the mean is not recorded"
    return ""


def component_of(spot: Spot) -> str:
    """
    What lay under a spot, however it is spelt.

    Parameters
    ----------
    spot : Spot
        The spot.

    Returns
    -------
    str
        In small letters; empty where nothing is named.
    """
    return (spot.component or "").strip().lower()


def plain_unit(unit: str) -> str:
    """
    Unit without what spelling adds: capitals, blanks, the raised 2.

    Parameters
    ----------
    unit : str
        Unit as it was written.

    Returns
    -------
    str
    """
    return " ".join(unit.replace("²", "2").split()).casefold()
