"""One height map or profile: what its file says, what a person adds, what its pair lost."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from heritagecheck.errors import in_one_line
from heritagecheck.evidence.surface.zone_height_maps import (
    MapPair,
    measure_pair,
    pair_records,
)
from heritagecheck.figures.height_map import draw_depth
from heritagecheck.progress import Told
from heritagecheck.screens.app import Desk, still_kept
from heritagecheck.screens.links import FileLink, link_to
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.trials.map_form import SIZE, MapForm
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.screens.zone.photo_measuring import LARGE, THUMB, shown_photograph
from heritagecheck.sentences import ended
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.records import Attachment, HeightMap, Panel, SiteTest, Spot
from heritagecheck.survey.records.fields import literal_choices

MINERALS = literal_choices(SiteTest, "mineral")
MIDDLE = 0.5  # the middle of a pixel is a whole number in a record, but half a pixel in a picture


class HeightMapScreen(TrialScreen):
    """One map: confirm it, pair it with the one before, calculate its depth and save it."""

    template = "height_map.html"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.attachment = parts[3]
        self.heading = PurePosixPath(self.item.file).name
        self.form = MapForm(desk, self.place, self.item)
        self.forms["map"] = self.form
        self.pair: MapPair | None = None
        self.refusal = ""
        self.grain = max(0, len(self.form.grains) - 1)

    @property
    def item(self) -> Attachment:
        """The file as stored with the survey."""
        every = self.desk.survey.all(Attachment)
        return still_kept(
            (one for one in every if one.attachment == self.attachment), f"File {self.attachment}"
        )

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        form, file = self.form, self.form.file
        self.grain = min(self.grain, max(0, len(form.grains) - 1))  # typing may be taken back
        if self.pair and not {self.pair.before, self.pair.after} <= set(self.of_zone(HeightMap)):
            self.pair = None  # its maps were changed since
        views = {view.name.partition(".")[2]: view for view in form.view()}
        pair = self.pair
        return {
            **super().values(), "item": self.item, "form": form, "views": views,
            "link": link_to(self.desk.survey, self.item), "file": file,
            "said": () if file is None else file.said, "trouble": form.trouble,
            "size": [views[name] for name in SIZE] * form.size_asked,
            "panels": [one.panel for one in self.of_zone(Panel)], "kept": form.of_file(),
            "spots": [one.spot for one in self.of_zone(Spot) if one.panel == form.text["panel"]],
            "before_maps": self._before_maps(), "photographs": self._photographs(),
            "photo_size": self._photo_size(), "cautions": self.cautions(()),
            "corners": _shifted(form.corners, MIDDLE), "ties": form.ties,
            "map_ties": _shifted(form.ties[1], MIDDLE),
            "grains": form.grains, "grain": self.grain, "minerals": MINERALS, "pair": pair,
            "other_grains": [ring for k, (_, ring) in enumerate(form.grains) if k != self.grain],
            "refusal": self.refusal, "pair_links": self._pair_links(), "ends": ended,
            "pair_picture": "" if pair is None else f"pair-{pair.before.height_map}-{self.mark}",
        }  # fmt: skip

    def _before_maps(self) -> list[HeightMap]:
        """Maps of the same place before treatment."""
        place = self.form.text["panel"] or None, self.form.text["spot"] or None
        return [
            one for one in self.of_zone(HeightMap)
            if one.moment == "before" and (one.panel, one.spot) == place
            and one.attachment != self.attachment
        ]  # fmt: skip

    def _photographs(self) -> list[str]:
        """Photographs of the zone and of its panels."""
        panels = {one.panel for one in self.of_zone(Panel)}
        return [
            one.attachment for one in self.desk.survey.all(Attachment)
            if one.kind == "photograph" and (one.zone == self.code or one.panel in panels)
        ]  # fmt: skip

    def _photo_size(self) -> tuple[int, int] | None:
        """Width and height of the photograph that shows the same place."""
        path = self._photo_path()
        return None if path is None else shown_photograph(path, THUMB)[1]

    def _photo_path(self) -> Any:
        every = self.desk.survey.all(Attachment)
        found = [one.file for one in every if one.attachment == self.form.text["photo"]]
        return self.desk.survey.file(found[0]) if found else None

    def _pair_links(self) -> list[FileLink]:
        """The files of both maps."""
        if self.pair is None:
            return []
        files = {one.file: one for one in self.desk.survey.all(Attachment)}
        return [link_to(self.desk.survey, files[name]) for name in self.pair.files]

    def do_points(self, event: Event) -> None:
        """Take corners of the treated area, or points that map and photograph both show."""
        if event.arg == "treated":
            self.form.mark(_moved(event.value, -MIDDLE))
        elif event.arg == "map":
            self.form.tie("map", _moved(event.value, -MIDDLE))
        elif event.arg == "photo":
            self.form.tie("photo", event.value)
        elif event.arg == "grain" and self.grain < len(self.form.grains):
            self.form.outline(self.grain, event.value)

    def do_back_point(self, event: Event) -> None:
        """Take the last point away."""
        if event.arg == "grain" and self.grain < len(self.form.grains):
            corners = self.form.grains[self.grain][1][:-1]
            self.form.outline(self.grain, json.dumps(corners))
            return
        field = "treated" if event.arg == "treated" else "photo_points"
        rows = self.form.text[field].split(";")
        self.form.type(field, ";".join(rows[:-1]))

    def do_new_grain(self, event: Event) -> None:
        """Outline one more grain of a mineral."""
        self.grain = self.form.new_grain(event.arg)

    def do_grain(self, event: Event) -> None:
        """Take a grain in hand."""
        self.grain = int(event.arg)

    def do_drop_grain(self, event: Event) -> None:
        """Take a grain out."""
        self.form.drop_grain(int(event.arg))
        self.grain = max(0, len(self.form.grains) - 1)

    def do_save(self, event: Event) -> None:
        """Confirm the map, and work out what its pair lost."""
        form = self.form
        if not self.desk.knows_who() or not self.known():
            return
        if form.file is None and not form.trouble:
            self.desk.refuse("Not saved yet: say the unit of the heights and the pixel size.")
            form.told.update(SIZE)
            return
        if not self.ready(form):
            return
        kept = form.of_file()
        code = next_code(self.desk.survey, "height_maps") if kept is None else kept.height_map
        if self.desk.save(form.record(code), what=f"height map {code}"):
            form.saved()
            form.look()
            self._work_out()

    def do_measure(self, event: Event) -> None:
        """Work out the depth again."""
        self._work_out()

    def _work_out(self) -> None:
        """What was lost, where this map is one of a pair."""
        self.pair, self.refusal = None, ""
        maps = {one.height_map: one for one in self.desk.survey.all(HeightMap)}
        kept = self.form.of_file()
        if kept is None:
            return
        pairs = [kept] if kept.before_map else []
        pairs += [one for one in maps.values() if one.before_map == kept.height_map]
        if not pairs:
            return
        survey = self.desk.survey.still()

        def work(_: Told) -> MapPair | str:
            try:
                return measure_pair(survey, pairs[0].height_map)
            except (ValueError, ImportError) as error:
                return in_one_line(error)

        self.desk.later("Laying one map on the other", work, self._worked_out)

    def _worked_out(self, found: MapPair | str) -> None:
        """Show what was found, or why nothing was."""
        if isinstance(found, str):
            self.refusal = found
            self.desk.refuse("The map is saved. No depth was worked out from its pair.", found)
        else:
            self.pair = found

    def do_keep_found(self, event: Event) -> None:
        """Save the depth that was lost, with the files that it was worked out from."""
        if self.pair is None or not self.desk.knows_who():
            return
        made, gone = pair_records(self.desk.survey, self.pair, self.desk.who)
        after = self.pair.after
        what = f"what was lost on {after.spot or after.panel}"
        if self.desk.save(*made, what=what, in_place_of=gone):
            self.desk.go("zone", self.code, "below")

    def picture(self, name: str) -> tuple[bytes, str]:
        """The relief, the profile, the photograph, or the depth that was lost."""
        kind, file = name.partition("-")[0], self.form.file
        if kind in {"relief", "line"} and file is not None:
            return file.picture
        if kind == "photo" and (path := self._photo_path()) is not None:
            return shown_photograph(path, LARGE)[0], "image/jpeg"
        if kind == "pair" and self.pair is not None:
            before = self.pair.before
            pixel = (before.pixel_x_um, before.pixel_y_um)
            outlines = {"treated": [before.treated_outline]}
            drawn = draw_depth(self.pair.depth, pixel, outlines=outlines)
            return drawn.svg.encode(), "image/svg+xml"
        raise LookupError(name)


def _shifted(points: Sequence[tuple[float, float]], by: float) -> list[tuple[float, float]]:
    return [(x + by, y + by) for x, y in points]


def _moved(points: str, by: float) -> str:
    """Places of a picture as places of the map."""
    return json.dumps([[x + by, y + by] for x, y in json.loads(points)])
