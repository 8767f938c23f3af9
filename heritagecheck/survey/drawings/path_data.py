"""
The pen: transforms, and the steps of an outline followed within a tolerance.

Own code, because svgpathtools takes "rotate(abc)" for no turn, "X" for a line and "1e999" for a
place, keeps curves as curves and costs seconds to import; each of these is refused here in words.
"""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Iterator
from typing import Any

import numpy as np

FloatArray = np.ndarray[Any, np.dtype[np.float64]]
Box = tuple[float, float, float, float]

NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
LONGEST_NUMBER = 40  # characters; the patterns become slow with more
FARTHEST = 1e7  # units; larger numbers are errors, and curves would take endless points
NEAREST = 1e-9  # units; what is nearer to 0 is 0, or its square would vanish beneath a fraction
MOST_POINTS = 10_000  # of an outline; a front traced by hand has some hundred
GAP = re.compile(r"[\s,]*", re.ASCII)
TRANSFORM = re.compile(r"[\s,]*(\w+)\s*\(([^()]*)\)", re.ASCII)
# How many numbers each step of an outline takes (SVG 2, section 9.3).
STEPS = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}
TOO_MANY = (
    f"it takes more than {MOST_POINTS:,} points. Simplify it in the drawing program, or split the "
    "zone in two"
)
FLAGS = (3, 4)  # of an arc: one digit each, which needs no blank after it


def matrix_of(transform: str) -> FloatArray:
    """Matrix of an SVG transform."""
    matrix, place = np.eye(3), 0
    while found := TRANSFORM.match(transform, place):
        numbers = NUMBER.findall(found[2])
        one = (
            _one_matrix(found[1], [*map(float, numbers)])
            if all(map(within_reach, numbers))
            else None
        )
        if one is None or NUMBER.sub("", found[2]).strip(" \t\r\n,"):
            break
        matrix, place = matrix @ one, found.end()
    if transform[place:].strip(" \t\r\n,") or not (np.abs(matrix) < FARTHEST).all():
        said = transform if len(transform) < 60 else f"{transform[:60]}…"
        raise ValueError(
            f'transform = "{said}" can\'t be followed. Use matrix, translate, scale, rotate, skewX '
            "or skewY"
        )
    return matrix


def _one_matrix(name: str, values: list[float]) -> FloatArray | None:
    """Matrix of one named transform (CSS Transforms 1, section 11); None for anything else."""
    angle = math.radians(values[0]) if values else 0.0
    a, b, c, d, e, f = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    match name, values:
        case "matrix", [a, b, c, d, e, f]:
            pass
        case "translate", [e]:
            pass
        case "translate", [e, f]:
            pass
        case "scale", [a]:
            d = a
        case "scale", [a, d]:
            pass
        case "rotate", [_] | [_, _, _]:
            a, b, c, d = math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle)
            x, y = values[1:] or (0.0, 0.0)
            e, f = x - a * x - c * y, y - b * x - d * y
        case "skewX", [_]:
            c = math.tan(angle)
        case "skewY", [_]:
            b = math.tan(angle)
        case _:
            return None
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def within_reach(number: str) -> bool:
    """Whether a number is small and short enough to draw."""
    return len(number) <= LONGEST_NUMBER and abs(float(number)) < FARTHEST


def check_steps(outline: str) -> None:
    """Raise ValueError if a step of an outline can't be followed."""
    for count, _ in enumerate(_steps(outline)):
        if count > MOST_POINTS:
            raise ValueError(TOO_MANY)


def followed(outline: str, tolerance: float) -> list[FloatArray]:
    """Rings of an outline, with curves (SVG 2) as straight steps within a tolerance."""
    return [_ring(points) for points in _traced(outline, tolerance) if len(points) > 1]


def box_around(outline: str) -> Box | None:
    """Box around an outline, found without following its curves; None if it has no points."""
    points = [one for ring in _traced(outline, math.inf) if len(ring) > 1 for one in ring]
    if not points:
        return None
    across, down = [one.real for one in points], [one.imag for one in points]
    return min(across), min(down), max(across), max(down)


def _traced(outline: str, tolerance: float) -> list[list[complex]]:
    """Points of each ring; with infinite tolerance, control points that enclose the curves."""
    rings: list[list[complex]] = []
    count = 0
    at = start = mirror = 0j
    before = ""
    for letter, values in _steps(outline):
        kind = letter.lower()
        if kind == "z":
            at, before = start, "z"
            continue
        base = at if letter.islower() else 0j
        if kind == "m":
            at = start = base + complex(*values)
            rings.append([at])
            before = "m"
            continue
        if before == "z":
            rings.append([at])
        # A smooth curve goes on from the last control point only after a curve of its own kind.
        held = mirror if before and before in {"s": "cs", "t": "qt"}.get(kind, "") else at
        drawn, mirror = _drawn(kind, values, at, base, held, tolerance)
        count += len(drawn)
        if count > MOST_POINTS:
            raise ValueError(TOO_MANY)
        rings[-1].extend(drawn)
        at, before = drawn[-1], kind
    return rings


def _ring(points: list[complex]) -> FloatArray:
    """Points as x and y, without repeated neighbours."""
    ring = np.array(points)
    ring = ring[ring != np.roll(ring, -1)] if len(set(points)) > 1 else ring[:1]
    return np.stack([ring.real, ring.imag], axis=-1)


def _drawn(
    kind: str, values: list[float], at: complex, base: complex, held: complex, tolerance: float
) -> tuple[list[complex], complex]:
    """Points that one step draws, and the control point for a smooth curve after it."""
    if kind == "h":
        return [complex(base.real + values[0], at.imag)], 0j
    if kind == "v":
        return [complex(at.real, base.imag + values[0])], 0j
    if kind == "a":
        end = base + complex(*values[5:])
        return _arc(at, end, values[:5], tolerance), 0j
    given = [base + complex(*values[place : place + 2]) for place in range(0, len(values), 2)]
    if kind == "l":
        return given, 0j
    controls = [at, held, *given] if kind in "st" else [at, *given]
    return _curve(controls, tolerance), 2 * controls[-1] - controls[-2]


def _curve(controls: list[complex], tolerance: float) -> list[complex]:
    """Points of a Bézier curve after its first (de Casteljau's construction)."""
    if tolerance == math.inf:
        return controls[1:]
    # k steps lie within n (n - 1) D / (8 k²) of a curve of degree n; D is the greatest second
    # difference of its control points.
    degree = len(controls) - 1
    bend = float(np.abs(np.diff(controls, 2)).max())
    count = _count(math.sqrt(degree * (degree - 1) * bend / (8 * tolerance)))
    share = np.arange(1, count + 1) / count
    points = np.repeat(np.array(controls)[:, np.newaxis], count, axis=1)
    for _ in range(degree):
        points = points[:-1] * (1 - share) + points[1:] * share
    return [*points[0][:-1].tolist(), controls[-1]]


def _arc(at: complex, end: complex, values: list[float], tolerance: float) -> list[complex]:
    """Points of an elliptical arc after its first; on the unit circle of its own axes."""
    # SVG 2, section B.2.4: from the two ends to the centre.
    across, down, degrees, large, sweep = values
    across, down = abs(across), abs(down)
    if at == end or not across or not down:
        return [end]
    turn = cmath.rect(1, math.radians(degrees))
    half = (at - end) / 2 / turn
    unit = complex(half.real / across, half.imag / down)
    wide = abs(unit)
    if wide > 1:  # radii too short to reach are stretched until they do
        across, down, unit, wide = across * wide, down * wide, unit / wide, 1.0
    side = 1 if bool(large) != bool(sweep) else -1
    centre = side * math.sqrt(max(0.0, 1 / wide**2 - 1)) * -1j * unit
    if tolerance == math.inf:
        middle = (at + end) / 2 + turn * complex(centre.real * across, centre.imag * down)
        wide = math.hypot(across * turn.real, down * turn.imag)
        high = math.hypot(across * turn.imag, down * turn.real)
        return [middle - complex(wide, high), middle + complex(wide, high), end]
    first = cmath.phase(unit - centre)
    angle = (cmath.phase(-unit - centre) - first) % (2 * math.pi)
    angle -= 0 if sweep else 2 * math.pi
    # A chord of the angle v lies r (1 - cos(v / 2)) from its arc, which is less than r v² / 8.
    step = math.sqrt(8 * tolerance / max(across, down))
    count = _count(abs(angle) / step)
    turned = np.exp(1j * (first + angle * np.arange(1, count) / count)) + centre
    points = (at + end) / 2 + turn * (turned.real * across + 1j * turned.imag * down)
    return [*points.tolist(), end]


def _count(wanted: float) -> int:
    """Number of straight steps of a curve, checked before any is made."""
    if not wanted <= MOST_POINTS:
        raise ValueError(TOO_MANY)
    return max(1, math.ceil(wanted))


def _steps(outline: str) -> Iterator[tuple[str, list[float]]]:
    """Steps of an outline one by one: letter and numbers."""
    place, letter = _after_gap(outline, 0), ""
    if outline[place : place + 1] not in {"M", "m"}:
        raise ValueError(f'it begins with "{outline[place : place + 12]}", not with a move M or m')
    while place < len(outline):
        if outline[place].isalpha():
            letter = outline[place]
            place = _after_gap(outline, place + 1)
        elif letter in {"Z", "z"}:
            raise ValueError(f'"{outline[place : place + 12]}" is where a step should begin')
        elif letter in {"M", "m"}:
            letter = "L" if letter == "M" else "l"  # more points after a move are lines
        if letter.lower() not in STEPS:
            raise ValueError(f'"{letter}" is not a step. Steps are {" ".join(STEPS).upper()}')
        values: list[float] = []
        for number in range(STEPS[letter.lower()]):
            value, place = _number(outline, place, flag=letter in "aA" and number in FLAGS)
            values.append(value)
        yield letter, values


def _after_gap(outline: str, place: int) -> int:
    """Place after blanks and commas."""
    gap = GAP.match(outline, place)
    return place if gap is None else gap.end()


def _number(outline: str, place: int, *, flag: bool) -> tuple[float, int]:
    """One number of an outline, and the place after it."""
    if flag and outline[place : place + 1] in {"0", "1"}:
        return float(outline[place]), _after_gap(outline, place + 1)
    found = None if flag else NUMBER.match(outline, place)
    if found is None or not within_reach(found[0]):
        rest = outline[place : place + 12] or "its end"
        raise ValueError(f'a number of a step is missing or too large at "{rest}"')
    value = float(found[0])
    return value if abs(value) > NEAREST else 0.0, _after_gap(outline, found.end())
