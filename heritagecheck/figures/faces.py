"""The type of every page, carried in the page itself, so that it looks alike without a network."""

from __future__ import annotations

import base64

from markupsafe import Markup

from heritagecheck.figures.svg import FONTS

CARRIED = (
    ("Literata", "normal", 400, "Literata-Regular.ttf"),
    ("Literata", "italic", 400, "Literata-Italic.ttf"),
    ("Literata", "normal", 600, "Literata-SemiBold.ttf"),
    ("Source Sans 3", "normal", 400, "SourceSans3-Regular.ttf"),
    ("Source Sans 3", "normal", 600, "SourceSans3-SemiBold.ttf"),
)


def carried_faces() -> Markup:
    """Style that carries both families in the page itself."""
    return Markup(" ").join(
        Markup(
            '@font-face {{ font-family: "{}"; font-style: {}; font-weight: {}; '
            'src: url("data:font/ttf;base64,{}"); }}'
        ).format(family, style, weight, base64.b64encode((FONTS / name).read_bytes()).decode())
        for family, style, weight, name in CARRIED
    )
