"""The setting of a series of panels: what is recorded, what is missing, what its words say."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.settings.old_words import read

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class AskedSetting:
    """One quantity that the setting of a method must state, with its unit and the reason."""

    setting: str
    unit: str
    why: str
    source_id: str

    @property
    def with_unit(self) -> str:
        """Its name, and the unit where it has one."""
        return f"{self.setting} [{self.unit}]" if self.unit else self.setting

    def __str__(self) -> str:
        """Ask for it."""
        return f"{self.with_unit[0].upper()}{self.with_unit[1:]}? {self.why}."


def asked_settings(method: str, kind: str) -> tuple[AskedSetting, ...]:
    """
    All that the setting of a method must state in full.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.
    kind : str
        What is cleaned: ``"masonry"`` or ``"metal"``, as in `tables/substrates.csv`.

    Returns
    -------
    tuple of AskedSetting
        In the order of `tables/settings_asked.csv`.

    Raises
    ------
    ValueError
        No method has this code, or the kind is neither of the two.

    References
    ----------
    .. [1] EN 17138, methods and materials for cleaning porous inorganic materials: methods are to
       be described so that they can be repeated. The rows name their own sources.

    Examples
    --------
    >>> from heritagecheck.survey.settings import series_setting
    >>> [asked.with_unit for asked in settings.asked_settings("hand_tools", "metal")]
    ['tool', 'passes or time [passes or min]', 'preparation grade aimed at [Sa, St, SP or WJ]']
    """
    return tuple(_asked(row) for row in _rows_of(method, kind))


def missing_settings(method: str, kind: str, told: Collection[str]) -> tuple[AskedSetting, ...]:
    """
    Asked quantities that the record of a setting does not tell.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.
    kind : str
        What is cleaned: ``"masonry"`` or ``"metal"``, as in `tables/substrates.csv`.
    told : collection of str
        What the record tells, as `told_of` gives it.

    Returns
    -------
    tuple of AskedSetting
        What was not told; each prints as a question to whoever laid the panel.

    Raises
    ------
    ValueError
        No method has this code, or the kind is neither of the two.

    Notes
    -----
    An answer without questions does not make the setting right. The sentence of a panel is for
    people: nothing is read from it.

    References
    ----------
    .. [1] EN 17138; the rows of `tables/settings_asked.csv` name their own sources.

    Examples
    --------
    >>> from heritagecheck.survey.settings import series_setting
    >>> told = {"pressure", "pressure_read_at=nozzle", "medium", "hardness", "free_silica",
    ...         "grain_size", "distance", "angle"}
    >>> for question in settings.missing_settings("micro_abrasive_dry", "masonry", told):
    ...     print(question)
    Flow of the medium [g/min or kg/h]? Pressure without flow is half a setting.
    """
    return tuple(
        _asked(row)
        for row in _rows_of(method, kind)
        if not set(told) & set(row["told_by"].split("|"))
    )


def told_of(
    panels: Sequence[Panel], spots: Sequence[Spot], settings: Iterable[Setting]
) -> frozenset[str]:
    """
    All that the record of a series tells of its setting.

    Parameters
    ----------
    panels : sequence of Panel
        Panels of the series.
    spots : sequence of Spot
        Spots on them: what is varied from spot to spot stands there.
    settings : iterable of Setting
        What was dialled; that of the series.

    Returns
    -------
    frozenset of str
        Quantities, and ``quantity=word`` where one is told in words; ``passes`` and ``wetted``
        where the fields of panels or spots say so.
    """
    told = {panel.setting_quantity for panel in panels if panel.cleaning_low is not None}
    told |= {spot.dose_quantity for spot in spots if spot.dose is not None}
    for one in settings:
        told |= {one.quantity, f"{one.quantity}={one.words}"}
    laid: list[Panel | Spot] = [*panels, *spots]
    for field in ("passes", "wetted"):
        if any(getattr(one, field) is not None for one in laid):
            told.add(field)
    return frozenset(one for one in told if one is not None)


def _rows_of(method: str, kind: str) -> list[dict[str, str]]:
    """Rows that hold for a method or its family, on masonry or on metal."""
    known = tables.keyed("methods", "method")
    if method not in known:
        raise ValueError(f"method = {method}: no method has this code. Known: {', '.join(known)}.")
    if kind not in {"masonry", "metal"}:
        raise ValueError(f"kind = {kind}: what is cleaned is masonry or metal.")
    names = {method, known[method]["family"]}
    return [
        row
        for row in tables.rows("settings_asked")
        if row["kind"] in {"all", kind} and names & set(row["asked_of"].split("|"))
    ]


def _asked(row: dict[str, str]) -> AskedSetting:
    """Record of one row."""
    return AskedSetting(row["setting"], row["unit"], row["why"], row["source_id"])


def dialled(scale: Scale, settings: Sequence[Setting], passes: int | None) -> Span | None:
    """
    What was dialled of the quantity that the panels were varied in.

    Parameters
    ----------
    scale : Scale
        Quantity and unit of the panels.
    settings : sequence of Setting
        What was dialled for the series.
    passes : int or None
        Pulses or passes of the panels.

    Returns
    -------
    tuple of float, or None
        Lowest and highest, in the unit of the panels; None where it is not recorded.
    """
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


def words_against(panels: Sequence[Panel], settings: Sequence[Setting]) -> str:
    """
    Say where the words beside panels give a number that is recorded otherwise.

    Parameters
    ----------
    panels : sequence of Panel
        Panels of one series, which share the words.
    settings : sequence of Setting
        What was dialled for it.

    Returns
    -------
    str
        The first difference; empty where the words say nothing else, as far as they can be read.

    Notes
    -----
    The words decide nothing. Where they differ they are printed on no sheet that is worked by.
    """
    return next(_differences(panels, settings), "")


def meet(one: Span, other: Span) -> bool:
    """
    Whether two spans share a value; what a sum in binary leaves is no gap.

    Parameters
    ----------
    one, other : tuple of float
        Lowest and highest, in one unit.

    Returns
    -------
    bool
    """
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return low <= high or math.isclose(low, high)


def written(span: Span) -> str:
    """
    Span in words; one number where both ends are the same.

    Parameters
    ----------
    span : tuple of float
        Lowest and highest.

    Returns
    -------
    str
    """
    low, high = span
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"


def _differences(panels: Sequence[Panel], settings: Sequence[Setting]) -> Iterator[str]:
    """Every number of the words that is recorded otherwise."""
    recorded = {one.quantity: one for one in settings}
    for seen in read(panels[0].setting, panels[0].method)[0]:
        scale, own = Scale(seen.quantity, seen.unit), recorded.get(seen.quantity)
        told = None if own is None or seen.quantity == "tool" else own.words
        if own is not None and told and seen.words and told != seen.words:
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
