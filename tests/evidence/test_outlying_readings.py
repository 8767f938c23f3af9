"""Readings that lie apart, the test of equal means, and colour as a clue."""

import colour_formulas as formulas
import numpy as np
import pytest
from scipy import stats

from heritagecheck import tables
from heritagecheck.evidence import colour
from heritagecheck.evidence.colour.comparison import directions
from heritagecheck.evidence.colour.reading_sets import outlying

# Student (1908), hours of sleep gained under two drugs, the same ten persons.
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def granite(seed, n, mean=(60, 0.6, 3.5)):
    """Readings around a mean, the same for the same seed."""
    return np.random.default_rng(seed).normal(mean, (3.5, 0.65, 1.25), (n, 3))


# Hotelling


def test_with_one_channel_the_paired_test_is_students():
    """T² is the square of the printed t = -4.0621, and p = 0.002833."""
    found = formulas.hotelling_paired(SLEEP_1, SLEEP_2)

    assert found.t_squared == pytest.approx(4.0621**2, abs=1e-3)
    assert found.p_value == pytest.approx(0.002833, abs=5e-7)


def test_with_one_channel_the_unequal_test_is_welchs():
    """T² is scipy's t squared, with its degrees of freedom and p-value."""
    found = formulas.hotelling_unequal(SLEEP_1, SLEEP_2)
    by_scipy = stats.ttest_ind(SLEEP_1, SLEEP_2, equal_var=False)

    assert found.t_squared == pytest.approx(by_scipy.statistic**2)
    assert found.freedom == pytest.approx(by_scipy.df)
    assert found.p_value == pytest.approx(by_scipy.pvalue)


def test_with_one_channel_the_pooled_test_is_students():
    """T² is scipy's t squared of equal variances."""
    found = formulas.hotelling_pooled(SLEEP_1, SLEEP_2)
    by_scipy = stats.ttest_ind(SLEEP_1, SLEEP_2)

    assert found.t_squared == pytest.approx(by_scipy.statistic**2)
    assert found.p_value == pytest.approx(by_scipy.pvalue)


def test_the_unequal_test_is_that_of_the_comparison():
    """`compare` and `hotelling_unequal` never tell two p-values for the same readings."""
    soiled, reference = granite(1, 9, (57, 0.8, 4)), granite(2, 14)

    assert formulas.hotelling_unequal(reference, soiled).p_value == pytest.approx(
        colour.compare(soiled, reference).p_value, rel=1e-9
    )


def test_the_paired_test_is_that_of_the_paired_comparison():
    """Nor for paired readings."""
    before = granite(3, 9)
    after = before + granite(4, 9, (1, 0, 0)) / 4

    assert formulas.hotelling_paired(before, after).p_value == pytest.approx(
        colour.compare(after, before, paired=True).p_value, rel=1e-9
    )


# Readings that lie apart


def test_readings_on_a_vein_are_named_and_nothing_is_dropped():
    """Two of twenty lie far off together: both are shown, every reading keeps its distance."""
    readings = granite(5, 20)
    readings[[3, 11]] = [[38, 7, 15], [39, 7.4, 14]]

    found = outlying(readings)

    assert {3, 11} <= set(found.rows)
    assert len(found.distance) == 20
    assert "4 (" in str(found)
    assert "Look at their spots before leaving any out" in str(found)


def test_clean_sets_are_mostly_left_in_peace():
    """Of 40 sets of 20 normal readings about one in twenty names any; a chi-squared limit, most."""
    sets = [granite(100 + seed, 20) for seed in range(40)]
    found = [outlying(one) for one in sets]
    by_chi = [bool((one.distance**2 > stats.chi2.ppf(0.975, 3)).any()) for one in found]

    assert sum(bool(one.rows) for one in found) <= 7
    assert sum(by_chi) > 20
    assert str(next(one for one in found if not one.rows)) == "None of 20 readings is an outlier."


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        (granite(1, 9), "lab holds 9 readings: at least 10 are needed"),
        (np.tile([60, 1, 3], (12, 1)), "lab: the readings do not vary in some direction"),
        (np.ones((12, 2)), "its last axis must hold the three"),
    ],
)
def test_too_few_or_spreadless_readings_have_no_bulk(readings, message):
    """The error says what is missing."""
    with pytest.raises(ValueError, match=message):
        outlying(readings)


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
    clues = directions(compared(shift))
    fits = clues[clues["verdict"] == "fits"]["soiling"].tolist()

    assert soiling in fits
    assert clues["verdict"].tolist()[: len(fits)] == ["fits"] * len(fits)


def test_a_shift_the_other_way_lies_outside_and_says_where():
    """Stone that turned redder is no algae, and the reason names the channel and both numbers."""
    clues = directions(compared((-5, 7, 12))).set_index("soiling")

    assert clues.loc["algae", "verdict"] == "outside"
    assert clues.loc["algae", "why"].startswith("a* +")
    assert "usually -10 to -2" in clues.loc["algae", "why"]


def test_where_no_difference_is_shown_nothing_fits():
    """A colour that does not differ is a clue to nothing."""
    readings = granite(7, 12)

    assert set(directions(colour.compare(readings, readings))["verdict"]) <= {
        "overlaps", "outside",
    }  # fmt: skip


def test_ranges_run_from_low_to_high_and_name_a_soiling():
    """Every row says something, of a soiling that a survey can record."""
    for row in tables.rows("colour_directions"):
        ends = [(row[f"{name}_low"], row[f"{name}_high"]) for name in ("dL", "da", "db", "dC")]
        assert row["soiling"] in tables.codes("soilings")
        assert any(low or high for low, high in ends)
        assert all(float(low) < float(high) for low, high in ends if low and high)
