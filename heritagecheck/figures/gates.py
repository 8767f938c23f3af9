"""The eight gates as two lines of marks."""

from __future__ import annotations

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import DARK, LIGHT, LINE, element, group, path, picture, text
from heritagecheck.judgement.recommendation import Recommendation

# What each gate asks about, in a word.
ABOUT = ("value", "reason", "cause", "fabric", "hazards", "method", "trials", "least harm")
# Two lines are as wide as a phone, where nothing is shrunk.
A_LINE, STEP, HIGH = 4, 86, 66  # gates, pixel, pixel


def draw_gates(recommendation: Recommendation) -> Picture:
    """
    The eight gates of a zone as marks: disc passed, barred square not passed, ring not known.

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
        line, at = divmod(place, A_LINE)
        x, y = STEP // 2 + STEP * at, 20 + HIGH * line
        if at:
            marks.append(path(f"M{x - STEP + 16} {y}H{x - 16}", stroke=LINE, stroke_width=1.5))
        shown = text(x, y + 5, str(gate.number), fill=LIGHT if gate.result == "passed" else DARK)
        name = text(x, y + 36, about, font_size=13)
        marks.append(group(str(gate), _shape(gate.result, x, y), shown, name))
        words.append(f"{gate.number} {about} {gate.result}")
    return picture(
        STEP * A_LINE, HIGH * -(-len(recommendation.gates) // A_LINE) - 4,
        f"Gates of {recommendation.zone}: {', '.join(words)}",
        element("g", *marks, font_size=14, text_anchor="middle"),
    )  # fmt: skip


def _shape(result: str, x: int, y: int) -> str:
    """Mark of a gate. They differ in shape as well as in tone."""
    if result == "passed":
        return element("circle", cx=x, cy=y, r=13)
    if result == "not passed":
        square = element("rect", x=x - 13, y=y - 13, width=26, height=26, fill=LIGHT, stroke=DARK,
                         stroke_width=3)  # fmt: skip
        return square + path(f"M{x - 13} {y + 19}h26", stroke=DARK, stroke_width=4)
    return element("circle", cx=x, cy=y, r=13, fill=LIGHT, stroke=DARK, stroke_width=2,
                   stroke_dasharray="3 3")  # fmt: skip
