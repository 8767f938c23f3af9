"""Useful and safe cleaning that was missed: what stood before it, zone by zone, by cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.recommendation import Recommendation
from known_truth.compare import dose_of, markdown
from known_truth.surveyor import Sheet
from known_truth.truth import AGREED

# What stands before, from what nobody could put right to what more work could.
RULED_OUT = "every method that works is ruled out, or described by no source"
WRONG = "gate {}: a fact is recorded wrongly"
RIGHT = "gate {}: the records are right"
UNTRIED = "no method that works was tried, or only at a setting that harms"
PRECAUTION = "gate 8: panels pass, the precaution does not"
GENTLER = "gate 7: panels pass, a gentler method is not settled"
CHECK = "gate 7: {}"


def misses_table(pairs: Sequence[tuple[Sheet, Recommendation]]) -> str:
    """
    Missed zones by what stood before, the largest cause first.

    Parameters
    ----------
    pairs : sequence of tuple of Sheet and Recommendation
        Zones and last answers.

    Returns
    -------
    str
        Markdown.
    """
    missed = [(sheet, found) for sheet, found in pairs
              if found.outcome != "clean" and sheet.place.good_methods()]  # fmt: skip
    counts = Counter(_cause(sheet, found) for sheet, found in missed)
    good = [(sheet, found) for sheet, found in pairs if sheet.place.good_methods()]
    total, known = max(len(good), 1), [pair for pair in good if within_reach(*pair)]
    left = sum(found.outcome != "clean" for _, found in known)
    return (
        f"{len(known)} of {len(good)} zones have a method that works and that no rule stops; "
        f"{left} of them were not cleaned ({100 * left / max(len(known), 1):.0f} %).\n\n"
    ) + markdown(
        ("what stopped it", "zones", "of all useful and safe"),
        [(cause, count, f"{100 * count / total:.0f} %") for cause, count in counts.most_common()],
    )


def working_series(sheet: Sheet, found: Recommendation) -> list[str]:
    """
    Series that truly stand for safe cleaning at their setting, better than leaving.

    Parameters
    ----------
    sheet : Sheet
        Records, and what is true.
    found : Recommendation
        The answer.

    Returns
    -------
    list of str
        Keys of the trials.
    """
    place = sheet.place
    works = []
    for key in found.trials:
        method = key.method
        act = place.acts[method]
        dose = dose_of(found, key, act)
        gain = place.harm_of_leaving - place.harm_of_cleaning(method, dose)
        if place.safe(method, dose) and gain > 0 and act.cleaned(dose) >= AGREED:
            works.append(key)
    return works


def within_reach(sheet: Sheet, found: Recommendation) -> bool:
    """
    Whether a method that works is described by some source, and no rule stops it.

    Parameters
    ----------
    sheet : Sheet
        Records, and what is true.
    found : Recommendation
        The answer.

    Returns
    -------
    bool
    """
    left = {option.method for option in options_for(found.evidence) if not option.ruled_out}
    return bool(left & set(sheet.place.good_methods()) or working_series(sheet, found))


def _cause(sheet: Sheet, found: Recommendation) -> str:
    """What stood before cleaning one zone."""
    gate = found.deciding_gate
    works = working_series(sheet, found)
    passed = [key for key in works if found.trials[key].result == "passed"]
    if gate is not None and gate.number <= 5:
        return (WRONG if misrecorded(sheet) else RIGHT).format(gate.number)
    if not within_reach(sheet, found):
        return RULED_OUT
    if not works:
        return UNTRIED
    if gate is not None and gate.number == 8:
        return PRECAUTION
    return GENTLER if passed else CHECK.format(_nearest([found.trials[key] for key in works]))


def _nearest(verdicts: Sequence[TrialVerdict]) -> str:
    """Checks that stand before the series that fails fewest."""
    missing = [
        dict.fromkeys(check.name for check in one.checks if check.holds is not True)
        for one in verdicts
    ]
    return ", ".join(min(missing, key=len))


def misrecorded(sheet: Sheet) -> bool:
    """
    Whether a fact of a zone is on record otherwise than it is.

    Parameters
    ----------
    sheet : Sheet
        Records, and what is true.

    Returns
    -------
    bool
    """
    place, said = sheet.place, sheet.answers
    causes = {topic for topic, answer in said.items()
              if topic.startswith("cause_") and answer == "active"}  # fmt: skip
    right = (
        sheet.layers[0]["soiling"] == place.soiling,
        (len(sheet.layers) > 1) == place.valued_beneath,
        place.metal or sheet.zone["condition"] == place.condition,
        said["decay"] == place.decay,
        place.decay == "none" or said["decay_cause"] == place.decay_cause,
        (said["detail_hidden"] == "yes") == place.hidden,
        not place.metal or (said["coating_state"] == "failing") == (place.decay != "none"),
        causes == ({place.active} - {"none"}),
    )
    return not all(right)
