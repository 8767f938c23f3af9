"""The harness for published values fails where it would otherwise test nothing."""

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
HEADER = "id,L1,a1,b1,L2,a2,b2,kL,kC,kH,expected,tolerance,left_out\n"
COLOURS = "50,2.6772,-79.7751,50,0,-82.7485"  # pair 1 of Sharma, Wu and Dalal 2005: 2.0425


def run_on(folder):
    """Run the published tests on a folder, as a user would; their exit code and what they said."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-rsf"]
    done = subprocess.run(
        [*command, HERE / "test_published.py", "--published", folder],
        cwd=HERE.parents[1],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout


@pytest.mark.parametrize(
    ("folder", "files", "message"),
    [
        ("missing", {}, "is not a folder"),
        (".", {}, "holds no table"),
        (".", {"elsewhere.csv": "id,expected,tolerance\nA,1,0\n"}, "has adapters"),
        (".", {"colour_ciede2000.csv": HEADER}, "holds no rows"),
        (".", {"colour_ciede2000.csv": "id,value\nA,1\n"}, "has no column expected, tolerance"),
    ],
)
def test_a_folder_that_tests_nothing_is_refused(read_folder, tmp_path, folder, files, message):
    """A missing, empty or unknown folder, and a table without rows, end in an error."""
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")

    with pytest.raises(pytest.Collector.CollectError, match=message):
        read_folder(tmp_path / folder)


def test_a_missing_folder_fails_the_run(tmp_path):
    """A mistyped folder never looks like a pass."""
    code, said = run_on(tmp_path / "missing")

    assert code != 0
    assert "missing is not a folder" in said


def test_each_row_is_judged_on_its_own(tmp_path):
    """Wrong value, endless tolerance, missing value, kC, unknown quantity fail; left out skips."""
    rows = [
        f"right,{COLOURS},1,1,1,2.0425,0.0001,",
        f"wrong,{COLOURS},1,1,1,2.0525,0.0001,",
        f"endless,{COLOURS},1,1,1,2.0425,inf,",
        f"blank,{COLOURS},1,1,1,,0.0001,",
        f"weighted,{COLOURS},1,2,1,2.0425,0.0001,",
        f"aside,{COLOURS},1,1,1,9.9999,0.0001,misprint in the source",
    ]
    (tmp_path / "colour_ciede2000.csv").write_text(HEADER + "\n".join(rows), encoding="utf-8")
    (tmp_path / "stats_sample_size.csv").write_text(
        "id,quantity,s,half_width,confidence,expected,tolerance\n"
        "unknown,n_guess,1,1,0.95,7,0\n"
        "normal,n_z,1.2,0.5,0.95,23,0\n",
        encoding="utf-8",
    )
    (tmp_path / "elsewhere.csv").write_text("id,expected,tolerance\nA,1,0\n", encoding="utf-8")

    code, said = run_on(tmp_path)

    assert code == 1
    assert "5 failed, 1 passed, 2 skipped" in said
    failures = said[said.index("short test summary") :]
    for name in ("wrong", "endless", "blank", "weighted"):
        assert f"test_published_value[colour_ciede2000.csv::{name}]" in failures
    assert "no adapter for the quantity 'n_guess'" in said
    assert "kC = 2 is an unsupported input" in said
    assert "left out: misprint in the source" in said
    assert "no adapters for 1 of the tables, so not tested: elsewhere.csv" in said


def test_the_spectra_come_from_the_folder_that_was_asked_for(tmp_path):
    """A perfect white of that folder is white, whatever stands in the project's own spectra."""
    patch = "white 9.5 (.05 D)"
    (tmp_path / "colour_spectra.csv").write_text(
        f"wavelength_nm,{patch}\n"
        + "".join(f"{wavelength},1\n" for wavelength in range(380, 785, 5)),
        encoding="utf-8",
    )
    (tmp_path / "colour_spectral_to_lab.csv").write_text(
        "id,patch,observer_illuminant,quantity,expected,tolerance\n"
        f"theirs,{patch},D65/10,L*,100,0.01\n"
        f"ours,{patch},D65/10,L*,96.06,1\n",
        encoding="utf-8",
    )

    code, said = run_on(tmp_path)

    assert code == 1
    assert "1 failed, 1 passed" in said
    assert "[colour_spectral_to_lab.csv::ours]" in said[said.index("short test summary") :]
    assert "not tested" not in said
