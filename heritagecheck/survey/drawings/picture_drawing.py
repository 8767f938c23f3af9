"""A photograph or scan of an elevation as a drawing: one picture in a frame, without outlines."""

from __future__ import annotations

import base64
from functools import lru_cache
from pathlib import Path
from xml.etree import ElementTree as ET

from heritagecheck.survey.drawings.picture_file import as_jpeg, open_picture
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing

# Units of the longer side, and pixels of the copy that a report carries: joints stay visible in a
# detail a fifth as wide, and type and hatches are as large as on a drawing of that width.
LONGEST = 2000
MOST_BYTES = 100 * 2**20
IMAGE = f"{{{SVG}}}image"
JPEG_ADDRESS = "data:image/jpeg;base64,"


@lru_cache(maxsize=16)
def picture_drawing(path: Path, changed_ns: int, size: int) -> PlainDrawing:
    """Drawing that shows the picture in a file; when it was changed is a part of its name."""
    del changed_ns
    try:
        if size > MOST_BYTES:
            raise ValueError(
                f"The picture is larger than {MOST_BYTES // 2**20} MB. Save it smaller."
            )
        image, (wide, high) = open_picture(path.read_bytes(), LONGEST)
    except ValueError as error:
        said = str(error).removesuffix(".")
        return PlainDrawing(ET.Element(f"{{{SVG}}}svg"), (said[:1].lower() + said[1:],), ())
    unit = LONGEST / max(wide, high)
    sides = {"width": f"{wide * unit:.9g}", "height": f"{high * unit:.9g}"}
    root = ET.Element(f"{{{SVG}}}svg", {"viewBox": f"0 0 {sides['width']} {sides['height']}"})
    given = {"href": address_of(as_jpeg(image)), "preserveAspectRatio": "none"}
    ET.SubElement(root, IMAGE, {**sides, **given})
    return PlainDrawing(root, (), ())


def address_of(jpeg: bytes) -> str:
    """A picture as an address that carries it."""
    return JPEG_ADDRESS + base64.b64encode(jpeg).decode("ascii")
