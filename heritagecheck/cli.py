"""The same words on the command line: start, check, assess, report."""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from heritagecheck import __version__, assess, open_survey, write_report
from heritagecheck.documents.pdf import why_no_pdf
from heritagecheck.errors import SurveyError
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.survey.begin import start_survey, tables_folder
from heritagecheck.survey.carried import notebooks_folder
from heritagecheck.survey.store import Survey

COMMANDS = {
    "start": "make a folder for the survey of your own structure",
    "check": "say what is to be corrected in a survey, and what to look at again",
    "assess": "recommend, zone by zone",
    "report": "recommend, and write the report",
}


def main(arguments: Sequence[str] | None = None) -> int:
    """
    Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after the command's name; those of the shell where none are given.

    Returns
    -------
    int
        0 where all went well, 1 where the survey needs correcting or the folder is taken.
    """
    given = _parser().parse_args(arguments)
    try:
        if given.command == "start":
            _print_started(start_survey(given.folder))
            return 0
        survey = open_survey(tables_folder(given.folder))
        if given.command == "check":
            _print_checked(survey)
            return 0
        assessment = assess(survey, seed=given.seed)
        _print_outcomes(assessment)
        if given.command == "report":
            _print_report(assessment, given.to)
    except (SurveyError, FileExistsError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


def _parser() -> argparse.ArgumentParser:
    """Describe the commands."""
    parser = argparse.ArgumentParser(
        prog="heritagecheck",
        description="Clean it or leave it? Evidence, gates and least harm, zone by zone.",
    )
    parser.add_argument("--version", action="version", version=f"heritagecheck {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, does in COMMANDS.items():
        command = commands.add_parser(name, help=does, description=does)
        command.add_argument(
            "folder",
            metavar="FOLDER",
            help="new or empty folder to be made"
            if name == "start"
            else "folder that holds the survey's tables, itself or in its folder 'survey'",
        )
        if name in {"assess", "report"}:
            command.add_argument("--seed", type=int, default=0, help="seed of the draws (0)")
        if name == "report":
            command.add_argument(
                "--to", metavar="FOLDER", default="report", help="where to write (report)"
            )
    return parser


def _print_started(folder: Path) -> None:
    """Say what was made for a new survey, and what to do next."""
    print(f"Made in {folder.resolve()}:")
    print("  README.md   what to fill in first, and in which order")
    print("  survey      the tables with their headings; fields.md says what each field means")
    print("  notebooks   the notebooks, to be opened with: jupyter lab")
    print("Next: read README.md, fill in survey/structure.csv and the tables after it, then run")
    print(f"  heritagecheck check {folder}")


def _print_checked(survey: Survey) -> None:
    """Say that a survey reads well, and count what to look at again."""
    print(f"{survey}. Nothing to correct.")
    kinds = Counter(what.partition(":")[0] for what in survey.check()["what"])
    for kind, count in kinds.items():
        print(f"{count:>6}  {kind}")
    if kinds:
        print("These are worth a look; survey.check() in a notebook lists them with their zones.")


def _print_outcomes(assessment: Assessment) -> None:
    """Print one line for each outcome, with its zones, and what is urgent."""
    print(f"{assessment.survey}")
    for outcome in OUTCOMES:
        zones = [one.zone for one in assessment.recommendations if one.outcome == outcome]
        print(f"{outcome:<18}{len(zones):>3}  {' '.join(zones)}")
    urgent = [f"{one.zone} ({one.urgency})" for one in assessment.recommendations if one.urgency]
    print(f"{'urgent':<18}{len(urgent):>3}  {'; '.join(urgent)}")


def _print_report(assessment: Assessment, folder: str) -> None:
    """Write the report and say where it lies."""
    zones = len(assessment.recommendations)
    print(
        f"\nWriting the pages of {zones} zones: the PDF takes a second or two for each.", flush=True
    )
    written = write_report(assessment, Path(folder))
    print()
    for path in written:
        print(f"Report: {path.resolve()}")
    if why_no_pdf():
        print(f"No PDF: {why_no_pdf()}")
    own = Path(assessment.survey.folder or "").parent / "notebooks"
    notebooks = own if own.is_dir() else notebooks_folder()
    print(f"Notebooks: {notebooks.resolve()} (open them with jupyter lab; in a checkout, make lab)")


if __name__ == "__main__":
    sys.exit(main())
