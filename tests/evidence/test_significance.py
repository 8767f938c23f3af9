"""Tests of equal means, many zones at once, readings that stand apart, and colour as a clue."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from heritagecheck import tables
from heritagecheck.evidence import colour

# Student (1908), hours of sleep gained under two drugs, the same ten persons.
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def granite(seed, n, mean=(60, 0.6, 3.5)):
    """Readings around a mean, the same for the same seed."""
    return np.random.default_rng(seed).normal(mean, (3.5, 0.65, 1.25), (n, 3))


# Hotelling


def test_with_one_channel_the_paired_test_is_students():
    """T² is the square of the printed t = -4.0621, and p = 0.002833."""
    found = colour.hotelling_paired(SLEEP_1, SLEEP_2)

    assert found.t_squared == pytest.approx(4.0621**2, abs=1e-3)
    assert found.p_value == pytest.approx(0.002833, abs=5e-7)


def test_with_one_channel_the_unequal_test_is_welchs():
    """T² is scipy's t squared, with its degrees of freedom and p-value."""
    found = colour.hotelling_unequal(SLEEP_1, SLEEP_2)
    by_scipy = stats.ttest_ind(SLEEP_1, SLEEP_2, equal_var=False)

    assert found.t_squared == pytest.approx(by_scipy.statistic**2)
    assert found.freedom == pytest.approx(by_scipy.df)
    assert found.p_value == pytest.approx(by_scipy.pvalue)


def test_with_one_channel_the_pooled_test_is_students():
    """T² is scipy's t squared of equal variances."""
    found = colour.hotelling_pooled(SLEEP_1, SLEEP_2)
    by_scipy = stats.ttest_ind(SLEEP_1, SLEEP_2)

    assert found.t_squared == pytest.approx(by_scipy.statistic**2)
    assert found.p_value == pytest.approx(by_scipy.pvalue)


def test_the_unequal_test_is_that_of_the_comparison():
    """`compare` and `hotelling_unequal` never tell two p-values for the same readings."""
    soiled, reference = granite(1, 9, (57, 0.8, 4)), granite(2, 14)

    assert colour.hotelling_unequal(reference, soiled).p_value == pytest.approx(
        colour.compare(soiled, reference).p_value, rel=1e-9
    )


def test_the_paired_test_is_that_of_the_paired_comparison():
    """Nor for paired readings."""
    before = granite(3, 9)
    after = before + granite(4, 9, (1, 0, 0)) / 4

    assert colour.hotelling_paired(before, after).p_value == pytest.approx(
        colour.compare(after, before, paired=True).p_value, rel=1e-9
    )


@given(st.integers(0, 10_000))
def test_a_summary_does_as_well_as_the_readings(seed):
    """Mean, covariance and number tell the tests all they use."""
    first, second = granite(seed, 8), granite(seed + 1, 11)
    told = [colour.Sample(side.mean(axis=0), np.cov(side.T), len(side)) for side in (first, second)]
    for test in (colour.hotelling_pooled, colour.hotelling_unequal):
        assert test(*told).t_squared == pytest.approx(test(first, second).t_squared)


@given(st.integers(0, 10_000), st.sampled_from([0.8, 0.95, 0.99]))
def test_the_critical_value_is_where_the_test_turns(seed, level):
    """T² lies above it exactly when the p-value lies below 1 - level."""
    found = colour.hotelling_unequal(granite(seed, 7), granite(seed + 1, 9, (57, 0.6, 3.5)))

    assert (found.t_squared > found.critical(level)) == (found.p_value < 1 - level)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: colour.hotelling_against(granite(1, 3), [60, 0, 0]), "3 readings of 3 channels"),
        (lambda: colour.hotelling_against(granite(1, 8), [60, 0]), r"mean has shape \(2,\)"),
        (lambda: colour.hotelling_against(np.ones((8, 3)), [1, 1, 1]), "have no spread"),
        (lambda: colour.hotelling_against([[np.nan] * 3] * 8, [1, 1, 1]), "all finite numbers"),
        (lambda: colour.hotelling_paired(granite(1, 8), granite(1, 7)), "of the same spots"),
        (lambda: colour.hotelling_pooled(granite(1, 8), SLEEP_1), "must hold the same channels"),
        (
            lambda: colour.hotelling_unequal(colour.Sample([1, 2], np.eye(3), 9), SLEEP_1),
            r"first: a mean of shape \(2,\) and a covariance of shape \(3, 3\) do not fit",
        ),
        (
            lambda: colour.hotelling_against(granite(1, 8), [60, 0, 0]).critical(95),
            "level = 95: a confidence",
        ),
    ],
)
def test_a_test_without_an_answer_is_refused(ask, message):
    """Too few readings, no spread, channels that do not fit: the error says which."""
    with pytest.raises(ValueError, match=message):
        ask()


# Many zones


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_adjusted_p_values_keep_their_order_and_never_fall(values):
    """Asking more often never makes a finding surer; Bonferroni is the strictest."""
    for method in ("BH", "BY", "Holm", "Bonferroni"):
        found = colour.adjusted_p(values, method)
        assert (found >= np.array(values) - 1e-12).all()
        assert (found <= 1).all()
        assert (np.diff(found[np.argsort(values)]) >= -1e-12).all()
        assert (found <= colour.adjusted_p(values, "Bonferroni") + 1e-12).all() or method == "BY"


def test_holm_is_worked_by_hand():
    """Smallest times 3, then the larger of that and the next times 2, then the last."""
    assert colour.adjusted_p([0.04, 0.01, 0.03], "Holm") == pytest.approx([0.06, 0.03, 0.06])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([],), r"p_values has shape \(0,\): one p-value a zone"),
        (([0.2, 1.2],), "do not lie between 0 and 1"),
        (([0.2, np.nan],), "do not lie between 0 and 1"),
        (([0.2], "FDR"), "method = 'FDR' is not known. Known: BH, BY, Holm, Bonferroni"),
    ],
)
def test_what_is_no_list_of_p_values_is_refused(arguments, message):
    """Nothing, or numbers that are no probabilities, or a method of another name."""
    with pytest.raises(ValueError, match=message):
        colour.adjusted_p(*arguments)


# Readings that stand apart


def test_readings_on_a_vein_are_named_and_nothing_is_dropped():
    """Two of twenty lie far off together: both are shown, every reading keeps its distance."""
    readings = granite(5, 20)
    readings[[3, 11]] = [[38, 7, 15], [39, 7.4, 14]]

    found = colour.outlying(readings)

    assert {3, 11} <= set(found.rows)
    assert len(found.distance) == 20
    assert "4 (" in str(found)
    assert "Look at their spots before leaving any out" in str(found)


def test_clean_sets_are_mostly_left_in_peace():
    """Of 40 sets of 20 normal readings about one in twenty names any; a chi-squared limit, most."""
    sets = [granite(100 + seed, 20) for seed in range(40)]
    found = [colour.outlying(one) for one in sets]
    by_chi = [bool((one.distance**2 > stats.chi2.ppf(0.975, 3)).any()) for one in found]

    assert sum(bool(one.rows) for one in found) <= 7
    assert sum(by_chi) > 20
    assert str(next(one for one in found if not one.rows)) == "None of 20 readings stands apart."


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        (granite(1, 9), "lab holds 9 readings: at least 10 are needed"),
        (np.tile([60, 1, 3], (12, 1)), "lab: in some direction the readings have no spread"),
        (np.ones((12, 2)), "its last axis must hold the three"),
    ],
)
def test_too_few_or_spreadless_readings_have_no_bulk(readings, message):
    """The error says what is missing."""
    with pytest.raises(ValueError, match=message):
        colour.outlying(readings)


# Colour as a clue


def compared(shift, n=40):
    """Zone that lies a given way off its reference, with little doubt."""
    return colour.compare(granite(7, n, np.add((60, 2, 12), shift)), granite(8, n, (60, 2, 12)))


@pytest.mark.parametrize(
    ("shift", "soiling"),
    [
        ((-18, -0.5, -3), "general soiling"),
        ((-5, -6, 7), "algae"),
        ((-5, 7, 12), "iron stain"),
        ((12, -1, -4), "efflorescence"),
    ],
)
def test_a_shift_in_the_midst_of_a_range_fits_it(shift, soiling):
    """A soiling whose every channel is met stands among those that fit, which come first."""
    clues = colour.directions(compared(shift))
    fits = clues[clues["verdict"] == "fits"]["soiling"].tolist()

    assert soiling in fits
    assert clues["verdict"].tolist()[: len(fits)] == ["fits"] * len(fits)


def test_a_shift_the_other_way_lies_outside_and_says_where():
    """Stone that turned redder is no algae, and the reason names the channel and both numbers."""
    clues = colour.directions(compared((-5, 7, 12))).set_index("soiling")

    assert clues.loc["algae", "verdict"] == "outside"
    assert clues.loc["algae", "why"].startswith("a* +")
    assert "usually -10 to -2" in clues.loc["algae", "why"]


def test_where_no_difference_is_shown_nothing_fits():
    """A colour that does not differ is a clue to nothing."""
    readings = granite(7, 12)

    assert set(colour.directions(colour.compare(readings, readings))["verdict"]) <= {
        "overlaps", "outside",
    }  # fmt: skip


def test_ranges_run_from_low_to_high_and_name_a_soiling():
    """Every row says something, of a soiling that a survey can record."""
    for row in tables.rows("colour_directions"):
        ends = [(row[f"{name}_low"], row[f"{name}_high"]) for name in ("dL", "da", "db", "dC")]
        assert row["soiling"] in tables.codes("soilings")
        assert any(low or high for low, high in ends)
        assert all(float(low) < float(high) for low, high in ends if low and high)
