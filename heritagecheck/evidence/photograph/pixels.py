"""
Compiled loops over the pixels of a photograph; loaded only when one is first needed.

CIEDE2000 stands here a second time, because `measure` and `difference_map` need it for every pixel:
0.05 s of computing a million pixels, where `colour/colour_difference.py`, which takes the steps
of the printed formula, needs 0.45 s. The tests hold both against the published pairs and against
general libraries.
"""

from __future__ import annotations

from collections.abc import Callable
from math import comb, cos, factorial, radians, sin, sqrt
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np

# -- Compiled on first use -------------------------------------------------------------------------

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(**settings: Any) -> Callable[[Loop], Loop]:
    """Have a function compiled by numba when it is first called."""

    # Compiled code is stored next to the package, or in the user's cache. Where neither can be
    # written, numba refuses to keep anything: each process then compiles for itself, which is
    # slower and nothing else.
    def decorated(function: Loop) -> Loop:
        try:
            return cast("Loop", numba.njit(cache=True, **settings)(function))
        except RuntimeError as error:
            if "no locator available" not in str(error):
                raise
            return cast("Loop", numba.njit(**settings)(function))

    return decorated


# -- Sums over pixels ------------------------------------------------------------------------------

# Pixels in work at a time: their planes stay in the fast memory next to a core.
BLOCK = 1024

_EDGE = 0.008856  # below it CIELAB is linear; both constants as in general libraries
_SLOPE = 7.787
_INTERCEPT = 16 / 116
_C30, _S30 = cos(radians(30)), sin(radians(30))
_C6, _S6 = cos(radians(6)), sin(radians(6))
_C63, _S63 = cos(radians(63)), sin(radians(63))
_C275, _S275 = cos(radians(275)), sin(radians(275))
_ROOT_2 = sqrt(2)
_POW25_7 = 25.0**7
_FINEST = 1e-30  # replaces 0 in a denominator; a normal number in float32 too
# Series of (angle / 25 degrees)² / 64 in u = 1 - cos(angle):
# arccos(1 - u)² is the sum over k of 2 (2u)^k / (k² C(2k, k)).
_TURN = tuple(2 * 2.0**k / (k * k * comb(2 * k, k)) / radians(25) ** 2 / 64 for k in range(1, 21))
_EXP = tuple(1 / factorial(k) for k in range(10))
# sin(60 degrees x) in odd powers of x.
_SIN_60 = tuple((-1) ** k * radians(60) ** (2 * k + 1) / factorial(2 * k + 1) for k in range(8))


# Division by 0 gives no number instead of an error: a branch in a loop would keep it from taking
# several pixels at once. The lock of the interpreter is let go, so that threads run side by side.
_FAST = {"nogil": True, "error_model": "numpy"}
# What only loops call needs no door to Python. Each of min, max, int and another kind of new array
# would take as long to compile as a small loop: they are left out.
_WITHIN = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
_compiled = compiled(**_FAST)
_inner = compiled(**_FAST, **_WITHIN)
_inlined = compiled(error_model="numpy", forceinline=True, **_WITHIN)
_merged = compiled(inline="always")  # of one caller alone: compiled once, as a part of it
# Product and sum in one step where the processor can. Not where two equal colours must cancel.
_fused = compiled(error_model="numpy", forceinline=True, fastmath={"contract"}, **_WITHIN)


@_inlined
def _root(x: Any) -> Any:
    """Square root; the sign is dropped so that the compiler sees no error branch in the loop."""
    return np.sqrt(np.abs(x))


@_fused
def _cube_root(F: Any, x: Any) -> Any:
    """Cube root of a positive number, by two steps of fourth order towards its inverse."""
    start = np.float32(x)
    bits = np.float32(start.view(np.int32))
    # A third of the exponent, turned round: within 3.5 % of the inverse cube root.
    y = np.int32(np.float32(1419967116.0) - bits * np.float32(1 / 3)).view(np.float32)
    e = np.float32(1) - start * y * y * y
    y = y + y * e * (np.float32(1 / 3) + e * (np.float32(2 / 9) + e * np.float32(14 / 81)))
    z = F(y)
    d = F(1) - x * z * z * z
    z = z + z * d * (F(1 / 3) + d * (F(2 / 9) + d * F(14 / 81)))
    return x * z * z


@_fused
def _blue_turn(F: Any, u: Any) -> Any:
    """sin(60° exp(-(angle / 25°)²)) for u = 1 - cos(angle)."""
    p = F(_TURN[19])
    p = p * u + F(_TURN[18])
    p = p * u + F(_TURN[17])
    p = p * u + F(_TURN[16])
    p = p * u + F(_TURN[15])
    p = p * u + F(_TURN[14])
    p = p * u + F(_TURN[13])
    p = p * u + F(_TURN[12])
    p = p * u + F(_TURN[11])
    p = p * u + F(_TURN[10])
    p = p * u + F(_TURN[9])
    p = p * u + F(_TURN[8])
    p = p * u + F(_TURN[7])
    p = p * u + F(_TURN[6])
    p = p * u + F(_TURN[5])
    p = p * u + F(_TURN[4])
    p = p * u + F(_TURN[3])
    p = p * u + F(_TURN[2])
    p = p * u + F(_TURN[1])
    p = p * u + F(_TURN[0])
    x = -p * u
    # Further away nothing is left of it, but numbers so small that processors slow down.
    x = x if x > F(-28 / 64) else F(-28 / 64)
    e = F(_EXP[9])
    e = e * x + F(_EXP[8])
    e = e * x + F(_EXP[7])
    e = e * x + F(_EXP[6])
    e = e * x + F(_EXP[5])
    e = e * x + F(_EXP[4])
    e = e * x + F(_EXP[3])
    e = e * x + F(_EXP[2])
    e = e * x + F(1)
    e = e * x + F(1)
    e = e * e  # six times squared: the 64th power
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    w = e * e
    s = F(_SIN_60[7])
    s = s * w + F(_SIN_60[6])
    s = s * w + F(_SIN_60[5])
    s = s * w + F(_SIN_60[4])
    s = s * w + F(_SIN_60[3])
    s = s * w + F(_SIN_60[2])
    s = s * w + F(_SIN_60[1])
    s = s * w + F(_SIN_60[0])
    return s * e


@_fused
def _hue_weight(F: Any, c: Any, s: Any) -> Any:
    """T of CIEDE2000 from the cosine and sine of the mean hue."""
    cos_2, sin_2 = c * c - s * s, F(2) * s * c
    cos_3, sin_3 = c * cos_2 - s * sin_2, s * cos_2 + c * sin_2
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, F(2) * sin_2 * cos_2
    return (
        F(1)
        - F(0.17 * _C30) * c
        - F(0.17 * _S30) * s
        + F(0.24) * cos_2
        + F(0.32 * _C6) * cos_3
        - F(0.32 * _S6) * sin_3
        - F(0.20 * _C63) * cos_4
        - F(0.20 * _S63) * sin_4
    )


@_inlined
def _ciede2000(F: Any, l_1: Any, a_1: Any, b_1: Any, l_2: Any, a_2: Any, b_2: Any) -> Any:
    """
    CIEDE2000 without angles.

    The mean hue is the bisector of two vectors, its multiples are polynomials of its sine and
    cosine, and the hue difference is their cross product over the chord.
    """
    c_mean = F(0.5) * (_root(a_1 * a_1 + b_1 * b_1) + _root(a_2 * a_2 + b_2 * b_2))
    square = c_mean * c_mean
    seventh = square * square * square * c_mean
    stretch = F(1.5) - F(0.5) * _root(seventh / (seventh + F(_POW25_7)))
    a_1 = a_1 * stretch
    a_2 = a_2 * stretch
    c_1 = _root(a_1 * a_1 + b_1 * b_1)
    c_2 = _root(a_2 * a_2 + b_2 * b_2)

    both = c_1 * c_2
    dot = a_1 * a_2 + b_1 * b_2
    cross = a_1 * b_2 - a_2 * b_1
    near = dot >= F(0)
    # Opposite hues: the one that comes first from 0 upwards is turned forwards, as in the formula.
    lead = cross if cross != F(0) else (b_1 if b_1 != F(0) else a_1)
    side = F(1) if lead >= F(0) else F(-1)
    chord = _root(both + np.abs(dot))
    width = _root(both + both)
    area = chord * width
    scale = F(1) / (F(_FINEST) if area < F(_FINEST) else area)
    d_h = F(_ROOT_2) * (cross * width * scale if near else side * chord)
    # Sum of the unit vectors; or, where that would vanish, their difference a quarter turn on.
    a_a, a_b = a_1 * c_2, a_2 * c_1
    b_a, b_b = b_1 * c_2, b_2 * c_1
    c = (a_a + a_b if near else side * (b_b - b_a)) * scale
    s = (b_a + b_b if near else side * (a_a - a_b)) * scale

    t = _hue_weight(F, c, s)
    c_mean = F(0.5) * (c_1 + c_2)
    square = c_mean * c_mean
    seventh = square * square * square * c_mean
    r_c = _root(seventh / (seventh + F(_POW25_7)))
    r_t = _blue_turn(F, F(1) - (c * F(_C275) + s * F(_S275)))
    # From hue 0 up to 90 the formula's angle to 275 is more than half a turn.
    r_t = F(0) if (c > F(0)) & (s >= F(0)) else r_t

    from_50 = F(0.5) * (l_1 + l_2) - F(50)
    from_50 = from_50 * from_50
    # Lightness, chroma and hue over their weights; one division for all three.
    under_l = _root(F(20) + from_50)
    over_l = (l_2 - l_1) * under_l
    under_l += F(0.015) * from_50
    under_c = F(1) + F(0.045) * c_mean
    under_h = F(1) + F(0.015) * c_mean * t
    share = F(1) / (under_l * under_c * under_h)
    term_l = over_l * under_c * under_h * share
    term_c = (c_2 - c_1) * under_l * under_h * share
    term_h = d_h * under_l * under_c * share
    total = term_l * term_l + term_c * term_c + term_h * term_h - F(2) * r_c * r_t * term_c * term_h
    return _root(total if total > F(0) else F(0) * total)


@_fused
def _lightness_root(F: Any, t: Any) -> Any:
    """Cube root of CIELAB, with a line in its place near black."""
    root = _cube_root(F, t if t > F(_EDGE) else F(_EDGE))
    return root if t > F(_EDGE) else F(_SLOPE) * t + F(_INTERCEPT)


class Camera(NamedTuple):
    """A colour model as the loops take it; parts that it does not use are empty arrays."""

    decode: Any  # (levels,), or (0,) where pixels are linear light
    matrix: Any  # (3, 3), (3, 6) or (3, 13)
    gain: Any  # (rows, columns) of the map of light, or (0, 0)
    rows: int  # of the whole image
    columns: int


@_merged
def _take_light(camera: Any, image: Any, first: int, n: int, light: Any) -> None:
    """Linear light of n pixels from `first` on, a plane a channel."""
    F = light.dtype.type
    decode = camera.decode
    if len(decode):
        for i in range(n):
            k = 3 * (first + i)
            light[0, i] = decode[np.intp(image[k])]
            light[1, i] = decode[np.intp(image[k + 1])]
            light[2, i] = decode[np.intp(image[k + 2])]
    else:
        for i in range(n):
            k = 3 * (first + i)
            light[0, i] = F(image[k])
            light[1, i] = F(image[k + 1])
            light[2, i] = F(image[k + 2])


@_merged
def _between(pixel: int, pixels: int, cells: int) -> Any:
    """How far a pixel is from the middle of one cell to that of the next, and both cells."""
    # The value of a cell belongs to its middle, and is constant beyond the outermost middles.
    at = (pixel + 0.5) * cells / pixels - 0.5
    at = at if at > 0.0 else 0.0
    at = at if at < cells - 1.0 else cells - 1.0
    cell = np.intp(at)
    return at - cell, cell, cell + 1 if cell + 1 < cells else cell


@_merged
def _even_out(camera: Any, start: int, n: int, light: Any) -> None:
    """Divide n pixels, from number `start` of the image on, by the light that fell on them."""
    F = light.dtype.type
    gain = camera.gain
    tall, wide = gain.shape
    for i in range(n):
        row = (start + i) // camera.columns
        column = start + i - row * camera.columns
        y, top, low = _between(row, camera.rows, tall)
        x, left, right = _between(column, camera.columns, wide)
        above = gain[top, left] * (1 - x) + gain[top, right] * x
        below = gain[low, left] * (1 - x) + gain[low, right] * x
        share = F(1 / (above * (1 - y) + below * y))
        light[0, i] *= share
        light[1, i] *= share
        light[2, i] *= share


@_merged
def _from_3_terms(matrix: Any, n: int, light: Any) -> None:
    """Light of n pixels becomes X/Xn, Y/Yn, Z/Zn in place."""
    x_r, x_g, x_b = matrix[0, 0], matrix[0, 1], matrix[0, 2]
    y_r, y_g, y_b = matrix[1, 0], matrix[1, 1], matrix[1, 2]
    z_r, z_g, z_b = matrix[2, 0], matrix[2, 1], matrix[2, 2]
    for i in range(n):
        r, g, b = light[0, i], light[1, i], light[2, i]
        light[0, i] = x_r * r + x_g * g + x_b * b
        light[1, i] = y_r * r + y_g * g + y_b * b
        light[2, i] = z_r * r + z_g * g + z_b * b


@_merged
def _from_root_terms(matrix: Any, n: int, light: Any) -> None:
    """
    Light of n pixels becomes X/Xn, Y/Yn, Z/Zn in place, by 6 or 13 terms.

    Light below 0, which is noise, counts as 0 under a root.
    """
    F = light.dtype.type
    terms = np.empty((1, 13), light.dtype)  # a table, as the planes are: compiled with them
    count = matrix.shape[1]
    for i in range(n):
        r, g, b = light[0, i], light[1, i], light[2, i]
        terms[0, 0], terms[0, 1], terms[0, 2] = r, g, b
        # Turned this way round, what is no number stays none.
        r, g, b = F(0) if r < F(0) else r, F(0) if g < F(0) else g, F(0) if b < F(0) else b
        terms[0, 3], terms[0, 4], terms[0, 5] = _root(r * g), _root(g * b), _root(r * b)
        if count == 13:
            r, g, b = _cube_root(F, r), _cube_root(F, g), _cube_root(F, b)
            terms[0, 6], terms[0, 7], terms[0, 8] = r * g * g, g * b * b, r * b * b
            terms[0, 9], terms[0, 10], terms[0, 11] = g * r * r, b * g * g, b * r * r
            terms[0, 12] = r * g * b
        for line in range(3):
            total = F(0)
            for k in range(count):
                total += matrix[line, k] * terms[0, k]
            light[line, i] = total


@_merged
def _from_tristimulus(n: int, planes: Any) -> None:
    """X/Xn, Y/Yn, Z/Zn of n pixels become L*, a*, b* in place."""
    F = planes.dtype.type
    for i in range(n):
        x = _lightness_root(F, planes[0, i])
        y = _lightness_root(F, planes[1, i])
        z = _lightness_root(F, planes[2, i])
        planes[0, i] = F(116) * y - F(16)
        planes[1, i] = F(500) * (x - y)
        planes[2, i] = F(200) * (y - z)


@_inner
def _lab(camera: Any, image: Any, first: int, start: int, n: int, lab: Any) -> None:
    """L*, a*, b* of n pixels: `first` counts in the strip, `start` in the whole image."""
    _take_light(camera, image, first, n, lab)
    if camera.gain.size:
        _even_out(camera, start, n, lab)
    if camera.matrix.shape[1] == 3:
        _from_3_terms(camera.matrix, n, lab)
    else:
        _from_root_terms(camera.matrix, n, lab)
    _from_tristimulus(n, lab)


@_compiled
def differences(n: int, lab: Any, other: Any, out: Any, first: int) -> None:
    """CIEDE2000 of n pixels of two blocks."""
    F = out.dtype.type
    for i in range(n):
        out[first + i] = _ciede2000(
            F, lab[0, i], lab[1, i], lab[2, i], other[0, i], other[1, i], other[2, i]
        )


@_compiled
def follow_strip(
    camera: Any, image: Any, reference: Any, colour: Any, start: int, out: Any
) -> None:
    """
    L*, a*, b* of a strip, as the image has them, or each pixel's difference where `out` has one.

    The difference is from the same pixel of the reference; from one colour where that is empty.
    """
    lab = np.empty((3, BLOCK), out.dtype)
    other = np.empty((3, BLOCK), out.dtype)
    for channel in range(3):
        for i in range(BLOCK):
            other[channel, i] = colour[channel]
    count = len(image) // 3
    for first in range(0, count, BLOCK):
        n = BLOCK if first + BLOCK < count else count - first
        _lab(camera, image, first, start + first, n, lab)
        if len(reference):
            _lab(camera, reference, first, start + first, n, other)
        if len(out) == count:
            differences(n, lab, other, out, first)
        else:
            for i in range(n):
                out[3 * (first + i)] = lab[0, i]
                out[3 * (first + i) + 1] = lab[1, i]
                out[3 * (first + i) + 2] = lab[2, i]
