"""What must hold of any survey: one setting, within its limits, the same wherever it is printed."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import NamedTuple

import pytest
from guidance_form import rows_of_case
from hypothesis import event, example, given, settings
from hypothesis import strategies as st
from laid_spots import MINUTES, Rows, lay_spots
from printed_setting import faults_of, places, starts_in, told_in, trial_sheet_words
from tiers import examples

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.places import build

from .mutated import Mutant, guidance, mutants


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the drawing that every case names, each zone a square on it."""
    found = tmp_path_factory.mktemp("drawing")
    outline = 'd="M10 10L40 10L40 40L10 40z"'
    zones = "".join(f'<path data-zone="{code}" {outline}/>' for code in guidance())
    (found / "a.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{zones}</svg>',
        encoding="utf-8",
    )
    return found


def assessed(rows: Rows, folder: Path) -> Assessment:
    """Judge the first zone of plain rows."""
    return hc.assess(build(rows, folder=folder), zones=[rows["zones"][0]["zone"]])


class Laid(NamedTuple):
    """Mist on limestone: where its panels came clean, what was dialled, said and seen on spots."""

    low: float
    high: float
    unit: str
    dialled: float | None
    said: float | None
    spots: tuple[float, float] | None
    damage: tuple[float, float | None]

    def rows(self) -> Rows:
        """Plain rows of the survey; all but `unit` in minutes."""
        rows = deepcopy(rows_of_case(guidance()["G03"]))
        size = {"min": 1.0, "h": 60.0}[self.unit]
        for panel in rows["panels"]:
            panel |= {"setting_unit": self.unit, "cleaning_low": self.low / size,
                      "cleaning_high": self.high / size,
                      "damage_low": self.damage[0] / size,
                      "damage_high": self.damage[1] and self.damage[1] / size}  # fmt: skip
            if self.said is not None:
                panel["setting"] = f"mist 3 bar, dwell {self.said:.12g} min"
        if self.dialled is not None:
            first = rows["panels"][0]
            rows["settings"] = [row for row in rows["settings"] if row["quantity"] != "dwell"]
            rows["settings"].append(
                {"series": first["series"], "zone": first["zone"], "quantity": "dwell",
                 "value": self.dialled, "unit": "min"}
            )  # fmt: skip
        if self.spots is not None:
            cleans, harms = self.spots
            lay_spots(rows, lambda _, dose: (dose > cleans, dose > harms), MINUTES * 2)
        return rows


@st.composite
def laid(draw: st.DrawFn) -> Laid:
    """Draw panels whose records agree, or do not."""
    low = draw(st.floats(20, 60))
    high = low * draw(st.floats(1, 1.6))
    near = st.sampled_from((None, low, high, (low + high) / 2, 0.8 * low, 1.3 * high))
    spots = st.tuples(st.sampled_from((12.0, 22.0, 35.0)), st.sampled_from((40.0, 80.0, 999.0)))
    # Damage far above, not sought so far, or seen where the panels came clean.
    damaged = st.sampled_from(
        ((300.0, None), ((low + high) / 2, None), (1.1 * high, None), (low, 1.2 * high),
         (1.1 * high, 2 * high), (3 * high, 4 * high))
    )  # fmt: skip
    return Laid(
        low, high, draw(st.sampled_from(("min", "h"))), draw(near), draw(near),
        draw(st.none() | spots), draw(damaged),
    )  # fmt: skip


def consistent(assessment: Assessment) -> None:
    """Hold all places of the only zone against one another."""
    [one] = assessment.recommendations
    contradicts = any(series.setting_contradiction for series in one.evidence.series)
    event(f"{one.outcome}, {'contradicts' if contradicts else 'agrees'}")

    assert faults_of(one) == []
    if one.outcome == "clean":
        assert one.instruction is not None
        chosen = next(s for s in one.settings.values() if s is one.instruction.setting)
        listed = chosen.why_none.startswith("As listed: ")
        assert chosen.steps or listed or "listed housekeeping" in one.sentence
    for key, setting in one.settings.items():
        series = key.series
        if series and any(each.series == series for each in one.evidence.series
                          if each.zone == one.zone):  # fmt: skip
            assert told_in(trial_sheet_words(assessment, series), setting) == []
    if one.instruction is None:
        return
    starts = starts_in("; ".join(f"start {step.begin}" for step in one.instruction.setting.steps))
    for name, words in places(assessment, one).items():
        assert told_in(words, one.instruction.setting) == [], name
        for series in one.evidence.series:
            if series.words_differ:
                assert series.setting not in words, name
        assert starts_in(words) == starts, name


@settings(max_examples=examples(12, long=40))
@given(mutants())
def test_a_setting_lies_within_its_limits_wherever_it_is_printed(
    folder: Path, mutant: Mutant
) -> None:
    """Whatever was seen and laid: one start in one range, or why there is none."""
    consistent(assessed(mutant.rows(), folder))


@settings(max_examples=examples(12, long=30))
@example(Laid(35, 45, "min", 40, None, None, (40, None)))  # sound only up to what was dialled
@example(Laid(35, 45, "min", 38, None, None, (44, 200)))  # damaged where others came clean
@given(laid())
def test_what_was_dialled_is_printed_only_where_the_records_agree(
    folder: Path, panels: Laid
) -> None:
    """Dialled and written beside the panels, in either unit, with spots or without."""
    assessment = assessed(panels.rows(), folder)
    consistent(assessment)
    [one] = assessment.recommendations
    for series in one.evidence.series:
        if series.setting_contradiction:
            assert one.outcome != "clean"
