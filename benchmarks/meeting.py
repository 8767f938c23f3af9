"""
Nine people in one meeting, in the real browser: how long they wait for one another, and its memory.

    .venv/bin/python benchmarks/meeting.py [--zones N06 E05]

A facilitator, seven members and a reader each have a page in Chromium. The pages and the program
share this computer, which so has more to do than the laptop of a real meeting. All open their page
at the same moment, though a minute is allowed. Each zone is then taken up, answered, shown,
decided, dissented and signed. For each kind of step it prints how long after the press the slowest
of the pages had it, and at the end the memory of the program and of Chromium.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from browsing import LAPTOP, PHONE, TABLET, Window, chromium, window
from meeting_at_work import Workshop, join, sees, workshop

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.store.database_survey import DatabaseSurvey

MEMBERS = 7
ZONES = ("N06", "E05", "C02")
OTHERS_S, USABLE_S, MOST_MB = 2.0, 5.0, 300.0
# Gives the time at which some words came onto the page; the clock is that of one computer.
SEEN = """window.seen = words => new Promise(ready => {
  const look = () => {
    if (!document.body?.textContent.includes(words)) return false;
    ready(Date.now());
    return true;
  };
  if (!look()) new MutationObserver((_, self) => { if (look()) self.disconnect(); })
    .observe(document, {subtree: true, childList: true, characterData: true});
})"""
OPENED = """window.usable = window.seen('Your role').then(at => at - performance.timeOrigin)"""
PRESSED = """name => {
  const found = [...document.querySelectorAll('button')].find(one => one.textContent === name);
  const at = Date.now();
  found.click();
  return at;
}"""
Waits = dict[str, list[float]]


def main() -> None:
    """Hold the meeting and print what everybody waited for."""
    asked = argparse.ArgumentParser(description=__doc__.strip().partition("\n")[0])
    asked.add_argument("--zones", nargs="+", default=ZONES, help="zones of the example to discuss")
    zones = asked.parse_args().zones
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    with ExitStack() as open_:
        folder = Path(open_.enter_context(tempfile.TemporaryDirectory()))
        hc.import_survey(example_folder(), folder / "survey.db").close()
        meeting = open_.enter_context(workshop(folder, folder / "told.txt"))
        browser = open_.enter_context(chromium())
        people = [
            open_.enter_context(window(browser, size))
            for size in (LAPTOP, *(PHONE, TABLET) * MEMBERS)[: MEMBERS + 2]
        ]
        waits: Waits = defaultdict(list)
        enter(meeting, people, waits)
        for zone in zones:
            discuss(people, zone, waits)
        saved_beside(people, folder / "survey.db", zones[-1], waits)
        show(waits, meeting.server.pid, len(people))


def enter(meeting: Workshop, people: Sequence[Window], waits: Waits) -> None:
    """All open the page at once, then join."""
    leads, *others = people
    leads.page.add_init_script(SEEN)
    leads.page.goto(meeting.leads)
    sees(leads, "Who is here")
    for one in others:
        one.page.add_init_script(f"{SEEN};{OPENED}")
        one.page.evaluate("to => { setTimeout(() => location.assign(to), 100) }", meeting.joining)
    for one in others:
        one.page.wait_for_function("() => window.usable")
        waits["page usable"].append(one.page.evaluate("() => window.usable") / 1000)
    for number, one in enumerate(others, start=1):
        if number <= MEMBERS:
            join(one, f"member {number}")
        else:
            join(one, "press", as_="Join to read only")


def discuss(people: Sequence[Window], zone: str, waits: Waits) -> None:
    """One zone from the facts to the signatures."""
    leads, *others = people
    members = others[:MEMBERS]
    if leads.page.get_by_role("button", name="All zones", exact=True).count():
        leads.page.get_by_role("button", name="All zones", exact=True).click()
        sees(leads, "Who is here")
    waits["zone taken up"].append(step(leads, zone, people, "The recommendation is hidden"))
    for number, one in enumerate(members, start=1):
        one.page.get_by_label("Why").first.fill(f"Reason {number} of {zone}")
        one.page.evaluate(PRESSED, "leave and monitor" if number % 3 else "trial first")
        one.page.locator('[aria-pressed="true"]').first.wait_for()
        said = f"Answered: {number} of {MEMBERS}"
        waits["private answer given"].append(step(one, "Give my private answer", people, said))
    waits["answers shown"].append(
        step(leads, "Show the answers", people, "What heritagecheck recommends")
    )
    leads.page.get_by_label("Reasons").fill(f"The roof over {zone} comes first")
    leads.page.evaluate(PRESSED, "not decided")
    leads.page.locator('[aria-pressed="true"]').first.wait_for()
    waits["decision saved"].append(
        step(leads, "Save the decision", people, f"The roof over {zone} comes first")
    )
    words = f"I would have laid panels on {zone}."
    members[0].page.get_by_label("Your dissent").evaluate(
        "one => one.closest('details').open = true"
    )
    members[0].page.get_by_label("Your dissent").fill(words)
    waits["dissent saved"].append(step(members[0], "Save my dissent", others[1:], words))
    waits["signature given"].append(
        step(members[1], "Sign this decision", people, "Signed: member 2")
    )


def step(who: Window, button: str, others: Iterable[Window], words: str) -> float:
    """Seconds from a press until the slowest page has some words."""
    others = list(others)
    for one in others:
        one.page.evaluate("words => { window.waited = window.seen(words) }", words)
    pressed: float = who.page.evaluate(PRESSED, button)
    return (max(one.page.evaluate("() => window.waited") for one in others) - pressed) / 1000


def saved_beside(people: Sequence[Window], place: Path, zone: str, waits: Waits) -> None:
    """Another program saves something of the zone in hand."""
    for one in people:
        one.page.evaluate("words => { window.waited = window.seen(words) }", "The last of its kind")
    with DatabaseSurvey(place) as survey:
        kept = survey.record("zones", zone)
        survey.save(kept.changed(significance_reason="The last of its kind"), who="office")
    saved = people[0].page.evaluate("() => Date.now()")
    seen = max(one.page.evaluate("() => window.waited") for one in people)
    waits["saved by another program"].append((seen - saved) / 1000)


def show(waits: Waits, server: int, people: int) -> None:
    """Print each wait beside its target, and the memory."""
    print(f"{'what':<28} {'slowest':>8} {'median':>8} {'target':>8}  [s]")
    for what, found in waits.items():
        target = USABLE_S if what == "page usable" else OTHERS_S
        ranked = sorted(found)
        print(f"{what:<28} {ranked[-1]:8.2f} {ranked[len(ranked) // 2]:8.2f} {target:8.1f}")
    program = share_mb(server)
    pages = sum(map(share_mb, started_by(os.getpid()))) - program
    print(
        f"memory: the program {program:.0f} MB, Chromium {pages:.0f} MB; "
        f"{(program + pages) / people:.0f} MB a person (target {MOST_MB:.0f})"
    )
    print(f"load {os.getloadavg()[0]:.1f}")


def share_mb(pid: int) -> float:
    """Memory of a process; what several share counts in parts."""
    try:
        rolled = Path(f"/proc/{pid}/smaps_rollup").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return 0.0
    return (
        next(int(line.split()[1]) for line in rolled.splitlines() if line.startswith("Pss:")) / 1e3
    )


def started_by(pid: int) -> list[int]:
    """Processes that a process started, and those that these started."""
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in (task / "children").read_text().split():
            found += [int(child), *started_by(int(child))]
    return found


if __name__ == "__main__":
    main()
