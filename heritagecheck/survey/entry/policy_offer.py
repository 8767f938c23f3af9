"""The policy that is offered to a team, value by value, to be agreed or changed in one go."""

from __future__ import annotations

from datetime import date

from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables.row_types import PolicyOffer


def policy_offers() -> tuple[PolicyOffer, ...]:
    """Every offered value: field, title, sentence, value, unit, and from where to where it runs."""
    return PolicyOffer.rows()


def offered_policy(agreed_on: date) -> AgreedPolicy:
    """The offered values as a policy; until a team agrees and saves it, nothing is agreed."""
    values = {offer.field: offer.value for offer in policy_offers()}
    return AgreedPolicy.model_validate({**values, "agreed_on": agreed_on})
