"""Answers held against the truth: what was missed, what was unsafe, regret, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from scipy.special import betaincinv

from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.tables import rows
from known_truth.campaign import OTHER, SETTINGS
from known_truth.surveyor import Sheet
from known_truth.truth import KINDS, Act, Place

# A trial that led to nothing cost something too.
HARM_OF_TRIALS = 0.05


def upper_bound(hits: int, of: int, level: float = 0.95) -> float:
    """
    Exact one-sided upper bound of a share.

    Parameters
    ----------
    hits, of : int
        How many of how many.
    level : float
        One-sided confidence. [0 to 1]

    Returns
    -------
    float
        1 where nothing was looked at.
    """
    return 1.0 if hits >= of else float(betaincinv(hits + 1, of - hits, level))


def dose_of(found: Recommendation, key: str, act: Act) -> float:
    """
    Dose at which an option would be used, 1 being usual.

    Parameters
    ----------
    found : Recommendation
        The answer.
    key : str
        Key of the option.
    act : Act
        What its method does.

    Returns
    -------
    float
        That of its panels; else the working dose.
    """
    series = key.partition(", panels ")[2]
    usual = SETTINGS.get(act.family, OTHER)[1]
    lows = {one.series: one.cleaning for one in found.evidence.series}
    cleaning = lows.get(series)
    return act.working if cleaning is None else cleaning[0] / usual


def used(found: Recommendation, place: Place) -> tuple[str, float] | None:
    """
    Method and dose of an answer.

    Parameters
    ----------
    found : Recommendation
        The answer.
    place : Place
        What is true.

    Returns
    -------
    tuple of str and float, or None
        None where the answer is not to clean.
    """
    if found.outcome != "clean" or found.method is None:
        return None
    act = place.acts[found.method]
    keys = [key for key in found.against_leaving if key.partition(", ")[0] == found.method]
    return found.method, dose_of(found, keys[0] if keys else found.method, act)


def harm(found: Recommendation, sheet: Sheet) -> float:
    """
    True harm of what an answer says.

    Parameters
    ----------
    found : Recommendation
        The answer.
    sheet : Sheet
        Records, and what is true.

    Returns
    -------
    float
    """
    chosen = used(found, sheet.place)
    trials = HARM_OF_TRIALS if sheet.panels else 0.0
    if chosen is None:
        return sheet.place.harm_of_leaving + trials
    return sheet.place.harm_of_cleaning(*chosen) + trials


def usual_method(place: Place, soiling: str) -> str | None:
    """
    Method that somebody takes who tries nothing: the gentlest rated effective, else in part.

    Parameters
    ----------
    place : Place
        The zone.
    soiling : str
        Soiling on record.

    Returns
    -------
    str or None
        None where no method is rated.
    """
    found: dict[str, str] = {}
    for row in rows("method_risk"):
        if (row["substrate"], row["soiling"]) == (place.substrate, soiling):
            found.setdefault(row["method"], row["suitability"])
    ladder = [row["method"] for row in rows("methods")]
    for word in ("effective", "partly"):
        for method in ladder:
            if found.get(method) == word:
                return method
    return None


SIMPLE: dict[str, Callable[[Sheet], bool]] = {
    "always clean": lambda sheet: True,
    "never clean": lambda sheet: False,
    "clean what is heavily soiled": lambda sheet: (
        sheet.answers["detail_hidden"] == "yes"
        or sheet.answers["coating_state"] == "failing"
        or sheet.layers[0]["soiling"] == "graffiti"
    ),
    "clean what decays by its soiling": lambda sheet: (
        sheet.answers["decay"] != "none" and sheet.answers["decay_cause"] == "soiling"
    ),
    "clean what is heavily soiled, sound and without a live cause": lambda sheet: (
        SIMPLE["clean what is heavily soiled"](sheet)
        and sheet.zone["condition"] != "friable"
        and "active" not in sheet.answers.values()
    ),
}


def harm_of_rule(rule: str, sheet: Sheet) -> float:
    """
    True harm of a simple rule, whose contractor works until it is clean.

    Parameters
    ----------
    rule : str
        One of `SIMPLE`.
    sheet : Sheet
        Records, and what is true.

    Returns
    -------
    float
    """
    place = sheet.place
    method = usual_method(place, sheet.layers[0]["soiling"])
    if method is None or not SIMPLE[rule](sheet):
        return place.harm_of_leaving
    return place.harm_of_cleaning(method, place.acts[method].working)


def markdown(head: Sequence[str], lines: Iterable[Sequence[object]]) -> str:
    """
    Lines as a table.

    Parameters
    ----------
    head : sequence of str
        Headings.
    lines : iterable of sequence of object
        One a row.

    Returns
    -------
    str
        Markdown.
    """
    text = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    text += [f"| {' | '.join(str(cell) for cell in line)} |" for line in lines]
    return "\n".join(text)


def outcomes_table(pairs: Sequence[tuple[Sheet, Recommendation]]) -> str:
    """
    Missed and unsafe, by kind of place.

    Parameters
    ----------
    pairs : sequence of tuple of Sheet and Recommendation
        Zones and last answers.

    Returns
    -------
    str
        Markdown.
    """
    lines = []
    for kind in (*KINDS, "all"):
        here = [pair for pair in pairs if kind in {"all", pair[0].place.kind}]
        good = [pair for pair in here if pair[0].place.useful_and_safe()]
        missed = sum(found.outcome != "clean" for _, found in good)
        cleaned = [(sheet.place, used(found, sheet.place)) for sheet, found in here]
        done = [(place, chosen) for place, chosen in cleaned if chosen is not None]
        bad = sum(place.unsafe(*chosen) for place, chosen in done)
        share = f"{100 * missed / len(good):.0f} %" if good else "none"
        found_one = sum(bool(_working(sheet, found)) for sheet, found in good)
        lines.append(
            (kind, len(here), len(good), found_one, f"{missed} ({share})", len(done), bad,
             f"{100 * upper_bound(bad, len(done)):.1f} %")
        )  # fmt: skip
    return markdown(
        ("place", "zones", "useful and safe", "a method that works was tried", "not cleaned",
         "*clean*", "unsafe among them", "upper 95 % bound"),
        lines,
    )  # fmt: skip


def regret_table(pairs: Sequence[tuple[Sheet, Recommendation]]) -> str:
    """
    Mean regret of the answers and of simple rules, by kind of place.

    Parameters
    ----------
    pairs : sequence of tuple of Sheet and Recommendation
        Zones and last answers.

    Returns
    -------
    str
        Markdown.
    """
    lines = []
    for kind in (*KINDS, "all"):
        here = [pair for pair in pairs if kind in {"all", pair[0].place.kind}]
        if not here:
            continue
        least = np.array([sheet.place.least_harm for sheet, _ in here])
        ours = float(np.mean([harm(found, sheet) for sheet, found in here] - least))
        rules = {
            rule: float(np.mean([harm_of_rule(rule, sheet) for sheet, _ in here] - least))
            for rule in SIMPLE
        }
        best = min(rules, key=lambda rule: rules[rule])
        lines.append(
            (kind, f"{ours:.2f}", *(f"{value:.2f}" for value in rules.values()), best,
             f"{ours / rules[best]:.2f}" if rules[best] else "")
        )  # fmt: skip
    return markdown(("place", "assessment", *SIMPLE, "best simple rule", "ratio to it"), lines)


def reasons_of_misses(pairs: Sequence[tuple[Sheet, Recommendation]]) -> str:
    """
    Which gate and which check stands before useful and safe cleaning that was missed.

    Parameters
    ----------
    pairs : sequence of tuple of Sheet and Recommendation
        Zones and last answers.

    Returns
    -------
    str
        Markdown, the most frequent first.
    """
    counts: Counter[tuple[str, str, str]] = Counter()
    for sheet, found in pairs:
        if found.outcome == "clean" or not sheet.place.useful_and_safe():
            continue
        works = _working(sheet, found)
        counts[
            _why_not(found, works), found.outcome,
            "yes" if works else "no" if found.trials else "nothing tried",
        ] += 1  # fmt: skip
    return markdown(
        ("gate and reason", "outcome", "a method that works was tried", "zones"),
        [(*key, count) for key, count in counts.most_common()],
    )


def _working(sheet: Sheet, found: Recommendation) -> list[str]:
    """Series that truly stand for safe and useful cleaning at their setting."""
    place = sheet.place
    works = []
    for key in found.trials:
        method = key.partition(", ")[0]
        dose = dose_of(found, key, place.acts[method])
        gain = place.harm_of_leaving - place.harm_of_cleaning(method, dose)
        if place.safe(method, dose) and gain > 0:
            works.append(key)
    return works


def _why_not(found: Recommendation, works: Sequence[str]) -> str:
    """Gate, and for trials the checks that stand before the series that works, else the nearest."""
    gate = found.deciding_gate
    if gate is None:
        return "none"
    if gate.number != 7 or not found.trials:
        return f"gate {gate.number}: {gate.reason.split(',')[0].split(';')[0][:70]}"
    asked = [found.trials[key] for key in works or found.trials]
    nearest = min(asked, key=lambda one: sum(check.holds is not True for check in one.checks))
    names = [
        check.name + (" (not known)" if check.holds is None else "")
        for check in nearest.checks
        if check.holds is not True
    ]
    return f"gate 7: {' + '.join(dict.fromkeys(names)) or gate.reason[:60]}"
