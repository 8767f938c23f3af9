"""The two families that pages are set in, carried by the package."""

from __future__ import annotations

import base64
from pathlib import Path

from markupsafe import Markup

FONTS = Path(__file__).parent / "fonts"
CARRIED = (
    ("normal", 400, "Literata-Regular.ttf"),
    ("italic", 400, "Literata-Italic.ttf"),
    ("normal", 600, "Literata-SemiBold.ttf"),
)


def carried_faces() -> Markup:
    """
    Style that carries our serif in the page itself; the sans is left to whatever the reader has.

    Returns
    -------
    markupsafe.Markup
    """
    return Markup(" ").join(
        Markup(
            '@font-face {{ font-family: "Literata"; font-style: {}; font-weight: {}; '
            'src: url("data:font/ttf;base64,{}"); }}'
        ).format(style, weight, base64.b64encode((FONTS / name).read_bytes()).decode())
        for style, weight, name in CARRIED
    )
