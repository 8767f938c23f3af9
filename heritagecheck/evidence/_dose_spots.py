"""Trial spots checked, counted by dose, panel and group, and each group fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence._dose_grid import Classes, FloatArray, Posterior, posteriors
from heritagecheck.tables import threshold


@dataclass(frozen=True, slots=True, eq=False)
class GroupFit:
    """What is known of one group: by its own spots, and among the others where there are any."""

    group: str
    spots: int
    events: int
    panels: int | None
    lowest_dose: float
    highest_dose: float
    posteriors: tuple[Posterior, ...] = field(repr=False)


def group_fits(
    x: FloatArray,
    doses: FloatArray,
    outcome: NDArray[np.bool_],
    groups: list[str] | None,
    panels: list[str] | None,
) -> tuple[GroupFit, ...]:
    """Fit each group by itself, and all together where there are several."""
    names = sorted(set(groups)) if groups else ["all"]
    index = np.array([names.index(one) for one in groups or ["all"] * x.size])
    panel = np.unique(panels, return_inverse=True)[1].ravel() if panels else np.zeros(x.size, int)
    correlation = threshold("panel_correlation")

    def fitted(here: NDArray[np.bool_], members: NDArray[np.int64]) -> tuple[Posterior, ...]:
        most = 1 / correlation if panels else np.inf
        classes = _classes(x[here], outcome[here], members, panel[here], most, panels is not None)
        return posteriors(classes, correlation)

    everywhere = np.ones(x.size, dtype=bool)
    together = fitted(everywhere, index) if len(names) > 1 else ()
    found = []
    for k, name in enumerate(names):
        here = index == k
        own = fitted(here, np.zeros(int(here.sum()), dtype=int))
        found.append(
            GroupFit(
                group=name,
                spots=int(here.sum()),
                events=int(outcome[here].sum()),
                panels=len(np.unique(panel[here])) if panels else None,
                lowest_dose=float(doses[here].min()),
                highest_dose=float(doses[here].max()),
                posteriors=own + together[k : k + 1],
            )
        )
    return tuple(found)


def _classes(
    x: FloatArray,
    outcome: NDArray[np.bool_],
    group: NDArray[np.int64],
    panel: NDArray[np.int64],
    most: float,
    panelled: bool,
) -> Classes:
    """Count spots by group, panel and dose; no class counts for more than `most` spots."""
    keys, which = np.unique(np.column_stack([group, panel, x]), axis=0, return_inverse=True)
    spots = np.bincount(which.ravel()).astype(float)
    events = np.bincount(which.ravel(), weights=outcome).astype(float)
    counted = np.minimum(1, most / spots)
    new = np.concatenate([[True], (np.diff(keys[:, :2], axis=0) != 0).any(axis=1)])
    first = np.append(np.flatnonzero(new), keys.shape[0])
    return Classes(
        x=np.ascontiguousarray(keys[:, 2]),
        spots=spots * counted,
        events=events * counted,
        first=first,
        group=keys[first[:-1], 0].astype(np.int64),
        groups=int(group.max()) + 1,
        panelled=panelled,
    )


def checked_doses(dose: ArrayLike) -> FloatArray:
    """Doses as numbers, all finite and above 0."""
    doses = np.asarray(dose, dtype=float)
    bad = doses[~(np.isfinite(doses) & (doses > 0))]
    if bad.size:
        raise ValueError(
            f"dose = {bad.ravel()[0]:g}: a dose is a finite number above 0. A spot that was left "
            "untreated is a control, not a dose of 0."
        )
    return doses


def checked_outcome(happened: ArrayLike) -> NDArray[np.bool_]:
    """Outcomes as yes or no."""
    values = np.asarray(happened)
    if values.dtype != bool:
        numbers = values.dtype.kind in "iuf"
        if not numbers or not np.isin(values, (0, 1)).all():
            raise ValueError("happened must be True or False (1 or 0) for each spot.")
    return values.astype(bool)


def checked_labels(labels: Sequence[str] | None, spots: int, name: str) -> list[str] | None:
    """Labels as text, one a spot."""
    if labels is None:
        return None
    given = list(labels)
    if len(given) != spots:
        raise ValueError(f"{name} has {len(given)} labels for {spots} spots: give one a spot.")
    if any(one is None or str(one).strip() in {"", "nan"} for one in given):
        raise ValueError(
            f"{name} is missing for a spot: name it for each, or leave {name} out for all."
        )
    return [str(one) for one in given]
