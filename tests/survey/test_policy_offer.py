"""The values of a policy that are offered: complete, within their limits, and said in words."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import pytest
from pydantic import TypeAdapter

import heritagecheck as hc
from heritagecheck.judgement.policy import LEAST_AGREED, MOST_CAP, policy_of
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables.row_types import PolicyOffer

DAY = date(2026, 5, 1)


def test_every_value_of_the_policy_is_offered() -> None:
    """All that a team agrees, but for the day on which it does."""
    assert {offer.field for offer in PolicyOffer.rows()} == set(AgreedPolicy.model_fields) - {
        "agreed_on"
    }


def test_what_is_offered_is_the_policy_of_whoever_names_none() -> None:
    """One set of values, whether it comes from the table or from `hc.Policy()`."""
    assert policy_of(offered_policy(DAY)) == hc.Policy()
    assert offered_policy(DAY).agreed_on == DAY


@pytest.mark.parametrize("offer", PolicyOffer.rows(), ids=lambda offer: offer.field)
def test_each_value_is_said_in_few_words(offer: PolicyOffer) -> None:
    """A title of six words at most, and one sentence that names the value and ends once."""
    value, title, sentence = offer.value, offer.title, offer.sentence
    shown = {f"{value:g}", f"{100 * value:g} %", f"{100 * (1 - value):g} %"}

    assert len(title.split()) <= 6
    assert len(sentence.split()) <= 25
    assert sentence.endswith(".")
    assert sentence.count(".") - sentence.count("1.3") == 1
    assert any(one in sentence for one in shown)


@pytest.mark.parametrize("offer", PolicyOffer.rows(), ids=lambda offer: offer.field)
def test_each_value_runs_as_far_as_the_record_takes_it(offer: PolicyOffer) -> None:
    """No field of a screen lets in what the record or the judgement refuses."""
    taken = TypeAdapter(Annotated[float, "", *AgreedPolicy.model_fields[offer.field].metadata])

    assert offer.low <= offer.value <= offer.high
    assert [taken.validate_python(edge) for edge in (offer.low, offer.high)]
    assert offer.high < MOST_CAP or not offer.field.startswith("fabric_cap")
    assert offer.low == LEAST_AGREED or offer.field != "agreed_share"


def test_a_value_outside_its_range_is_refused_by_the_record() -> None:
    """The ranges of the table are those of the record, seen from the other side."""
    with pytest.raises(ValueError, match=r"alpha\n.*less than 0\.5"):
        AgreedPolicy.model_validate(offered_policy(DAY).model_dump() | {"alpha": 0.5})
