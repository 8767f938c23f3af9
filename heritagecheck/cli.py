"""The same words on the command line: check, assess, report."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from heritagecheck import __version__, assess, open_survey, write_report
from heritagecheck.errors import SurveyError
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment


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
        0 where all went well, 1 where the survey needs correcting.
    """
    given = _parser().parse_args(arguments)
    try:
        survey = open_survey(given.folder)
        if given.command == "check":
            print(f"{survey}. Nothing to correct.")
            return 0
        assessment = assess(survey, seed=given.seed)
        _print_outcomes(assessment)
        if given.command == "report":
            _print_report(assessment, given.to)
    except SurveyError as error:
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
    for name, does in (
        ("check", "say what is to be corrected in a survey"),
        ("assess", "recommend, zone by zone"),
        ("report", "recommend, and write the report"),
    ):
        command = commands.add_parser(name, help=does, description=does)
        command.add_argument(
            "folder", metavar="FOLDER", help="folder that holds the survey's tables"
        )
        if name != "check":
            command.add_argument("--seed", type=int, default=0, help="seed of the draws (0)")
        if name == "report":
            command.add_argument(
                "--to", metavar="FOLDER", default="report", help="where to write (report)"
            )
    return parser


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
    target = write_report(assessment, Path(folder))
    print(f"\nReport: {target.resolve()}")
    print("Notebooks: make lab (or .venv/bin/jupyter lab notebooks)")


if __name__ == "__main__":
    sys.exit(main())
