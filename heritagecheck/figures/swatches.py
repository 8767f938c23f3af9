"""Soiled and clean stone side by side, as near as a screen comes to the readings."""

from __future__ import annotations

from heritagecheck.cards import Picture
from heritagecheck.evidence.colour import display_colour
from heritagecheck.figures.svg import LINE, QUIET, element, picture, text, wrapped
from heritagecheck.judgement.recommendation import Recommendation

WIDTH, PATCH, APART = 336, 104.0, 112.0  # pixel
LETTERS = 14


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
        lines = wrapped(f"No swatches: {note}.", WIDTH)
        said = [text(0, 16 + 18 * place, words) for place, words in enumerate(lines)]
        alt = f"No swatches for {recommendation.zone}: {note}"
        return picture(WIDTH, 18 * len(lines) + 6, alt, *said)
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
        x = APART * place
        numbers = "  ".join(
            f"{channel}* {value:.0f}" for channel, value in zip("Lab", lab, strict=True)
        )
        parts += [
            element(
                "rect", x=x, y=0, width=PATCH, height=44, fill=display_colour(lab), stroke=LINE
            ),
            text(x, 61, name),
            text(x, 79, numbers, fill=QUIET),
        ]
    return picture(
        WIDTH, 84, f"Swatches of {recommendation.zone}: {colour}",
        element("g", *parts, font_size=LETTERS),
    )  # fmt: skip
