"""The command as a shell starts it: on any console, and with a sentence for whatever ends it."""

from __future__ import annotations

import codecs
import io
import os
import sys
import unicodedata

from heritagecheck.errors import in_words

BAD, INTERRUPTED, NOBODY_READS = 1, 130, 141
# Signs of our texts as they are typed on a console that has only the plainest letters.
TYPED = {
    "Δ": "d", "µ": "u", "–": "-", "—": "-", "−": "-", "‘": "'", "’": "'", "“": '"', "”": '"',
    "×": "x", "·": ".", "≤": "<=", "≥": ">=", "→": "->", "±": "+-", "σ": "s", "½": "1/2",
}  # fmt: skip


def run() -> int:
    """
    Run the command that was typed.

    Returns
    -------
    int
        0 where all went well, 1 where something given must be corrected or could not be read or
        written, 130 where it was interrupted, 141 where nobody reads what it says any more; bad
        usage ends it with 2.
    """
    codecs.register_error("typed", as_typed)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="typed")
    try:
        try:
            from heritagecheck.cli import main

            return main()
        finally:
            sys.stdout.flush()
    except BrokenPipeError:
        _say_no_more()
        return NOBODY_READS
    except OSError as error:
        _say_no_more()
        print(f"The output could not be written: {in_words(error)}", file=sys.stderr)
        return BAD
    except KeyboardInterrupt:
        print("Interrupted. Nothing that was there before has changed.", file=sys.stderr)
        return INTERRUPTED


def as_typed(error: UnicodeError) -> tuple[str, int]:
    """Write what a console can't show in letters that it can, and a question mark for the rest."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    typed = ""
    for sign in error.object[error.start : error.end]:
        plain = TYPED.get(sign, unicodedata.normalize("NFKD", sign))
        typed += plain.encode("ascii", "ignore").decode() or "?"
    return typed, error.end


def _say_no_more() -> None:
    """Let nothing be written at the very end that could not be written before."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(run())
