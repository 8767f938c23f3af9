"""The eight gates as a line of marks."""

from __future__ import annotations

from html import escape

from heritagecheck.cards import Picture
from heritagecheck.judgement.recommendation import Recommendation

# Marks differ in shape as well as in tone: a full disc, a barred square, an open dashed ring.
SHAPES = {
    "passed": '<circle cx="{x}" cy="20" r="13" fill="#1d1d1b"/>'
    '<text x="{x}" y="25" fill="#fff">{n}</text>',
    "not passed": '<rect x="{left}" y="7" width="26" height="26" fill="#fff" stroke="#1d1d1b" '
    'stroke-width="3"/><path d="M{left} 39H{right}" stroke="#1d1d1b" stroke-width="4"/>'
    '<text x="{x}" y="25" fill="#1d1d1b">{n}</text>',
    "not known": '<circle cx="{x}" cy="20" r="13" fill="#fff" stroke="#1d1d1b" stroke-width="2" '
    'stroke-dasharray="3 3"/><text x="{x}" y="25" fill="#1d1d1b">{n}</text>',
}
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
            marks.append(
                f'<path d="M{x - STEP + 16} 20H{x - 16}" stroke="#8b877e" stroke-width="1.5"/>'
            )
        shape = SHAPES[gate.result].format(x=x, left=x - 13, right=x + 13, n=gate.number)
        marks.append(
            f"<g><title>{escape(str(gate))}</title>{shape}"
            f'<text x="{x}" y="56" font-size="13" fill="#1d1d1b">{about}</text></g>'
        )
        words.append(f"{gate.number} {about} {gate.result}")
    width = STEP * len(recommendation.gates)
    return Picture(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} 62" width="{width}" '
        f'height="62" font-family="Source Sans 3, sans-serif" font-size="14" '
        f'text-anchor="middle">{"".join(marks)}</svg>',
        f"Gates of {recommendation.zone}: {', '.join(words)}",
    )
