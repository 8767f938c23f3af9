"""What a careless program, a bad disk or an ill-meant hand makes of a file, from a seed."""

from __future__ import annotations

import csv
import io
import random
import re
import zipfile
from collections.abc import Callable

Mutate = Callable[[random.Random, bytes], bytes]

NASTY = [
    "", " ", "0", "-0", "-1", "1e308", "-1e308", "1e999", "1e-320", "nan", "NaN", "inf",
    "-Infinity",
    "99999999999999999999999999", "0x1F", "1_000", "1,5", "1.234", "1.2.3", "12,345.6", "½", "١٢",
    "五",
    "true", "None", "null", "#REF!", "=1+1", "01/02/03", "2026-02-30", "9999-12-31", "0000-00-00",
    "-2026-01-01", "2026-05-13T09:30:00+99:00", "../../etc/passwd", "C:\\Windows\\win.ini", "/",
    "\\",
    "con", "a" * 20_000, "é" * 300, "a\u0301\u202e\u2066b", "\ufeff", "\u200b", "\x00",
    "\x1b[2J\x07",
    "\r", "\n", "\t", '"', '""', "'", ";", ",", "<script>alert(1)</script>", "&amp;", "%s%n{0}{x}",
    "N01", "granite", "yes", "no", "not_known", "\ud83d",
]  # fmt: skip
XML = [
    '<!DOCTYPE a [<!ENTITY b "cccccccccc"><!ENTITY d "&b;&b;&b;&b;&b;&b;&b;&b;">]>', "<a>",
    "</a>", "&d;",
    '<!DOCTYPE a SYSTEM "file:///etc/passwd">', "<![CDATA[", "]]>", "<!--", "<?xml version='9'?>",
    "&#0;",
    '<use href="#north" x="1e308"/>', '<g transform="scale(1e300) rotate(abc)">', "<g>" * 2000,
    "&",
    '<path d="M0 0' + "l1 1" * 5000 + 'z"/>',
    '<path d="M nan inf A 0 0 0 9 9 1e999 0z" class="zone"/>',
    '<image href="http://127.0.0.1:1/x"/>', '<style>@import "x"</style>', '<script>1</script>',
    '<circle r="NaN" cx="1e999"/>', '<svg xmlns="http://www.w3.org/1999/xhtml">',
    'data-zone="N01"',
]  # fmt: skip
MOST = 2_000_000  # bytes, above which nothing more is done to an input
ENCODINGS = ["utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "utf-8-sig", "cp037", "utf-7"]


def mutated(drawn: random.Random, content: bytes, structure: tuple[Mutate, ...]) -> bytes:
    """Change content once or a few times, by its structure or byte by byte."""
    for _ in range(drawn.choice([1, 1, 1, 2, 3, 6])):
        of_structure = structure and drawn.random() < 0.7
        content = drawn.choice(structure if of_structure else BYTES)(drawn, content)
        if len(content) > MOST:
            break
    return content


def _span(drawn: random.Random, content: bytes) -> tuple[int, int]:
    """A piece of content, mostly short."""
    start = drawn.randrange(len(content) + 1)
    return start, min(len(content), start + int(drawn.paretovariate(0.4)))


def flipped(drawn: random.Random, content: bytes) -> bytes:
    """Some bits are the other way round."""
    changed = bytearray(content)
    for _ in range(drawn.choice([1, 1, 4, 30]) if content else 0):
        changed[drawn.randrange(len(changed))] ^= 1 << drawn.randrange(8)
    return bytes(changed)


def overwritten(drawn: random.Random, content: bytes) -> bytes:
    """A piece became other bytes, often those at the edge of what numbers hold."""
    start, end = _span(drawn, content)
    new = drawn.choice([b"\0", b"\xff", b"\x7f\xff\xff\xff", b"\x80\0\0\0", drawn.randbytes(4)])
    return content[:start] + (new * (end - start))[: end - start] + content[end:]


def cut(drawn: random.Random, content: bytes) -> bytes:
    """The end is missing."""
    return content[: drawn.randrange(len(content) + 1)]


def taken_out(drawn: random.Random, content: bytes) -> bytes:
    """A piece is missing."""
    start, end = _span(drawn, content)
    return content[:start] + content[end:]


def doubled(drawn: random.Random, content: bytes) -> bytes:
    """A piece stands there twice, or very often."""
    start, end = _span(drawn, content)
    often = min(drawn.choice([1, 1, 2, 5000]), 500_000 // max(end - start, 1))
    return content[:end] + content[start:end] * often + content[end:]


def put_in(drawn: random.Random, content: bytes) -> bytes:
    """Something stands there that belongs elsewhere."""
    at = drawn.randrange(len(content) + 1)
    new = drawn.choice([drawn.choice(NASTY).encode(errors="surrogatepass"), drawn.randbytes(9)])
    return content[:at] + new + content[at:]


def moved(drawn: random.Random, content: bytes) -> bytes:
    """Two pieces changed places."""
    first, second, third = sorted(drawn.randrange(len(content) + 1) for _ in range(3))
    return content[:first] + content[second:third] + content[first:second] + content[third:]


BYTES: tuple[Mutate, ...] = (flipped, overwritten, cut, taken_out, doubled, put_in, moved)


def _as_text(change: Callable[[random.Random, str], str]) -> Mutate:
    """A change of text as one of bytes."""

    def changed(drawn: random.Random, content: bytes) -> bytes:
        new = change(drawn, content.decode("utf-8", "surrogateescape"))
        try:
            return new.encode("utf-8", "surrogateescape")
        except UnicodeEncodeError:  # half a sign of two, which no file should hold
            return new.encode("utf-8", "surrogatepass")

    return changed


def _a_number(drawn: random.Random, text: str) -> str:
    """One number became something else."""
    found = list(re.finditer(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?", text))
    if not found:
        return text
    one = drawn.choice(found)
    return text[: one.start()] + drawn.choice(NASTY) + text[one.end() :]


def _a_word(drawn: random.Random, text: str) -> str:
    """One word became something else, or another word of the same text."""
    found = list(re.finditer(r"[^\s,;<>\"=]+", text))
    if not found:
        return text
    one = drawn.choice(found)
    new = drawn.choice([drawn.choice(NASTY), drawn.choice(found).group(), one.group().swapcase()])
    return text[: one.start()] + new + text[one.end() :]


def _lines(drawn: random.Random, text: str) -> str:
    """A line is gone, stands twice or a thousand times, or elsewhere."""
    lines = text.splitlines(keepends=True) or [""]
    at, to = drawn.randrange(len(lines)), drawn.randrange(len(lines))
    match drawn.randrange(4):
        case 0:
            del lines[at]
        case 1:
            lines[at:at] = [lines[to]] * drawn.choice([1, 1, 1000])
        case 2:
            lines[at], lines[to] = lines[to], lines[at]
        case _:
            lines[at] = lines[at].rstrip("\r\n") + lines[to]
    return "".join(lines)


def _delimiters(drawn: random.Random, text: str) -> str:
    """Every sign of one kind became another."""
    old, new = drawn.choice([",;", ",\t", ".,", "\n\r", '""', "\"'", "  ", "<>", "/|"])
    return text.replace(old, new if drawn.random() < 0.8 else drawn.choice(NASTY[:20]))


def encoded(drawn: random.Random, content: bytes) -> bytes:
    """The text was saved in another encoding."""
    text = content.decode("utf-8", "replace")
    return text.encode(drawn.choice(ENCODINGS), "replace")


TEXT: tuple[Mutate, ...] = (
    *map(_as_text, (_a_number, _a_number, _a_word, _lines, _delimiters)), encoded,
)  # fmt: skip


def _cells(drawn: random.Random, text: str) -> str:
    """Cells of a table changed: swapped, blank, odd, of another row; a column moved or gone."""
    try:
        rows = list(csv.reader(io.StringIO(text.replace("\0", ""), newline="")))
    except csv.Error:  # a cell longer than the library takes
        return text
    rows = [row for row in rows if row] or [["a"]]
    row, other = drawn.choice(rows), drawn.choice(rows)
    at, to = drawn.randrange(len(row)), drawn.randrange(len(other))
    match drawn.randrange(8):
        case 0:
            row[at], other[to] = other[to], row[at]
        case 1 | 2:
            row[at] = drawn.choice(NASTY)
        case 3:
            row[at] = other[to]
        case 4:
            row.insert(at, drawn.choice(NASTY))
        case 5:
            rows = [[cell for place, cell in enumerate(one) if place != at] for one in rows]
        case 6:
            rows += [row] * min(drawn.choice([1, 3000]), MOST // (sum(map(len, row)) + 1) + 1)
        case _:
            for one in rows[1:]:
                one[min(at, len(one) - 1) if one else 0 : at + 1] = [drawn.choice(NASTY)[:400]]
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerows(rows)
    return written.getvalue()


def _elements(drawn: random.Random, text: str) -> str:
    """Something of XML was put in, an element doubled or gone, or an attribute is odd."""
    tags = list(re.finditer(r"<[^<>]+>", text))
    if not tags:
        return text
    one, other = drawn.choice(tags), drawn.choice(tags)
    match drawn.randrange(5):
        case 0:
            return text[: one.end()] + drawn.choice(XML) + text[one.end() :]
        case 1:
            return text[: one.start()] + text[one.end() :]
        case 2:
            return (
                text[: one.end()] + other.group() * drawn.choice([1, 3, 3000]) + text[one.end() :]
            )
        case 3:
            return text[: one.start()] + other.group() + text[one.end() :]
        case _:
            odd = re.sub(
                r'="[^"]*"', lambda _: f'="{drawn.choice(NASTY[:50])}"', one.group(), count=1
            )
            return text[: one.start()] + odd + text[one.end() :]


TABLE: tuple[Mutate, ...] = (*[_as_text(_cells)] * 6, *TEXT)
MARKUP: tuple[Mutate, ...] = (*[_as_text(_elements)] * 4, *TEXT)


def archive(inner: dict[str, tuple[Mutate, ...]]) -> tuple[Mutate, ...]:
    """Changes of a zip: of what is in it, by the endings of names, and of the names."""

    def inside(drawn: random.Random, content: bytes) -> bytes:
        parts = _parts(content)
        if not parts:
            return content
        name = drawn.choice(list(parts))
        of = next((found for end, found in inner.items() if name.endswith(end)), ())
        return _packed(parts | {name: mutated(drawn, parts[name], of)})

    def named(drawn: random.Random, content: bytes) -> bytes:
        parts = _parts(content)
        if not parts:
            return content
        name = drawn.choice(list(parts))
        match drawn.randrange(4):
            case 0:
                del parts[name]
            case 1:
                odd = ["../x.csv", "/x.csv", "a/b/zones.csv", name.upper(), "x" * 300, "c:x"]
                parts[drawn.choice(odd)] = parts.pop(name)
            case 2:
                parts = {f"inner/{one}": data for one, data in parts.items()}
            case _:
                parts["more.bin"] = b"\0" * 3_000_000
        return _packed(parts)

    return inside, inside, inside, named


def _parts(content: bytes) -> dict[str, bytes]:
    """What a zip holds; nothing where it is broken already."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(one.file_size for one in packed.infolist()) > 30_000_000:
                return {}
            return {one.filename: packed.read(one) for one in packed.infolist()}
    except Exception:  # whatever the broken zip makes of the library is no matter here
        return {}


def _packed(parts: dict[str, bytes]) -> bytes:
    """A zip of these parts."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in parts.items():
            packed.writestr(name, data)
    return made.getvalue()
