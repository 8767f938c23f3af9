"""Share of ×50 fields that a setting damages: observed, and how much may have been missed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.sentences import count_of
from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables import threshold

NORMAL_GRID = np.linspace(-5, 5, 161)  # standard normal values; draws lie between them
# Damage that may be seen on a few fields; of every other kind none is allowed.
MILD_DAMAGE = frozenset({"grains", "heat_tint", "oxide_lost"})
LEVEL = 0.95  # one-sided confidence of every bound here
GOOD_SHARE = 0.01  # a setting that damages so few is to pass
LIKELY = 0.8  # a plan is to pass it so often
HOPELESS = 0.05  # a chance below this is none worth a panel
TIMES = 5  # largest plan considered, as a multiple of the panels laid
_MOST_PANELS = 60
_MOST_SPOTS = 10_000_000  # more than any survey reads: beyond it the question was mistyped
_SHARES = 64  # quantiles of what is known of the share


class DamageLimits(NamedTuple):
    """
    What was agreed for one significance: upper bound of the share damaged, and share seen.

    `begins` is the share at which damage is taken to begin, for the margin: one for all grades.
    """

    bound: float
    seen: float
    begins: float


# The one limit wherever no team agreed another. Common practice asks for two or three panels, and
# so few can't show less.
NO_POLICY = DamageLimits(bound=0.25, seen=0.05, begins=0.25)


def agreed_damage(agreed: AgreedPolicy) -> dict[str, DamageLimits]:
    """What a team agreed of damage, by significance."""
    # A policy with a single limit has it at every significance, and allows no visible damage.
    medium, high = agreed.damage_limit_medium, agreed.damage_limit_high
    seen, seen_high = agreed.damage_seen, agreed.damage_seen_high
    if medium is None or high is None or seen is None or seen_high is None:
        one = DamageLimits(agreed.damage_limit, 0.0, agreed.damage_limit)
        return dict.fromkeys(("high", "medium", "low"), one)
    begins = agreed.damage_limit
    return {
        "high": DamageLimits(high, seen_high, begins),
        "medium": DamageLimits(medium, seen, begins),
        "low": DamageLimits(begins, seen, begins),
    }


class SharePrior(NamedTuple):
    """
    Share of fields damaged that is expected before any panel, and how much that counts.

    `worth` is the number of independent fields that it counts as; `why` says what it rests on.
    """

    mean: float
    worth: float
    why: str


NO_PRIOR = SharePrior(0.0, 0.0, "")


@dataclass(frozen=True, slots=True)
class FieldsRead:
    """
    Fields read on the panels of one series, and how many of them are damaged.

    `before` holds the same for fields read before treatment, or on the control: damaged in all, at
    most as many as if panels weighed as they do after, and fields of each panel; None where not
    every panel has them.
    """

    damaged: tuple[int, ...]
    fields: tuple[int, ...]
    before: tuple[int, tuple[int, ...]] | None = None

    @property
    def damaged_before(self) -> float:
        """Lower bound of the share that was damaged without the treatment; 0 where not read."""
        if self.before is None:
            return 0.0
        damaged, fields = self.before
        return damage_share_lower(damaged, fields)

    @property
    def seen_before(self) -> float:
        """
        Share that is taken off the share seen: what was seen before, if read as thoroughly.

        A panel with fewer fields before than after could excuse much by chance, so then only what
        was surely there is taken off.
        """
        if self.before is None:
            return 0.0
        damaged, fields = self.before
        as_many = len(fields) == len(self.fields) and all(
            before >= after for before, after in zip(fields, self.fields, strict=True)
        )
        return damaged / sum(fields) if as_many else self.damaged_before

    @property
    def seen(self) -> float:
        """Share of fields damaged in excess of what was seen before, from 0 to 1."""
        return max(sum(self.damaged) / sum(self.fields) - self.seen_before, 0.0)

    @property
    def upper(self) -> float:
        """Upper bound of the share that the treatment damages, by these panels alone."""
        return excess_upper(sum(self.damaged), self.fields, self.before)

    def upper_given(self, prior: SharePrior) -> float:
        """Upper bound with what was known before the panels, which can only raise it."""
        from scipy.special import betaincinv

        number = effective_fields(self.fields)
        hits = sum(self.damaged) * number / sum(self.fields)
        known = betaincinv(
            prior.mean * prior.worth + hits,
            (1 - prior.mean) * prior.worth + number - hits,
            LEVEL,
        )
        return max(self.upper, float(known) - self.damaged_before)

    def apart(self, limit: float) -> int | None:
        """The worst panel that by itself is shown to be damaged beyond a limit; None if none."""
        # The exact lower bound of one panel's own share, less what was surely there before, for
        # each panel at 5 % over the number of panels. A mean over panels would hide such a place.
        # Damage that only lies closer together than chance is no such place: panels differ, and
        # the bound of the mean counts with that (`panel_correlation`).
        sure = 1 - (1 - LEVEL) / len(self.fields)
        shown = [
            lower_bound(hit, count, sure) if hit else 0.0
            for hit, count in zip(self.damaged, self.fields, strict=True)
        ]
        worst = max(range(len(shown)), key=shown.__getitem__)
        return worst if shown[worst] - self.damaged_before > limit else None


def effective_fields(fields: Sequence[int]) -> float:
    """How many independent fields the fields on several panels are worth."""
    correlation = threshold("panel_correlation")
    return sum(n / (1 + (n - 1) * correlation) for n in fields if n)


def damage_share_upper(damaged: int, fields: Sequence[int], level: float = LEVEL) -> float:
    """Upper bound of the share of ×50 fields damaged, one-sided at `level`."""
    # Exact binomial bound (C. J. Clopper, E. S. Pearson, Biometrika 26(4):404-413, 1934) on an
    # effective number of fields: fields of one panel are alike, so n fields on a panel count as n
    # / (1 + (n - 1) r) (design effect: L. Kish, "Survey Sampling," Wiley, 1965), with the rated
    # correlation r of `tables/thresholds.csv`. No damage in few fields is weak evidence: the
    # bound says how weak. It does not say that fields elsewhere are like those read.
    from scipy.special import betaincinv

    hits, number = _hits(damaged, fields)
    if hits >= number:
        return 1.0
    return float(betaincinv(hits + 1, number - hits, level))


def damage_share_lower(damaged: int, fields: Sequence[int], level: float = LEVEL) -> float:
    """Lower bound of the share of ×50 fields damaged; the mirror of `damage_share_upper`."""
    from scipy.special import betaincinv

    hits, number = _hits(damaged, fields)
    if not damaged:
        return 0.0
    return float(betaincinv(hits, number - hits + 1, 1 - level))


def excess_upper(
    damaged: int, fields: Sequence[int], before: tuple[int, Sequence[int]] | None
) -> float:
    """Upper 95 % bound of the share of fields damaged, beyond what was there before."""
    # Interval of a difference of two shares from the interval of each, here the clustered exact
    # bounds (method of variance estimates recovery: R. G. Newcombe, Statistics in Medicine 17,
    # 873-890, 1998; A. Donner, G. Y. Zou, Statistical Methods in Medical Research 21(4), 347-359,
    # 2012). It never lies below the share damaged after treatment less the lower bound of the
    # share before: a few fields read before, and damaged by chance, excuse little.
    upper = damage_share_upper(damaged, fields)
    if before is None:
        return upper
    share, share_before = damaged / sum(fields), before[0] / sum(before[1])
    below = share_before - damage_share_lower(*before)
    return max(share - share_before + math.hypot(upper - share, below), 0.0)


def damage_share_draws(
    damaged: int, fields: Sequence[int], z: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Simulated shares of fields damaged at normal draws z (Jeffreys posterior)."""
    return np.asarray(np.interp(z, NORMAL_GRID, _share_quantiles(*_hits(damaged, fields))))


@lru_cache(maxsize=256)
def _share_quantiles(hits: float, number: float) -> NDArray[np.float64]:
    """Quantiles of the Jeffreys posterior of a share at `NORMAL_GRID`."""
    from scipy.special import betaincinv, ndtr

    return np.asarray(betaincinv(hits + 0.5, number - hits + 0.5, ndtr(NORMAL_GRID)))


def _hits(damaged: int, fields: Sequence[int]) -> tuple[float, float]:
    """Damaged fields and fields read, both as independent fields; refuse what can't be."""
    if not sum(fields):
        raise ValueError("No field was read at ×50, so no share of damage can be given.")
    if damaged > sum(fields):
        raise ValueError(f"{damaged} damaged fields can't be among {sum(fields)} fields read.")
    number = effective_fields(fields)
    return damaged * number / sum(fields), number


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
        count = self.may_be_damaged
        allowed = (
            f"with up to {count_of(count, 'damaged field')} in all"
            if count
            else "with none damaged"
        )
        likely = (
            ""
            if self.likely == self.least
            else f". Or {self.likely} such panels, {allowed}; a setting that damages "
            f"{100 * GOOD_SHARE:g} % of fields is then likely to pass"
        )
        return (
            f"{self.least} panels with {self.fields} fields at ×50 on each, if no field is "
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
        """Whether even four times the panels laid would hardly ever pass."""
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
    """Plan how many panels with so many ×50 fields a trial needs."""
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
        f"{100 * limits.bound:g} %: read more fields on each, or agree on another limit."
    )


def chance_to_pass(
    fields: Sequence[int],
    share: float,
    limits: DamageLimits,
    *,
    correlation: float,
    prior: SharePrior = NO_PRIOR,
) -> float:
    """Chance that panels meet what was agreed of damage, if the setting damages a known share."""
    allowed = most_damaged(tuple(fields), limits, prior)
    if allowed < 0:
        return 0.0
    total = np.ones(1)
    for count in fields:
        total = np.convolve(total, _on_a_panel(count, np.array([share]), correlation)[0])
    return float(total[: allowed + 1].sum())


@lru_cache(maxsize=512)
def most_damaged(fields: tuple[int, ...], limits: DamageLimits, prior: SharePrior) -> int:
    """How many fields may be damaged and panels still meet what was agreed; -1 if not even 0."""
    allowed = -1
    for damaged in range(int(limits.seen * sum(fields)) + 1):
        read = FieldsRead(_spread(damaged, len(fields)), fields)
        if not meets(read, limits, prior):
            break
        allowed = damaged
    return allowed


def meets(read: FieldsRead, limits: DamageLimits, prior: SharePrior) -> bool:
    """Whether the fields read meet the limits agreed: share seen, and its bound."""
    return read.seen <= limits.seen and read.upper_given(prior) <= limits.bound


# The same panels count for every zone of their bed.
@lru_cache(maxsize=256)
def next_panels(read: FieldsRead, limits: DamageLimits, prior: SharePrior) -> NextPanels:
    """Fewest further panels that meet what was agreed with a chance of 80 %."""
    # Where none do, those up to four times the panels laid whose chance is best. The share of
    # fields damaged is known as well as the fields read and the prior say (a beta distribution);
    # the next panels are simulated with fields that are alike as rated (`panel_correlation`).
    # Damage on one panel by itself, ageing and the rest of gate 7 are not in this chance.
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


# -- A share counted on spots that were read independently -----------------------------------------


# The bounds are those of scipy.stats.binomtest (Clopper and Pearson, Biometrika 26(4), 404-413,
# 1934), straight from its special functions: its search for a root has fewer digits, and its import
# takes a second of the first assessment.


def upper_bound(events: int, count: int, level: float = 0.95) -> float:
    """Exact one-sided upper bound of a share: how large it may still be."""
    # The spots are read independently: those of one panel resemble one another, and counted as if
    # they did not, they look surer than they are.
    from scipy.special import betaincinv

    level = _checked(events, count, level)
    if events == 0:
        # About 3/n at 95 %: no damage is not no risk (Hanley and Lippman-Hand 1983).
        return -math.expm1(math.log1p(-level) / count)
    return 1.0 if events == count else float(betaincinv(events + 1, count - events, level))


def lower_bound(events: int, count: int, level: float = 0.95) -> float:
    """Exact one-sided lower bound of a share: how large it is at least."""
    return 1 - upper_bound(count - events, count, level)


def count_needed(share: float, level: float = 0.95) -> int:
    """Spots to read without damage before it is shown to be rarer than a given share."""
    # The plan is fixed before reading: who adds spots until the number pleases gets a bound that
    # is too low.
    if not 0 < share < 1:
        raise ValueError(f"share = {share:g}: it lies between 0 and 1; 1 % is 0.01.")
    _checked(0, 1, level)
    # The bound of `upper_bound` reaches the share where (1 - share)^n = 1 - level.
    count = math.ceil(math.log1p(-level) / math.log1p(-share) - 1e-9)
    if count > _MOST_SPOTS:
        raise ValueError(
            f"share = {share:g} would take more than ten million spots. Was it given in %?"
        )
    return count


def _checked(events: int, count: int, level: float) -> float:
    """Return the level, once events, count and level make sense together."""
    for name, value in (("events", events), ("count", count)):
        if not (math.isfinite(value) and value == int(value) and value >= 0):
            raise ValueError(f"{name} = {value:g}: it must be a whole number of 0 or more.")
    if count < 1:
        raise ValueError("count = 0: nothing was read, so no share can be given.")
    if events > count:
        raise ValueError(f"events = {events} can't be more than count = {count}.")
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: it lies between 0 and 1, such as 0.95.")
    return float(level)
