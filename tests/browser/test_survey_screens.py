"""The survey's pages as their users meet them: real server, real browser, from an empty folder."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, TABLET, survey_pages, window
from pictured_wall import saved, wall
from visitor import PROGRAM_FAULTS, Visitor

from heritagecheck.cli import main

# Where the red marks of the wall are, 10 m apart, as shares of its picture.
LEFT_MARK, RIGHT_MARK = (1 / 12, 0.5), (11 / 12, 0.5)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as start makes it, with nothing in it, and a photograph of a wall beside it."""
    made = tmp_path_factory.mktemp("screens")
    assert main(["start", str(made / "sluice"), "--folder-only"]) == 0
    (made / "wall.jpg").write_bytes(saved(wall()))
    return made


@pytest.fixture(scope="module")
def opened(folder: Path) -> Iterator[tuple[str, Any]]:
    """The address that heritagecheck lab tells, and its server."""
    with survey_pages(folder / "sluice", folder / "home") as told:
        yield told


@pytest.fixture(scope="module")
def address(opened: tuple[str, Any]) -> str:
    """The address of the start page."""
    return opened[0]


@pytest.fixture(scope="module")
def she(address: str, browser: Any, axe: str) -> Iterator[Visitor]:
    """A conservator at the start page, on a tablet."""
    with window(browser, TABLET) as shown:
        visitor = Visitor(shown, axe)
        visitor.arrive(address, "conservator")
        yield visitor


def test_the_structure_comes_first(she: Visitor) -> None:
    """A person who knows no code names the structure."""
    she.look("start")
    she.press("Go on: The structure")
    she.write("Name of the structure", "Quillmere Sluice")
    she.look("structure")
    she.press("Save the structure")


def test_elevation_and_policy_come_next(she: Visitor, folder: Path) -> None:
    """She puts a photograph in place, and the team agrees."""
    she.press("Go on: Elevations")
    she.write("Which side is it", "North front", enter=True)
    she.page.locator("input[type=file]").set_input_files(folder / "wall.jpg")
    she.page.get_by_text("Put the picture in place").wait_for()
    she.press("The two points lie level")
    she.tap(*LEFT_MARK)
    she.tap(*RIGHT_MARK)
    she.press("Next: the known length")
    she.tap(*LEFT_MARK)
    she.tap(*RIGHT_MARK)
    she.write("Length between", "10,0")
    she.look("placing")
    she.press("Look at it in place")
    she.page.get_by_text("Is the picture in the right place").wait_for()
    assert re.search(r"shows 1[12]\.\d\d m by [78]\.\d\d m", she.text), she.text
    she.press("Use this picture")

    she.press("Your survey")
    she.press("What the team agrees")
    she.look("policy")
    she.press("Agree to all of these values")
    assert she.sees("Saved: the agreed values")


def test_first_zone_is_outlined_and_filled_in(she: Visitor) -> None:
    """Its outline is tapped, its terms are chosen from lists, numbers are typed with a comma."""
    she.begin_to_count()
    she.press("Your survey")
    she.press("Zones")
    she.write("What is it, in a few words", "Left plinth")
    she.press("New zone: draw its outline")
    for across, down in ((0.1, 0.6), (0.35, 0.6), (0.35, 0.9), (0.1, 0.9)):
        she.tap(across, down)
    she.look("outline")
    she.press("Save the outline")
    she.press("To the form of N01")
    for term in ("granite", "tooled", "sound", "rain-washed", "ground", "medium"):
        she.press(term, exact=True)
    she.write("Reason for the significance", "Seen from the bridge")
    she.look("what")
    she.press("Save zone N01")
    she.press("algae", exact=True)
    she.press("not valued", exact=True)
    she.write("Cover", "82,5")
    she.look("soiling")
    she.press("Save zone N01")
    assert she.sees("Saved: zone N01")
    assert not re.search(PROGRAM_FAULTS, she.text)


def test_findings_are_answered_or_said_to_be_missing(she: Visitor) -> None:
    """One answer is tapped, one reason is given for the rest; the zone's answer is judged again."""
    she.press("Next: Findings")
    she.press("no", exact=True)
    she.write("For what is not answered yet", "seen from the ground only")
    she.press("left in this zone")
    she.look("findings")
    she.press("Save zone N01")
    assert she.sees("Saved: zone N01")
    assert re.search("Leave|Trial first", she.page.locator(".strip").inner_text())


def test_two_sets_of_readings_are_typed_without_leaving_the_keyboard(she: Visitor) -> None:
    """Soiled and clean stone, comma decimals, Enter after each; the difference is shown at once."""
    she.press("Colour", within="nav.tasks")
    for name, text in (("instrument", "portable sphere d/8"), ("aperture_mm", "8")):
        she.fill(f"meter.{name}", text)
    she.press("SCI", exact=True)
    she.press("D65/10", exact=True)
    she.press("Use this meter today")
    for place, lightness in (("soiled", 38), ("reference", 61)):
        she.page.locator(f"#choose-{place}").click()
        she.settle()
        she.press("Dry", exact=True)
        for more, rest in (
            (0, "1,2 6,4"),
            (2, "1,5 6"),
            (1, "0,9 7,1"),
            (3, "1,4 6,6"),
            (1, "1 5,8"),
        ):
            she.fill("line.L", f"{lightness + more},5 {rest}")
            she.key("Enter")
        she.look(f"colour-{place}")
        assert she.sees("Not compared yet") is (place == "soiled")
        she.press("Save this set of 5")
    assert not re.search(PROGRAM_FAULTS, she.text)


def test_panels_of_a_series_are_laid_and_read(she: Visitor) -> None:
    """A method in words of the trade, its cautions first; one panel is read."""
    she.press("Trial panels", within="nav.tasks")
    she.press("New series of panels")
    she.press("low-pressure water")
    she.look("series-new")
    she.press("algae", exact=True)
    she.write("Panels laid in that series", "2")
    she.write("Laid on", "2026-06-01")
    she.press("Save the series")
    she.look("series")
    she.press("Go on: read")
    she.press("Read today, by me")
    she.look("panel")
    she.press("Save the panel")
    assert not re.search(PROGRAM_FAULTS, she.text)


def test_answer_and_report_are_there(
    she: Visitor, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The outcome first, cautions below it; the report is written and can be opened."""
    she.press("Answer", within="nav.tasks")
    she.look("answer")
    with capsys.disabled():
        sys.stdout.write(f"\nOne zone: {she.told}\n")
    assert she.strokes + she.taps < 400
    she.press("Your survey")
    she.press("Answers and report")
    she.press("Work out the answers")
    she.page.get_by_text("are those of the records as they are saved now").wait_for()
    she.press("Write the report")
    she.page.get_by_text("The report is in the folder").wait_for()
    she.look("answers")
    for name in ("report.html", "report.pdf"):
        assert (folder / "sluice" / "report" / name).stat().st_size > 10_000


def test_one_answer_changed_changes_what_is_recommended(she: Visitor) -> None:
    """Loose material over people is urgent as soon as it is saved."""
    she.press("Your survey")
    she.press("Zones")
    she.page.locator("#row-N01 button").first.click()
    she.settle()
    assert "urgent" not in she.page.locator(".strip").inner_text()
    she.press("Findings", within="nav.tasks")
    she.press("yes", exact=True)
    she.press("Save zone N01")
    assert "urgent: make safe" in she.page.locator(".strip").inner_text()


def test_two_people_on_one_zone_see_both_values(
    she: Visitor, address: str, browser: Any, axe: str
) -> None:
    """Nothing is saved over what the other has not seen; she keeps hers and his is told."""
    with window(browser, LAPTOP) as shown:
        he = Visitor(shown, axe)
        he.arrive(address, "engineer")
        he.press("Zones")
        he.page.locator("#row-N01 button").first.click()
        he.settle()
        he.press("What it is", within="nav.tasks")
        she.press("What it is", within="nav.tasks")
        she.write("Note", "Wet at the foot")
        he.write("Note", "Dry all over")
        he.press("Save zone N01")
        assert he.sees("Saved: zone N01")
    she.press("Save zone N01")
    assert she.sees("Two people changed the same record")
    assert she.sees("Saved meanwhile by engineer")
    she.press("Keep mine")
    she.press("Save zone N01")
    assert she.sees("Saved: zone N01")


def test_draft_is_found_after_the_program_was_killed(
    she: Visitor, opened: tuple[str, Any], browser: Any, axe: str
) -> None:
    """The page says that nobody answers; what was typed then is there again."""
    _, server = opened
    she.write("Reason for the significance", "Seen from the quay")
    for kernel in kernels_of(server.pid):
        os.kill(kernel, signal.SIGKILL)
    she.page.locator('[name="zone.note"]').fill("Typed when nobody listened")
    she.page.get_by_text("No answer from the program").wait_for()
    she.page.get_by_role("button", name="Reload the page").click()
    she.arrive_again()
    assert (
        she.page.locator('[name="zone.significance_reason"]').input_value() == "Seen from the quay"
    )
    assert she.page.locator('[name="zone.note"]').input_value() == "Typed when nobody listened"
    assert she.sees("Not saved yet")


def kernels_of(server: int) -> list[int]:
    """Processes of the server in which the pages live."""
    children = Path(f"/proc/{server}/task/{server}/children").read_text(encoding="ascii").split()
    return [
        int(child)
        for child in children
        if b"ipykernel" in Path(f"/proc/{child}/cmdline").read_bytes()
    ]


# Brings up the loopback of a network that leads nowhere, then runs a test there.
ALONE = """
import fcntl, socket, struct, sys
import pytest
with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
    fcntl.ioctl(one, 0x8914, struct.pack("16sh", b"lo", 1))
sys.exit(pytest.main(["-q", "-n", "0", "-p", "no:cacheprovider", sys.argv[1], "-k", sys.argv[2]]))
"""


@pytest.mark.long
def test_pages_need_no_network() -> None:
    """In a network namespace without a way out the same pages open and work."""
    within = ["unshare", "--net", "--map-root-user", sys.executable, "-c", ALONE]
    said = subprocess.run(
        [*within, str(Path(__file__)), "comes_first"],
        check=False,
        capture_output=True,
        text=True,
    )

    assert said.returncode == 0, said.stdout[-2000:]
    assert "1 passed" in said.stdout
