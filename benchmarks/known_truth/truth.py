"""What is true of an invented zone: what leaving does, and what each method does at each dose."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from heritagecheck.tables import keyed, rows

# Four kinds of place, with their share of all zones.
KINDS = {
    "granite rich in dark mica": 0.3,
    "granite poor in dark mica": 0.2,
    "limestone": 0.25,
    "riveted steel": 0.25,
}
SUBSTRATE = {kind: kind.split(" rich")[0].split(" poor")[0].replace(" ", "_") for kind in KINDS}
SOILINGS = {
    "granite": {"black_gypsum_crust": 0.35, "general_soiling": 0.25, "graffiti": 0.25,
                "algae": 0.15},
    "limestone": {"black_gypsum_crust": 0.45, "general_soiling": 0.25, "algae": 0.2,
                  "graffiti": 0.1},
    "riveted_steel": {"lead_paint": 0.55, "previous_coating": 0.2, "rust": 0.25},
}  # fmt: skip

# Margin: dose that damages half of the fields over the dose that cleans half; median and spread of
# its logarithm. Lasers from published thresholds: nanosecond pulses damage granite at 0.5 J/cm² and
# need 0.9 to 1.5 for paint (BRAND-COMP); ultrashort ones damage biotite at 1.1 and quartz at 1.6
# (BRAND-FS); crust on pale stone goes at 0.6 ± 0.4 and the stone at 3 ± 2 (SIANO-12, recalled).
# Powder and grit on mica: NPS-PB6 and POZO-21 say that it is lost first, and give no number. All
# others are wide guesses of this simulation, gentle contact large and aggressive contact small.
MARGIN: dict[str, dict[str, tuple[float, float]]] = {
    "granite rich in dark mica": {
        "dry": (8, 0.6), "water": (6, 0.6), "poultice": (5, 0.6), "hand": (3, 0.6),
        "biocide": (6, 0.6), "solvent": (6, 0.6), "alkali": (3, 0.6), "abrasive": (1.7, 0.5),
        "laser": (0.45, 0.35), "laser_ultrashort": (1.8, 0.4), "acid": (1.0, 0.5),
    },
    "granite poor in dark mica": {
        "dry": (10, 0.6), "water": (8, 0.6), "poultice": (7, 0.6), "hand": (4, 0.6),
        "biocide": (8, 0.6), "solvent": (8, 0.6), "alkali": (4, 0.6), "abrasive": (2.8, 0.5),
        "laser": (0.9, 0.45), "laser_ultrashort": (2.2, 0.4), "acid": (1.5, 0.5),
    },
    "limestone": {
        "dry": (5, 0.7), "water": (5, 0.7), "poultice": (3, 0.7), "hand": (2.5, 0.6),
        "biocide": (6, 0.6), "solvent": (5, 0.6), "alkali": (2, 0.6), "abrasive": (2.0, 0.5),
        "laser": (5, 0.7), "laser_ultrashort": (3, 0.6), "acid": (0.3, 0.4),
    },
    "riveted steel": {
        "dry": (10, 0.5), "water": (10, 0.5), "poultice": (10, 0.5), "hand": (8, 0.5),
        "biocide": (10, 0.5), "solvent": (10, 0.5), "alkali": (6, 0.6), "abrasive": (4, 0.6),
        "laser": (5, 0.6), "laser_ultrashort": (5, 0.6), "acid": (2, 0.6), "power": (4, 0.6),
        "jetting": (8, 0.5), "heat": (3, 0.6),
    },
}  # fmt: skip
HARSH = (0.6, 0.5)  # whatever stands in none of these lists

# What a rated suitability is worth where the raters are right, and how often they are not.
REACH = {"effective": (0.88, 0.99), "partly": (0.4, 0.88), "ineffective": (0.0, 0.2)}
AGREED = 0.8  # share off from which a spot is called clean
RATERS_RIGHT = 0.7
UNRATED = {"effective": 0.2, "partly": 0.3, "ineffective": 0.5}

# Chance that something comes late (salts, growth, yellowing, rust), and the median of its day:
# chemicals over a year (NPS-REHAB-MAS), yellow by 1064 nm on pale stone at once (KLEIN-01).
LATE = {
    "acid": (0.5, 150), "alkali": (0.3, 150), "poultice": (0.08, 120), "solvent": (0.06, 90),
    "biocide": (0.15, 250), "water": (0.05, 60), "laser": (0.05, 60), "abrasive": (0.05, 90),
}  # fmt: skip
YELLOW_LASER_PALE = 0.3

# Harm to people, surroundings and purse of the work itself, on the scale of harm; wide guesses.
WORK = {
    "dry": 0.3, "water": 0.5, "poultice": 0.8, "hand": 0.7, "biocide": 0.8, "solvent": 1.0,
    "alkali": 1.2, "abrasive": 1.2, "laser": 1.2, "acid": 2.5, "power": 1.0, "jetting": 1.5,
    "heat": 1.8,
}  # fmt: skip

# Steel: chance that the grade of preparation is reached, and profile left [µm]. After the ratings
# of TRIMBER: blasting best, hand tools and strippers leave rust and scale.
GRADE = {
    "dry_grit_blast": (0.97, 52), "sponge_media": (0.9, 45), "power_tools_shrouded": (0.8, 38),
    "uhp_water": (0.8, 45), "laser_ns_1064": (0.75, 38), "induction": (0.6, 42),
    "hand_tools": (0.35, 38), "solvent_gel_stripper": (0.35, 42), "alkaline": (0.35, 42),
}  # fmt: skip
GRADE_OTHER = (0.1, 40)
CHLORIDE_KEPT = {"jetting": 0.4, "water": 0.6, "abrasive": 0.7}

# Share of fields damaged, and the harm it means on the published scale of harm to fabric: 2 is
# seen at ×50 only, 5 at arm's length, 8 is tooling lost. The reading is this simulation's own.
SHARE = (0.0, 0.01, 0.05, 0.15, 0.3, 0.6, 1.0)
SHARE_HARM = (0.0, 0.4, 2.0, 4.0, 6.0, 8.5, 10.0)
LIMIT = {"low": 0.25, "medium": 0.15, "high": 0.10}  # excess from which cleaning is unsafe
SOUND = {"low": 0.02, "medium": 0.02, "high": 0.01}  # excess up to which it is safe
CHANGED = 0.1  # harm for each ΔE00 by which a zone is changed that was to look as it does
CLEAR_GAIN = 1.0  # harm saved from which cleaning is useful, or lost from which it is unsafe


@dataclass(frozen=True, slots=True)
class Act:
    """What one method truly does on one zone; doses in the method's own unit, 1 is usual."""

    method: str
    family: str
    clean_50: float
    clean_spread: float
    damage_50: float
    damage_spread: float
    reach: float
    likeness: float
    late: str
    late_day: float
    late_harm: float
    yellow: float
    work: float
    grade: bool
    profile_um: float
    chloride: float

    def cleaned(self, dose: float) -> float:
        """Share of the soiling that comes off."""
        return self.reach * self._works(dose)

    def spot_clean(self, dose: float) -> float:
        """Share of spots that are called clean; where too much stays, none ever is."""
        return self._works(dose) if self.reach >= AGREED else 0.0

    def _works(self, dose: float) -> float:
        return float(ndtr(np.log(dose / self.clean_50) / self.clean_spread))

    def damaged(self, dose: float) -> float:
        """Share of fields damaged, in excess of what was damaged before."""
        return float(ndtr(np.log(dose / self.damage_50) / self.damage_spread))

    @property
    def working(self) -> float:
        """Dose at which 19 in 20 of what can come off does."""
        return self.clean_50 * float(np.exp(1.6449 * self.clean_spread))


@dataclass(frozen=True, slots=True)
class Place:
    """One zone as it truly is."""

    code: str
    kind: str
    significance: str
    soiling: str
    biotite: float
    area: float
    condition: str
    decay: str
    decay_cause: str
    hidden: bool
    delta_e: float
    wanted: bool
    active: str
    valued_beneath: bool
    before: float
    harm_of_leaving: float
    severity: float
    acts: dict[str, Act]

    @property
    def substrate(self) -> str:
        """Code of the substrate."""
        return SUBSTRATE[self.kind]

    @property
    def metal(self) -> bool:
        """Whether it is steel."""
        return self.kind == "riveted steel"

    @property
    def fit(self) -> bool:
        """Whether the substrate may be touched: firm, and not losing material by another cause."""
        going = self.decay == "active" and self.decay_cause == "other"
        return self.condition != "friable" and not going

    def harm_of_cleaning(self, method: str, dose: float) -> float:
        """
        Harm by the horizon if the zone is cleaned.

        What stays of the harm of leaving, the damage, what comes late, the work itself, a valued
        layer lost, a look that was to stay, and a substrate that was not fit; where the cause goes
        on nothing is gained.
        """
        act = self.acts[method]
        damage = float(np.interp(act.damaged(dose), SHARE, SHARE_HARM)) * self.severity
        if not self.fit:
            damage += 3.0
        if self.valued_beneath:
            damage += 4.0
        if not self.wanted:
            damage += self.delta_e * CHANGED * act.cleaned(dose)
        gained = 0.0 if self.active != "none" else act.cleaned(dose)
        if self.metal and not (act.grade and act.chloride <= 10):
            gained *= 0.35  # the new coating fails early
        return self.harm_of_leaving * (1 - gained) + damage + act.late_harm + act.work

    def safe(self, method: str, dose: float) -> bool:
        """Whether hardly anything is damaged, nothing comes late, and nothing of value goes."""
        act = self.acts[method]
        return (
            act.damaged(dose) <= SOUND[self.significance]
            and not act.late
            and abs(act.yellow) <= 3
            and self.fit
            and not self.valued_beneath
            and (not self.metal or (act.grade and act.chloride <= 10))
        )

    def unsafe(self, method: str, dose: float) -> bool:
        """Whether damage passes the limit, or cleaning leaves the zone clearly worse off."""
        beyond = self.acts[method].damaged(dose) > LIMIT[self.significance]
        return beyond or self.harm_of_cleaning(method, dose) - self.harm_of_leaving > CLEAR_GAIN

    def good_methods(self, *, in_part: bool = False) -> tuple[str, ...]:
        """
        Methods that at their working dose are safe and clearly better than leaving.

        What takes off less than the share agreed is no cleaning, unless asked for `in_part`.
        """
        return tuple(
            name
            for name, act in self.acts.items()
            if self.safe(name, act.working)
            and self.harm_of_leaving - self.harm_of_cleaning(name, act.working) >= CLEAR_GAIN
            and (in_part or act.cleaned(act.working) >= AGREED)
        )

    @property
    def least_harm(self) -> float:
        """Harm of what somebody who knew all would do."""
        treated = (self.harm_of_cleaning(name, act.working) for name, act in self.acts.items())
        return min(self.harm_of_leaving, *treated)


def _one(rng: np.random.Generator, shares: dict[str, float]) -> str:
    """One of some names, each with its share."""
    return str(rng.choice(list(shares), p=list(shares.values())))


def _reach(rng: np.random.Generator, method: str, substrate: str, soiling: str) -> float:
    """How much a method can take off: the rating where the raters are right, else another."""
    rated = [
        row["suitability"] for row in rows("method_risk")
        if (row["method"], row["substrate"], row["soiling"]) == (method, substrate, soiling)
    ]  # fmt: skip
    word = rated[0] if rated else _one(rng, UNRATED)
    if rng.random() > RATERS_RIGHT:
        word = str(rng.choice([other for other in REACH if other != word]))
    return float(rng.uniform(*REACH[word]))


def _act(rng: np.random.Generator, kind: str, soiling: str, method: str) -> Act:
    """Draw what one method does."""
    family = keyed("methods", "method")[method]["family"]
    known = MARGIN[kind]
    median, spread = known.get(method, known.get(family, HARSH))
    if not kind.startswith("riveted") and method in {"dry_grit_blast", "uhp_water"}:
        median, spread = HARSH
    clean = float(np.exp(rng.normal(0, 0.35)))
    chance, day = LATE.get(family, (0.03, 90))
    late = family != "dry" and rng.random() < chance
    pale = kind == "limestone" and method == "laser_ns_1064"
    yellow = rng.uniform(3, 8) if pale and rng.random() < YELLOW_LASER_PALE else rng.normal(0.5, 1)
    reached, profile = GRADE.get(method, GRADE_OTHER)
    return Act(
        method=method, family=family, clean_50=clean,
        clean_spread=float(rng.uniform(0.15, 0.3)),
        damage_50=clean * median * float(np.exp(rng.normal(0, spread))),
        damage_spread=float(rng.uniform(0.2, 0.45)),
        reach=_reach(rng, method, SUBSTRATE[kind], soiling),
        likeness=float(rng.uniform(0.02, 0.2)),
        late=str(rng.choice(["salts", "growth", "yellowing"])) if late else "",
        late_day=day * float(np.exp(rng.normal(0, 0.7))),
        late_harm=float(rng.uniform(1, 5)) if late else 0.0,
        yellow=float(yellow), work=WORK[family] * float(np.exp(rng.normal(0, 0.3))),
        grade=bool(rng.random() < reached), profile_um=profile + float(rng.normal(0, 4)),
        chloride=4 * CHLORIDE_KEPT.get(family, 1.0) * float(np.exp(rng.normal(0, 0.6))),
    )  # fmt: skip


def _in_order(
    rng: np.random.Generator, substrate: str, soiling: str, acts: dict[str, Act]
) -> dict[str, Act]:
    """
    Sister methods in the order of their rated harm, where the raters are right.

    The doses that damage stay those drawn; of a family, the gentlest gets the highest. Without it
    water would damage where a jet of the same water does not.
    """
    risks = {
        row["method"]: float(row["risk"]) for row in rows("method_risk")
        if (row["substrate"], row["soiling"]) == (substrate, soiling)
    }  # fmt: skip
    found = dict(acts)
    for family in dict.fromkeys(act.family for act in acts.values()):
        sisters = sorted(
            (name for name in risks if acts[name].family == family), key=lambda name: risks[name]
        )
        if rng.random() > RATERS_RIGHT:
            continue
        doses = sorted(
            ((acts[name].damage_50, acts[name].damage_spread) for name in sisters), reverse=True
        )
        for name, (damage_50, spread) in zip(sisters, doses, strict=True):
            found[name] = replace(found[name], damage_50=damage_50, damage_spread=spread)
    return found


def place(rng: np.random.Generator, code: str, kind: str | None = None) -> Place:
    """
    Draw one zone as it truly is.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    code : str
        Code of the zone.
    kind : str, optional
        One of `KINDS`; drawn where none is given.

    Returns
    -------
    Place
    """
    kind = kind or _one(rng, KINDS)
    metal = kind == "riveted steel"
    soiling = _one(rng, SOILINGS[SUBSTRATE[kind]])
    biotite = {"granite rich in dark mica": rng.uniform(6, 15),
               "granite poor in dark mica": rng.uniform(0, 4)}.get(kind, 0.0)  # fmt: skip
    driven = {"black_gypsum_crust": 0.6, "graffiti": 0.05, "algae": 0.25}.get(soiling, 0.3)
    decay = _one(rng, {"none": 0.35, "slow": 0.45, "active": 0.2})
    cause = "none" if decay == "none" else "soiling" if rng.random() < driven else "other"
    hidden = bool(
        rng.random() < {"black_gypsum_crust": 0.6, "general_soiling": 0.3}.get(soiling, 0)
    )
    delta_e = float(rng.uniform(12, 32) if hidden or soiling == "graffiti" else rng.uniform(3, 18))
    wanted = bool(rng.random() < 0.75)
    harm = 0.0
    if metal:
        # A failing coating, and plate that goes on rusting for 25 years (ISO 9223 C3 to C5).
        failing = rng.random() < 0.75
        decay, cause = ("slow", "soiling") if failing else ("none", "none")
        harm += float(rng.uniform(3, 8)) if failing else float(rng.uniform(0, 0.8))
        if soiling == "lead_paint" and failing:
            harm += float(rng.uniform(1, 4))
        hidden, delta_e, wanted = False, 0.0, True
    elif cause == "soiling":
        harm += float(rng.uniform(1, 4) if decay == "slow" else rng.uniform(3.5, 8))
    if wanted and not metal:
        seen = {True: (1.5, 5.0), False: (0.0, 1.2)}[hidden or soiling == "graffiti"]
        harm += float(rng.uniform(*seen))
    condition = {"sound": 0.6, "slightly_weathered": 0.33, "friable": 0.07}
    if metal:
        condition = {"corroding": 1.0} if decay != "none" else {"sound": 1.0}
    acts = {row["method"]: _act(rng, kind, soiling, row["method"]) for row in rows("methods")}
    return Place(
        code=code, kind=kind,
        significance=_one(rng, {"high": 0.3, "medium": 0.45, "low": 0.25}),
        soiling=soiling, biotite=float(biotite), area=float(np.exp(rng.normal(2.7, 0.9))),
        condition=_one(rng, condition), decay=decay, decay_cause=cause, hidden=hidden,
        delta_e=delta_e, wanted=wanted,
        active=_one(rng, {"none": 0.84, "cause_moisture": 0.08, "cause_iron": 0.03,
                          "cause_salts": 0.05}),
        valued_beneath=bool(rng.random() < 0.08),
        before=float(rng.uniform(0, 0.03)) if rng.random() < 0.4 else 0.0,
        harm_of_leaving=min(harm, 10.0), severity=float(np.exp(rng.normal(0, 0.25))),
        acts=_in_order(rng, SUBSTRATE[kind], soiling, acts),
    )  # fmt: skip
