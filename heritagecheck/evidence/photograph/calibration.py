"""A photograph with a colour chart is calibrated: from its pixels to CIELAB, and how well."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray, ciede2000, light_of
from heritagecheck.evidence.colour.spectra import lab_from_xyz, white_point
from heritagecheck.evidence.photograph.chart import find_chart
from heritagecheck.evidence.photograph.differences import TERMS, ColourModel, to_lab
from heritagecheck.evidence.photograph.patches import (
    FEW,
    FULL,
    check_patches,
    check_start,
    levelled,
    listed,
    patch_names,
    read_patches,
    top_of,
)
from heritagecheck.survey.instruments.photo_file import Photograph, open_photograph, srgb_light
from heritagecheck.tables.row_types import ChartPatch

if TYPE_CHECKING:
    import pandas as pd

Image = ArrayLike | Photograph | str | os.PathLike[str]

_CLEARLY_BETTER = 0.9  # share of the error that a higher degree may leave, to be worth its terms
_MOST = 3.0  # mean CIEDE2000 of patches left out; beyond, a photograph does not measure
_CELLS = 64  # of the light of an even board, along its longer side
_ROUGH = 0.03  # what the cells of a board may differ from a smooth surface


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """
    How the pixels of one photograph become CIELAB (D65, 10°), and how far to trust that.

    `model` turns pixels into colours; `corners`, shape (4, 2), are the outer corners of the
    chart's patches, from dark skin clockwise [pixel]; `patches`, (24, 3), mean linear light; `lab`,
    (24, 3), what the model makes of it, and `chart`, (24, 3), what it should be. `errors`, (24,),
    are CIEDE2000 of each patch when it was left out of the fit; `mean_error` and `max_error` sum
    them up over the patches that could be used. `degree` is 1 for a plain matrix, 2 or 3 with
    roots; `error_covariance`, (3, 3), mean square of the left-out errors in L*, a*, b*.
    """

    model: ColourModel
    corners: FloatArray
    patches: FloatArray = field(repr=False)
    lab: FloatArray = field(repr=False)
    chart: FloatArray = field(repr=False)
    errors: FloatArray = field(repr=False)
    mean_error: float
    max_error: float
    degree: int
    error_covariance: FloatArray = field(repr=False)
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        return (
            f"Calibrated by the chart's patches (degree {self.degree}): a colour that is not in "
            f"the fit comes out within CIEDE2000 {self.mean_error:.1f} on average, "
            f"{self.max_error:.1f} at worst."
        )

    def to_lab(self, image: Image) -> FloatArray:
        """
        L*, a*, b* of every pixel of this photograph, or of one taken just like it.

        Parameters
        ----------
        image : array_like, Photograph, str or path
            Of the same kind as the calibrated one: its shape may differ only where no even board
            was used. shape (rows, columns, 3)

        Returns
        -------
        numpy.ndarray, shape (rows, columns, 3)
            L*, a*, b* for D65 and the observer of 1964. [CIELAB units]

        Raises
        ------
        ValueError
            The image is of another kind.
        """
        found: FloatArray = to_lab(_stored(image)[0], self.model)
        return found

    def table(self) -> pd.DataFrame:
        """Patches as a table: name, known and fitted L*, a*, b*, CIEDE2000 when left out."""
        import pandas as pd

        found = pd.DataFrame({"name": patch_names()})
        for words, values in (("known", self.chart), ("got", self.lab)):
            found[[f"{words}_{axis}" for axis in ("L_star", "a_star", "b_star")]] = values
        found["delta_e_2000"] = self.errors
        return found


def calibrate(
    image: Image,
    chart_corners: ArrayLike | None = None,
    *,
    chart: ArrayLike | None = None,
    flat_field: Image | None = None,
) -> Calibration:
    """
    Calibrate a photograph by the 24-patch colour chart in it.

    Parameters
    ----------
    image : array_like, Photograph, str or path
        The photograph or its file; an array holds sRGB levels as uint8 or uint16, or linear light
        from 0 to 1 as decimals. shape (rows, columns, 3)
    chart_corners : array_like or None, shape (4, 2)
        x and y of the outer corners of the chart's patches, from dark skin clockwise, where the
        chart is not found by itself; 0, 0 is the outer corner of the first pixel. [pixel]
    chart : array_like or None, shape (24, 3)
        L*, a*, b* of the patches for D65 and the observer of 1964, by the survey's own meter, dark
        skin first, black last. Without it, the published reflectances of the chart [1]_.
        [CIELAB units]
    flat_field : array_like, Photograph, str, path or None
        Photograph of an even grey or white board in the same light and framing, by which uneven
        light and the lens's fall-off are taken out.

    Returns
    -------
    Calibration
        Colour model, error of each patch, cautions.

    Raises
    ------
    ValueError
        No chart, more than one, or one cut off; patches too small, clipped, crushed or with glare;
        light too uneven; left-out colours off by more than CIEDE2000 3 on average; corners,
        chart or board that can't be right. With the reason and what to do.

    Notes
    -----
    Linear light is brought to X/Xn, Y/Yn, Z/Zn by a matrix, of plain channels (degree 1) or with
    their root products (degrees 2, 3), which hold at any exposure [2]_. The matrix starts from
    least squares relative to Y, so that dark patches count, and ends by a few Gauss-Newton steps
    on L*, a*, b*, as it is judged there; strong colours, which CIELAB spreads, weigh less. The
    degree is the lowest that leave-one-out does not clearly improve on.

    Where the patches show it beyond three standard errors, two things are taken out first: a
    slope of light across the chart, and a power that bends the tones. The calibration then holds
    for light as in the middle of the chart. It holds in the chart's own plane, and not where stone
    is shinier than the chart, nor for colours stronger than its patches.

    Errors are those of the chart's smooth colours under one light. Charts fade and differ by
    batch, up to some CIEDE2000 2 (common practice): measure yours and give `chart`.

    References
    ----------
    .. [1] N. Ohta, reflectance of a 24-patch colour chart, as distributed with colour-science
       0.4.7.
    .. [2] G. D. Finlayson, M. Mackiewicz, A. Hurlbert, "Color correction using root-polynomial
       regression," IEEE Trans. Image Process. 24, 1460 (2015). DOI 10.1109/TIP.2015.2405336

    Examples
    --------
    >>> import numpy as np
    >>> from heritagecheck.evidence.photograph import calibrate
    >>> calibrate(np.full((300, 400, 3), 128, dtype=np.uint8))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ValueError: No 24-patch colour chart was found in the photograph. ...
    """
    pixels, decode = _stored(image)
    known = _known_lab(chart)
    known_xyz = _xyz_of(known)
    gain = None if flat_field is None else _gain(flat_field, pixels.shape)

    def light(part: NDArray[Any]) -> FloatArray:
        return part.astype(float) if decode is None else decode[part]

    if chart_corners is None:
        corners = find_chart(pixels, light, known_xyz)
    else:
        corners = _checked_corners(chart_corners, pixels.shape)
    read = read_patches(pixels, decode, gain, corners)
    if chart_corners is not None:
        check_start(read.light, known_xyz)
    cautions = list(check_patches(read))
    level = levelled(read, known_xyz, may_bend=decode is not None)
    cautions += level.cautions
    fit = _best_fit(level.light, known, read.whole)
    cautions += _check_fit(fit)
    model = ColourModel(
        None if decode is None else decode**level.power,
        fit.matrix,
        None if gain is None else gain**level.power,
    )
    return Calibration(
        model, corners, read.light**level.power, fit.lab, known, fit.errors, fit.mean, fit.worst,
        fit.degree, fit.covariance, tuple(cautions),
    )  # fmt: skip


# -- What was given -----------------------------------------------------------------------------


def _stored(image: Image) -> tuple[NDArray[Any], FloatArray | None]:
    """Pixels as stored, and the linear light of their levels; None for linear light itself."""
    if isinstance(image, (str, os.PathLike)):
        image = open_photograph(image)
    if isinstance(image, Photograph):
        return image.pixels, image.decode
    pixels = np.asanyarray(image)
    if pixels.ndim != 3 or pixels.shape[2] != 3 or not pixels.size:
        raise ValueError(
            f"The image has shape {pixels.shape}; it must be (rows, columns, 3): red, green, blue."
        )
    if pixels.dtype in {np.dtype(np.uint8), np.dtype(np.uint16)}:
        return pixels, srgb_light(8 * pixels.dtype.itemsize)
    if pixels.dtype.kind != "f":
        raise ValueError(
            f"The image holds {pixels.dtype}; it must be uint8 or uint16 (sRGB levels), or "
            "decimals (linear light)."
        )
    step = max(1, max(pixels.shape[:2]) // 1000)
    some = pixels[::step, ::step]
    if not np.isfinite(some).all():
        raise ValueError(
            "The image holds values that are not finite: linear light runs from 0 to 1."
        )
    if some.max() > 1.1:
        raise ValueError(
            f"The image holds decimals up to {np.max(some):g}: linear light runs from 0 to 1, the "
            "brightest the camera stores. Levels of 0 to 255 must be uint8."
        )
    return pixels, None


def _known_lab(chart: ArrayLike | None) -> FloatArray:
    """L*, a*, b* of the patches, published or measured."""
    if chart is None:
        return np.array([(row.l_star, row.a_star, row.b_star) for row in ChartPatch.rows()])
    found = np.asarray(chart, dtype=float)
    if found.shape != (24, 3) or not np.isfinite(found).all():
        raise ValueError(
            f"chart has shape {found.shape}; it must hold finite L*, a*, b* of the 24 patches, "
            "from dark skin to black."
        )
    grey = found[18:, 0]
    if found[:, 0].min() < 0 or found[:, 0].max() > 105 or not (np.diff(grey) < 0).all():
        raise ValueError(
            "chart: L* must lie between 0 and 100 and fall along the last six patches, from white "
            f"to black; they are {', '.join(f'{value:g}' for value in grey)}. Was it measured in "
            "another order?"
        )
    return found


def _xyz_of(lab: FloatArray) -> FloatArray:
    """X/Xn, Y/Yn, Z/Zn of L*, a*, b*."""
    f_y = (lab[:, 0] + 16) / 116
    return light_of(np.stack([f_y + lab[:, 1] / 500, f_y, f_y - lab[:, 2] / 200], axis=-1))


def _checked_corners(chart_corners: ArrayLike, shape: tuple[int, ...]) -> FloatArray:
    """Corners as given, or why they can't be those of a chart."""
    corners = np.asarray(chart_corners, dtype=float)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise ValueError(
            f"chart_corners has shape {corners.shape}; it must hold x and y of four corners."
        )
    rows_, columns = shape[:2]
    if (corners < 0).any() or (corners > (columns, rows_)).any():
        raise ValueError(
            f"chart_corners lie outside the photograph of {columns} × {rows_} pixels. The whole "
            "chart must be seen."
        )
    sides = np.roll(corners, -1, axis=0) - corners
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    if not (turns > 0).all():
        raise ValueError(
            "chart_corners must go round the chart clockwise, without crossing or lying in a line: "
            "from the dark-skin patch to bluish green, black, and white."
        )
    return corners


def _gain(flat_field: Image, shape: tuple[int, ...]) -> FloatArray:
    """Light that fell on the parts of an even board, 1 on average."""
    board, decode = _stored(flat_field)
    if board.shape != shape:
        raise ValueError(
            f"flat_field has {board.shape[1]} × {board.shape[0]} pixels and the photograph "
            f"{shape[1]} × {shape[0]}: both must be taken with the same framing."
        )
    cell = max(shape[:2]) / _CELLS
    counts = [max(1, round(length / cell)) for length in shape[:2]]
    ends = [
        np.linspace(0, length, count + 1).round().astype(int)
        for length, count in zip(shape, counts, strict=False)
    ]
    raw, full = np.empty(counts), 0
    for row, (top, bottom) in enumerate(zip(ends[0][:-1], ends[0][1:], strict=True)):
        part = board[top:bottom]
        full += int((part >= FULL * top_of(board)).any(axis=-1).sum())
        across = (part.astype(float) if decode is None else decode[part]).mean(axis=(0, 2))
        raw[row] = np.add.reduceat(across, ends[1][:-1]) / np.diff(ends[1])
    if full > FEW * board.shape[0] * board.shape[1]:
        raise ValueError("flat_field is overexposed: take the board again, darker.")
    smooth = _smooth(raw)
    if raw.min() < 0.01 or smooth.min() < 0.01 or float(np.std(raw / smooth)) > _ROUGH:
        raise ValueError(
            "flat_field does not show an even board: it is too dark in places, or shows "
            "something else. It must show nothing but the board, a little out of focus."
        )
    found: FloatArray = smooth / smooth.mean()
    return found


def _smooth(raw: FloatArray) -> FloatArray:
    """Polynomial of the fourth degree over a map, as which light and a lens's fall-off vary."""
    y, x = (np.linspace(-1, 1, count) for count in raw.shape)
    powers = [(i, j) for i in range(5) for j in range(5 - i)]
    design = np.stack([np.outer(y**i, x**j).ravel() for i, j in powers], axis=-1)
    found: FloatArray = (design @ np.linalg.lstsq(design, raw.ravel(), rcond=None)[0]).reshape(
        raw.shape
    )
    return found


# -- The fit ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """One matrix with the errors of its patches."""

    matrix: FloatArray
    degree: int
    lab: FloatArray
    errors: FloatArray
    mean: float
    worst: float
    covariance: FloatArray


def _best_fit(light: FloatArray, known: FloatArray, used: NDArray[np.bool_]) -> _Fit:
    """The lowest degree that no higher one clearly improves on."""
    best: _Fit | None = None
    for degree, count in enumerate(TERMS, start=1):
        if used.sum() <= count + 1:
            continue
        fit = _fit(_root_terms(light, count), known, used, degree)
        if best is None or fit.mean < _CLEARLY_BETTER * best.mean:
            best = fit
    if best is None:
        raise ValueError(
            f"Only {used.sum()} patches have light in all channels: too few for a fit. Expose "
            "longer."
        )
    return best


def _fit(terms: FloatArray, known: FloatArray, used: NDArray[np.bool_], degree: int) -> _Fit:
    """Matrix by all patches that can be used, and the error of each when it is left out."""
    known_xyz = _xyz_of(known)
    weight = 1 / (known_xyz[used, 1:2] + 0.05)
    start = np.linalg.lstsq(terms[used] * weight, known_xyz[used] * weight, rcond=None)[0].T
    matrix = _lab_steps(terms[used], known[used], start, 6)
    left_out = np.empty((24, 3))
    for number in range(24):
        others = used & (np.arange(24) != number)
        alone = _lab_steps(terms[others], known[others], matrix, 3) if used[number] else matrix
        left_out[number] = _lab_of(terms[number : number + 1], alone)[0]
    errors = ciede2000(known, left_out, 1)
    off = (left_out - known)[used]
    return _Fit(
        matrix, degree, _lab_of(terms, matrix), errors, float(errors[used].mean()),
        float(errors[used].max()), off.T @ off / len(off),
    )  # fmt: skip


def _lab_of(terms: FloatArray, matrix: FloatArray) -> FloatArray:
    """L*, a*, b* that a matrix makes."""
    return lab_from_xyz(terms @ matrix.T * white_point())


def _lab_steps(
    terms: FloatArray, known: FloatArray, matrix: NDArray[Any], steps: int
) -> FloatArray:
    """Gauss-Newton steps on L*, a*, b*, strong colours weighing less."""
    weak = 1 / (1 + 0.03 * np.hypot(known[:, 1], known[:, 2]))
    weight = np.stack([np.ones(len(known)), weak, weak], axis=-1)
    mix = np.array([[0, 116, 0], [500, -500, 0], [0, 200, -200]], dtype=float)
    edge = (6 / 29) ** 3
    for _ in range(steps):
        xyz = terms @ matrix.T
        rise = np.maximum(xyz, edge) ** (-2 / 3) / 3
        slope = mix[None] * rise[:, None, :] * weight[..., None]
        whole = (slope[..., None] * terms[:, None, None, :]).reshape(3 * len(terms), -1)
        off = ((known - _lab_of(terms, matrix)) * weight).ravel()
        matrix = matrix + np.linalg.lstsq(whole, off, rcond=None)[0].reshape(matrix.shape)
    return matrix


def _root_terms(light: FloatArray, count: int) -> FloatArray:
    """Terms of root-polynomial regression in the order that `ColourModel` states."""
    light = np.clip(light, 0, None)
    r, g, b = light.T
    roots = [np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)]
    cubes = [r * g**2, g * b**2, r * b**2, g * r**2, b * g**2, b * r**2, r * g * b]
    return np.stack([r, g, b, *roots, *map(np.cbrt, cubes)][:count], axis=-1)


def _check_fit(fit: _Fit) -> list[str]:
    """Refuse a fit that is off on average; name colours that are."""
    if fit.mean > _MOST:
        worst = np.argsort(-fit.errors)[:3]
        named = ", ".join(f"{patch_names()[number]} {fit.errors[number]:.0f}" for number in worst)
        raise ValueError(
            f"The colours of the chart come out wrong by CIEDE2000 {fit.mean:.1f} on average, and "
            f"at most {_MOST:g} is allowed (worst: {named}). Mixed light, a picture style, a faded "
            "or dirty chart can do that. Develop the raw file without a style, photograph in one "
            "light, or give the chart's own readings as chart=."
        )
    far = fit.errors > 2 * _MOST
    return [f"Colours like {listed(far)} are measured poorly."] if far.any() else []
