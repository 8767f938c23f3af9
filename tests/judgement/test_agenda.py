"""The facilitator's table and the agenda: order, time, what does not fit, what stays hidden."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.judgement.agenda import (
    ORDERS,
    ZoneInHand,
    agenda,
    in_order,
    zones_in_hand,
)
from heritagecheck.judgement.recommendation import OUTCOMES

PLAIN = ZoneInHand(
    zone="N01", name="Plinth", elevation="north", kind="granite: algae", area_m2=4.0, urgency="",
    act_by=None, urgency_looked_at=True, disagreement=0.0, answer="leave", silent=(), vetoes={},
    not_known=(),
)  # fmt: skip


def zone(code: str, **changes: object) -> ZoneInHand:
    """A zone on which all agree, with changes."""
    return replace(PLAIN, zone=code, **changes)


DIVIDED = {"answer": "", "disagreement": 0.5}
URGENT = {"urgency": "make safe"}
# In the order of the days, not of the letters.
SOON = {"urgency": "act by 2 April 2027", "act_by": date(2027, 4, 2)}
LATER = {"urgency": "act by 12 January 2029", "act_by": date(2029, 1, 12)}

hands = st.builds(
    lambda urgency, divided, kind, answer, area: {
        **urgency, "kind": kind, "area_m2": area,
        **(DIVIDED if divided else {"answer": answer}),
    },
    st.sampled_from([{}, {}, {}, URGENT, SOON]), st.booleans(),
    st.sampled_from(["granite: algae", "steel: rust"]), st.sampled_from(OUTCOMES),
    st.sampled_from([1.0, 5.0, 20.0]),
)  # fmt: skip
meetings = st.lists(hands, min_size=1, max_size=12).map(
    lambda many: [zone(f"N{at:02}", **one) for at, one in enumerate(many)]
)


def test_urgent_first_then_vetoes_then_the_most_divided_then_what_all_agree_on() -> None:
    """Order of a meeting; settled zones of a type are read out in one item."""
    zones = [
        zone("A1"), zone("A2", kind="steel: rust"), zone("A3"),
        zone("D1", answer="", disagreement=0.4), zone("D2", answer="", disagreement=0.7),
        zone("U1", **LATER), zone("U2", **SOON), zone("U3", **URGENT),
        zone("V1", vetoes={"owner": "clean"}),
    ]  # fmt: skip
    found = agenda(zones, 90)

    assert [item.zones for item in found.items] == [
        ("U3",), ("U2",), ("U1",), ("V1",), ("D2",), ("D1",), ("A1", "A3"), ("A2",),
    ]  # fmt: skip
    assert [item.minutes for item in found.items] == [7.5] * 6 + [5, 4]
    assert [item.starts for item in found.items] == [0, 7.5, 15, 22.5, 30, 37.5, 45, 50]
    assert (found.used, found.needed, found.left_out) == (54, 54, ())
    assert found.items[0].why == "make safe; all chose leave"
    assert found.items[4].why == "members differ (70 % of pairs)"
    assert found.items[6].why == "granite: algae; all chose leave"


def test_zones_on_which_all_agree_otherwise_are_not_read_out_together() -> None:
    """Same type, other outcome: two items, so that nobody says yes to both at once."""
    found = agenda([zone("A1"), zone("A2", answer="trial first")], 60)

    assert [item.zones for item in found.items] == [("A1",), ("A2",)]


def test_what_does_not_fit_is_named() -> None:
    """Twenty minutes hold two divided zones and a settled one."""
    zones = [zone(f"D{at}", **DIVIDED, area_m2=at) for at in (1, 2, 3)] + [zone("A1"), zone("A2")]
    found = agenda(zones, 20)

    assert [item.zones for item in found.items] == [("D3",), ("D2",), ("A1", "A2")]
    assert found.left_out == ("D1",)
    assert str(found) == (
        "4 zones in 20 of 20 minutes. 1 zone left out, because all would take 27.5 minutes: D1."
    )
    assert "D1" in found._repr_html_()
    assert list(found.table["zones"]) == ["D3", "D2", "A1, A2"]


def test_nothing_takes_the_place_of_an_urgent_zone() -> None:
    """Four minutes are too few for the urgent zone, and none less urgent is put there instead."""
    found = agenda([zone("U1", **URGENT), zone("A1")], 4)

    assert found.items == ()
    assert found.left_out == ("U1", "A1")


@given(zones=meetings, minutes=st.sampled_from([1, 4, 7.5, 20, 45, 90, 180]))
def test_every_zone_is_on_the_agenda_or_named_and_time_is_kept(
    zones: list[ZoneInHand], minutes: float
) -> None:
    """No zone is lost or doubled, the items follow one another, and they fit."""
    found = agenda(zones, minutes)
    on_it = [code for item in found.items for code in item.zones]

    assert sorted([*on_it, *found.left_out]) == sorted(one.zone for one in zones)
    assert found.used <= minutes
    assert (found.used == found.needed) == (not found.left_out)
    for before, item in zip(found.items, found.items[1:], strict=False):
        assert item.starts == before.starts + before.minutes


@given(zones=meetings, minutes=st.sampled_from([4, 7.5, 20, 45]))
def test_no_zone_less_urgent_stands_before_an_urgent_one(
    zones: list[ZoneInHand], minutes: float
) -> None:
    """Nor is it on the agenda where an urgent one is left out."""
    by_code = {one.zone: one for one in zones}
    found = agenda(zones, minutes)
    order = [code for item in found.items for code in item.zones]
    urgent = [bool(by_code[code].urgency) for code in order]
    out = [bool(by_code[code].urgency) for code in found.left_out]

    assert urgent == sorted(urgent, reverse=True)
    assert not (any(out) and not all(urgent))


@given(zones=meetings, turned=st.randoms(use_true_random=False))
def test_zones_in_another_order_give_the_same_agenda(
    zones: list[ZoneInHand], turned: object
) -> None:
    """The agenda follows from the zones alone."""
    shuffled = zones.copy()
    turned.shuffle(shuffled)

    assert agenda(shuffled, 45).items == agenda(zones, 45).items
    for by in ORDERS:
        assert in_order(shuffled, by) == in_order(zones, by)


def test_the_table_is_sorted_and_filtered() -> None:
    """By each of four, the greatest first; and by type of zone."""
    zones = [
        zone("N01", area_m2=3, not_known=("lead",)),
        zone("N02", area_m2=9, **DIVIDED, kind="steel: rust"),
        zone("N03", area_m2=1, **URGENT, not_known=("lead", "salts")),
        zone("N04", area_m2=2, vetoes={"owner": "clean"}),
    ]

    def codes(by: str, kind: str = "") -> list[str]:
        return [one.zone for one in in_order(zones, by, kind)]

    assert codes("disagreement") == ["N04", "N02", "N01", "N03"]
    assert codes("area") == ["N02", "N01", "N04", "N03"]
    assert codes("urgency") == ["N03", "N01", "N02", "N04"]
    assert codes("not known") == ["N03", "N01", "N02", "N04"]
    assert codes("area", "steel: rust") == ["N02"]


def test_what_can_not_be_is_refused() -> None:
    """Another order, no time, and a zone named twice."""
    with pytest.raises(ValueError, match="by = 'beauty': zones are sorted by disagreement, area"):
        in_order([PLAIN], "beauty")
    with pytest.raises(ValueError, match="minutes = 0: give the minutes that there are, above 0"):
        agenda([PLAIN], 0)
    with pytest.raises(ValueError, match="These zones are listed twice: N01"):
        agenda([PLAIN, PLAIN], 60)


def test_the_example_gives_its_facts_but_not_its_answers() -> None:
    """Urgency, area and gaps of a zone are there; what is recommended is not."""
    survey = hc.demo_survey()
    assessment = hc.assess(survey, zones=["N08", "N09"])
    urgent, ready = zones_in_hand(assessment)
    shown = " ".join(
        str(getattr(one, field.name)) for one in (urgent, ready) for field in fields(one)
    )

    assert urgent.urgency == "make safe"
    assert urgent.kind.endswith(": black crust")
    assert ready.area_m2 == assessment.zone("N09").evidence.zone.area_m2
    assert not any(outcome in shown for outcome in OUTCOMES)
    assert agenda((urgent, ready), 60).items[1].why == "no views yet"
