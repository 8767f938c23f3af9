"""The interval of a colour difference: its coverage, its limits, and what it must never say."""

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from tiers import examples, some_of, two_sizes

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour import interval as _interval

# Granite through a small aperture; L*, a*, b* go together.
SD = np.array([3.5, 0.65, 1.25])
ALIKE = np.array([[1, -0.3, 0.4], [-0.3, 1, 0.3], [0.4, 0.3, 1]])
GRANITE = SD[:, None] * ALIKE * SD
BASE = np.array([62.0, 0.6, 3.5])
SAME_SPOT = 0.6


def partner(direction, true):
    """Colour at a given CIEDE2000 from the base, found by halving."""
    near, far = 0.0, 60.0
    for _ in range(60):
        middle = (near + far) / 2
        inside = colour.delta_e(BASE, BASE + middle * np.array(direction)) < true
        near, far = (middle, far) if inside else (near, middle)
    return BASE + near * np.array(direction)


def surveys(seed, soiled, n_soiled, n_reference, count, paired=False):
    """Readings of many surveys of granite, shapes (count, n, 3): soiled, reference."""
    source = np.random.default_rng(seed)
    by_reference = source.standard_normal((count, n_reference, 3))
    by_soiled = source.standard_normal((count, n_soiled, 3))
    if paired:
        by_soiled = SAME_SPOT * by_reference + np.sqrt(1 - SAME_SPOT**2) * by_soiled
    root = np.linalg.cholesky(GRANITE).T
    return soiled + np.sqrt(1.3) * by_soiled @ root, BASE + by_reference @ root


def covariances(first, second):
    """Covariance of many sets of readings with others of the same spots."""
    off_1, off_2 = (side - side.mean(axis=1, keepdims=True) for side in (first, second))
    return np.einsum("sni,snj->sij", off_1, off_2) / (first.shape[1] - 1)


def many(soiled, reference, paired, level, *, plain=False):
    """Value, low and high for many surveys at once, shape (3, surveys)."""
    n_soiled, n_reference = soiled.shape[1], reference.shape[1]
    first, second = reference.mean(axis=1), soiled.mean(axis=1)
    of_first = covariances(reference, reference) / n_reference
    of_second = covariances(soiled, soiled) / n_soiled
    if paired:
        between = covariances(reference, soiled) / n_soiled
        pairs = _interval.paired(first, second, (of_first, of_second, between), n_soiled - 1)
    else:
        freedom = (n_reference - 1, n_soiled - 1)
        pairs = _interval.unpaired(first, second, of_first, of_second, freedom)
    return _interval.intervals(pairs, level, plain=plain).T


# Coverage: the truth is known, as the readings are drawn around it.


LIGHTNESS, YELLOW, SOOT = (-1, 0, 0), (0, 0, 1), (-1, 0.25, 0.6)


LEVELS = (0.90, 0.95)
# Every distance, direction and pairing once, both levels with each; nothing lies in no direction.
CLAIMED = [(0, LIGHTNESS, *rest) for rest in product((False, True), LEVELS)] + [
    (true, direction, paired, LEVELS[(far + way + paired) % 2])
    for (far, true), (way, direction), paired in product(
        enumerate((1, 3, 10)), enumerate((LIGHTNESS, YELLOW, SOOT)), (False, True)
    )
]


@pytest.mark.parametrize(
    ("true", "direction", "paired", "level"),
    some_of(CLAIMED, short=[(0, LIGHTNESS, False, 0.95), (10, LIGHTNESS, True, 0.95)]),
)
def test_ten_readings_a_side_hold_the_truth_as_often_as_they_claim(true, direction, paired, level):
    """Within 2 points of the claim, and 3 standard errors of 1,000 surveys; never too rarely."""
    drawn = surveys([true, int(paired)], partner(direction, true), 10, 10, 1_000, paired)

    _, low, high = many(*drawn, paired, level)
    held = np.mean((low <= true + 1e-9) & (true <= high))
    chance = 3 * np.sqrt(level * (1 - level) / 1_000)

    assert held >= level - 0.02 - chance
    # Near 0 nothing shorter can hold the truth at the same time, so there more is no fault.
    assert true <= 1 or held <= level + 0.02 + chance


@pytest.mark.parametrize(
    ("true", "paired"),
    some_of(product([0, 3, 10], [False, True]), short=[(3, True)]),
)
def test_five_readings_a_side_claim_hardly_too_much(true, paired):
    """At most 3 points below the claim of 95 %, and 3 standard errors of 1,000 surveys."""
    drawn = surveys([true, 5], partner((0, 1, -0.4), true), 5, 5, 1_000, paired)

    _, low, high = many(*drawn, paired, 0.95)

    assert np.mean((low <= true + 1e-9) & (true <= high)) >= 0.95 - 0.03 - 0.021


def test_unequal_numbers_hold_the_truth_too():
    """Twelve readings against twenty-four, a difference of 3 in lightness."""
    drawn = surveys(12, partner((-1, 0, 0), 3), 12, 24, 1_000)

    _, low, high = many(*drawn, False, 0.95)

    assert abs(np.mean((low <= 3) & (high >= 3)) - 0.95) <= 0.02 + 0.021


@pytest.mark.parametrize("true", some_of([0, 3], short=[3]))
def test_the_plain_difference_has_its_coverage_too(true):
    """ΔE*ab by the same method, 95 % claimed, 1,000 surveys of ten readings a side."""
    drawn = surveys([76, true], BASE - [true, 0, 0], 10, 10, 1_000)

    _, low, high = many(*drawn, False, 0.95, plain=True)

    assert abs(np.mean((low <= true + 1e-9) & (true <= high)) - 0.95) <= 0.02 + 0.021


def test_a_percentile_bootstrap_never_holds_a_true_zero():
    """Why it is not the method: none of 50 surveys of one and the same granite holds 0."""
    source = np.random.default_rng(1)
    held = 0
    for soiled, reference in zip(*surveys(3, BASE, 10, 10, 50), strict=True):
        means = [
            side[source.integers(0, 10, (500, 10))].mean(axis=1) for side in (soiled, reference)
        ]
        held += np.quantile(colour.delta_e(*means), 0.025) <= 0

    assert held == 0


# Known cases


def test_far_from_zero_the_interval_is_welchs():
    """Stone that varies in lightness alone: ΔE*ab has the t interval of L*, to 3 % of its width."""
    source = np.random.default_rng(11)
    reference = source.normal([60, 1, 5], [2, 0.01, 0.01], (12, 3))
    soiled = source.normal([40, 1, 5], [3, 0.01, 0.01], (16, 3))
    found = colour.compare(soiled, reference)
    by_scipy = stats.ttest_ind(reference[:, 0], soiled[:, 0], equal_var=False)
    expected = by_scipy.confidence_interval(0.95)

    allowed = 0.03 * (expected.high - expected.low)
    assert found.delta_e_ab.low == pytest.approx(expected.low, abs=allowed)
    assert found.delta_e_ab.high == pytest.approx(expected.high, abs=allowed)
    assert found.delta_e_ab.low <= expected.low
    assert found.delta_e_ab.high >= expected.high


@pytest.mark.parametrize(("channel", "name"), [(0, "dL"), (1, "da"), (2, "db")])
def test_parts_along_the_axes_have_welchs_interval(channel, name):
    """ΔL*, Δa*, Δb* with standard error and freedom as scipy's test of unequal variances."""
    soiled, reference = (side[0] for side in surveys(5, BASE - [4, 0, 1], 9, 14, 1))
    part = getattr(colour.compare(soiled, reference, 0.9), name)
    by_scipy = stats.ttest_ind(soiled[:, channel], reference[:, channel], equal_var=False)

    assert part.value / part.standard_error == pytest.approx(by_scipy.statistic)
    assert part.degrees_of_freedom == pytest.approx(by_scipy.df)
    assert (part.low, part.high) == pytest.approx(tuple(by_scipy.confidence_interval(0.9)))


def test_paired_parts_have_the_paired_interval():
    """Δb* of the same spots, as scipy's paired t."""
    soiled, reference = (side[0] for side in surveys(6, BASE, 8, 8, 1, paired=True))
    part = colour.compare(soiled, reference, paired=True).db
    by_scipy = stats.ttest_rel(soiled[:, 2], reference[:, 2])

    assert (part.low, part.high) == pytest.approx(tuple(by_scipy.confidence_interval(0.95)))
    assert part.degrees_of_freedom == pytest.approx(7)


def test_chroma_of_stone_with_one_hue_has_welchs_interval():
    """Where a* is 0 throughout, to a hundredth, ΔC* is Δb*, and ΔH* is next to nothing."""
    source = np.random.default_rng(8)
    soiled = source.normal([50, 0, 14], [3, 0.01, 1], (12, 3))
    reference = source.normal([60, 0, 8], [3, 0.01, 1], (12, 3))
    found = colour.compare(soiled, reference)

    assert (found.dC.low, found.dC.high) == pytest.approx((found.db.low, found.db.high), abs=1e-3)
    assert abs(found.dH.value) < 0.02


@given(st.integers(0, 1_000), st.floats(12, 22))
@settings(max_examples=examples(15, long=40))
def test_the_ends_lie_between_the_plain_and_the_joint_ellipsoid(seed, shift):
    """Two thousand pairs as far off as Student's t allows, and Hotelling's, enclose each end."""
    (soiled,), (reference,) = surveys(seed, BASE - [shift, 0, 0], 10, 10, 1)
    found = colour.compare(soiled, reference, 0.95)
    of_soiled, of_reference = (np.cov(side.T) / 10 for side in (soiled, reference))
    total = of_soiled + of_reference
    steps = np.random.default_rng(seed).normal(size=(2_000, 3))
    steps /= np.linalg.norm(steps, axis=-1, keepdims=True)

    def extremes(squared):
        moved = np.linalg.solve(total, (np.sqrt(squared) * steps @ np.linalg.cholesky(total).T).T).T
        values = colour.delta_e(
            reference.mean(axis=0) - moved @ of_reference, soiled.mean(axis=0) + moved @ of_soiled
        )
        return values.min(), values.max()

    near, far = (
        extremes(stats.t.ppf(0.975, 18) ** 2),
        extremes(3 * 18 / 16 * stats.f.ppf(0.95, 3, 14)),
    )
    assert found.high >= near[1] - 0.05
    assert found.high <= far[1] + 0.3
    assert found.low == 0 or far[0] - 0.3 <= found.low <= near[0] + 0.2


def test_one_survey_and_many_at_once_agree():
    """What the simulations test is what `compare` gives, paired or not."""
    for paired in (False, True):
        soiled, reference = surveys(9, BASE - [3, 0, 0], 10, 10, 3, paired)
        at_once = many(soiled, reference, paired, 0.95).T
        for one, two, row in zip(soiled, reference, at_once, strict=True):
            found = colour.compare(one, two, paired=paired)
            assert (found.delta_e, found.low, found.high) == pytest.approx(tuple(row), abs=1e-9)


# What must hold whatever the readings


@given(st.integers(0, 10_000))
def test_the_order_of_the_readings_does_not_matter(seed):
    """Rows may be shuffled, on either side by itself, or on both alike where they are paired."""
    (soiled,), (reference,) = surveys(seed, BASE - [2, 0, 0], 8, 8, 1)
    order = np.random.default_rng(seed).permutation(8)
    for there, back in (
        (colour.compare(soiled, reference), colour.compare(soiled[order], reference)),
        (
            colour.compare(soiled, reference, paired=True),
            colour.compare(soiled[order], reference[order], paired=True),
        ),
    ):
        for name in ("delta_e", "low", "high", "p_value"):
            assert getattr(there, name) == pytest.approx(getattr(back, name), abs=1e-6)


@given(st.integers(0, 10_000))
def test_a_systematic_error_widens_the_interval_and_weakens_the_test(seed):
    """What a photograph's calibration adds is never taken away again."""
    (soiled,), (reference,) = surveys(seed, BASE - [6, 0, 0], 12, 12, 1)
    plain = colour.compare(soiled, reference)
    doubted = colour.compare(soiled, reference, systematic=np.diag([9.0, 1.0, 1.0]))

    assert doubted.p_value > plain.p_value
    assert doubted.high > plain.high
    assert doubted.low <= plain.low
    assert doubted.dL.high - doubted.dL.low > plain.dL.high - plain.dL.low


@pytest.mark.parametrize("count", two_sizes(100, 400))
def test_a_systematic_error_is_covered(count):
    """Both sides off by an error of known spread: 95 % hold the truth, to 3 standard errors."""
    spread = np.diag([4.0, 0.25, 1.0])
    source = np.random.default_rng(4)
    off = source.multivariate_normal(np.zeros(3), spread, count)
    soiled, reference = surveys(10, partner((-1, 0, 0), 10), 12, 12, count)
    held = 0
    for one, two in zip(soiled + off[:, None], reference, strict=True):
        found = colour.compare(one, two, systematic=spread)
        held += found.low <= 10 <= found.high

    assert abs(held / count - 0.95) <= 0.02 + 3 * np.sqrt(0.95 * 0.05 / count)


def test_pairing_helps_where_spots_are_alike():
    """The same spots before and after a small change: only the paired interval shows it."""
    source = np.random.default_rng(2)
    before = source.normal(BASE, SD, (10, 3))
    after = before + source.normal([1.5, 0, 0], [0.3, 0.1, 0.1], (10, 3))

    assert colour.compare(after, before).low == 0
    assert colour.compare(after, before, paired=True).low > 0.5


@given(st.integers(0, 10_000), st.floats(-8, 8))
@settings(max_examples=examples(15, long=40))
def test_more_of_a_threshold_is_never_more_visible(seed, shift):
    """The confidence falls as the threshold rises, and fits the interval."""
    (soiled,), (reference,) = surveys(seed, BASE + np.array([shift, 0, 0]), 10, 12, 1)
    found = colour.compare(soiled, reference)
    seen = [found.probability_visible(limit) for limit in (0.5, 1.8, 4, 9, 25)]

    assert all(0 <= one <= 1 for one in seen)
    assert all(low <= high + 0.02 for high, low in pairwise(seen))
    if found.low > 0.5:
        assert seen[0] > 0.85
    if found.high < 25:
        assert seen[-1] < 0.15


@pytest.mark.long
def test_of_zones_just_at_the_threshold_one_in_twenty_is_called_visible():
    """Over 300 surveys at a true 3.0, at most a share of 0.05 + 0.02 + chance gets above 0.95."""
    soiled, reference = surveys(21, partner((-1, 0, 0), 3), 10, 10, 300)
    called = [
        colour.compare(one, two).probability_visible(3.0) > 0.95
        for one, two in zip(soiled, reference, strict=True)
    ]

    assert np.mean(called) <= 0.05 + 0.02 + 3 * np.sqrt(0.05 * 0.95 / 300)


# Bad input

GOOD = surveys(1, BASE, 6, 6, 1)[0][0]


@pytest.mark.parametrize(
    ("soiled", "options", "message"),
    [
        (GOOD[:5], {"paired": True}, "holds 5 readings but lab_reference 6: paired readings"),
        (GOOD + np.array([1, 0, 0]), {"paired": True}, "differ in the same way at every spot"),
        (GOOD, {"systematic": [1, 1, 1]}, r"systematic has shape \(3,\): a covariance of"),
        (GOOD, {"systematic": np.full((3, 3), np.nan)}, "shape .3, 3. and finite values"),
        (GOOD, {"systematic": -np.eye(3)}, "systematic is not a covariance: it must be symmetric"),
        (GOOD, {"systematic": np.eye(3) + np.eye(3, k=1)}, "systematic is not a covariance"),
    ],
)
def test_what_cannot_be_paired_or_doubted_is_refused(soiled, options, message):
    """Pairs need the same spots and a spread of their differences; an error needs a covariance."""
    with pytest.raises(ValueError, match=message):
        colour.compare(soiled, GOOD, **options)


@pytest.mark.parametrize("limit", [0, -1, np.nan, np.inf])
def test_a_threshold_is_a_number_above_zero(limit):
    """What differs by nothing cannot be seen, nor what differs by no number."""
    found = colour.compare(GOOD + np.array([3, 0, 0]), GOOD)

    with pytest.raises(ValueError, match=r"threshold_delta_e = .* finite number above 0"):
        found.probability_visible(limit)
