"""The terms that a field takes, in words of the trade, and those that a few typed letters mean."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from functools import cache, lru_cache
from types import MappingProxyType
from typing import NamedTuple

from heritagecheck import tables
from heritagecheck.survey.records import Observation, Setting, quantities
from heritagecheck.survey.records.fields import literal_choices, terms_of, terms_within
from heritagecheck.survey.records.record import Record
from heritagecheck.tables.row_types import (
    Abrasive,
    Material,
    Method,
    Quantity,
    SettingQuantity,
    SettingUnit,
    Soiling,
    Substrate,
    Topic,
    Word,
)

NO_OTHER_FIELDS: Mapping[str, object] = MappingProxyType({})
QUANTITY_OF = {"unit": "quantity", "setting_unit": "setting_quantity", "dose_unit": "dose_quantity"}
LONG = 4  # letters
LONGEST = 100  # letters; no term has as many
ALIKE = 0.75  # of two words, as difflib counts it: one slip in a word of four letters


class Term(NamedTuple):
    """One term of a list: its code, its label, and other words for it."""

    code: str
    label: str
    also: str = ""


def terms_for(
    model: type[Record], field: str, beside: Mapping[str, object] = NO_OTHER_FIELDS
) -> tuple[Term, ...]:
    """
    Terms that a field takes, or lists between semicolons; empty if any text is allowed.

    `beside` holds other fields of the record, which may narrow the list: the answers of a
    question, the units of a quantity.
    """
    if (model, field) == (Observation, "finding"):
        topic = str(beside.get("topic"))
        return _plain(Topic.named(topic).findings) if topic in tables.codes("topics") else ()
    if (model, field) == (Setting, "words"):
        words = quantities.terms_of(str(beside["quantity"])) if beside.get("quantity") else ()
        if words == tables.codes("abrasives"):
            return _of_table("abrasives")
        return () if quantities.ANY_WORDS in words else _plain(words)
    name = terms_of(model, field) or terms_within(model, field)
    if not name:
        return _plain(literal_choices(model, field))
    quantity = beside.get(QUANTITY_OF.get(field, ""))
    if not quantity:
        return _of_table(name)
    allowed = quantities.units_of(str(quantity))
    return tuple(term for term in _of_table(name) if term.code in allowed)


def matching(terms: Sequence[Term], typed: str, most: int = 8) -> tuple[Term, ...]:
    """
    Terms that typed letters may mean, most likely first.

    Those that start with them come first, then those with a word that does, then those described
    by other words. Only if there are none, terms with a typing error or two.

    Examples
    --------
    >>> from heritagecheck.survey.records import Zone
    >>> [term.label for term in matching(terms_for(Zone, "substrate"), "grannite")]
    ['granite', 'weathered granite', 'polished granite']
    >>> [term.label for term in matching(terms_for(Zone, "soilings"), "bird droppings")]
    ['guano']
    """
    typed = typed[:LONGEST]
    wanted = _words(typed)
    if not wanted:  # a sign, such as that of per cent, is found only as it is
        exact = typed.strip()
        return tuple(term for term in terms if not exact or exact == term.label)[:most]
    written = _ranked(terms, lambda term: _written_so(wanted, typed.strip(), term))
    if written:
        return tuple(terms[place] for _, _, place in written[:most])
    meant = _ranked(terms, lambda term: _perhaps_meant(wanted, term))
    return tuple(terms[place] for rank, _, place in meant[:most] if rank == meant[0][0])


def term_of(terms: Iterable[Term], typed: str, *, case_counts: bool = False) -> Term | None:
    """
    The one term with this label or code; None if there is none, or more than one.

    With `case_counts` capitals matter, as in units: mPa is not MPa.
    """
    known = tuple(terms)
    found = [term for term in known if typed in {term.code, term.label}]
    if not found and not case_counts and _joined(typed):
        found = [one for one in known if _joined(typed) in map(_joined, (one.code, one.label))]
    return found[0] if len(found) == 1 else None


def _ranked(
    terms: Sequence[Term], fit: Callable[[Term], tuple[int, float] | None]
) -> list[tuple[int, float, int]]:
    """Places of the terms that fit, the best first."""
    fits = [(fit(term), place) for place, term in enumerate(terms)]
    return sorted((*found, place) for found, place in fits if found is not None)


def _written_so(wanted: Sequence[str], exact: str, term: Term) -> tuple[int, float] | None:
    """How well a term fits words as they are written; None if it does not."""
    if exact in {term.code, term.label}:
        return -1, 0
    label, typed = _words(term.label), "".join(wanted)
    names = "".join(label), _joined(term.code)
    if typed in names:
        return 0, 0
    if any(name.startswith(typed) for name in names):
        return 1, 0
    if all(any(word.startswith(one) for word in label) for one in wanted):
        return 2, 0
    # A few letters begin too many words of a meaning.
    words = label + _words(term.also) if len(typed) >= LONG else ()
    return (3, 0) if all(any(word.startswith(one) for word in words) for one in wanted) else None


def _perhaps_meant(wanted: Sequence[str], term: Term) -> tuple[int, float] | None:
    """How well a term fits words with typing errors; None if it does not."""
    for rank, words in ((0, _words(term.label)), (1, _words(term.also))):
        near = [max((_likeness(one, word) for word in words), default=0) for one in wanted]
        if min(near) >= ALIKE:
            return rank, -sum(near) / len(near)
    return None


@lru_cache(maxsize=50_000)
def _likeness(one: str, other: str) -> float:
    """Similarity of two words, 0 to 1; different short words have none."""
    if one == other:
        return 1
    if min(len(one), len(other)) < LONG:
        return 0
    match = SequenceMatcher(None, one, other, autojunk=False)
    return match.ratio() if match.real_quick_ratio() >= ALIKE <= match.quick_ratio() else 0


@lru_cache(maxsize=5000)
def _words(text: str) -> tuple[str, ...]:
    """Words of a text without capitals, accents and punctuation."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return tuple(re.findall(r"[^\W_]+", bare))


def _joined(text: str) -> str:
    """A text without capitals, accents, blanks and punctuation."""
    return "".join(_words(text))


def _plain(codes: Iterable[str]) -> tuple[Term, ...]:
    """Terms that are words already."""
    return tuple(Term(code, code.replace("_", " ")) for code in codes)


@cache
def _of_table(name: str) -> tuple[Term, ...]:
    """Terms of one table, with all that describes each."""
    return tuple(one._replace(also=f"{one.code} {one.label} {one.also}") for one in _LISTS[name]())


def _explained(category: str, terms: Iterable[Term]) -> Iterator[Term]:
    """Terms with their definitions from the vocabulary."""
    meanings = {one.term_code: f"{one.term} {one.definition}" for one in Word.coded(category)}
    for term in terms:
        yield term._replace(also=f"{term.also} {meanings.get(term.code, '')}")


# Label of each row, and what else says the same: more names, kinds, meanings.
_LISTS: Mapping[str, Callable[[], Iterable[Term]]] = {
    "soilings": lambda: _explained(
        "soiling", (Term(one.soiling, one.name, one.kind) for one in Soiling.rows())
    ),
    "substrates": lambda: _explained(
        "substrate", (Term(one.substrate, one.name, one.kind) for one in Substrate.rows())
    ),
    "methods": lambda: _explained(
        "method", (Term(one.method, one.brief, one.name) for one in Method.rows())
    ),
    "materials": lambda: (Term(one.material, one.name, one.meaning) for one in Material.rows()),
    "topics": lambda: (Term(one.topic, one.question, one.kind) for one in Topic.rows()),
    "quantities": lambda: (Term(one.quantity, one.name, one.unit) for one in Quantity.rows()),
    "setting_quantities": lambda: (
        Term(one.quantity, one.name, " ".join(one.units)) for one in SettingQuantity.rows()
    ),
    "setting_units": lambda: (
        Term(one.unit, one.unit, " ".join(one.spellings)) for one in SettingUnit.rows()
    ),
    "abrasives": lambda: (Term(one.medium, one.name) for one in Abrasive.rows()),
    "exposure": lambda: (
        Term(one.term_code, one.term, one.definition) for one in Word.coded("exposure")
    ),
}
