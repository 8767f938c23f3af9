"""Colour from reflectance and from Munsell chips: what is refused, and what must come out."""

import subprocess
import sys

import numpy as np
import pytest

from heritagecheck.evidence import colour
from heritagecheck.evidence.colour import spectra

VISIBLE = np.arange(400, 701, 10)
# Invented: a stone that reflects more towards the red, as iron-stained granite does.
STAINED = 0.18 + 0.14 / (1 + np.exp(-(VISIBLE - 580) / 25))


def test_many_spectra_at_once_give_what_each_gives_alone() -> None:
    """The last axis is the wavelength; whatever stands before it is kept."""
    several = np.stack([STAINED, 0.5 * STAINED, np.full(31, 0.3)]).reshape(3, 1, 31)
    together = colour.lab_from_reflectance(VISIBLE, several)
    alone = [colour.lab_from_reflectance(VISIBLE, one[0]) for one in several]

    assert together.shape == (3, 1, 3)
    assert np.allclose(together[:, 0], alone, atol=1e-12)


def test_finer_data_of_the_same_surface_give_the_same_colour() -> None:
    """Steps of 5, 10 and 20 nm differ by less than a meter repeats (0.05, common practice)."""
    found = []
    for step in (5, 10, 20):
        grid = np.arange(380, 741, step)
        found.append(
            colour.lab_from_reflectance(grid, 0.18 + 0.14 / (1 + np.exp(-(grid - 580) / 25)))
        )

    assert np.abs(np.array(found) - found[0]).max() < 0.05


def test_stain_is_red_and_yellow_under_every_light_offered() -> None:
    """The sign of a* and b* is the surface's; their size is the light's."""
    for light in ("A", "C", "D50", "D55", "D65", "D75"):
        for observer in (2, 10):
            _, a, b = colour.lab_from_reflectance(VISIBLE, STAINED, light, observer)

            assert a > 3
            assert b > 3


def test_the_edge_of_the_two_branches_is_smooth() -> None:
    """L* = 8 from both sides (ISO/CIE 11664-4), where rounded constants would leave a step."""
    white = spectra.white_point()
    edge = (6 / 29) ** 3
    below, above = (
        spectra.lab_from_xyz(share * white)[0] for share in (edge - 1e-12, edge + 1e-12)
    )

    assert below == pytest.approx(8, abs=1e-8)
    assert above == pytest.approx(8, abs=1e-8)


@pytest.mark.parametrize(
    ("grid", "values", "said"),
    [
        (VISIBLE, 100 * STAINED, "per cent"),
        (VISIBLE, STAINED - 1, "negative"),
        (VISIBLE, np.where(VISIBLE == 500, np.nan, STAINED), "not finite"),
        (VISIBLE, STAINED[:-1], "30 values .* has 31"),
        (VISIBLE[::-1], STAINED, "must rise"),
        (np.arange(400, 701, 15), np.full(21, 0.2), "1, 5, 10 or 20 nm"),
        (np.append(VISIBLE[:-1], 705), STAINED, "equal steps"),
        (np.arange(420, 701, 10), np.full(29, 0.2), "420 to 700 nm and must cover"),
        ([400], [0.2], "a row of finite wavelengths"),
    ],
)
def test_data_that_would_give_a_wrong_colour_are_refused(
    grid: np.ndarray, values: np.ndarray, said: str
) -> None:
    """The message names what came and what is allowed."""
    with pytest.raises(ValueError, match=said):
        colour.lab_from_reflectance(grid, values)


def test_other_lights_and_observers_are_refused() -> None:
    """No light is guessed from its name."""
    with pytest.raises(ValueError, match='illuminant = "F11" is not offered; take one of A, C'):
        colour.lab_from_reflectance(VISIBLE, STAINED, "F11")
    with pytest.raises(ValueError, match="observer_deg = 5 is not offered; take 2 or 10"):
        spectra.white_point("D65", 5)


def test_values_that_are_no_triples_are_refused() -> None:
    """Two numbers are no colour."""
    with pytest.raises(ValueError, match="finite triples X, Y, Z"):
        spectra.lab_from_xyz([41.0, 43.0])


@pytest.mark.parametrize("notation", ["rust", "10YR", "10YR 6/60", ""])
def test_no_munsell_colour_is_refused_in_plain_words(notation: str) -> None:
    """What a chip's label might be mistyped as."""
    with pytest.raises(ValueError, match='as in "10YR 6/2"'):
        spectra.xyy_from_munsell(notation)


def test_a_neutral_chip_is_neutral() -> None:
    """Chromaticity of illuminant C, observer of 1931: x 0.3101, y 0.3162 (CIE 15, from memory)."""
    x, y, luminance = spectra.xyy_from_munsell("N6")

    assert (x, y) == pytest.approx((0.3101, 0.3162), abs=1e-4)
    assert luminance == pytest.approx(29.3, abs=0.1)


@pytest.mark.long
def test_an_install_without_matplotlib_says_nothing_of_it() -> None:
    """colour-science warns where it is missing; nobody who reads colours has asked for it."""
    code = (
        "import sys, warnings\n"
        "sys.modules['matplotlib'] = None\n"
        "warnings.simplefilter('error')\n"
        "from heritagecheck.evidence.colour.spectra import lab_of_munsell\n"
        "print(lab_of_munsell('N5').round(0))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)

    assert done.stderr == ""
    assert "51" in done.stdout
