"""The rated tables: every row sourced, every code known, nothing contradicts itself."""

from __future__ import annotations

import csv
import re
from itertools import chain
from pathlib import Path

import pytest

from heritagecheck import tables
from heritagecheck.judgement.policy import CRITERIA, GRADES
from heritagecheck.judgement.recommendation import OUTCOMES
from heritagecheck.survey.records import Zone
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.tables import (
    check_sources,
    checksums,
    citation,
    codes,
    keyed,
    rows,
    threshold,
)
from heritagecheck.tables.conditions import holds, method_facts

NAMES = sorted(path.stem for path in tables.HERE.glob("*.csv"))
# Facts that rules may ask about beside the topics: of the zone, and of a method on it.
OF_ZONE = {
    "substrate": set(codes("substrates")),
    "kind": {"masonry", "metal"},
    "acid_sensitive": {"yes", "no"},
    "silica": {"yes", "no"},
    "finish": set(literal_choices(Zone, "finish")),
    "condition": set(literal_choices(Zone, "condition")) - {"not_assessed"},
    "exposure": set(codes("exposure")),
    "access": set(literal_choices(Zone, "access")),
    "significance": set(GRADES),
    "soiling": set(codes("soilings")),
    "lead": {"yes", "trace", "no", "unknown"},
    **{name: {"yes", "no"} for name in ("coated", "confined", "partly_valued", "carried")},
}
OF_OPTION = {
    name: {"yes", "no"}
    for name in (
        "margin_below_1",
        "takes_valued",
        "joint_tried",
        "removes",
        "rated",
        "rated_severe",
    )
}
OF_TARGETS = {"target_kinds": {row["kind"] for row in rows("soilings")}}
OF_METHOD = {
    name: {row[name] for row in rows("methods")}
    for name in ("method", "family", "hazard_family", "wet", "liquid", "dust_or_fume", "remote",
                 "relative_cost")
}  # fmt: skip
OF_METHOD["hazards"] = {code for row in rows("methods") for code in row["hazards"].split(";")}
KNOWN = {
    **{row["topic"]: set(row["findings"].split("|")) for row in rows("topics")},
    **OF_ZONE, **OF_OPTION, **OF_TARGETS, **OF_METHOD, "outcome": set(OUTCOMES),
    "job": {"trial", "small", "usual"}, "listed": {"yes", "no"}, "next": {"yes", "no"},
}  # fmt: skip


def terms(text: str) -> list[tuple[str, set[str]]]:
    """Name and words of every term of a condition."""
    parts = [part for part in text.split(";") if part not in {"", "any", "each"}]
    found = [part.replace("!=", "=").partition("=") for part in parts]
    return [(name, set(words.split("|"))) for name, _, words in found]


def raw(name: str) -> list[dict[str, str]]:
    """Rows of a table as they stand in the file, unchecked."""
    with (tables.HERE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# -- Sources ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_every_row_names_a_listed_source(name: str) -> None:
    """The reader of the tables would refuse it otherwise; no table is empty."""
    found = rows(name)

    assert found
    assert all(citation(row["source_id"]) for row in found)


@pytest.mark.parametrize("source", ["", "NOBODY-99"])
def test_a_row_without_a_source_is_refused_with_its_row_number(source: str) -> None:
    """Rows are counted as a spreadsheet shows them; all bad rows come at once."""
    found = raw("thresholds")
    found[3]["source_id"] = found[7]["source_id"] = source
    said = source or "nothing"

    with pytest.raises(
        ValueError,
        match=rf"tables/thresholds.csv holds rows without a listed source: "
        rf"row 5: source_id = {said}; row 9: source_id = {said}\. Each row names",
    ):
        check_sources("thresholds", tuple(found))


def test_a_table_without_a_column_of_sources_is_refused() -> None:
    """Every row of it lacks one."""
    with pytest.raises(ValueError, match=r"row 2: source_id = nothing; row 3: source_id = nothing"):
        check_sources("invented", ({"a": "1"}, {"a": "2"}))


def standards_in(text: str) -> set[str]:
    """Standards that a text names, without part and year, such as ISO 11146."""
    named = re.findall(
        r"\b(ISO|EN|ANSI|ASTM|CIE|IEC TR|IEC|BS)[ -]?([A-Z]?\d+(?:\.\d)?)(?=[^\d]|$)", text
    )
    return {" ".join(one) for one in named} - NO_STANDARDS


# Observers, light and formulas of years, which CIE 15 and CIE 11664 hold; CIE94 is CIE 116.
NO_STANDARDS = {"CIE 1931", "CIE 1964", "CIE 1976", "CIE 76", "CIE 94", "CIE 2000"}


def code_of_the_package() -> str:
    """Every line of our Python."""
    found = sorted(tables.HERE.parent.rglob("*.py"))
    return "\n".join(path.read_text(encoding="utf-8") for path in found)


def test_every_standard_that_the_code_uses_is_a_source() -> None:
    """Whoever checks a sum finds in sources.csv what it follows, and how far that was read."""
    listed = standards_in(" ".join(row["citation"] for row in rows("sources")))
    used = standards_in(code_of_the_package())

    assert {"ISO 21254", "ISO 11146", "ANSI Z136.1", "ISO 9223", "ISO 12944"} <= listed
    assert used - listed == set()


def test_every_source_serves_a_row_or_the_code() -> None:
    """A list of what was once read is no evidence: what nothing rests on leaves it."""
    serving = {row["source_id"] for name in set(NAMES) - {"sources"} for row in rows(name)}
    code = code_of_the_package()
    used = standards_in(code)
    idle = [
        row["source_id"]
        for row in rows("sources")
        if row["source_id"] not in serving
        and row["source_id"] not in code
        and not standards_in(row["citation"]) & used
    ]

    assert idle == []


def test_what_is_only_remembered_is_not_called_published() -> None:
    """A row from memory or common practice carries that grade, and no word of publication."""
    # Factors between units are held against scipy's; grades describe themselves.
    for name in set(NAMES) - {"sources", "setting_units", "source_grades"}:
        for row in rows(name):
            if row.get("source_seen") == "recalled" and "evidence" in row:
                words = " ".join(cell for key, cell in row.items() if key != "evidence")
                assert "publish" not in words, f"{name}: {row}"
                assert row["evidence"] in {"common practice no source", "from memory"}, row


@pytest.mark.parametrize(
    ("name", "code", "source"),
    [
        ("hard_stops", "HS7", "NPS-PRES-MAS"), ("hard_stops", "R1", "OURS"),
        ("hard_stops", "R9", "OURS"), ("harm_ratings", "HL20", "OURS"),
        ("harm_ratings", "HL21", "OURS"), ("harm_ratings", "HL24", "OURS"),
        ("thresholds", "weakest_component_pct", "OURS"), ("thresholds", "cleaning_trace", "OURS"),
    ],
)  # fmt: skip
def test_a_rating_of_ours_is_called_ours(name: str, code: str, source: str) -> None:
    """None of these borrows a source that says something else."""
    found = [row for row in rows(name) if next(iter(row.values())) == code]

    assert {row["source_id"] for row in found} == {source}


def test_no_limit_of_another_formula_is_taken_over() -> None:
    """The scale of appearance counts CIEDE2000: no published limit in ΔE*ab stands in it."""
    found = [row for row in rows("harm_scale") if row["delta_e00"]]

    assert {row["source_id"] for row in found} == {"OURS"}
    assert "1999" not in citation("SIANO-12")
    assert all(row["source_id"] == "OURS" for row in rows("ageing") if row["days"] == "365")


def test_a_source_that_is_used_says_what_was_seen_of_it() -> None:
    """Passage, abstract, scope, listing, or recalled: a reader knows how far to trust a row."""
    seen = {row["seen"] for row in rows("sources")}

    assert seen <= {"passage", "abstract", "scope", "listing", "recalled"}
    for name in set(NAMES) - {"sources"}:
        for row in rows(name):
            assert row.get("source_seen", "recalled") in seen | {"from memory"}, f"{name}: {row}"


@pytest.mark.parametrize("name", NAMES)
def test_every_grade_of_evidence_is_a_grade(name: str) -> None:
    """The word under evidence is one of tables/source_grades.csv."""
    grades = {row["evidence"] for row in rows("source_grades")}

    assert {row["evidence"] for row in rows(name) if "evidence" in row} <= grades


@pytest.mark.parametrize("name", NAMES)
def test_every_row_has_a_cell_under_every_heading(name: str) -> None:
    """No row is longer or shorter than its headings, and no cell keeps stray blanks."""
    for row in raw(name):
        assert None not in row, f"{name}: too many cells: {row}"
        assert None not in row.values(), f"{name}: too few cells: {row}"
        assert all(cell == cell.strip() for cell in row.values()), f"{name}: {row}"


# -- Codes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "key"),
    [("substrates", "substrate"), ("soilings", "soiling"), ("methods", "method"),
     ("topics", "topic"), ("quantities", "quantity"), ("thresholds", "name"),
     ("sources", "source_id"), ("source_grades", "evidence"), ("suitability", "suitability"),
     ("outcome_cautions", "outcome"), ("cautions", "caution"), ("housekeeping", "row"),
     ("monitoring", "row"), ("harm_ratings", "row"), ("method_risk", "row_id"),
     ("substrate_sensitivity", "row_id"), ("methods", "ladder"), ("materials", "material"),
     ("material_harm", "row_id"), ("contraindications", "rule"), ("site_rules", "row")],
)  # fmt: skip
def test_a_code_stands_once(name: str, key: str) -> None:
    """A later row never silently replaces an earlier one."""
    found = [row[key] for row in rows(name)]

    assert sorted(found) == sorted(set(found))
    assert "" not in found


@pytest.mark.parametrize(
    ("name", "column", "codes_of"),
    [("method_risk", "method", "methods"), ("method_risk", "substrate", "substrates"),
     ("method_risk", "soiling", "soilings"),
     ("soilings", "rated_as", "soilings"), ("substrates", "parent", "substrates"),
     ("housekeeping", "substrates", "substrates"), ("housekeeping", "soilings", "soilings"),
     ("housekeeping", "methods", "methods"), ("material_harm", "material", "materials")],
)  # fmt: skip
def test_a_code_of_another_table_is_known_there(name: str, column: str, codes_of: str) -> None:
    """Substrates, soilings and methods are spelt alike everywhere."""
    used = set(chain.from_iterable(row[column].split("|") for row in rows(name))) - {""}

    assert used <= set(codes(codes_of))


def test_a_sensitivity_is_that_of_a_substrate_or_of_a_film_on_metal() -> None:
    """Paint film and mill scale are rated too, for reading: no zone is made of them."""
    films = {"lead_paint_film", "mill_scale"}

    assert {row["substrate"] for row in rows("substrate_sensitivity")} - films <= set(
        codes("substrates")
    )


@pytest.mark.parametrize(
    ("name", "column"),
    [("hard_stops", "when"), ("hard_stops", "methods"), ("harm_ratings", "when"),
     ("harm_ratings", "methods"), ("cautions", "when"), ("cautions", "methods"),
     ("monitoring", "when"), ("site_rules", "when"), ("site_rules", "methods"),
     ("material_harm", "when"), ("material_harm", "methods"),
     ("contraindications", "when"), ("contraindications", "methods")],
)  # fmt: skip
def test_a_condition_asks_for_known_facts_and_words(name: str, column: str) -> None:
    """A slip of the pen in a rule would switch it off without a sound."""
    for row in rows(name):
        for fact, words in terms(row[column]):
            assert fact in KNOWN, f"{name}: {row[column]}: nothing is called {fact}"
            assert words <= KNOWN[fact], f"{name}: {row[column]}: {fact} is never {words}"


def test_conditions_of_methods_ask_about_methods_only() -> None:
    """The column "methods" picks methods; what holds of the zone stands under "when"."""
    for name in ("hard_stops", "harm_ratings", "cautions", "material_harm", "contraindications"):
        for row in rows(name):
            assert {fact for fact, _ in terms(row["methods"])} <= set(OF_METHOD)


def test_ageing_is_given_once_for_every_family_and_significance() -> None:
    """Whatever is tried on whatever kind: exactly one row says how long to wait."""
    families = {row["family"] for row in rows("methods")}
    found = [
        (row["kind"], family, grade)
        for row in rows("ageing")
        for family in row["families"].split("|")
        for grade in row["significance"].split("|")
    ]

    assert len(found) == len(set(found))
    assert set(found) == {
        (kind, family, grade)
        for kind in ("masonry", "metal")
        for family in families
        for grade in GRADES
    }


def test_something_is_watched_on_every_zone() -> None:
    """Whatever else is recorded, some row of monitoring holds for masonry and for metal."""
    for kind in ("masonry", "metal"):
        assert any(holds(row["when"], {"kind": frozenset({kind})}) for row in rows("monitoring"))


def test_every_outcome_has_its_caution() -> None:
    """The four outcomes as the report spells them, and the one that always stands."""
    assert set(keyed("outcome_cautions", "outcome")) >= {
        "clean", "trial first", "leave and monitor", "leave", "always",
    }  # fmt: skip


# -- Numbers ------------------------------------------------------------------------------------


def test_every_harm_lies_on_the_scale() -> None:
    """Ratings, risks and sensitivities run from 0 to 10."""
    rated = {
        "harm_ratings": "mean", "method_risk": "risk",
        "substrate_sensitivity": "sensitivity_0_10", "harm_scale": "harm",
    }  # fmt: skip
    for name, column in rated.items():
        for row in rows(name):
            assert row[column] == "" or 0 <= float(row[column]) <= 10, f"{name}: {row}"


def test_the_scale_says_what_0_2_5_8_and_10_mean_of_every_criterion() -> None:
    """Weights are given as swings on it."""
    found = [(row["criterion"], float(row["harm"])) for row in rows("harm_scale")]

    assert found == [(criterion, harm) for criterion in CRITERIA for harm in (0, 2, 5, 8, 10)]
    assert {row["criterion"] for row in rows("harm_ratings")} == set(CRITERIA)


def test_a_poorer_grade_spreads_further_up() -> None:
    """In the order of the table, best first, the upper spread never shrinks; the lower is one."""
    up = [float(row["spread_up"]) for row in rows("source_grades")]
    down = {float(row["spread_down"]) for row in rows("source_grades")}

    assert up == sorted(up)
    assert len(down) == 1


def test_every_quantity_has_a_range() -> None:
    """From low to high, with a unit."""
    for row in rows("quantities"):
        assert float(row["low"]) < float(row["high"])
        assert row["unit"]


@pytest.mark.parametrize("grade", GRADES)
def test_replicates_are_whole_numbers_above_one(grade: str) -> None:
    """One panel is no replicate."""
    assert threshold(f"replicates_{grade}") in range(2, 10)


def test_an_unknown_threshold_is_an_error() -> None:
    """No default stands in for a number that nobody rated."""
    with pytest.raises(KeyError, match="no_such_number"):
        threshold("no_such_number")


def test_every_threshold_is_used() -> None:
    """A number that the code never reads would mislead whoever challenges it."""
    code = "\n".join(path.read_text(encoding="utf-8") for path in tables.HERE.parent.rglob("*.py"))
    by_grade = ("replicates", "planned_fields")
    grades = {f"{name}_{grade}" for name in by_grade for grade in GRADES}
    found = {row["name"] for row in rows("thresholds")} - grades

    assert {name for name in found if f'"{name}"' not in code} == set()
    assert all(f'f"{name}_' in code for name in by_grade)


# -- Rules and rated pairs ----------------------------------------------------------------------


def test_a_rule_is_of_one_sort() -> None:
    """Hard stops are HS, others R; a rule in several rows is the same sort in each."""
    for row in rows("hard_stops"):
        assert row["stop"] == ("hard" if row["rule"].startswith("HS") else "ruled out")
        assert row["reason"]


def test_no_pair_is_contraindicated_without_its_rule() -> None:
    """A rated pair that names a rule names one that exists; the rule stops that very pair."""
    known = {row["rule"] for row in rows("hard_stops")}
    named = [row for row in rows("method_risk") if row["rule"]]

    assert named
    assert {row["rule"] for row in named} <= known
    for row in named:
        method = method_facts(row["method"])
        picked = [
            rule for rule in rows("hard_stops")
            if rule["rule"] == row["rule"] and holds(rule["methods"], method)
        ]  # fmt: skip
        assert picked, f"{row['row_id']}: {row['rule']} does not concern {row['method']}"


def test_a_pair_is_rated_once() -> None:
    """One row for a method, substrate and soiling: no second opinion hides behind the first."""
    found = [(row["method"], row["substrate"], row["soiling"]) for row in rows("method_risk")]

    assert len(found) == len(set(found))


def test_every_suitability_is_known() -> None:
    """Effective, partly or ineffective."""
    assert {row["suitability"] for row in rows("method_risk")} <= set(codes("suitability"))


# -- Conditions ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("when", "facts", "result"),
    [
        ("", {}, True),
        ("any", {}, True),
        ("a=x", {"a": {"x"}}, True),
        ("a=x", {"a": {"y"}}, False),
        ("a=x", {"a": None}, None),
        ("a=x", {}, None),
        ("a=x|y", {"a": {"y"}}, True),
        ("a=x", {"a": {"x", "y"}}, True),
        ("a!=x", {"a": {"x"}}, False),
        ("a!=x", {"a": {"y"}}, True),
        ("a!=x", {"a": None}, True),
        ("a=x;b=y", {"a": {"x"}, "b": {"y"}}, True),
        ("a=x;b=y", {"a": {"x"}}, None),
        ("a=x;b=y", {"a": {"z"}}, False),
        ("a=x;b=y", {"b": {"z"}}, False),
    ],
)  # fmt: skip
def test_a_condition_holds_fails_or_hangs(
    when: str, facts: dict[str, set[str] | None], result: bool | None
) -> None:
    """A term that fails decides; else one that rests on nothing recorded hangs the rule."""
    given = {name: None if words is None else frozenset(words) for name, words in facts.items()}

    assert holds(when, given) is result


# -- Files --------------------------------------------------------------------------------------


def test_every_table_has_a_checksum() -> None:
    """A report shows by which numbers it was made."""
    found = checksums()

    assert list(found) == [f"{name}.csv" for name in NAMES]
    assert all(len(digest) == 12 for digest in found.values())


def test_tables_are_plain_utf_8_with_plain_line_ends() -> None:
    """As git and a spreadsheet both keep them."""
    for path in sorted(Path(tables.HERE).glob("*.csv")):
        data = path.read_bytes()
        data.decode("utf-8")
        assert b"\r" not in data, path.name
        assert data.endswith(b"\n"), path.name
