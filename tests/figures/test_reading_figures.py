"""Readings in CIELAB are drawn as they were read, with their spread and their means."""

import numpy as np
import pytest
from seen_pictures import around, named, parsed, plane, readings, said, shape, words

import heritagecheck as hc
from heritagecheck.evidence.colour.reading_sets import natural_outline
from heritagecheck.evidence.colour.zone_colour import ZoneColour
from heritagecheck.figures.colours import draw_readings, draw_zone_colour

RNG = np.random.default_rng(4)
REFERENCE = RNG.normal((62, 0.4, 3.1), (1.5, 0.3, 0.5), (12, 3))
SOILED = RNG.normal((47, 1.0, 6.0), (2.0, 0.4, 0.8), (9, 3))
NONE = np.zeros(9, bool), np.zeros(12, bool)
NEAR = 0.02  # CIELAB units, of what a hundredth of a pixel leaves open


def test_readings_are_drawn_with_spread_and_means() -> None:
    """Marks are the readings; the broken line is the natural outline of the clean ones."""
    shown = draw_readings(SOILED, REFERENCE, outlying=NONE)
    spread = named(parsed(shown), "natural spread, 95 %")[1][1]
    outline = natural_outline(REFERENCE, (1, 0), 61)

    assert np.allclose(readings(shown, "as found", 1), SOILED[:, [1, 0]], atol=NEAR)
    assert np.allclose(readings(shown, "clean reference", 1), REFERENCE[:, [1, 0]], atol=NEAR)
    assert np.allclose(around(shown, "natural spread, 95 %", 1)[:61], outline, atol=NEAR)
    assert spread.attrib["stroke-dasharray"]
    for name, lab in (("clean reference", REFERENCE), ("as found", SOILED)):
        mean = lab.mean(axis=0)[[1, 0]]
        assert np.allclose(readings(shown, f"mean of {name}", 1), [mean], atol=NEAR)


def test_channels_are_named_and_to_one_scale() -> None:
    """In both planes a unit across is as long as one up; the larger mark is the mean."""
    shown = draw_readings(SOILED, REFERENCE, outlying=NONE)
    channels = [one for one in words(parsed(shown)) if one.words in {"L*", "a*", "b*"}]

    assert [one.words for one in channels] == ["a*", "b*", "a*", "L*"]
    for number in (0, 1):
        across, up = plane(shown, number)
        assert across.coefficients[0] == pytest.approx(-up.coefficients[0], rel=0.01)


def test_the_thin_line_is_the_confidence_region_of_the_mean() -> None:
    """
    Its reach in the direction of one channel is that of Hotelling's region in three.

    R. A. Johnson, D. W. Wichern, Applied Multivariate Statistical Analysis, 6th ed., (5-24):
    half-width sqrt(p (n - 1) / (n - p) F(p, n - p) s² / n), with F by scipy.
    """
    from scipy.stats import f

    shown = draw_readings(SOILED, REFERENCE, outlying=NONE)
    for lab, name in ((REFERENCE, "clean reference"), (SOILED, "as found")):
        line = around(shown, f"mean of {name}, 95 %")
        n = len(lab)
        reach = 3 * (n - 1) / (n - 3) * f.ppf(0.95, 3, n - 3) / n
        half = np.sqrt(reach * lab.var(axis=0, ddof=1))

        assert line[:, 0].max() - lab[:, 1].mean() == pytest.approx(half[1], rel=0.005)
        assert line[:, 1].max() - lab[:, 2].mean() == pytest.approx(half[2], rel=0.005)


def test_outlying_readings_are_ringed_and_stay() -> None:
    """The ring lies around the reading, which is drawn with the others all the same."""
    odd = np.arange(9) == 3
    shown = draw_readings(SOILED, REFERENCE, outlying=(odd, np.zeros(12, bool)))
    (ring,) = {one[1].attrib["fill"] for one in named(parsed(shown), "outlying, still counted")}

    assert np.allclose(readings(shown, "outlying, still counted"), SOILED[odd][:, 1:], atol=NEAR)
    assert np.allclose(readings(shown, "as found"), SOILED[:, 1:], atol=NEAR)
    assert ring == "none"


def test_without_an_outlying_reading_the_legend_names_none() -> None:
    """Nothing is ringed where all hang together."""
    shown = draw_readings(SOILED, REFERENCE, outlying=NONE)

    assert "outlying, still counted" not in shown.svg


def test_colours_by_photograph_have_marks_of_their_own() -> None:
    """Four kinds of marks of four shapes, all named."""
    by_meter = hc.colour.compare(SOILED, REFERENCE)
    by_photo = hc.colour.compare(SOILED[:6] + 1, REFERENCE[:7] - 1)
    shown = draw_zone_colour(ZoneColour(by_meter, "", by_photo, "", stands_in=False))
    assert shown is not None
    root = parsed(shown)
    names = ("as found", "clean reference", "as found, photograph", "clean, photograph")
    marks = {name: shape(named(root, name)[0][1].attrib["d"]) for name in names}
    soiled, clean = (readings(shown, name) for name in names[2:])

    assert np.allclose(soiled, SOILED[:6, 1:] + 1, atol=NEAR)
    assert np.allclose(clean, REFERENCE[:7, 1:] - 1, atol=NEAR)
    assert len(set(marks.values())) == 4
    assert set(names) < set(said(root))
