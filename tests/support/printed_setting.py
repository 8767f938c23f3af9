"""Where the setting of a zone is printed: box, card, trial sheet, conditions, text; and numbers."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.page_templates import templates
from heritagecheck.documents.trial_sheet import on_page, trial_values
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.judgement.handover.work_setting import Step, WorkSetting
from heritagecheck.judgement.recommendation import Assessment, Recommendation

NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")
SOUND_UP_TO = re.compile(rf"(?:seen|was damaged) up to ({NUMBER.pattern})")
START = re.compile(rf"\bstart:? ({NUMBER.pattern})", re.IGNORECASE)
ACCEPTED = "Accepted when"


def places(assessment: Assessment, one: Recommendation) -> dict[str, str]:
    """Words of every place that prints the setting of a zone, on screen and on paper."""
    values = sheet_values(assessment, one)
    found = {"text": str(one.instruction), "conditions": "; ".join(one.conditions)}
    for name in ("zone", "zone_page"):
        html = templates().get_template(f"{name}.html").render(s=values, annexe="records.pdf")
        before, _, box = html.partition('<section class="site">')
        found[f"box of {name}"] = plain_text(box.partition("</section>")[0])
        head, _, listed = before.partition("Conditions, ready to copy")
        found[f"conditions of {name}"] = plain_text(listed.partition("</ol>")[0])
        if name == "zone":
            found["card"] = plain_text(head)
    return found


def trial_sheet_words(assessment: Assessment, series: str) -> str:
    """Words of the sheet of a series, above its picture."""
    values = on_page(trial_values(assessment, series))
    return plain_text(templates().get_template("trial.html").render(t=values))


def told_in(words: str, setting: WorkSetting) -> list[str]:
    """Lines of a setting that words lack; a line's own capital is no matter."""
    low = words.lower()
    return [text for _, text in setting.lines if " ".join(text.lower().split()) not in low]


def starts_in(words: str) -> set[float]:
    """Every number that words give as a start."""
    return {float(number) for number in START.findall(words)}


def faults_of(one: Recommendation) -> list[str]:
    """Everything by which the settings of a zone contradict its panels, or themselves."""
    found = []
    for key, setting in one.settings.items():
        if bool(setting.steps) == bool(setting.why_none):
            found.append(f"{key}: a setting and why there is none, or neither")
        series = next((each for each in one.evidence.series if key.series == each.series), None)
        if series is None or not setting.steps:
            continue
        all_laid = (*series.before, series)
        for step, laid in zip(setting.steps, all_laid, strict=True):
            found += [f"{key}: {fault}" for fault in _faults_of_step(step, laid)]
        if any(each.setting_contradiction for each in all_laid):
            found.append(f"{key}: its records contradict, and a setting is given")
    return found


def _faults_of_step(step: Step, laid: PanelSeries) -> Iterator[str]:
    """Everything by which start and range of a step contradict one another, or its panels."""
    if step.start is None or step.least is None or step.most is None:
        return
    assert laid.cleaning is not None
    high = laid.cleaning[1]
    if laid.spots is not None and laid.spots.window is not None:
        high = min(high, laid.spots.scale.moved(laid.spots.window.high, laid.scale))
    if not step.least <= step.start <= step.most:
        yield f"the start {step.start} lies outside its range {step.span}"
    if step.least < laid.cleaning[0] * (1 - 1e-9) or step.most > high * (1 + 1e-9):
        yield f"{step.span} goes beyond {laid.cleaning[0]} to {high}"
    [start], ends = NUMBER.findall(step.begin), NUMBER.findall(step.span)
    if not float(ends[0]) <= float(start) <= float(ends[-1]):
        yield f"{step.begin} is printed beside {step.span}"
    # Where a panel was damaged nobody works; nor beyond the settings at which damage was sought.
    first, last = laid.damage or (math.inf, None)
    if step.most > first * (1 + 1e-9) or (last is not None and step.most >= first):
        yield f"{step.span} goes as far as {first}, where panels were damaged or not looked at"
    for tried in map(float, SOUND_UP_TO.findall(step.damage)):
        if step.most > tried * 1.005:  # printed in three digits
            yield f"{step.span}, and sound only up to {tried}"
