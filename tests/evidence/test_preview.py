"""A preview moves what is to be cleaned, keeps its texture, and leaves every other pixel alone."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from heritagecheck.evidence.colour.colour_difference import rgb_of
from heritagecheck.evidence.photograph.preview import (
    BLEND_PX,
    Appearance,
    agreed_appearance,
    appearance_of,
    resoiled,
)

CLEAN = (62.0, 0.4, 3.1)
SPREAD = (4.0, 0.3, 0.9)


def granite(rows: int = 160, columns: int = 240) -> np.ndarray:
    """Clean stone: grains of a few pixels around a mean, from a seed."""
    rng = np.random.default_rng(11)
    grains = gaussian_filter(rng.normal(size=(rows, columns, 3)), (1.2, 1.2, 0))
    return np.asarray(CLEAN + grains / grains.std(axis=(0, 1)) * SPREAD)


def soiled(clean: np.ndarray) -> np.ndarray:
    """Veil it unevenly; the veil flattens the texture to six tenths, the camera adds its noise."""
    rng = np.random.default_rng(12)
    rows, columns = np.indices(clean.shape[:2])
    veil = 18 + 6 * np.sin(columns / 60) + 4 * np.cos(rows / 45)
    flat = CLEAN + 0.6 * (clean - CLEAN) + rng.normal(0, 0.1, clean.shape)
    return np.asarray(flat + veil[..., None] * np.array([-1.0, 0.05, 0.2]))


def halves(shape: tuple[int, ...]) -> np.ndarray:
    """Zone 1 on the left, zone 2 on the right."""
    return np.where(np.arange(shape[1]) < shape[1] // 2, 1, 2) * np.ones((shape[0], 1), dtype=int)


def core(labels: np.ndarray, label: int) -> np.ndarray:
    """Where a zone is, without the passage to its right-hand neighbour."""
    inside = labels == label
    inside[:, labels.shape[1] // 2 - int(BLEND_PX) - 1 :] = False
    return inside


def texture(image: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Lightness without what varies slowly, by a filter of scipy narrower than the package's."""
    lightness = image[..., 0]
    return np.asarray((lightness - gaussian_filter(lightness, 6))[where])


def test_other_zones_are_left_to_the_last_bit() -> None:
    """Not a pixel of a zone without a target changes, whatever its neighbour becomes."""
    wall = soiled(granite())
    labels = halves(wall.shape)
    labels[:20] = 0
    seen = agreed_appearance(wall, labels, {1: Appearance(CLEAN, SPREAD)}, 1)

    assert np.array_equal(seen[labels != 1], wall[labels != 1])
    assert (seen[core(labels, 1)] != wall[core(labels, 1)]).all(axis=-1).mean() > 0.9


def test_single_precision_stays_so() -> None:
    """A picture in float32 comes back in it, other zones to the last bit."""
    wall = soiled(granite()).astype(np.float32)
    labels = halves(wall.shape)
    seen = agreed_appearance(wall, labels, {2: Appearance(CLEAN)}, 0.7)
    later = resoiled(seen, wall, years=5, half_time_years=8)

    assert seen.dtype == later.dtype == np.float32
    assert np.array_equal(seen[labels == 1], wall[labels == 1])
    assert np.array_equal(later[labels == 1], wall[labels == 1])


def test_the_agreed_mean_is_reached() -> None:
    """Fully clean, a zone that fills the picture has the target's mean."""
    wall = soiled(granite())
    seen = agreed_appearance(wall, np.ones(wall.shape[:2], int), {1: Appearance(CLEAN)}, 1)

    assert np.abs(seen.mean(axis=(0, 1)) - CLEAN).max() < 0.1


def test_the_agreed_mean_is_reached_beside_a_neighbour() -> None:
    """Away from the passage to a neighbour the mean is that of the target."""
    wall = soiled(granite())
    labels = halves(wall.shape)
    seen = agreed_appearance(wall, labels, {1: Appearance(CLEAN)}, 1)

    assert np.abs(seen[core(labels, 1)].mean(axis=0) - CLEAN).max() < 0.1


@pytest.mark.parametrize("cleanliness", [0.0, 0.25, 0.6])
def test_cleanliness_is_the_share_of_the_way(cleanliness: float) -> None:
    """The mean of a zone goes that share of the way from today's to the target's."""
    wall = soiled(granite())
    whole = np.ones(wall.shape[:2], int)
    seen = agreed_appearance(wall, whole, {1: Appearance(CLEAN)}, cleanliness)
    today = wall.mean(axis=(0, 1))

    assert seen.mean(axis=(0, 1)) == pytest.approx(
        today + cleanliness * (np.array(CLEAN) - today), abs=0.02
    )
    if cleanliness == 0:
        assert np.array_equal(seen, wall)


def test_the_texture_of_the_stone_is_that_of_the_true_clean_wall() -> None:
    """
    Grains stand where they stand on the clean wall, as strong as there.

    Truth is the seeded wall before it was soiled. The veil left six tenths of its texture; what
    the preview makes of it correlates above 0.9 and differs in strength by less than a tenth.
    """
    clean = granite()
    wall, labels = soiled(clean), halves(clean.shape)
    aim = appearance_of(clean, labels == 2)
    seen = agreed_appearance(wall, labels, {1: aim}, 1)
    where = core(labels, 1)
    true, found = texture(clean, where), texture(seen, where)

    assert np.corrcoef(true, found)[0, 1] > 0.9
    assert found.std() / true.std() == pytest.approx(1, abs=0.1)
    assert texture(wall, where).std() / true.std() < 0.7


def test_a_veil_fades_with_cleaning() -> None:
    """What varies slowly over a zone goes: its smooth colour becomes even."""
    wall = soiled(granite())
    whole = np.ones(wall.shape[:2], int)
    seen = agreed_appearance(wall, whole, {1: Appearance(CLEAN)}, 1)
    inner = (slice(30, -30), slice(30, -30))

    assert np.ptp(gaussian_filter(wall[..., 0], 20)[inner]) > 8
    assert np.ptp(gaussian_filter(seen[..., 0], 20)[inner]) < 1


def test_texture_is_widened_at_most_twofold_and_never_narrowed() -> None:
    """However lively the clean stone, noise is not blown up; however even, grains stay."""
    wall = soiled(granite())
    whole = np.ones(wall.shape[:2], int)
    where = whole == 1
    own = texture(wall, where).std()
    lively = agreed_appearance(wall, whole, {1: Appearance(CLEAN, (40.0, 9.0, 9.0))}, 1)
    even = agreed_appearance(wall, whole, {1: Appearance(CLEAN, (0.1, 0.1, 0.1))}, 1)

    assert texture(lively, where).std() / own == pytest.approx(2, abs=0.05)
    assert texture(even, where).std() / own == pytest.approx(1, abs=0.02)


def test_no_false_edge_stands_beside_what_is_left() -> None:
    """On even stone, no step from one pixel to the next is larger than its share of the passage."""
    wall = np.full((40, 80, 3), (45.0, 1.0, 6.0))
    labels = halves(wall.shape)
    seen = agreed_appearance(wall, labels, {1: Appearance(CLEAN)}, 1)
    steps = np.abs(np.diff(seen[20, :, 0]))

    assert seen[20, 0, 0] == pytest.approx(62)
    assert steps.max() <= (62 - 45) / BLEND_PX + 1e-9


def test_no_soiled_seam_stays_between_two_cleaned_zones() -> None:
    """Where both sides are cleaned, their border is as clean as the rest."""
    wall = np.full((40, 80, 3), (45.0, 1.0, 6.0))
    aim = Appearance(CLEAN)
    seen = agreed_appearance(wall, halves(wall.shape), {1: aim, 2: aim}, 1)

    assert np.allclose(seen, CLEAN)


def test_clean_stone_is_measured_as_it_varies() -> None:
    """
    Independent pixels of a known spread give that mean and spread.

    A Gaussian mean of standard deviation s pixels keeps 1 / (4 π s²) of the variance of white
    noise, so at s = 10 less than a thousandth is lost.
    """
    rng = np.random.default_rng(5)
    wall = rng.normal(CLEAN, SPREAD, (200, 200, 3))
    mask = np.zeros((200, 200), bool)
    mask[20:180, 30:170] = True
    wall[~mask] = (20, 5, 15)
    found = appearance_of(wall, mask)

    assert found.mean == pytest.approx(wall[mask].mean(axis=0).tolist(), abs=1e-3)
    assert found.spread == pytest.approx(SPREAD, rel=0.02)


def test_lightness_stays_possible() -> None:
    """A target near white does not push single grains beyond white."""
    wall = soiled(granite())
    seen = agreed_appearance(
        wall, np.ones(wall.shape[:2], int), {1: Appearance((97.0, 0.0, 2.0), SPREAD)}, 1
    )

    assert seen[..., 0].max() == 100


def test_contrast_is_lost_by_half_in_each_half_time() -> None:
    """By hand: 17 above today, then 8.5, then 4.25; in the end today's look."""
    agreed, today = np.full((2, 2, 3), (62.0, 0.4, 3.0)), np.full((2, 2, 3), (45.0, 1.0, 7.0))

    def lightness(years: float) -> float:
        return float(resoiled(agreed, today, years=years, half_time_years=12)[0, 0, 0])

    assert lightness(0) == 62
    assert lightness(12) == pytest.approx(53.5)
    assert lightness(24) == pytest.approx(49.25)
    assert np.array_equal(resoiled(agreed, today, years=1e6, half_time_years=12), today)


def test_colours_on_a_screen_are_those_of_another_library() -> None:
    """Within one level of scikit-image's lab2rgb (D65, 2 degree), where sRGB can show them."""
    from skimage.color import lab2rgb

    rng = np.random.default_rng(8)
    lab = rng.uniform((10, -40, -40), (100, 40, 40), (150, 200, 3))
    wanted = np.asarray(lab2rgb(lab, illuminant="D65", observer="2"))
    shown = ((wanted > 0) & (wanted < 1)).all(axis=-1)
    found = rgb_of(lab).astype(int)

    assert 0.5 < shown.mean() < 1
    assert np.abs(found[shown] - np.rint(255 * wanted[shown])).max() <= 1


def test_colours_outside_the_screen_go_to_its_edge() -> None:
    """A strong cyan has no red that is dark enough; black and white are no such colours."""
    lab = [[[70.0, -90.0, -60.0], [0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [50.0, 0.0, 0.0]]]

    assert rgb_of(lab)[0, 0, 0] == 0
    assert rgb_of(lab)[0, 1:].tolist() == [[0, 0, 0], [255, 255, 255], [119, 119, 119]]


def test_wrong_pictures_are_refused() -> None:
    """What is no picture of colours is named, with its shape."""
    with pytest.raises(ValueError, match=r"shape \(rows, columns, 3\); this one has \(4, 3\)"):
        appearance_of(np.ones((4, 3)), np.ones((4, 3), bool))
    with pytest.raises(ValueError, match="1 pixels are not finite numbers"):
        appearance_of([[[50.0, np.nan, 0.0], [50.0, 0.0, 0.0]]], np.ones((1, 2), bool))
    with pytest.raises(ValueError, match="lab holds 1 values that are not finite"):
        rgb_of([[[50.0, np.nan, 0.0], [50.0, 0.0, 0.0]]])
    with pytest.raises(ValueError, match=r"mask has shape \(2, 2\) but lab shows \(4, 4\)"):
        appearance_of(np.ones((4, 4, 3)), np.ones((2, 2), bool))
    with pytest.raises(ValueError, match="outline some clean stone"):
        appearance_of(np.ones((4, 4, 3)), np.zeros((4, 4), bool))


@pytest.mark.parametrize(
    ("labels", "targets", "cleanliness", "message"),
    [
        (np.ones((3, 4), int), {1: Appearance(CLEAN)}, 1, r"labels must hold .* shape \(3, 4\)"),
        (np.ones((4, 4)), {1: Appearance(CLEAN)}, 1, "type float64"),
        (np.ones((4, 4), int), {7: Appearance(CLEAN)}, 1, "No pixel has label 7.*picture: 1"),
        (np.ones((4, 4), int), {1: Appearance((620.0, 0, 3))}, 1, "L. runs from 0"),
        (np.ones((4, 4), int), {1: Appearance(CLEAN, (-1, 1, 1))}, 1, "numbers of 0 or more"),
        (np.ones((4, 4), int), {1: Appearance(CLEAN)}, 80, "cleanliness = 80 must lie between"),
    ],
)
def test_what_does_not_fit_is_refused(
    labels: np.ndarray, targets: dict[int, Appearance], cleanliness: float, message: str
) -> None:
    """Labels, targets and cleanliness say what is wrong and what is allowed."""
    with pytest.raises(ValueError, match=message):
        agreed_appearance(np.full((4, 4, 3), 50.0), labels, targets, cleanliness)


def test_times_that_are_none_are_refused() -> None:
    """Soiling again needs the same view twice, a time passed and a half-time."""
    one = np.full((2, 2, 3), 50.0)

    with pytest.raises(ValueError, match="both must be the same view"):
        resoiled(one, one[:1], years=1, half_time_years=1)
    with pytest.raises(ValueError, match="years = -1 must be 0 or more"):
        resoiled(one, one, years=-1, half_time_years=1)
    with pytest.raises(ValueError, match="half_time_years = 0 must be a time above 0"):
        resoiled(one, one, years=1, half_time_years=0)
