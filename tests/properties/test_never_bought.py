"""No weight buys a gate or a method; nothing hangs on scale, order or a worse alternative."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from tiers import examples

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.evidence import zone_evidence
from heritagecheck.judgement import options
from heritagecheck.judgement.assess import Recommendation
from heritagecheck.judgement.harm import normal_draws, simulations
from heritagecheck.judgement.policy import CRITERIA, Policy, agreed_policy
from heritagecheck.survey.places import build
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import conditions, methods, row_types

from .mutated import Mutant, guidance, judged, mutants, near_clean, steel, stone

swings = st.one_of(st.just(0.0), st.floats(0.5, 100))
weights = st.tuples(*[swings] * len(CRITERIA)).filter(
    lambda given: any(given[:-1]) and max(given) <= 0.98 * sum(given)
)


def policy_of(mutant: Mutant) -> Policy:
    """Policy agreed in the survey of a case."""
    return agreed_policy(build(mutant.rows()))


def with_weights(policy: Policy, given: tuple[float, ...]) -> Policy:
    """Give the same policy for one member with other weights."""
    return replace(policy, weights={"member": dict(zip(CRITERIA, given, strict=True))})


def printed(found: Recommendation) -> dict[str, object]:
    """Everything that a report prints of a recommendation, rounded as printed."""
    return {
        "outcome": found.outcome, "sentence": found.sentence, "method": found.method,
        "setting": found.settings, "urgency": found.urgency,
        "gates": found.gates_table().to_csv(index=False),
        "harm": found.harm_table().round(3).to_csv(index=False),
        "ruled out": found.ruled_out_table().to_csv(index=False),
        "shares": {member: round(share, 3) for member, share in found.shares.items()},
        "expected": {key: round(test.expected, 3) for key, test in found.against_leaving.items()},
        "gaps": found.gaps, "cautions": found.cautions,
    }  # fmt: skip


# -- Weights ------------------------------------------------------------------------------------


@settings(max_examples=examples(30, long=75))
@given(mutants(), weights)
def test_a_gate_is_never_bought(mutant: Mutant, given: tuple[float, ...]) -> None:
    """Gates 1 to 6 read no weight, and no weight makes clean what they or gate 7 hold back."""
    policy = policy_of(mutant)
    agreed = mutant.judged(policy)

    found = mutant.judged(with_weights(policy, given))

    assert found.gates[:6] == agreed.gates[:6]
    assert found.gates[6].result == agreed.gates[6].result
    if any(gate.result != "passed" for gate in agreed.gates[:7]):
        assert found.outcome != "clean"
    event(f"{agreed.outcome} → {found.outcome}")


@settings(max_examples=examples(30, long=75))
@given(mutants(), weights)
def test_a_ruled_out_method_is_never_recommended_at_any_weights(
    mutant: Mutant, given: tuple[float, ...]
) -> None:
    """What a rule stops is neither recommended, nor tried first, nor listed as a candidate."""
    found = mutant.judged(with_weights(policy_of(mutant), given))
    tested = {key.method for key in found.against_leaving}

    assert found.method not in found.ruled_out
    assert not set(found.candidates) & set(found.ruled_out)
    for method in tested & set(found.ruled_out):
        assert all(stop.lifts for stop in found.ruled_out[method]), "more than the season stops it"
    if found.outcome == "clean":
        assert found.method not in found.undecided


@settings(max_examples=examples(15, long=50))
@given(mutants(), weights, st.one_of(st.floats(1e-3, 1e3), st.sampled_from((0.1, 3.0, 1 / 3))))
def test_scaling_all_weights_changes_nothing(
    mutant: Mutant, given: tuple[float, ...], scale: float
) -> None:
    """Only the ratios of a member's swings count."""
    policy = policy_of(mutant)

    once = mutant.judged(with_weights(policy, given))
    scaled = mutant.judged(with_weights(policy, tuple(swing * scale for swing in given)))

    assert printed(once) == printed(scaled)


@settings(max_examples=examples(12, long=40))
@given(st.one_of(near_clean(), stone(), steel()), weights, weights)
def test_one_member_more_never_makes_an_outcome_clean(
    mutant: Mutant, first: tuple[float, ...], second: tuple[float, ...]
) -> None:
    """Where all must agree, a zone is clean for two members only if it is for each alone."""
    policy = policy_of(mutant)
    pair = replace(
        policy,
        weights={
            "first": dict(zip(CRITERIA, first, strict=True)),
            "second": dict(zip(CRITERIA, second, strict=True)),
        },
    )

    alone = [mutant.judged(with_weights(policy, given)).outcome for given in (first, second)]
    both = mutant.judged(pair).outcome

    assert both != "clean" or alone == ["clean", "clean"]


# -- Dominated options --------------------------------------------------------------------------

WORST = "worst_of_all"


def forget() -> None:
    """Forget every table read so far."""
    modules = (tables, conditions, methods, row_types, zone_evidence, options)
    for module in (*modules, simulations, normal_draws, simulations):
        for found in vars(module).values():
            if hasattr(found, "cache_clear"):
                found.cache_clear()


@contextmanager
def tables_in(folder: Path) -> Iterator[None]:
    """Read the rated tables from another folder."""
    home = tables.HERE
    tables.HERE = folder
    forget()
    try:
        yield
    finally:
        tables.HERE = home
        forget()


def add_rows(path: Path, change: dict[str, str], key: str, like: str) -> None:
    """Write altered copies of some rows of a table under them."""
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        found = list(reader)
    copies = [row | change for row in found if row[key] == like]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(found[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            found + [row | {"row_id": f"{row['row_id']}w"} if "row_id" in row else row
                     for row in copies]
        )  # fmt: skip


def dominated_tables(folder: Path, like: str) -> Path:
    """Copy the tables, with one method more: like another, and worse in every criterion."""
    shutil.copytree(tables.HERE, folder)
    add_rows(
        folder / "methods.csv",
        {"method": WORST, "name": "Worst of all", "ladder": "99", "relative_cost": "5"},
        "method", like,
    )  # fmt: skip
    add_rows(folder / "method_risk.csv", {"method": WORST, "risk": "6", "rule": ""}, "method", like)
    with (folder / "harm_ratings.csv").open("a", encoding="utf-8", newline="") as file:
        file.writelines(
            f"HT9{number},{criterion},treat,method={WORST},kind=masonry|metal,9,,,Worst,OURS,"
            "recalled,common practice no source\n"
            for number, criterion in enumerate(CRITERIA)
        )
    return folder


@pytest.mark.parametrize(
    ("code", "like"),
    [
        *((code, "nebulised_water") for code in ("G02", "G03", "G05", "G06", "G09", "G14")),
        *((code, "dry_brush_vacuum") for code in ("G04", "G07", "G11", "G15", "G23", "G24")),
        *((code, "dry_grit_blast") for code in ("G16", "G17", "G18", "G19", "G20", "G21")),
    ],
)
def test_adding_a_dominated_option_changes_nothing(code: str, like: str, tmp_path: Path) -> None:
    """A further method that is worse in every criterion moves neither outcome nor choice."""
    mutant = Mutant(code)
    before = mutant.judged()
    with tables_in(dominated_tables(tmp_path / "tables", like)):
        after = mutant.judged()

    assert after.outcome == before.outcome
    assert after.method == before.method
    assert [gate.result for gate in after.gates] == [gate.result for gate in before.gates]
    assert after.harm_of_leaving == before.harm_of_leaving
    for key, test in before.against_leaving.items():
        assert after.against_leaving[key].harm == test.harm
        assert after.against_leaving[key].shares == test.shares


@pytest.mark.parametrize(("code", "like"), [("G03", "nebulised_water"), ("G17", "dry_grit_blast")])
def test_a_dominated_option_with_panels_of_its_own_is_not_chosen(
    code: str, like: str, tmp_path: Path
) -> None:
    """Even where its panels are as good as those of the method recommended."""
    raw = Mutant(code).rows()
    before = judged(raw)
    more = [
        row | {"panel": f"{row['panel']}w", "series": "worst", "method": WORST}
        for row in raw["panels"]
    ]
    tests = [
        row | {"panel": f"{row['panel']}w", "site_test": f"{row['site_test']}w",
               "set_name": f"{row['set_name']}w"}
        for row in raw["site_tests"] if row["panel"]
    ]  # fmt: skip
    zone = raw["zones"][0] | {"panels_laid": len(raw["panels"]) + len(more)}
    both = raw | {
        "zones": [zone], "panels": raw["panels"] + more, "site_tests": raw["site_tests"] + tests,
    }  # fmt: skip
    with tables_in(dominated_tables(tmp_path / "tables", like)):
        after = judged(both)

    assert WORST in {key.method for key in after.trials}
    assert (after.outcome, after.method) == (before.outcome, before.method)
    assert after.shares == before.shares


# -- Order --------------------------------------------------------------------------------------


@settings(max_examples=examples(2, long=3))
@given(st.permutations(sorted(hc.demo_survey().zones["zone"])))
def test_zone_order_changes_nothing(order: list[str]) -> None:
    """Zones read and asked in another order give the same printed answers."""
    survey = hc.demo_survey()
    records = {name: tuple(found) for name, found in survey.records.items()}
    zones = {zone.zone: zone for zone in records["zones"]}
    shuffled = Survey(records | {"zones": tuple(zones[code] for code in order)})
    usual = {item.zone: printed(item) for item in hc.assess(survey).recommendations}

    found = {item.zone: printed(item) for item in hc.assess(shuffled, zones=order).recommendations}

    assert list(found) == order
    assert found == usual


@settings(max_examples=examples(8, long=25))
@given(st.sampled_from(sorted(guidance())), st.randoms(use_true_random=False))
def test_row_order_changes_no_outcome(code: str, chance: object) -> None:
    """Records written in another order give the same outcome and method."""
    raw = Mutant(code).rows()
    mixed = {name: chance.sample(found, len(found)) for name, found in raw.items()}

    before, after = judged(raw), judged(mixed)

    assert (after.outcome, after.method) == (before.outcome, before.method)
    assert [gate.result for gate in after.gates] == [gate.result for gate in before.gates]
