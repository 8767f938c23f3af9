"""The same words on the command line: start, sheets, import, check, assess, report, and others."""

from __future__ import annotations

import argparse
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from heritagecheck import __version__, import_survey, open_survey
from heritagecheck.errors import ReportError, SurveyError, in_words
from heritagecheck.progress import on_terminal
from heritagecheck.sentences import FOR_APPROVAL, count_of, moment_in_words
from heritagecheck.survey.places import (
    DATABASE,
    WORKBOOK,
    notebooks_folder,
    start_survey,
    survey_place,
)
from heritagecheck.survey.store.database_errors import damaged
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.postgresql import without_passwords
from heritagecheck.survey.store.verification import Head, as_printed, newest_head
from heritagecheck.survey.survey import Survey

# What judges and what draws is loaded by the commands that do so: it takes as long as the rest.
if TYPE_CHECKING:
    from heritagecheck.judgement.recommendation import Assessment
    from heritagecheck.sentence_table import Table

SURVEY = (
    "the survey: a folder made by start, a database such as survey.db, an address "
    "postgresql+psycopg://…, or a folder of tables"
)
MOST_ZONES = 12
_NONE_URGENT = {
    False: "nothing urgent: the questions were answered everywhere",
    True: "none recorded",
}
NO_HEAD = (
    "No report has recorded its hash here. A journal that was cut at its end, or rewritten as a "
    "whole, shows only by such a hash. If you hold a report, give the hash it prints with --head."
)
STEERS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
EXIT_CODES = """\
exit codes:
  0    all went well
  1    something must be corrected, is damaged, or could not be read or written
  2    the command was not understood
  130  it was interrupted
  141  the program that read its output has stopped
"""


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
        0 where all went well, 1 where something given must be corrected or could not be read or
        written.
    """
    given = _described().parse_args(arguments)
    run: Callable[[argparse.Namespace], int] = given.run
    try:
        with ExitStack() as given.until_done:
            return run(given)
    except BrokenPipeError:
        raise
    except (SurveyError, ImportError, OSError) as error:
        told = in_words(error) if isinstance(error, OSError) else str(error)
        # What a stranger wrote into a cell or a name must not steer the terminal.
        print(STEERS.sub(lambda sign: ascii(sign[0])[1:-1], told), file=sys.stderr)
        return 1


class _Parser(argparse.ArgumentParser):
    """One that repeats no password where it was given what it does not understand."""

    def error(self, message: str) -> NoReturn:
        """Say what was not understood, and end."""
        super().error(without_passwords(message))


def _place(text: str) -> str:
    """What names a place, as far as the system can spell it."""
    try:
        os.fsencode(text)
    except UnicodeEncodeError:
        raise argparse.ArgumentTypeError(
            "the system can't write this name. Choose another"
        ) from None
    if "\0" in text:
        raise argparse.ArgumentTypeError("a name can't hold the character of code 0")
    return text


def _path(text: str) -> str:
    """What names no file or folder: an address, which would put its password on the disk."""
    if "://" in text:
        raise argparse.ArgumentTypeError("this takes a file or folder, not an address")
    return _place(text)


def _described() -> _Parser:
    """Describe the commands."""
    parser = _Parser(
        prog="heritagecheck",
        description="Clean it or leave it? Evidence, gates and least harm, zone by zone.",
        epilog=EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"heritagecheck {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, run, does, ask in (
        ("start", _start, "make a folder for the survey of your own structure", _ask_start),
        ("lab", _lab, "open the survey's own pages in the browser, with the notebooks", _ask_lab),
        ("workshop", _workshop, "hold a meeting of the team about a survey", _ask_workshop),
        ("sheets", _sheets, "print empty A4 sheets for the wall, one set for each zone", _ask_pdf),
        ("import", _import, "import field sheets or tables into a survey's database", _ask_import),
        ("check", _check, "say what must be corrected in a survey, and what to review", _ask_check),
        ("assess", _assess, "recommend, zone by zone", _ask_assess),
        ("report", _report, "recommend, and write the report", _ask_report),
        ("export", _export, "write a survey for others: new folder, .zip or .xlsx", _ask_copy),
        ("backup", _backup, "copy a survey's database with its journal and files", _ask_copy),
    ):
        added = commands.add_parser(
            name, help=does, description=does, epilog=EXIT_CODES,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        added.set_defaults(run=run)
        ask(added)
    return parser


def _ask_survey(added: argparse.ArgumentParser, more: str = "") -> None:
    """Ask for the survey."""
    added.add_argument("survey", metavar="SURVEY", type=_place, help=SURVEY + more)


def _ask_start(added: argparse.ArgumentParser) -> None:
    """Ask where a survey is begun."""
    added.add_argument(
        "folder", metavar="FOLDER", type=_path, help="new or empty folder to be made"
    )
    added.add_argument(
        "--folder-only", action="store_true", help="make the folder; open no page in the browser"
    )


def _ask_lab(added: argparse.ArgumentParser) -> None:
    """Ask for the folder of a survey."""
    added.add_argument("folder", metavar="FOLDER", type=_path, help="folder made by start")


def _ask_workshop(added: argparse.ArgumentParser) -> None:
    """Ask for the survey of a meeting, and who may reach it."""
    added.add_argument(
        "folder", metavar="FOLDER", type=_place,
        help="folder made by start, or the address of its database",
    )  # fmt: skip
    added.add_argument(
        "--lan", action="store_true",
        help="let other computers of the local network join; what goes over it is not encrypted",
    )  # fmt: skip
    added.add_argument("--no-browser", action="store_true", help="open no page on this computer")


def _ask_pdf(added: argparse.ArgumentParser) -> None:
    """Ask for which zones sheets are printed, and into which file."""
    _ask_survey(added)
    added.add_argument(
        "--to", metavar="FILE", type=_path, default="sheets.pdf", help="PDF (sheets.pdf)"
    )
    added.add_argument("--zone", metavar="ZONE", action="append", help="only this zone; repeatable")


def _ask_import(added: argparse.ArgumentParser) -> None:
    """Ask what is imported, into which survey, and what becomes of rows that don't fit."""
    added.add_argument(
        "source", metavar="SOURCE", type=_path, help="workbook .xlsx, folder or .zip of tables"
    )
    _ask_survey(added, "; a new .db is made")
    added.add_argument(
        "--only-valid", action="store_true",
        help="take the good rows, and write the others with the reasons into a workbook",
    )  # fmt: skip
    added.add_argument(
        "--replace", action="store_true",
        help="where a record already has other values, take those of SOURCE",
    )  # fmt: skip
    added.add_argument("--who", metavar="ROLE", help="who imports, by role, for the journal")


def _ask_check(added: argparse.ArgumentParser) -> None:
    """Ask for the survey, and the hash that a report printed."""
    _ask_survey(added)
    added.add_argument("--head", metavar="HASH", help="hash of the journal that a report printed")


def _ask_assess(added: argparse.ArgumentParser) -> None:
    """Ask for the survey, and the seed."""
    _ask_survey(added)
    added.add_argument("--seed", type=int, default=0, help="seed of the simulations (0)")


def _ask_report(added: argparse.ArgumentParser) -> None:
    """Ask for the survey, the seed, and where the report is written."""
    _ask_assess(added)
    added.add_argument(
        "--to", metavar="FOLDER", type=_path, default="report", help="where to write (report)"
    )


def _ask_copy(added: argparse.ArgumentParser) -> None:
    """Ask for the survey, and what is made of it."""
    _ask_survey(added)
    added.add_argument("to", metavar="TO", type=_path, help="what is to be made")


def _opened(given: argparse.Namespace) -> Survey:
    """Open a survey until the command ends; one that is damaged is not gone on with."""
    survey = _looked_at(given)
    if isinstance(survey, DatabaseSurvey) and not (verdict := survey.verify()):
        raise damaged(survey.name, str(verdict))
    return survey


def _looked_at(given: argparse.Namespace) -> Survey:
    """Open a survey until the command ends."""
    survey = open_survey(survey_place(given.survey))
    if isinstance(survey, DatabaseSurvey):
        given.until_done.callback(survey.close)
    return survey


def _start(given: argparse.Namespace) -> int:
    """Make a new survey; say what was made and what to do next."""
    from heritagecheck.documents.field_sheet import write_field_sheets
    from heritagecheck.screens.server import PAGE, installed, page_notebook

    place = Path(given.folder) / DATABASE

    def empty_sheet(path: Path) -> None:
        with DatabaseSurvey(place) as survey:
            write_field_sheets(survey, path)

    folder = start_survey(given.folder, more={"field-sheet.pdf": empty_sheet, PAGE: page_notebook})
    print(f"Made in {folder.resolve()}:")
    print("  README.md          what to fill in first, and in which order")
    print(f"  {WORKBOOK}  the field sheets, to be filled in with any spreadsheet program")
    print("  field-sheet.pdf    an empty sheet to print, for rain")
    print("  fields.md          what each field means")
    print("  drawings           for the drawings of the elevations")
    print("  survey.db          the database; nothing is in it yet")
    print("  notebooks          the notebooks, to be opened with: jupyter lab")
    print("  start.ipynb        the start page of the survey")
    if sys.stdout.isatty() and not given.folder_only and installed():
        return _lab(given)
    print(f"Next: heritagecheck lab {_typed(folder)}, which opens the start page in the browser.")
    print(f"Or read README.md, fill in {WORKBOOK}, then run")
    print(f"  heritagecheck import {_typed(folder / WORKBOOK)} {_typed(folder)}")
    return 0


def _lab(given: argparse.Namespace) -> int:
    """Open the survey's pages until somebody stops them."""
    from heritagecheck.screens.server import serve

    serve(Path(given.folder), lambda words: print(words, flush=True))
    return 0


def _workshop(given: argparse.Namespace) -> int:
    """Hold a meeting until somebody stops it."""
    from heritagecheck.screens.meeting.room_server import serve

    serve(
        given.folder, lambda words: print(words, flush=True), lan=given.lan,
        browser=not given.no_browser, today=date.today(),
    )  # fmt: skip
    return 0


def _sheets(given: argparse.Namespace) -> int:
    """Write the sheets to be printed."""
    from heritagecheck.documents.field_sheet import write_field_sheets

    survey = _opened(given)
    print(f"Sheets: {write_field_sheets(survey, given.to, zones=given.zone).resolve()}")
    return 0


def _import(given: argparse.Namespace) -> int:
    """Take tables into a database."""
    given_file = "://" not in given.survey and given.survey.endswith(".db")
    new = given_file and not Path(given.survey).exists()
    into = given.survey if new else survey_place(given.survey)
    if new:
        Path(into).parent.mkdir(parents=True, exist_ok=True)
    elif not Path(into).is_dir():
        _opened(given)
    with on_terminal("rows") as told:
        survey = import_survey(
            given.source, into, only_valid=given.only_valid, replace=given.replace, who=given.who,
            progress=told,
        )  # fmt: skip
    given.until_done.callback(survey.close)
    print(f"{survey}.")
    print(f"Imported: {survey.imported}.")
    print(f"Next: heritagecheck check {_typed(without_passwords(given.survey))}")
    return 0


def _typed(place: str | Path) -> str:
    """A place as it is typed into a shell, also where its name holds blanks."""
    text = str(place)
    return subprocess.list2cmdline([text]) if os.name == "nt" else shlex.quote(text)


def _check(given: argparse.Namespace) -> int:
    """Say whether the survey is what was written into it, and what to look at again."""
    try:
        printed = None if given.head is None else as_printed(given.head)
    except ValueError as error:
        print(f"--head: {error}", file=sys.stderr)
        return 1
    survey = _looked_at(given)
    if isinstance(survey, DatabaseSurvey):
        last = newest_head(survey.name) if printed is None else None
        verdict = survey.verify(last.digits if last else printed)
        if not verdict:
            which = _of_report(last) if last and last.digits in verdict.why else ""
            raise damaged(survey.name, f"{verdict}{which}")
        print(f"{survey}.\n{verdict}.")
        if last:
            when = moment_in_words(last.when)
            print(f"It has the hash that the report of {when} printed ({last.file}).")
        elif printed is None:
            print(NO_HEAD)
        for odd in verdict.odd:
            print(f"{odd}.")
    elif printed is not None:
        print(f"{given.survey} is a folder of tables, which has no journal", file=sys.stderr)
        return 1
    else:
        print(f"{survey}.")
    found = survey.check()
    from heritagecheck.survey.checks.review import NOT_READY

    ready = found.empty or not found["kind"].eq(NOT_READY).any()
    more = "." if ready else ", but the survey is not ready to assess."
    print(f"No record needs correcting{more}")
    _print_findings(found)
    if found.empty:
        print("Nothing to review.")
    else:
        print("\nReview these; survey.check() in a notebook gives them as a table.")
    return 0


def _of_report(head: Head) -> str:
    """Say which report printed a hash that is not in the journal, and when that is no harm."""
    return (
        f", which the report of {moment_in_words(head.when)} printed. If a backup was put back on "
        f"purpose, or another survey was started here, remove that line from {head.file}"
    )


def _print_findings(found: Table) -> None:
    """Print each kind of finding: where and what, and below it what to do."""
    for kind, same_kind in found.groupby("kind", sort=False):
        print(f"\n{len(same_kind):>6}  {kind}")
        for advice, same in same_kind.groupby("what_to_do", sort=False):
            details = list(same.groupby("detail", sort=False))
            for detail, rows in details[:MOST_ZONES]:
                places = dict.fromkeys(rows["zone"].where(rows["zone"] != "", rows["table"]))
                some = ", ".join(list(places)[:MOST_ZONES]) + (
                    ", …" if len(places) > MOST_ZONES else ""
                )
                print(f"        {some}: {detail!s}" if detail else f"        {some}")
            if len(details) > MOST_ZONES:
                print(f"        … and {len(details) - MOST_ZONES} more")
            print(f"          {advice}")


def _assess(given: argparse.Namespace) -> int:
    """Recommend, zone by zone."""
    _print_outcomes(_assessment(given))
    return 0


def _assessment(given: argparse.Namespace) -> Assessment:
    """Recommend, and say how far it has come."""
    from heritagecheck import assess

    survey = _opened(given)
    with on_terminal("zones") as told:
        return assess(survey, seed=given.seed, progress=told)


def _report(given: argparse.Namespace) -> int:
    """Recommend, write the report, and say where it lies."""
    from heritagecheck import write_report

    assessment = _assessment(given)
    _print_outcomes(assessment)
    sys.stdout.flush()
    try:
        with on_terminal("pages of zones") as told:
            written, missing = write_report(assessment, Path(given.to), progress=told), ""
    except ReportError as error:
        written, missing = error.written, str(error)
    print()
    for path in written:
        print(f"Report: {path.resolve()}")
    if missing:
        print(f"{missing}.", file=sys.stderr)
    own = Path(given.survey) / "notebooks"
    notebooks = own if own.is_dir() else notebooks_folder()
    print(f"Notebooks: {notebooks.resolve()} (open them with jupyter lab; in a checkout, make lab)")
    return 1 if missing else 0


def _export(given: argparse.Namespace) -> int:
    """Write a survey for others."""
    survey = _opened(given)
    print(f"Written: {survey.export(given.to).resolve()}")
    return 0


def _backup(given: argparse.Namespace) -> int:
    """Copy a survey's database."""
    survey = _opened(given)
    if not isinstance(survey, DatabaseSurvey):
        print(f"{given.survey} is a folder of tables: copy the folder", file=sys.stderr)
        return 1
    print(f"Backup: {survey.backup(given.to).resolve()}")
    return 0


def _print_outcomes(assessment: Assessment) -> None:
    """Print one line for each outcome, with its zones, and what is urgent."""
    from heritagecheck.judgement.recommendation import OUTCOMES

    print(f"{assessment.survey}")
    for outcome in OUTCOMES:
        zones = [one.zone for one in assessment.recommendations if one.outcome == outcome]
        print(f"{outcome:<18}{len(zones):>3}  {' '.join(zones)}")
    urgent = [f"{one.zone} ({one.urgency})" for one in assessment.recommendations if one.urgency]
    unseen = [one.zone for one in assessment.recommendations if one.urgency_not_looked_at]
    print(f"{'urgent':<18}{len(urgent):>3}  {'; '.join(urgent) or _NONE_URGENT[bool(unseen)]}")
    if unseen:
        print(f"urgency not checked: {count_of(len(unseen), 'zone')} ({', '.join(unseen)})")
    for note in assessment.policy_notes:
        print(f"{note}.")
    print(FOR_APPROVAL)
    for name, changed in assessment.changes_since_saved().items():
        print(f"\nAnswers that differ from those saved in {name}: {len(changed)}")
        for zone, before, now, why in changed.itertuples(index=False):
            print(f"  {zone}: {before}; now {now} ({why})")
