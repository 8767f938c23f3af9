"""A form of any record: what was typed comes back as the record; each fault is one sentence."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from filled_forms import filled

from heritagecheck.errors import SurveyError
from heritagecheck.survey.entry.record_form import RecordForm, question_of, title_of
from heritagecheck.survey.records import (
    TABLES,
    AgreedPolicy,
    HeightMap,
    Layer,
    Observation,
    Panel,
    Photo,
    Reading,
    Setting,
    SiteTest,
    Spot,
    Zone,
)
from heritagecheck.survey.records.fields import kind_of, literal_choices
from heritagecheck.survey.records.record import Record

FIELDS = [(model, field) for model in TABLES.values() for field in model.model_fields]
# No field takes the first; only a text takes the others.
NONSENSE = ("\x07\x07", "😀", "1.2.3", "64.5\n63.9\n61.2", "soon, perhaps", "NaN", "-1e999")
MOST_WORDS = 25


def of_field(model: type[Record], field: str) -> Record:
    """A right record in which the field is filled in."""
    return next(one for one in filled() if type(one) is model and getattr(one, field) is not None)


def with_nonsense() -> Iterator[tuple[type[Record], str, str]]:
    """Every field of every record with each nonsense that it must refuse."""
    for model, field in FIELDS:
        free = kind_of(model, field) is str and not literal_choices(model, field)
        yield from ((model, field, text) for text in (NONSENSE[:1] if free else NONSENSE))


def is_plain(sentence: str) -> bool:
    """Whether a sentence can be read at the wall: short, ended, without names of the program."""
    short = len(sentence.split()) <= MOST_WORDS
    return short and "_" not in sentence and sentence[-1] in ".?" and not sentence[0].islower()


@pytest.mark.parametrize("record", filled(), ids=lambda one: type(one).__name__)
def test_every_field_can_be_typed(record: Record) -> None:
    """A record that is shown in a form and not touched is the same record."""
    form = RecordForm.of(record)

    assert form.faults() == {}
    assert form.record() == record


def test_the_examples_fill_in_every_field() -> None:
    """The test before this one leaves out no field of any record."""
    given = {(type(one), name) for one in filled() for name, value in one if value is not None}

    assert set(FIELDS) <= given


def test_nonsense_in_any_field_is_one_plain_sentence_there() -> None:
    """Whatever is typed into whichever field: one fault, at that field, in plain words."""
    bad = []
    for model, field, text in with_nonsense():
        form = RecordForm(model, {**RecordForm.of(of_field(model, field)).typed, field: text})
        faults = form.faults()
        if set(faults) != {field} or not is_plain(faults[field]):
            bad.append(f"{model.__name__}.{field}, {text!r}: {faults}")

    assert not bad, "\n".join(bad)


def test_every_empty_form_says_plainly_what_is_needed() -> None:
    """Each field that must be filled in says so in one sentence; the others are silent."""
    for model in TABLES.values():
        faults = RecordForm(model, {}).faults()
        needed = {name for name, one in model.model_fields.items() if one.is_required()}

        assert needed <= set(faults)
        assert all(map(is_plain, faults.values())), faults


def typed(model: type[Record], field: str, **changes: str) -> RecordForm:
    """A right form of a record that has the field, with some texts changed."""
    return RecordForm(model, {**RecordForm.of(of_field(model, field)).typed, **changes})


@pytest.mark.parametrize(
    ("form", "field", "sentence"),
    [
        (
            typed(Observation, "finding", finding=""), "finding",
            "Give an answer, or write under “Why there is no answer” why there is none.",
        ),
        (
            typed(Observation, "finding", topic="decay", finding="yes"), "finding",
            "“yes” is not in this list; choose one of: none, slow, active.",
        ),
        (
            typed(Reading, "place", a_star=""), "L_star",
            "Give “L*”, “a*” and “b*” together.",
        ),
        (
            typed(SiteTest, "coating", value=""), "value",
            "Give a result, or write under “Why there is no result” why there is none.",
        ),
        (
            typed(SiteTest, "coating", value="900"), "value",
            "“900” is too high; write a number from 0 to 100 mg/cm², such as 12.5. "
            "Was a decimal point lost?",
        ),
        (
            typed(Panel, "before_on", damaged_before="26"), "damaged_before",
            "“26” is not allowed: it must be 25 or fewer, as “Fields read before” says.",
        ),
        (
            typed(Panel, "before_on", before_on=""), "fields_before",
            "Give “Fields read before”, “Fields damaged before” and “Fields before, where read” "
            "together.",
        ),
        (
            typed(Panel, "before_on", damaged_fields="26"), "x50_fields",
            "“Fields with damage” = 26 is more than this; correct one of them.",
        ),
        (
            typed(Panel, "before_on", cleaning_low=""), "cleaning_low",
            "This must be given with “Cleaning setting, highest”, and must not be above it.",
        ),
        (
            typed(Setting, "value_to", unit=""), "unit",
            "Pressure must be in one of: bar, kPa, MPa, psi.",
        ),
        (
            typed(Spot, "not_read_because", cleaned="yes"), "cleaned",
            "Give “Did the soiling come off?”, “Is there damage at ×50?” and “Read on” together.",
        ),
        (
            typed(Zone, "not_tried", not_tried="dry-ice blasting"), "not_tried",
            "Dry-ice blasting must be the code of a method, a colon and a reason, such as "
            "Hand tools: leaves no profile.",
        ),
        (
            typed(Zone, "coatings", soilings="lead paint", coatings="0"), "coatings",
            "“0” is not allowed: it must be 1 or more, because the soilings name lead paint.",
        ),
        (
            typed(Photo, "note", points="1 2; 3 4"), "points",
            "1 2 must be 4 numbers separated by blanks. Separate rows by semicolons, such as "
            "120 340 1.25 3.1; 980 338 3.4 3.1.",
        ),
        (
            typed(HeightMap, "panel", lowest_um="40"), "lowest_um",
            "“40” is not allowed: it must be 37.625 or less, as “Highest height” is.",
        ),
        (
            typed(AgreedPolicy, "alpha", damage_seen=""), "damage_limit_medium",
            "Give “Damage limit, medium significance”, “Damage limit, high significance”, "
            "“Damage seen” and “Damage seen, high significance” together, or none of them.",
        ),
    ],
)  # fmt: skip
def test_a_rule_of_the_record_is_told_with_the_titles_of_the_form(
    form: RecordForm, field: str, sentence: str
) -> None:
    """The sentence is that of the record; in place of internal names it has titles and labels."""
    assert form.faults().get(field) == sentence
    assert is_plain(sentence)


def test_a_half_filled_form_is_asked_only_what_was_reached() -> None:
    """Faults of some fields leave out the others, and a wrong record can't be had."""
    form = RecordForm(Layer, {"cover_pct": "130"}, {"layer": "N06-L2", "zone": "N06"})

    assert list(form.faults(["cover_pct"])) == ["cover_pct"]
    assert list(form.faults()) == ["soiling", "cover_pct", "value"]
    with pytest.raises(SurveyError, match=r"(?s)3 things.*saved.*Cover: “130” is too high"):
        form.record()


def test_fixed_values_are_taken_as_they_are_and_never_typed_over() -> None:
    """A code that the program made is part of the record, whatever a page sends back."""
    form = RecordForm(
        Layer,
        {"zone": "N99", "soiling": "black crust", "value": "not valued", "cover_pct": "12,5"},
        {"layer": "N06-L2", "zone": "N06"},
    )

    assert form.value("zone") == "N06"
    assert form.value("cover_pct") == 12.5
    assert form.record() == Layer(
        layer="N06-L2", zone="N06", soiling="black_gypsum_crust", value="not_valued", cover_pct=12.5
    )


def test_a_field_that_the_record_has_not_is_refused() -> None:
    """A slip in a screen is seen at once, not lost."""
    with pytest.raises(ValueError, match="Layer has no field thicknes"):
        RecordForm(Layer, {"thicknes": "1"})


def test_titles_are_short_and_tell_the_fields_of_a_form_apart() -> None:
    """A title has at most five words, and no two fields of one record share it."""
    for model in TABLES.values():
        titles = [title_of(model, field) for field in model.model_fields]

        assert all(len(title.split()) <= 5 for title in titles), titles
        assert len(set(titles)) == len(titles), titles
    assert title_of(Zone, "colour_sets") == "Sets of colour readings"
    assert question_of(Zone, "colour_sets").startswith("Sets of colour readings of soiled")


def test_a_form_leaves_out_the_list_that_it_shows_itself() -> None:
    """A file's fault names every soiling; the form of the same record has the list beside it."""
    told = RecordForm(Zone, {}, {"soilings": "rost"}).faults(["soilings"])

    assert told == {"soilings": "Not in the list of soilings: rost."}
