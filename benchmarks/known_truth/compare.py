"""Answers held against the truth: what was missed, what was unsafe, regret, and why."""

from __future__ import annotations

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
    series = key.series
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
    keys = [key for key in found.against_leaving if key.method == found.method]
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
        cleaned = [(sheet.place, used(found, sheet.place)) for sheet, found in here]
        done = [(place, chosen) for place, chosen in cleaned if chosen is not None]
        bad = sum(place.unsafe(*chosen) for place, chosen in done)
        lines.append(
            (kind, len(here), *_missed(here, in_part=False), *_missed(here, in_part=True),
             len(done), bad, f"{100 * upper_bound(bad, len(done)):.1f} %")
        )  # fmt: skip
    return markdown(
        ("place", "zones", "useful and safe", "not cleaned", "also in part only", "not cleaned",
         "*clean*", "unsafe among them", "upper 95 % bound"),
        lines,
    )  # fmt: skip


def _missed(here: Sequence[tuple[Sheet, Recommendation]], *, in_part: bool) -> tuple[int, str]:
    """How many zones could be cleaned usefully and safely, and how many of them were not."""
    good = [found for sheet, found in here if sheet.place.good_methods(in_part=in_part)]
    missed = sum(found.outcome != "clean" for found in good)
    return len(good), f"{missed} ({100 * missed / len(good):.0f} %)" if good else "none"


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
