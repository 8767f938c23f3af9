"""Heat that a program beside the report calculates: the same words, whatever becomes of it."""

import subprocess
import sys

import pytest

from heritagecheck import answer_cache
from heritagecheck.answer_cache import cache_folder, lacking
from heritagecheck.documents import heat_beside as beside
from heritagecheck.documents.heat_beside import heat_beside
from heritagecheck.evidence.laser.heat.setting_heat import Heating, heated, said_of_heat

STEEL = Heating(
    ("riveted_steel",), {"fluence_j_cm2": 3.0, "pulse_ns": 100.0, "radius_um": 400.0, "pulses": 1}
)


@pytest.fixture
def programs(monkeypatch, tmp_path):
    """What was started, in a home where nothing is kept yet; other tests keep nothing at all."""
    monkeypatch.setattr(answer_cache, "cache_folder", cache_folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    started = []

    class Noted(subprocess.Popen):
        """A program that is noted."""

        def __init__(self, *given, **settings):
            super().__init__(*given, **settings)
            started.append(self)

    monkeypatch.setattr(beside.subprocess, "Popen", Noted)
    return started


def by_hand():
    """How deep it melts, straight from the calculation, as the trial sheet has it."""
    (found,) = heated(STEEL)
    return f"Melting reaches {found.molten_um[0]:.2g} µm deep"


def test_it_is_calculated_once_and_read_afterwards(programs):
    """After the block the answer is kept, the program has ended by itself, and none is started."""
    with heat_beside([STEEL, STEEL]):
        assert lacking(STEEL.asked)
    (program,) = programs

    assert program.returncode == 0
    assert not lacking(STEEL.asked)
    assert by_hand() in said_of_heat(STEEL)["lines"][0]
    with heat_beside([STEEL]):
        pass
    assert programs == [program]


def test_a_program_that_is_killed_costs_no_word(programs):
    """What it did not keep is calculated where it is shown."""
    with heat_beside([STEEL]):
        programs[0].kill()

    assert programs[0].returncode != 0
    assert lacking(STEEL.asked)
    assert by_hand() in said_of_heat(STEEL)["lines"][0]


def test_where_nothing_can_be_kept_it_is_calculated_as_well(programs, tmp_path):
    """A file lies where the folder of kept answers would be made."""
    for name in ("heritagecheck", "Library", ".cache"):
        (tmp_path / name).write_text("taken")
    with heat_beside([STEEL]):
        pass

    assert programs[0].returncode == 0
    assert by_hand() in said_of_heat(STEEL)["lines"][0]
    assert lacking(STEEL.asked)


def test_without_a_program_nothing_is_missed(programs, monkeypatch, tmp_path):
    """Python can't be started a second time."""
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nothing"))
    with heat_beside([STEEL]):
        pass

    assert programs == []
    assert by_hand() in said_of_heat(STEEL)["lines"][0]


def test_no_program_outlives_an_interrupted_report(programs):
    """It is ended before the interrupt goes on."""
    with pytest.raises(KeyboardInterrupt), heat_beside([STEEL]):
        raise KeyboardInterrupt

    assert programs[0].returncode not in (None, 0)
    assert lacking(STEEL.asked)
