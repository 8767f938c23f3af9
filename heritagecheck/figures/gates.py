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
    for place, gate in enumerate(recommendation.gates):
        x = 22 + 42 * place
        if place:
            marks.append(f'<path d="M{x - 29} 20H{x - 13}" stroke="#8b877e" stroke-width="1.5"/>')
        shape = SHAPES[gate.result].format(x=x, left=x - 13, right=x + 13, n=gate.number)
        marks.append(f"<g><title>{escape(str(gate))}</title>{shape}</g>")
        words.append(f"{gate.number} {gate.result}")
    return Picture(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 340 44" width="340" height="44" '
        'font-family="Georgia, serif" font-size="14" text-anchor="middle">'
        f"{''.join(marks)}</svg>",
        f"Gates of {recommendation.zone}: {', '.join(words)}",
    )
