"""Two people press and type at random on one survey: nothing fails, nothing is half saved."""

from __future__ import annotations

import random
import traceback
from pathlib import Path

import pytest
from PIL import Image
from tiers import two_sizes
from walker import Walker, failures

from heritagecheck.screens.app import App
from heritagecheck.screens.routes import screens
from heritagecheck.survey.entry.drafts import SET_ASIDE
from heritagecheck.survey.exchange.importing import import_survey
from heritagecheck.survey.store.database_survey import DatabaseSurvey

QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"


def _given(folder: Path) -> list[Path]:
    """Files that a person may choose: pictures, and what is none."""
    folder.mkdir()
    Image.effect_noise((80, 60), 60).save(folder / "wall.jpg")
    Image.effect_noise((80, 60), 60).save(folder / "wall.png")
    (folder / "report.pdf").write_bytes(b"%PDF-1.4 no picture")
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "meter.csv").write_text("L*;a*;b*\n45,1;1,2;8,3\n")
    (folder / "half.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'><script>")
    return sorted(folder.iterdir())


def _walk(place: Path, files: list[Path], *, seed: int, steps: int) -> None:
    """Let two people walk over the screens of one database, each in a program of their own."""
    by = random.Random(seed)
    with DatabaseSurvey(place) as one, DatabaseSurvey(place) as other, failures() as failed:
        walkers = [Walker(App(survey, screens()), by, files) for survey in (one, other)]
        for _ in range(steps):
            walker = by.choice(walkers)
            walker.step()
            told = [traceback.format_exception(record.exc_info[1]) for record in failed
                    if record.exc_info and record.exc_info[1]]  # fmt: skip
            assert not told, "".join(told[0]) + "\n".join(walker.done[-5:])
        assert one.verify()
    with DatabaseSurvey(place) as again:
        drafts = App(again, screens()).desk.drafts
        assert not [*drafts.folder.glob(f"*{SET_ASIDE}*")], "a draft can't be read"


@pytest.mark.parametrize(("seeds", "steps"), two_sizes((1, 60), (1, 300)))
def test_a_random_walk_over_a_new_survey_fails_nowhere(
    tmp_path: Path, seeds: int, steps: int
) -> None:
    """Whatever is pressed and typed on a survey that was only begun, its records stay whole."""
    files = _given(tmp_path / "given")
    for seed in range(seeds):
        _walk(tmp_path / f"{seed}.db", files, seed=seed, steps=steps)


@pytest.mark.parametrize(("seed", "steps"), two_sizes((1, 20), (30, 150)))
def test_a_random_walk_over_the_example_fails_nowhere(
    tmp_path: Path, seed: int, steps: int
) -> None:
    """Whatever is pressed and typed on a survey with all kinds of records, these stay whole."""
    import_survey(QUILLMERE, tmp_path / "survey.db").close()
    _walk(tmp_path / "survey.db", _given(tmp_path / "given"), seed=seed, steps=steps)
