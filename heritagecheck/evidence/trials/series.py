"""One series of trial panels by itself: what it shows, for which zones, and what it leaves open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from heritagecheck.cards import summary
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.trials.curves.window import Window
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY, DamageLimits, agreed_damage
from heritagecheck.evidence.trials.other_panels import (
    seen_against,
    series_of,
    what_hinders,
    zones_that_speak,
)
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.spot_fits import window_again
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.sentences import lower_bound
from heritagecheck.survey.checks.series_setting import (
    RequiredSetting,
    missing_settings,
    recorded_quantities,
)
from heritagecheck.survey.records import AgreedPolicy, Panel, Spot, Zone
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import (
    ALWAYS,
    OF_TRIALS,
    Caution,
    in_words,
    of_outcome,
    usual_cautions,
)
from heritagecheck.tables.conditions import Facts

if TYPE_CHECKING:
    import pandas as pd

STRICT_LIMIT = 0.05  # common practice: what a trial of many panels might show


@dataclass(frozen=True, eq=False)
class SeriesTrial:
    """
    What one series of trial panels shows, and for which zones.

    `speaks_for` holds the zones where its results apply, `alike` the zones of the same substrate
    where they do not, each with the reason. For those `elsewhere` is the window with all doses
    uncertain by the factor of another bed; the judgement takes no account of it. `strict` is the
    window with a twentieth of the spots in place of the share agreed. `seen_on_bed` names damage
    that other series by this method show on the same bed, at or below what this one uses or offers.
    """

    panels: PanelSeries
    zone: Zone
    speaks_for: tuple[str, ...]
    alike: tuple[tuple[str, str], ...]
    elsewhere: Window | None
    strict: Window | None
    seen_on_bed: tuple[str, ...]
    questions: tuple[RequiredSetting, ...]
    cautions: tuple[Caution, ...]

    @property
    def spots(self) -> SpotTrial:
        """
        Spots of the series, read together.

        Raises
        ------
        ValueError
            No panel of the series says that spots were laid.
        """
        if self.panels.spots is None:
            raise ValueError(
                f"No panel of {self.panels.series} says that spots were laid, so there is no "
                "curve. Read its panels instead."
            )
        return self.panels.spots

    @property
    def window(self) -> Window | None:
        """Settings that its spots show to clean and not to damage; None where none can be read."""
        spots = self.panels.spots
        return None if spots is None else _beside(spots.window, self.cautions)

    def zones_table(self) -> pd.DataFrame:
        """
        Zones of the same substrate, and whether these results apply there.

        Returns
        -------
        pandas.DataFrame
            Columns zone, results apply, why not.
        """
        from heritagecheck.cards import table

        rows = [(code, "yes", "") for code in self.speaks_for]
        rows += [(code, "no", why) for code, why in self.alike]
        return table(rows, ["zone", "results apply", "why not"])

    def __str__(self) -> str:
        """Say what was done, and what it shows, never without the cautions."""
        return f"{self._head}. {self._shown}\n{in_words(self.cautions)}"

    def _repr_html_(self) -> str:
        return summary(
            self._head,
            self._shown,
            [("Results apply to", " ".join(self.speaks_for))],
            cautions=((one.hazard, one.words) for one in self.cautions),
            more=f'hc.trial_card(assessment, "{self.panels.series}")',
        )

    @property
    def _head(self) -> str:
        panels = self.panels
        return (
            f"{panels.series} on {self.zone.zone}: {panels.named}, {panels.setting.rstrip(' .')}; "
            f"{len(panels.panels)} of {panels.panels_laid} panels"
        )

    @property
    def _shown(self) -> str:
        panels = self.panels
        shown = "No spots were laid."
        if panels.spots is not None:
            window = panels.spots.window
            shown = f"{panels.spots}." if window is None else window.reason
        if panels.margin_low is not None:
            shown += f" Damage margin at least {lower_bound(panels.margin_low)}."
        return shown


def read_series(survey: Survey, series: str, *, damage_limit: float | None = None) -> SeriesTrial:
    """
    Read one series of trial panels.

    Parameters
    ----------
    survey : Survey
        The survey.
    series : str
        Code of the series.
    damage_limit : float, optional
        Share of spots that may be damaged, at its upper bound. Without it, what the survey's policy
        agreed at the significance of its zone; 25 % where nothing is agreed. [0 to 1]

    Returns
    -------
    SeriesTrial

    Raises
    ------
    SurveyError
        There is no such series, or records of its zone contradict one another.
    ValueError
        The share is not above 0 and below 1.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> trial = hc.trials.read_series(hc.demo_survey(), "N15-pulse")
    >>> trial.window.empty, trial.speaks_for
    (True, ('N15',))
    """
    survey = survey.still()
    tested = _zone_of(survey, series)
    limits = _agreed_limits(survey, tested)
    limit = limits.bound if damage_limit is None else damage_limit
    limits = limits._replace(bound=limit)
    evidence = gather(survey, tested, limits=limits)
    panels = next(one for one in evidence.series if one.series == series)
    others = [(zone.zone, what_hinders(tested, zone)) for zone in survey.all(Zone)]
    alike = {zone.zone for zone in survey.all(Zone) if zone.substrate == tested.substrate}
    cautions = trial_cautions(evidence.facts, panels.worked_with)
    return SeriesTrial(
        panels=panels,
        zone=tested,
        speaks_for=tuple(code for code, hindered in others if not hindered or code == tested.zone),
        alike=tuple(
            (code, hindered)
            for code, hindered in others
            if hindered and code in alike and code != tested.zone
        ),
        elsewhere=_beside(
            window_again(panels.spots, limit, limits.begins, same_bed=False), cautions
        ),
        strict=_beside(
            window_again(panels.spots, STRICT_LIMIT, STRICT_LIMIT, same_bed=True), cautions
        ),
        seen_on_bed=tuple(_seen_on_bed(survey, tested, panels, limits)),
        questions=_not_told(survey, tested, panels, evidence.substrate.kind),
        cautions=cautions,
    )


def trial_cautions(zone: Facts, methods: Sequence[str]) -> tuple[Caution, ...]:
    """Cautions of a trial: those of its zone, and of every method that it works with."""
    return (of_outcome(OF_TRIALS), *usual_cautions(zone, methods), of_outcome(ALWAYS))


def _beside(window: Window | None, cautions: tuple[Caution, ...]) -> Window | None:
    """Add the cautions of method and zone to a window."""
    return None if window is None else replace(window, hazards=tuple(str(one) for one in cautions))


def _not_told(
    survey: Survey, tested: Zone, panels: PanelSeries, kind: str
) -> tuple[RequiredSetting, ...]:
    """What the record of the series does not say of its setting."""
    laid = [one for one in survey.of_zone(tested.zone, Panel) if one.series == panels.series]
    spots = [one for one in survey.of_zone(tested.zone, Spot) if one.panel in panels.panels]
    return missing_settings(panels.method, kind, recorded_quantities(laid, spots, panels.settings))


def _zone_of(survey: Survey, series: str) -> Zone:
    """Zone on which a series was laid."""
    for panel in survey.all(Panel):
        if panel.series == series:
            return next(zone for zone in survey.all(Zone) if zone.zone == panel.zone)
    known = ", ".join(dict.fromkeys(panel.series for panel in survey.all(Panel))) or "none"
    raise SurveyError([Fault("panels", None, "series", series, f"there is none. Known: {known}")])


def _agreed_limits(survey: Survey, zone: Zone) -> DamageLimits:
    """Share of fields or spots that may be damaged, as agreed in the survey's policy."""
    agreed = survey.all(AgreedPolicy)
    return agreed_damage(agreed[0])[zone.significance] if agreed else NO_POLICY


def _seen_on_bed(
    survey: Survey, tested: Zone, panels: PanelSeries, limits: DamageLimits
) -> Iterator[str]:
    """Harm that other series by this method show on the same bed, at no harsher a setting."""
    tops = [panels.cleaning[1]] if panels.cleaning else []
    spots = panels.spots
    window = None if spots is None else spots.window
    if spots is not None and window is not None and not window.empty and (
        not tops or spots.scale.same_quantity(panels.scale)
    ):  # fmt: skip
        tops.append(
            spots.scale.moved(window.high, panels.scale) if panels.scale.known else window.high
        )
    if not tops:
        return
    # Every zone on which this series might be used, or whose harm is to be expected there.
    telling, warning = zones_that_speak(survey, tested)
    laid = (one for zone in (*telling, *warning) for one in series_of(survey, zone, limits))
    for one in seen_against(panels, laid, tested.substrate, up_to=max(tops)):
        yield one.words[0].upper() + one.words[1:]
