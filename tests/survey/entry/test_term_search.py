"""Terms of the lists, and those that a few typed letters mean."""

from __future__ import annotations

import pytest

from heritagecheck import tables
from heritagecheck.survey.entry.term_search import matching, term_of, terms_for
from heritagecheck.survey.records import TABLES, Layer, Observation, Panel, Setting, Spot, Zone
from heritagecheck.survey.records.fields import literal_choices, terms_of

LISTED = [
    (model, field)
    for model in TABLES.values()
    for field in model.model_fields
    if terms_of(model, field) or literal_choices(model, field)
]


def labels(model: type, field: str, typed: str, most: int = 8) -> list[str]:
    """Labels of the terms that are found."""
    return [term.label for term in matching(terms_for(model, field), typed, most)]


@pytest.mark.parametrize(("model", "field"), LISTED)
def test_every_list_has_one_label_for_each_code(model: type, field: str) -> None:
    """All codes that a field takes are there once, in words; each is found by code and label."""
    terms = terms_for(model, field)
    codes = tables.codes(terms_of(model, field)) if terms_of(model, field) else ()

    assert [term.code for term in terms] == list(codes or literal_choices(model, field))
    assert len({term.label for term in terms}) == len(terms)
    assert not any("_" in term.label for term in terms)
    for term in terms:
        assert term_of(terms, term.code) == term == term_of(terms, term.label)
        assert matching(terms, term.label)[0] == term


@pytest.mark.parametrize(
    ("field", "typed", "found"),
    [
        ("soilings", "gra", ["graffiti"]),
        ("soilings", "rust", ["rust", "pack rust", "flash rust"]),
        ("soilings", "algae", ["algae"]),
        ("soilings", "growth", ["algae", "lichen", "biofilm", "black fungi"]),
        ("soilings", "bird droppings", ["guano"]),
        ("soilings", "BLACK  crust", ["black crust"]),
        ("soilings", "blackcrust", ["black crust"]),
        ("soilings", "rsut", ["rust", "pack rust", "flash rust"]),
        ("soilings", "zzz", []),
        ("soilings", "😀", []),
        ("substrate", "granit", ["granite", "weathered granite", "polished granite"]),
        ("substrate", "grannite", ["granite", "weathered granite", "polished granite"]),
        ("substrate", "limstone", ["limestone"]),
        ("substrate", "sand stone", ["siliceous sandstone", "clay- or carbonate-bound sandstone"]),
    ],
)
def test_terms_are_found_as_people_look_for_them(field: str, typed: str, found: list[str]) -> None:
    """By the beginning, by a word of it, by what it means, or with a slip."""
    assert labels(Zone, field, typed) == found


def test_methods_are_found_by_any_word_of_their_names() -> None:
    """Steam is in the full name only; a laser misspelt is still one."""
    assert labels(Panel, "method", "steam") == ["Superheated water"]
    assert all("aser" in label for label in labels(Panel, "method", "lazer", 2))


def test_a_slip_is_offered_only_where_nothing_is_written_so() -> None:
    """Rust is no slip for crust."""
    assert "black crust" not in labels(Zone, "soilings", "rust")


def test_without_letters_the_list_begins_at_its_top() -> None:
    """The first of the list, and no more than asked for."""
    assert matching(terms_for(Layer, "value"), "", most=2) == terms_for(Layer, "value")[:2]


def test_lists_follow_what_is_chosen_beside_them() -> None:
    """Answers of the question, units and words of the quantity; none before that is chosen."""
    decay = terms_for(Observation, "finding", {"topic": "decay"})
    units = terms_for(Spot, "dose_unit", {"dose_quantity": "pressure"})
    words = terms_for(Setting, "words", {"quantity": "temperature"})

    assert [term.code for term in decay] == ["none", "slow", "active"]
    assert [term.code for term in units] == ["bar", "kPa", "MPa", "psi"]
    assert [term.code for term in words] == ["unheated"]
    abrasives = {
        term.code: term.label for term in terms_for(Setting, "words", {"quantity": "medium"})
    }

    assert abrasives["calcite"] == "calcite, limestone or marble powder"
    assert terms_for(Observation, "finding") == ()
    assert terms_for(Zone, "name") == ()


def test_a_pasted_book_is_searched_for_no_longer_than_a_word() -> None:
    """Only its beginning is looked at, and nothing of it is remembered."""
    assert matching(terms_for(Zone, "soilings"), "algae " + "x " * 5_000_000) == ()
