"""Of which zones a question of `topics.csv` is asked."""

from __future__ import annotations

# What is written only where it is so, such as a source that no other question names.
IF_NAMED = "if_named"


def asked_of(kind: str) -> str:
    """
    Zones of which a question is asked, in words.

    Parameters
    ----------
    kind : str
        Column kind of `topics.csv`.

    Returns
    -------
    str
    """
    return {"all": "every zone", IF_NAMED: "only where there is one"}.get(kind, kind)
