"""How a row of a rule says when it applies: yes, no, or not known."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from heritagecheck import tables

Facts = Mapping[str, frozenset[str] | None]


def holds(when: str, facts: Facts) -> bool | None:
    """
    Whether a condition of a rule holds.

    Parameters
    ----------
    when : str
        Terms separated by semicolons, all of which must hold: ``name=a|b`` (one of these was
        recorded) or ``name!=a`` (anything but, *nothing recorded included*). ``any``, ``each`` (of
        whatever methods there are) and an empty condition always hold.
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
    known = True
    for name, negated, words in _terms(when):
        value = facts.get(name)
        if value is None:
            known = known and negated
        elif value.isdisjoint(words) != negated:
            return False
    return True if known else None


def asks(when: str) -> frozenset[str]:
    """Names that a condition asks about."""
    return frozenset(name for name, _, _ in _terms(when))


@cache
def method_facts(method: str) -> Facts:
    """
    What rules may ask about a method, whatever the zone.

    Returns
    -------
    mapping of str to frozenset of str
        Columns of `tables/methods.csv`; its hazards one by one.

    Examples
    --------
    >>> sorted(method_facts("biocide")["hazards"])
    ['biocide', 'ecology', 'run_off']
    """
    row = tables.keyed("methods", "method")[method]
    return {name: frozenset(value.split(";")) for name, value in row.items()}


@cache
def _terms(when: str) -> tuple[tuple[str, bool, frozenset[str]], ...]:
    """Take a condition apart: name, whether it asks for anything but, and the words."""
    found = []
    for term in when.split(";"):
        if term not in {"", "any", "each"}:
            name, words = term.split("!=" if "!=" in term else "=")
            found.append((name, "!=" in term, frozenset(words.split("|"))))
    return tuple(found)


# -- Questions of topics.csv -----------------------------------------------------------------------

# What is written only where it is so, such as a source that no other question names.
IF_NAMED = "if_named"
