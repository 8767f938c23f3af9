"""Two zones held against one another: what differs, in words, and nothing twice."""

from __future__ import annotations

from functools import cache

import pytest

import heritagecheck as hc
from heritagecheck.documents.zone_comparison import NOTHING, zones_compared
from heritagecheck.judgement.recommendation import Assessment


@cache
def assessed() -> Assessment:
    """Some zones of the example."""
    return hc.assess(hc.demo_survey(), zones=["N06", "N09", "N13", "N15"])


def lines(one: str, other: str) -> dict[str, tuple[str, str, bool]]:
    """What is said of two zones, by what it is about."""
    found = zones_compared(assessed().zone(one), assessed().zone(other))
    return {row.what: (row.one, row.other, row.differs) for row in found.itertuples(index=False)}


def test_what_differs_comes_before_what_is_the_same() -> None:
    """Of each line both sides are given; no line comes twice."""
    found = zones_compared(assessed().zone("N06"), assessed().zone("N15"))
    unlike = found["differs"].tolist()

    assert unlike == sorted(unlike, reverse=True)
    assert 0 < sum(unlike) < len(unlike)
    assert found["what"].is_unique
    assert ((found["one"] != found["other"]) == found["differs"]).all()


def test_a_zone_beside_itself_differs_in_nothing() -> None:
    """Every line is the same; what neither has is left out."""
    found = lines("N09", "N09")

    assert not any(differs for _, _, differs in found.values())
    assert NOTHING not in {one for one, _, _ in found.values()}


def test_records_and_measured_values_are_given_in_words() -> None:
    """Fields, layers, answers and quantities of both; a series is named beside its value."""
    found = lines("N06", "N15")

    assert found["Dark mica by point count"] == ("9", "14", True)
    assert found["black crust"][1] == NOTHING
    assert found["graffiti"][0] == NOTHING
    assert found["Is the substrate losing material now?"] == ("slow", "none", True)
    assert found["×50 fields damaged"][0].count("N06-p") == 2
    assert found["×50 fields damaged"][1].startswith("N15-pulse: ")
    assert found["Colour difference"][0].endswith("24 and 24 readings)")


def test_reasons_of_a_gate_are_given_where_its_results_differ() -> None:
    """A gate that passes on one zone only says why on both; else its result is enough."""
    found = lines("N13", "N15")
    trials = found["Gate 7, trials"]

    assert trials[0].startswith("passed: ")
    assert trials[1].startswith("not known: ")
    assert found["Gate 1, value"] == ("passed", "passed", False)
    assert found["Outcome"] == ("clean", "trial first", True)


@pytest.mark.parametrize(("one", "other"), [("N06", "N13"), ("N09", "N15")])
def test_pictures_of_two_zones_have_the_same_axes(one: str, other: str) -> None:
    """Numbers at the ticks are the same in both, in whichever order they are drawn."""
    from seen_pictures import parsed, words

    first, second = (
        hc.figures.draw_colour(assessed().zone(a), beside=assessed().zone(b))
        for a, b in ((one, other), (other, one))
    )
    alone = hc.figures.draw_colour(assessed().zone(one))
    ticks = [
        [(seen.words, round(seen.x, 1)) for seen in words(parsed(shown))
         if seen.words.lstrip("−").replace(".", "").isdigit()]
        for shown in (first, second, alone)
    ]  # fmt: skip

    assert ticks[0] == ticks[1]
    assert ticks[0] != ticks[2]
