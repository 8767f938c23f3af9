"""Colour differences, their parts, and the comparison of two sets of readings."""

import subprocess
import sys
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour.colour_difference import components, plain_chroma, plain_hue_deg
from heritagecheck.evidence.colour.reading_sets import natural_outline, readings_needed

FORMULAS = ("CIEDE2000", "CIE76", "CIE94", "CMC")
labs = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))

SOILED = np.array(
    [[41.2, 1.8, 7.9], [43.0, 1.5, 8.8], [39.7, 2.0, 7.1], [42.1, 1.7, 8.9], [40.4, 1.9, 7.2]]
)
# The eight readings of the same name in stats_colour_readings.csv of the reference tables (MC-A).
SHELTERED = np.array(
    [
        [57.1, 1.2, 7.6],
        [58.4, 0.9, 8.1],
        [55.9, 1.5, 7.2],
        [60.2, 0.7, 8.4],
        [56.6, 1.4, 7.9],
        [59.3, 1.0, 7.0],
        [57.8, 1.1, 8.8],
        [54.7, 1.6, 7.4],
    ]
)
# LAB1 of stats_two_sample.csv of the reference tables: invented readings, values worked there.
LAB1_A = np.array(
    [
        [48.1, 1.9, 8.3],
        [47.3, 2.2, 8.9],
        [49.6, 1.7, 7.9],
        [46.8, 2.4, 9.1],
        [48.9, 1.8, 8.0],
        [47.7, 2.1, 8.6],
    ]
)
LAB1_B = np.array(
    [
        [49.7, 1.6, 8.1],
        [48.2, 1.9, 8.8],
        [50.9, 1.4, 7.7],
        [49.1, 1.8, 8.4],
        [50.3, 1.5, 7.8],
        [48.8, 1.7, 8.6],
        [49.9, 1.6, 8.2],
    ]
)


def readings(seed, mean, sd=(1.5, 0.3, 0.8), count=10):
    """Draw readings around a mean, the same for the same seed."""
    return np.random.default_rng(seed).normal(mean, sd, (count, 3))


# Colour differences


def test_a_difference_in_lightness_alone_is_its_number_in_cie76():
    """10 units of L* are 10 units of CIE76."""
    assert colour.delta_e([50, 0, 0], [60, 0, 0], "CIE76") == 10


def test_ciede2000_of_greys_is_worked_by_hand():
    """L* 50 and 60, no chroma: 10 / (1 + 0.015 * 25 / sqrt(20 + 25))."""
    expected = 10 / (1 + 0.015 * 25 / np.sqrt(45))

    assert colour.delta_e([50, 0, 0], [60, 0, 0]) == pytest.approx(expected, abs=1e-12)


def test_k_l_of_two_halves_what_lightness_contributes():
    """For greys the whole difference is lightness, so kL = 2 halves it."""
    plain = colour.delta_e([50, 0, 0], [60, 0, 0])

    assert colour.delta_e([50, 0, 0], [60, 0, 0], k_l=2) == pytest.approx(plain / 2, abs=1e-12)
    assert colour.delta_e([50, 0, 0], [60, 0, 0], "CIE94", k_l=2) == pytest.approx(5, abs=1e-12)


def test_cie94_divides_by_the_chroma_of_the_reference():
    """From C* 20 to 40 at one hue: 20 / (1 + 0.045 * 20); the other way 20 / (1 + 0.045 * 40)."""
    assert colour.delta_e([50, 20, 0], [50, 40, 0], "CIE94") == pytest.approx(20 / 1.9)
    assert colour.delta_e([50, 40, 0], [50, 20, 0], "CIE94") == pytest.approx(20 / 2.8)


def test_textile_weights_bring_their_own_k_l():
    """K1 = 0.048 for chroma; kL = 2 for lightness whether k_l is left at 1 or says 2."""
    stronger = colour.delta_e([50, 20, 0], [50, 40, 0], "CIE94", textiles=True)
    lighter = [
        colour.delta_e([50, 0, 0], [60, 0, 0], "CIE94", textiles=True, k_l=k) for k in (1, 2)
    ]

    assert stronger == pytest.approx(20 / 1.96)
    assert lighter == [5, 5]


def test_cmc_of_dark_greys_uses_its_fixed_weight():
    """Below L* 16 the weight is 0.511: 2 / (2 * 0.511), and 2 / 0.511 for l = 1."""
    assert colour.delta_e([10, 0, 0], [12, 0, 0], "CMC") == pytest.approx(2 / 1.022)
    assert colour.delta_e([10, 0, 0], [12, 0, 0], "CMC", cmc=(1, 1)) == pytest.approx(2 / 0.511)


def test_opposite_hues_take_the_printed_branch_whatever_the_last_bit_says():
    """Pairs 10 and 14 of Sharma, Wu and Dalal 2005 come out as printed, in either order."""
    pairs = (([50, 2.49, -0.001], [50, -2.49, 0.001]), ([50, -0.001, 2.49], [50, 0.001, -2.49]))
    for (first, second), printed in zip(pairs, (7.1792, 4.8045), strict=True):
        assert colour.delta_e(first, second) == pytest.approx(printed, abs=5e-5)
        assert colour.delta_e(second, first) == pytest.approx(printed, abs=5e-5)


def test_shapes_are_broadcast():
    """A map of 4 x 5 colours against one colour gives a map of 4 x 5 differences."""
    lab_map = np.linspace(0, 60, 60).reshape(4, 5, 3)
    for formula in FORMULAS:
        assert colour.delta_e(lab_map, [50, 0, 5], formula).shape == (4, 5)
        assert colour.delta_e([50, 0, 5], lab_map, formula)[2, 3] == pytest.approx(
            float(colour.delta_e([50, 0, 5], lab_map[2, 3], formula))
        )


@given(labs, labs)
def test_ciede2000_and_cie76_do_not_mind_the_order(first, second):
    """The two colours may trade places."""
    for formula in ("CIEDE2000", "CIE76"):
        there = colour.delta_e(first, second, formula)
        back = colour.delta_e(second, first, formula)
        assert there == pytest.approx(float(back), rel=1e-9, abs=1e-9)


@given(labs)
def test_a_colour_does_not_differ_from_itself(lab):
    """Zero at identity, in every formula."""
    for formula in FORMULAS:
        assert colour.delta_e(lab, lab, formula) == 0


@given(arrays(float, (3, 3), elements=st.floats(0, 100)), labs)
def test_cie76_is_the_plain_distance(several, lab):
    """CIE76 is the length of the line between the colours."""
    expected = np.linalg.norm(several - np.array(lab), axis=-1)

    assert colour.delta_e(several, lab, "CIE76") == pytest.approx(expected, abs=1e-9)


@given(labs, labs)
def test_the_parts_add_up_in_squares(first, second):
    """CIE76² = dL² + dC² + dH² = dL² + da² + db²; dH turns its sign with the order."""
    part, back = components(first, second), components(second, first)
    square = colour.delta_e(first, second, "CIE76") ** 2

    assert part.dL**2 + part.dC**2 + part.dH**2 == pytest.approx(float(square), abs=1e-7)
    assert part.dL**2 + part.da**2 + part.db**2 == pytest.approx(float(square), abs=1e-7)
    assert abs(part.dH) == pytest.approx(abs(float(back.dH)), abs=1e-9)


def test_all_formulas_agree_with_colour_science():
    """On 10,000 seeded pairs an outside library gives the same, to 1e-9."""
    with np.printoptions():
        from colour.difference import delta_E_CIE1976, delta_E_CIE1994, delta_E_CMC
        from colour.difference import delta_E_CIE2000 as delta_e_outside
    source = np.random.default_rng(2005)
    first, second = source.uniform([0, -100, -100], [100, 100, 100], (2, 10_000, 3))
    second[::2] = first[::2] + source.normal(0, 2, (5_000, 3))
    cases = {
        "CIEDE2000": (colour.delta_e(first, second), delta_e_outside(first, second)),
        "CIEDE2000, kL=2": (
            colour.delta_e(first, second, k_l=2),
            delta_e_outside(first, second, textiles=True),
        ),
        "CIE76": (colour.delta_e(first, second, "CIE76"), delta_E_CIE1976(first, second)),
        "CIE94": (colour.delta_e(first, second, "CIE94"), delta_E_CIE1994(first, second)),
        "CIE94 textiles": (
            colour.delta_e(first, second, "CIE94", textiles=True),
            delta_E_CIE1994(first, second, textiles=True),
        ),
        "CMC(2:1)": (colour.delta_e(first, second, "CMC"), delta_E_CMC(first, second)),
        "CMC(1:1)": (
            colour.delta_e(first, second, "CMC", cmc=(1, 1)),
            delta_E_CMC(first, second, l=1, c=1),
        ),
    }
    for name, (ours, theirs) in cases.items():
        assert np.abs(ours - theirs).max() < 1e-9, name


@pytest.mark.parametrize(
    ("arguments", "settings", "message"),
    [
        (
            ([50, 0, 0], [60, 0, 0], "CIE2000"),
            {},
            r"formula = 'CIE2000' is not known\. Known: CIEDE",
        ),
        (([50, 0], [60, 0]), {}, r"lab_1 has shape \(2,\): its last axis"),
        (([50, 0, 0], 60), {}, r"lab_2 has shape \(\): its last axis"),
        (([50, 0, 0], [60, np.nan, 0]), {}, r"lab_2 holds 1 values .* first at \(1,\)"),
        (
            (np.ones((2, 3)), np.ones((4, 3))),
            {},
            r"lab_1 has shape \(2, 3\) but lab_2 has \(4, 3\)",
        ),
        (([50, 0, 0], [60, 0, 0]), {"k_l": 0}, "k_l = 0: a weight must be"),
        (([50, 0, 0], [60, 0, 0], "CMC"), {"cmc": (2, -1)}, "cmc c = -1: a weight must be"),
        (([50, 0, 0], [60, 0, 0], "CIE76"), {"k_l": 2}, "k_l = 2 changes nothing in CIE76"),
        (([50, 0, 0], [60, 0, 0]), {"textiles": True}, "textiles=True belongs to CIE94"),
        (([50, 0, 0], [60, 0, 0], "CIE94"), {"textiles": True, "k_l": 3}, "leave k_l = 3 at 1"),
    ],
)
def test_a_wrong_question_is_answered_in_words(arguments, settings, message):
    """Each fault of an argument is named, with what came and what is allowed."""
    with pytest.raises(ValueError, match=message):
        colour.delta_e(*arguments, **settings)


# Parts of a difference


def test_the_hue_turns_from_red_to_yellow():
    """From (10, 0) to (0, 10): chroma stays, dH is the chord 2 * 10 * sin 45°, positive."""
    part = components([50, 10, 0], [40, 0, 10])

    assert (part.dL, part.da, part.db) == (-10, -10, 10)
    assert part.dC == pytest.approx(0, abs=1e-12)
    assert part.dH == pytest.approx(20 * np.sin(np.pi / 4))
    assert components([40, 0, 10], [50, 10, 0]).dH == pytest.approx(-20 * np.sin(np.pi / 4))


def test_chroma_and_hue_of_round_numbers():
    """A 3-4-5 triangle; the four axes; grey has hue 0 even with a minus sign on its zeros."""
    assert plain_chroma(np.array([50, 3, 4])) == 5
    a, b = np.array([[9, 0], [0, 9], [-9, 0], [0, -9], [-0.0, -0.0]]).T
    assert plain_hue_deg(a, b) == pytest.approx([0, 90, 180, 270, 0])


def test_components_cannot_be_changed():
    """A result stays what it was."""
    with pytest.raises(FrozenInstanceError, match="dL"):
        components([50, 0, 0], [60, 0, 0]).dL = 3


# Readings needed


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("half_width", [0.2, 0.5, 1.0, 5.0, 400.0])
def test_readings_needed_is_the_smallest_number_that_does(half_width, level):
    """The n readings reach the half-width, n - 1 do not (unless n is the least, 2)."""
    from scipy.stats import t

    count = readings_needed(1.2, half_width, level)
    reached = [
        t.ppf(0.5 + level / 2, n - 1) * 1.2 / np.sqrt(n) <= half_width for n in range(2, count + 1)
    ]

    assert reached == [False] * (count - 2) + [True]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0, 1), "sd = 0: it must be a finite number above 0"),
        ((1, -1), "half_width = -1: it must be"),
        ((np.inf, 1), "sd = inf: it must be"),
        ((1, 1, 95), "level = 95: a confidence lies between 0 and 1"),
        ((5, 1e-9), "more than a thousand million readings"),
        ((1e300, 1e-9), "more than a thousand million readings"),
    ],
)
def test_readings_needed_refuses_what_has_no_answer(arguments, message):
    """No spread, no width or no level: the error says which."""
    with pytest.raises(ValueError, match=message):
        readings_needed(*arguments)


# Two sets of readings


def test_the_parts_of_a_comparison_are_those_of_the_means():
    """Means, counts and the difference of the means are what the readings say."""
    found = colour.compare(SOILED, SHELTERED)
    expected = SOILED.mean(axis=0) - SHELTERED.mean(axis=0)

    assert found.d_lab == pytest.approx(tuple(expected))
    assert (found.n_soiled, found.n_reference, found.level) == (5, 8, 0.95)
    assert found.delta_e == colour.delta_e(SHELTERED.mean(axis=0), SOILED.mean(axis=0))
    assert found.low < found.delta_e < found.high
    assert not found.inside_natural


def test_natural_variation_is_the_mean_difference_from_the_mean():
    """MC-A-MCDM_dE00 of the reference tables: 1.45287524."""
    assert colour.compare(SOILED, SHELTERED).natural_variation == pytest.approx(
        1.45287524, abs=1e-5
    )


def test_p_value_is_that_of_krishnamoorthy_and_yu():
    """H-LAB1-pu of the reference tables: T² 115.2178 with 9.8068 degrees of freedom."""
    p_value = colour.compare(LAB1_A, LAB1_B).p_value

    assert p_value == pytest.approx(0.0001141675684, abs=1.14e-8)


def test_readings_needed_follows_the_most_variable_direction():
    """For spread along L* alone (sd 2.5 against 0.1), 27 readings reach ±1."""
    column = np.array([-1, -1, 1, 1, -1, 1, 1, -1, 0]) * 2.5
    across = np.array([-1, 1, -1, 1, 0, 0, 0, 0, 0]) * 0.1
    other = np.array([0, 0, 0, 0, -1, 1, -1, 1, 0]) * 0.1
    soiled = np.stack([50 + column, across, 8 + other], axis=-1)

    assert colour.compare(soiled, SHELTERED).readings_needed == 27


@given(st.integers(0, 10_000), st.floats(-6, 6), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_the_interval_and_the_test_never_disagree(seed, shift, level):
    """Zero is inside exactly when the p-value is above 1 - level; low <= delta_e <= high."""
    soiled = readings(seed, (50 + shift, 1, 8), count=6)
    reference = readings(seed + 1, (50, 1, 8))

    found = colour.compare(soiled, reference, level)

    assert (found.low == 0) == (found.p_value >= 1 - level)
    assert 0 <= found.low <= found.delta_e <= found.high
    assert 0 <= found.p_value <= 1


@given(st.integers(0, 10_000))
def test_more_confidence_makes_a_wider_interval(seed):
    """The interval at 99 % holds the one at 95 %."""
    soiled, reference = readings(seed, (47, 1.5, 9)), readings(seed + 1, (50, 1, 8))
    at_95, at_99 = (colour.compare(soiled, reference, level) for level in (0.95, 0.99))

    assert at_99.low <= at_95.low <= at_95.high <= at_99.high


@given(st.integers(0, 10_000))
def test_the_sides_may_trade_places(seed):
    """Difference, interval and p-value are the same from either side."""
    soiled, reference = readings(seed, (44, 1.5, 9), count=7), readings(seed + 1, (50, 1, 8))
    there, back = colour.compare(soiled, reference), colour.compare(reference, soiled)
    for name in ("delta_e", "low", "high", "p_value"):
        assert getattr(there, name) == pytest.approx(getattr(back, name), abs=1e-7)


def test_a_soiled_mean_at_the_reference_mean_lies_inside_its_natural_spread():
    """A set of readings does not differ from itself, and says so."""
    found = colour.compare(SHELTERED, SHELTERED)

    assert (found.delta_e, found.low, found.p_value) == (0, 0, 1)
    assert found.inside_natural
    assert str(found).startswith("No colour difference is shown: CIEDE2000 0.0 (95 %")


def test_the_natural_ellipsoid_is_the_prediction_of_one_more_reading():
    """Along L* its edge lies at sqrt(p (n² - 1) / (n (n - p)) F(p, n - p)) from the mean."""
    from scipy.stats import f

    reference = readings(3, (50, 1, 8), count=12)
    mean, inverse = reference.mean(axis=0), np.linalg.inv(np.cov(reference.T))
    edge = np.sqrt(3 * 143 / (12 * 9) * f.ppf(0.95, 3, 9) / inverse[0, 0])
    around = SHELTERED - SHELTERED.mean(axis=0) + mean
    towards = np.array([edge, 0, 0])

    assert colour.compare(around + 0.999 * towards, reference).inside_natural
    assert not colour.compare(around + 1.001 * towards, reference).inside_natural


def test_the_sentence_prints_no_more_than_the_interval_supports():
    """One decimal for an interval of some units; none for one wider than ten."""
    narrow = colour.compare(SOILED, SHELTERED)
    wide = colour.compare(readings(1, (40, 1, 8), (12, 0.3, 0.9), 5), SHELTERED)

    assert str(narrow) == (
        f"The colours differ: CIEDE2000 {narrow.delta_e:.1f} (95 % confidence interval "
        f"{narrow.low:.1f} to {narrow.high:.1f}); the soiled mean lies outside the natural spread "
        "of the reference (1.5 on average)."
    )
    assert f"CIEDE2000 {wide.delta_e:.0f} (95 %" in str(wide)


def test_cautions_travel_with_the_result():
    """Few readings, a patchy reference and a difference not shown are said; else nothing is."""
    few = colour.compare(SOILED, SHELTERED).cautions
    patchy = colour.compare(
        readings(1, (50, 1, 8)), readings(2, (50, 1, 8), (13, 1, 3), count=12)
    ).cautions
    plain = colour.compare(readings(1, (40, 1, 8)), readings(2, (50, 1, 8), count=12)).cautions

    assert few[0] == "Only 5 soiled readings: the interval is wide."
    assert few[1].startswith("Only 8 reference readings: the natural spread is poorly known")
    assert "more than 8: check that they come from one bed" in patchy[0]
    assert patchy[1].startswith("No difference is shown; the figure given is then too high")
    assert plain == ()


def test_the_same_readings_give_the_same_result():
    """Nothing is drawn by chance, and a list does as well as an array."""
    assert colour.compare(SOILED, SHELTERED) == colour.compare(SOILED.tolist(), SHELTERED.tolist())


LEVEL = SHELTERED.copy()
LEVEL[:, 1] = 1.2
PLANE = SHELTERED.copy()
PLANE[:, 2] = PLANE[:, 0] - PLANE[:, 1]
LOST_POINT = SHELTERED.copy()
LOST_POINT[2, 0] = 559


@pytest.mark.parametrize(
    ("soiled", "message"),
    [
        (SHELTERED[:4], "lab_soiled holds 4 readings: at least 5 are needed"),
        (SHELTERED[0], r"lab_soiled has shape \(3,\): one row a reading"),
        (SHELTERED[:, :2], r"lab_soiled has shape \(8, 2\): its last axis"),
        (
            np.where(SHELTERED == 57.1, np.nan, SHELTERED),
            r"not finite numbers, the first at \(0, 0\)",
        ),
        (LOST_POINT, r"reading 3 has L\* = 559\. L\* runs from 0 .* decimal point lost"),
        (
            np.tile(SHELTERED[0], (6, 1)),
            "all 6 readings are identical, and identical readings carry",
        ),
        (LEVEL, r"the 8 readings never change in a\*, so that a part of their spread is unknown"),
        (PLANE, "the 8 readings lie in one plane"),
    ],
)
def test_readings_that_cannot_be_compared_are_refused(soiled, message):
    """Too few, misshapen, impossible or spreadless readings: the error says which."""
    with pytest.raises(ValueError, match=message):
        colour.compare(soiled, SHELTERED)
    with pytest.raises(ValueError, match=message.replace("lab_soiled", "lab_reference")):
        colour.compare(SHELTERED, soiled)


def test_a_level_in_per_cent_is_refused():
    """95 is not 0.95."""
    with pytest.raises(ValueError, match="level = 95: a confidence lies between 0 and 1"):
        colour.compare(SOILED, SHELTERED, level=95)


def test_the_module_loads_numpy_and_nothing_heavier():
    """No scipy, numba or outside colour library is loaded before it is needed."""
    code = (
        "import sys; import heritagecheck.evidence.colour; "
        "sys.exit(bool({'scipy', 'pandas', 'colour', 'numba', 'sklearn'} & set(sys.modules)))"
    )

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_natural_outline_holds_95_per_cent_of_further_readings() -> None:
    """The outline is the shadow of the region for one further observation, and closes."""
    reference = np.array(
        [(61, 0.2, 3.1), (62, 0.1, 3.4), (60, 0.4, 2.8), (63, 0.3, 3.6), (61, 0.0, 2.9),
         (62, 0.2, 3.2), (60.5, 0.1, 3.0)]
    )  # fmt: skip
    outline = natural_outline(reference, (0, 1))
    highest = outline[:, 0].max()
    spread = np.cov(reference.T)
    n = len(reference)
    # From memory, as in chapter 5 of Johnson and Wichern, Applied Multivariate Statistical Analysis
    # (2007): T² of one further observation reaches (n² - 1) p / (n (n - p)) times F(p, n - p).
    reach = 3 * (n**2 - 1) / (n * (n - 3)) * stats.f.ppf(0.95, 3, n - 3)

    assert highest == pytest.approx(
        reference[:, 0].mean() + np.sqrt(reach * spread[0, 0]), rel=1e-3
    )
    assert np.allclose(outline[0], outline[-1])


def test_natural_outline_needs_readings() -> None:
    """Four readings have no spread worth drawing."""
    with pytest.raises(ValueError, match="lab_reference"):
        natural_outline([(61, 0.2, 3.1)] * 4)
