"""How many ×50 fields a trial needs, and how likely further panels are to pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.damaged_fields import (
    DamageLimits,
    FieldsRead,
    SharePrior,
    effective_fields,
)
from heritagecheck.tables import threshold

GOOD_SHARE = 0.01  # a setting that damages so few is to pass
LIKELY = 0.8  # a plan is to pass it so often
HOPELESS = 0.05  # a chance below this is none worth a panel
TIMES = 5  # how many times the panels laid are thought of at most
_MOST_PANELS = 60
_SHARES = 64  # quantiles of what is known of the share
NO_PRIOR = SharePrior(0.0, 0.0, "")


@dataclass(frozen=True, slots=True)
class FieldPlan:
    """
    Panels to be laid, with fields on each.

    `least` panels pass if no field is damaged; of `likely` panels some fields may be, and a setting
    that damages 1 % of fields passes with a chance of 80 % or more.
    """

    fields: int
    least: int
    likely: int
    may_be_damaged: int

    def __str__(self) -> str:
        allowed = f"with up to {self.may_be_damaged} damaged in all" if self.may_be_damaged else (
            "with none damaged"
        )  # fmt: skip
        likely = (
            ""
            if self.likely == self.least
            else f"; {self.likely} such panels pass {allowed}, as they probably do at a setting "
            f"that damages {100 * GOOD_SHARE:g} % of fields"
        )
        return (
            f"{self.least} panels with {self.fields} fields at ×50 on each pass if no field is "
            f"damaged{likely}"
        )


@dataclass(frozen=True, slots=True)
class NextPanels:
    """Chance that further panels, read with those laid, meet what was agreed of damage."""

    panels: int
    fields: int
    chance: float

    @property
    def hopeless(self) -> bool:
        """Whether not even four times the panels laid are worth adding."""
        return self.chance < HOPELESS

    def __str__(self) -> str:
        if self.hopeless:
            return "more panels cannot help: what was seen points to more damage than was agreed"
        return (
            f"{self.panels} more panels with {self.fields} fields each would meet the limits "
            f"of damage with a chance of {100 * self.chance:.0f} %, by what is known now"
        )


def plan_fields(
    limits: DamageLimits, fields: int, *, least_panels: int = 2, prior: SharePrior = NO_PRIOR
) -> FieldPlan:
    """
    Plan how many panels with so many ×50 fields a trial needs.

    Parameters
    ----------
    limits : DamageLimits
        Bound and share seen that were agreed.
    fields : int
        Fields to be read on each panel.
    least_panels : int
        Replicates asked anyhow.
    prior : SharePrior
        What ratings let expect; nothing where left out.

    Returns
    -------
    FieldPlan

    Raises
    ------
    ValueError
        No number of panels up to 60 would do.

    Notes
    -----
    The chance is that of a setting that damages 1 % of fields, the smaller of two: with fields that
    are independent, and with fields of a panel that resemble one another as rated
    (`panel_correlation`, a beta-binomial).

    Examples
    --------
    >>> from heritagecheck.evidence.trials.damaged_fields import DamageLimits
    >>> from heritagecheck.evidence.trials.field_effort import plan_fields
    >>> plan = plan_fields(DamageLimits(bound=0.15, seen=0.05, begins=0.25), fields=10)
    >>> plan.least, plan.likely
    (4, 5)
    """
    least = 0
    for panels in range(least_panels, _MOST_PANELS + 1):
        laid = (fields,) * panels
        allowed = most_damaged(laid, limits, prior)
        if allowed < 0:
            continue
        least = least or panels
        chances = [
            chance_to_pass(laid, GOOD_SHARE, limits, correlation=one, prior=prior)
            for one in (0.0, threshold("panel_correlation"))
        ]
        if min(chances) >= LIKELY:
            return FieldPlan(fields, least, panels, allowed)
    raise ValueError(
        f"{_MOST_PANELS} panels with {fields} fields each do not show a share of at most "
        f"{100 * limits.bound:g} %: read more fields on each, or agree another limit."
    )


def chance_to_pass(
    fields: Sequence[int],
    share: float,
    limits: DamageLimits,
    *,
    correlation: float,
    prior: SharePrior = NO_PRIOR,
) -> float:
    """
    Chance that panels meet what was agreed of damage, if the setting damages a known share.

    Parameters
    ----------
    fields : sequence of int
        Fields read on each panel.
    share : float
        Share of fields that the setting damages. [0 to 1]
    limits : DamageLimits
        Bound and share seen that were agreed.
    correlation : float
        Correlation of fields within a panel. [0 to 1]
    prior : SharePrior
        What ratings let expect; nothing where left out.

    Returns
    -------
    float
    """
    allowed = most_damaged(tuple(fields), limits, prior)
    if allowed < 0:
        return 0.0
    total = np.ones(1)
    for count in fields:
        total = np.convolve(total, _on_a_panel(count, np.array([share]), correlation)[0])
    return float(total[: allowed + 1].sum())


@lru_cache(maxsize=512)
def most_damaged(fields: tuple[int, ...], limits: DamageLimits, prior: SharePrior) -> int:
    """
    How many fields may be damaged so that panels still meet what was agreed; -1 where not even 0.

    Parameters
    ----------
    fields : tuple of int
        Fields read on each panel.
    limits : DamageLimits
        Bound and share seen that were agreed.
    prior : SharePrior
        What ratings let expect.

    Returns
    -------
    int
    """
    allowed = -1
    for damaged in range(int(limits.seen * sum(fields)) + 1):
        read = FieldsRead(_spread(damaged, len(fields)), fields)
        if not meets(read, limits, prior):
            break
        allowed = damaged
    return allowed


def meets(read: FieldsRead, limits: DamageLimits, prior: SharePrior) -> bool:
    """
    Whether fields read show what was agreed: share seen, and its bound.

    Parameters
    ----------
    read : FieldsRead
        Fields of the panels.
    limits : DamageLimits
        Bound and share seen that were agreed.
    prior : SharePrior
        What ratings let expect.

    Returns
    -------
    bool
    """
    return read.seen <= limits.seen and read.upper_given(prior) <= limits.bound


# The same panels tell about every zone of their bed.
@lru_cache(maxsize=256)
def next_panels(read: FieldsRead, limits: DamageLimits, prior: SharePrior) -> NextPanels:
    """
    Chance that further panels, read together with those laid, meet what was agreed.

    Parameters
    ----------
    read : FieldsRead
        Fields read so far.
    limits : DamageLimits
        Bound and share seen that were agreed.
    prior : SharePrior
        What ratings let expect before the panels.

    Returns
    -------
    NextPanels
        The fewest further panels that pass with a chance of 80 %; where none do, those up to four
        times the panels laid whose chance is best.

    Notes
    -----
    The share of fields damaged is known as well as the fields read and the prior tell (a beta
    distribution); the next panels are drawn with fields that resemble one another as rated
    (`panel_correlation`). Damage on one panel by itself, ageing and the rest of gate 7 are not in
    this chance.
    """
    fields = max(*read.fields, int(threshold("x50_fields_min")))
    laid = len(read.fields)
    shares = _known_share(read, prior)
    damaged = round(sum(read.damaged) - read.damaged_before * sum(read.fields))
    best = NextPanels((TIMES - 1) * laid, fields, 0.0)
    for more in range(1, (TIMES - 1) * laid + 1):
        allowed = most_damaged((*read.fields, *(fields,) * more), limits, prior) - damaged
        if allowed < 0:
            continue
        chance = float(_total(more, fields, shares)[:, : allowed + 1].sum(axis=1).mean())
        if chance > best.chance:
            best = NextPanels(more, fields, min(chance, 1.0))
        if chance >= LIKELY:
            break
    return best


def _known_share(read: FieldsRead, prior: SharePrior) -> NDArray[np.float64]:
    """Quantiles of the share damaged, evenly in probability."""
    from scipy.special import betaincinv

    number = effective_fields(read.fields)
    excess = sum(read.damaged) / sum(read.fields) - read.damaged_before
    hits = max(excess, 0.0) * number
    at = (np.arange(_SHARES) + 0.5) / _SHARES
    # Half a field each way, where no rating is known: neither 0 nor 1 is taken for certain.
    first = prior.mean * prior.worth or 0.5
    second = (1 - prior.mean) * prior.worth or 0.5
    return np.asarray(betaincinv(first + hits, second + number - hits, at))


def _total(panels: int, fields: int, shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distribution of damaged fields over some panels, for each share."""
    one = _on_a_panel(fields, shares, threshold("panel_correlation"))
    length = panels * fields + 1
    found = np.fft.irfft(np.fft.rfft(one, n=length, axis=1) ** panels, n=length, axis=1)
    return np.asarray(np.clip(found, 0.0, 1.0))


def _on_a_panel(
    fields: int, shares: NDArray[np.float64], correlation: float
) -> NDArray[np.float64]:
    """Chance of each number of damaged fields on one panel, shape (shares, fields + 1)."""
    from scipy.special import betaln, gammaln, xlog1py, xlogy

    hit = np.arange(fields + 1)
    share = np.clip(shares, 1e-12, 1 - 1e-12)[:, None]
    ways = gammaln(fields + 1) - gammaln(hit + 1) - gammaln(fields - hit + 1)
    if correlation == 0:
        logs = xlogy(hit, share) + xlog1py(fields - hit, -share)
    else:
        scale = (1 - correlation) / correlation
        first, second = share * scale, (1 - share) * scale
        logs = betaln(hit + first, fields - hit + second) - betaln(first, second)
    return np.asarray(np.exp(ways + logs))


def _spread(damaged: int, panels: int) -> tuple[int, ...]:
    """Damaged fields spread over panels as evenly as they go."""
    return tuple(damaged // panels + (number < damaged % panels) for number in range(panels))
