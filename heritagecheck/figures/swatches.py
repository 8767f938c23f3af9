"""Soiled and clean stone side by side, as near as a screen comes to the readings."""

from __future__ import annotations

from html import escape

from heritagecheck.cards import Picture
from heritagecheck.evidence.colour import display_colour
from heritagecheck.judgement.recommendation import Recommendation


def draw_swatches(recommendation: Recommendation) -> Picture:
    """
    Swatches of the soiled zone, its clean reference, and the appearance agreed.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.

    Returns
    -------
    Picture
        Three patches with their readings; a line of words where no colour could be compared.
    """
    colour = recommendation.evidence.colour
    if colour is None:
        note = recommendation.evidence.colour_note or "colour was not measured"
        return Picture(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 480 30" width="480" height="30">'
            f'<text x="0" y="20" font-family="Source Sans 3, sans-serif" font-size="14">'
            f"No swatches: {escape(note)}."
            "</text></svg>",
            f"No swatches for {recommendation.zone}: {note}",
        )
    agreed = recommendation.evidence.finding("agreed_appearance")
    patches = [
        ("as found", colour.mean_soiled),
        ("clean reference", colour.mean_reference),
    ]
    if agreed is not None:
        today = agreed == "as_today"
        patches.append(("agreed", colour.mean_soiled if today else colour.mean_reference))
    parts = []
    for place, (name, lab) in enumerate(patches):
        x = 112 * place
        parts.append(
            f'<rect x="{x}" y="0" width="104" height="44" fill="{display_colour(lab)}" '
            f'stroke="#8b877e"/><text x="{x}" y="61">{name}</text>'
            f'<text x="{x}" y="79" fill="#5b574e">L* {lab[0]:.0f}  a* {lab[1]:.0f}  '
            f"b* {lab[2]:.0f}</text>"
        )
    return Picture(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 336 84" width="336" height="84" '
        f'font-family="Source Sans 3, sans-serif" font-size="14">{"".join(parts)}</svg>',
        f"Swatches of {recommendation.zone}: {colour}",
    )
