"""How a row of a rule says when it applies: yes, no, or not known."""

from __future__ import annotations

from collections.abc import Mapping

Facts = Mapping[str, frozenset[str] | None]


def holds(when: str, facts: Facts) -> bool | None:
    """
    Whether a condition of a rule holds.

    Parameters
    ----------
    when : str
        Terms parted by semicolons, all of which must hold: ``name=a|b`` (one of these was
        recorded) or ``name!=a`` (anything but, *nothing recorded included*). ``any`` and an
        empty condition always hold.
    facts : mapping of str to frozenset of str or None
        What is recorded; None where nothing is.

    Returns
    -------
    bool or None
        None where a term rests on something that is not recorded and no other term fails.

    Examples
    --------
    >>> holds("kind=masonry;joints=open", {"kind": frozenset({"masonry"}), "joints": None})
    >>> holds("kind=metal;joints=open", {"kind": frozenset({"masonry"}), "joints": None})
    False
    """
    results = [_term_holds(term, facts) for term in when.split(";") if term not in {"", "any"}]
    if False in results:
        return False
    return None if None in results else True


def _term_holds(term: str, facts: Facts) -> bool | None:
    """Whether one term holds."""
    if "!=" in term:
        name, words = term.split("!=")
        value = facts.get(name)
        return value is None or not value & set(words.split("|"))
    name, words = term.split("=")
    value = facts.get(name)
    return None if value is None else bool(value & set(words.split("|")))
