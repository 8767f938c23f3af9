"""An empty row of the rated table is not known: never a confident leave, never an open door."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from heritagecheck import tables
from heritagecheck.judgement.gates.gate import CLEAN, LEAVE, NOT_KNOWN, NOT_PASSED, TRIAL
from heritagecheck.judgement.options import rating_rows, speaks_of
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.tables import codes, keyed, rows
from heritagecheck.tables.row_types import RatedPair

Judged = Callable[..., Recommendation]


@pytest.fixture(autouse=True)
def _looked_up_afresh() -> Iterator[None]:
    """Pairs are looked up once a process: what another table said must not stay."""
    rating_rows.cache_clear()
    yield
    rating_rows.cache_clear()


def without(kept: Callable[[dict[str, str]], bool]) -> tuple[dict[str, str], ...]:
    """Rated table with some rows left out."""
    return tuple(row for row in rows("method_risk") if kept(row))


def put(monkeypatch: pytest.MonkeyPatch, table: tuple[dict[str, str], ...]) -> None:
    """Let the options look a pair up in another table."""
    typed = (RatedPair.model_validate(row) for row in table)
    index = {(row.method, row.substrate, row.soiling): row for row in typed}
    monkeypatch.setattr("heritagecheck.judgement.options.risk_index", lambda: index)


def test_a_soiling_that_nobody_rated_is_looked_into(
    judged: Judged, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no row at all, gate 6 is not known; today's leave would say that nothing can be done."""
    put(monkeypatch, without(lambda row: row["soiling"] != "black_gypsum_crust"))
    found = judged("G03", panels={})

    assert (found.gates[5].result, found.gates[5].outcome) == (NOT_KNOWN, TRIAL)
    assert "no source says" in found.gates[5].reason
    assert found.outcome not in {LEAVE, CLEAN}
    assert found.method is None


def test_one_empty_row_among_ruled_out_ones_is_enough(
    judged: Judged, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As long as one method may turn out to be fit, nobody says that none is."""
    rated = tuple(
        {**row, "suitability": "ineffective"}
        for row in without(lambda row: row["method"] != "micro_abrasive_dry")
    )
    put(monkeypatch, rated)

    assert judged("G03", panels={}).gates[5].result == NOT_KNOWN


def test_where_all_is_rated_and_ruled_out_nothing_is_left(
    judged: Judged, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A positive finding: each method stands in the table and none is fit."""
    pattern = rows("method_risk")[0]
    put(monkeypatch, tuple(
        {**pattern, "row_id": f"X{method}", "method": method, "substrate": "limestone",
         "soiling": "black_gypsum_crust", "suitability": "ineffective"}
        for method in codes("methods")
    ))  # fmt: skip

    assert judged("G03", panels={}).gates[5].result == NOT_PASSED


def test_an_unrated_method_is_still_not_recommended(judged: Judged) -> None:
    """Not known is no permission: without panels it stays ruled out."""
    found = judged("G03", panels={})
    unrated = {
        method for method, stops in found.ruled_out.items() if {s.rule for s in stops} == {"R4"}
    }

    assert unrated
    assert not unrated & set(found.candidates)


@pytest.mark.parametrize("substrate", codes("substrates"))
@pytest.mark.parametrize("soiling", ["general_soiling", "guano"])
def test_what_lies_on_everything_is_rated_on_everything(substrate: str, soiling: str) -> None:
    """Dirt and droppings have a gentle method that is rated on every substrate."""
    row = keyed("substrates", "substrate")[substrate]
    found = [
        one for one in rows("method_risk")
        if one["soiling"] == soiling and one["substrate"] in {substrate, row["parent"]}
        and one["method"] in {"dry_brush_vacuum", "low_pressure_water"}
        and one["suitability"] in {"effective", "partly"}
    ]  # fmt: skip

    assert found


@pytest.mark.parametrize(
    "substrate", ["granite", "sandstone_siliceous", "limestone", "marble", "brick",
                  "lime_mortar_joint", "sandstone_clay_calc"],
)  # fmt: skip
def test_encrustation_is_rated(substrate: str) -> None:
    """Some rows say what does not take it, and some what does at a price."""
    found = [
        row for row in rows("method_risk")
        if (row["soiling"], row["substrate"]) == ("encrustation", substrate)
    ]  # fmt: skip

    assert {row["suitability"] for row in found} >= {"ineffective", "partly"}


def test_every_rated_number_names_a_reason_and_a_grade() -> None:
    """A filled row says why, and how far to trust it."""
    for row in rows("method_risk"):
        assert row["reason"], row["row_id"]
        assert 0 <= float(row["risk"]) <= 10, row["row_id"]
        assert row["suitability"] in {"effective", "partly", "ineffective"}, row["row_id"]


def test_no_rated_row_contradicts_what_a_method_acts_on() -> None:
    """R3 says what biocide, desalination, heat and solvent act on; no row says otherwise."""
    kinds = {row["soiling"]: row["kind"] for row in rows("soilings")}
    scopes = [
        (row["methods"], set(row["when"].removeprefix("target_kinds!=").split("|")))
        for row in rows("hard_stops")
        if row["rule"] == "R3" and row["when"].startswith("target_kinds!=")
    ]

    assert len(scopes) == 4
    for row in rows("method_risk"):
        for methods, acted_on in scopes:
            if speaks_of(methods, row["method"]) and kinds[row["soiling"]] not in acted_on:
                assert row["suitability"] == "ineffective", row["row_id"]


def test_a_biocide_is_no_way_to_take_off_a_crust(judged: Judged) -> None:
    """It is ruled out for what it is, so its empty row leaves nothing open."""
    rules = {stop.rule for stop in judged("G03", panels={}).ruled_out["biocide"]}

    assert "R3" in rules


def test_old_paint_comes_off_as_lead_paint_does(judged: Judged) -> None:
    """A coating without lead is rated by the rows of the film that has it."""
    columns = {"layers": "previous_coating=not_valued", "soiling": "previous_coating", "lead": "no"}
    found = judged("G17", panels={}, **columns)

    assert "solvent_gel_stripper" not in found.ruled_out
    assert tables.keyed("soilings", "soiling")["previous_coating"]["rated_as"] == "lead_paint"
