"""The setting of a series of panels: what is recorded, and what is missing."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.quantities import Scale

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class RequiredSetting:
    """
    One quantity that the setting of a method must state, with its unit and the reason.

    `told_by` holds the fields that tell it; one of them is enough.
    """

    setting: str
    unit: str
    why: str
    source_id: str
    told_by: tuple[str, ...] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities of which one tells it, the first named first."""
        return tuple(dict.fromkeys(one.partition("=")[0] for one in self.told_by))

    @property
    def with_unit(self) -> str:
        """Its name, and the unit where it has one."""
        return f"{self.setting} [{self.unit}]" if self.unit else self.setting

    def __str__(self) -> str:
        """Ask for it."""
        return f"{self.with_unit[0].upper()}{self.with_unit[1:]}? {self.why}."


def missing_settings(method: str, kind: str, told: Collection[str]) -> tuple[RequiredSetting, ...]:
    """Asked quantities that the record of a setting, as `told_of` gives it, does not tell."""
    return tuple(one for one in asked_settings(method, kind) if not set(told) & set(one.told_by))


def asked_settings(method: str, kind: str) -> tuple[RequiredSetting, ...]:
    """All that the record of a setting must tell of a method on masonry or metal."""
    # EN 17138: a method is described so that it can be repeated.
    known = tables.keyed("methods", "method")
    if method not in known:
        raise ValueError(f"method = {method}: no method has this code. Known: {', '.join(known)}.")
    if kind not in {"masonry", "metal"}:
        raise ValueError(f"kind = {kind}: what is cleaned is masonry or metal.")
    names = {method, known[method]["family"]}
    return tuple(
        RequiredSetting(
            row["setting"], row["unit"], row["why"], row["source_id"],
            tuple(row["told_by"].split("|")),
        )
        for row in tables.rows("settings_asked")
        if row["kind"] in {"all", kind}
        and names & set(row["asked_of"].split("|"))
    )  # fmt: skip


def told_of(
    panels: Sequence[Panel], spots: Sequence[Spot], settings: Iterable[Setting]
) -> frozenset[str]:
    """All that the record of a series tells of its setting."""
    told = {panel.setting_quantity for panel in panels if panel.cleaning_low is not None}
    told |= {spot.dose_quantity for spot in spots if spot.dose is not None}
    for one in settings:
        told |= {one.quantity, f"{one.quantity}={one.words}"}
    laid: list[Panel | Spot] = [*panels, *spots]
    for field in ("passes", "wetted"):
        if any(getattr(one, field) is not None for one in laid):
            told.add(field)
    return frozenset(one for one in told if one is not None)


def dialled(scale: Scale, settings: Sequence[Setting], passes: int | None) -> Span | None:
    """What was dialled of the quantity that the panels were varied in."""
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
    """Whether two spans share a value; what a sum in binary leaves is no gap."""
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return low <= high or math.isclose(low, high)


def written(span: Span) -> str:
    """Span in words; one number where both ends are the same."""
    low, high = span
    return f"{low:.4g}" if low == high else f"{low:.4g} to {high:.4g}"
