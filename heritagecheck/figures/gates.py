"""The eight gates as a line of marks."""

from __future__ import annotations

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import DARK, LIGHT, LINE, element, group, path, picture, text
from heritagecheck.judgement.recommendation import Recommendation

# What each gate asks about, in a word.
ABOUT = ("value", "reason", "cause", "fabric", "hazards", "method", "trials", "least harm")
STEP = 76


def draw_gates(recommendation: Recommendation) -> Picture:
    """
    The eight gates of a zone as a line of marks: disc passed, barred square not, ring not known.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.

    Returns
    -------
    Picture
    """
    marks, words = [], []
    for place, (gate, about) in enumerate(zip(recommendation.gates, ABOUT, strict=True)):
        x = STEP // 2 + STEP * place
        if place:
            marks.append(path(f"M{x - STEP + 16} 20H{x - 16}", stroke=LINE, stroke_width=1.5))
        number = text(x, 25, str(gate.number), fill=LIGHT if gate.result == "passed" else DARK)
        name = text(x, 56, about, font_size=13)
        marks.append(group(str(gate), _shape(gate.result, x), number, name))
        words.append(f"{gate.number} {about} {gate.result}")
    return picture(
        STEP * len(recommendation.gates), 62,
        f"Gates of {recommendation.zone}: {', '.join(words)}",
        element("g", *marks, font_size=14, text_anchor="middle"),
    )  # fmt: skip


def _shape(result: str, x: int) -> str:
    """Mark of a gate. They differ in shape as well as in tone."""
    if result == "passed":
        return element("circle", cx=x, cy=20, r=13)
    if result == "not passed":
        square = element("rect", x=x - 13, y=7, width=26, height=26, fill=LIGHT, stroke=DARK,
                         stroke_width=3)  # fmt: skip
        return square + path(f"M{x - 13} 39h26", stroke=DARK, stroke_width=4)
    return element("circle", cx=x, cy=20, r=13, fill=LIGHT, stroke=DARK, stroke_width=2,
                   stroke_dasharray="3 3")  # fmt: skip
