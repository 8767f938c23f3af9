"""What was measured on a zone other than colour: sets of results, one quantity after another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any, ClassVar

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Field, Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.at_hand import NOT_GIVEN_YET, ZoneAtHand
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.entry.result_sets import (
    OF_A_PART,
    Part,
    faults_of_part,
    parts_of,
    set_of_tests,
    summary_of,
    usual_quantities,
)
from heritagecheck.survey.entry.term_search import matching, terms_for
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed, shown
from heritagecheck.survey.records import Observation, SiteTest
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.zone_facts import facts_at_the_wall
from heritagecheck.tables.row_types import Quantity

OF_LEAD = ("coating", "full_depth")
BY_CHEMISTRY = ("lead_", "chloride_", "sulphate_", "nitrate_")  # methods that have a limit
SHOWN_AT_ONCE = 8


class PartForm(Form):
    """Results of one quantity that share coating, method and limit, typed one a line."""

    def __init__(self, hand: ZoneAtHand, quantity: str, number: int, codes: Sequence[str]) -> None:
        self.quantity, self.hand, self.codes = quantity, hand, tuple(codes)
        fixed = {
            "site_test": NOT_GIVEN_YET, "zone": hand.code, "quantity": quantity,
            "set_name": NOT_GIVEN_YET, "tested_on": date.today(),
            "tested_by": hand.desk.who or NOT_GIVEN_YET,
        }  # fmt: skip
        super().__init__(
            hand.desk, f"test-{quantity}-{number}", f"zone/{hand.code}/tests", SiteTest,
            ("value", *OF_A_PART, "set_size"), fixed=fixed, begun=self.saved_text(),
        )  # fmt: skip

    @property
    def tests(self) -> tuple[SiteTest, ...]:
        """The tests of this part as they are saved."""
        every = self.hand.desk.survey.of_zone(self.hand.code, SiteTest)
        return tuple(one for one in every if one.site_test in self.codes)

    @property
    def part(self) -> Part:
        """Typed values, merged with the saved ones."""
        return Part(self.text, self.tests)

    def saved_text(self) -> dict[str, str] | None:
        """The results as lines, and what they share."""
        tests = self.tests
        if not tests:
            return None
        values = [shown(one.value) for one in tests if one.value is not None]
        shared = {name: shown(getattr(tests[0], name)) for name in (*OF_A_PART, "set_size")}
        return {"value": "\n".join(values), **shared}

    def wrong(self) -> dict[str, str]:
        """What is wrong with a line, with what all share, or with their number."""
        found = faults_of_part(self.part, {**self.fixed, "set_size": 1})
        try:
            taken = read_typed(SiteTest, "set_size", self.text["set_size"])
        except NotTakenError as why:
            return found | {"set_size": str(why)}
        if self.text["set_size"] != self.begun["set_size"] and isinstance(taken, int):
            written = sum(
                len(one.part.lines) for one in parts_of_quantity(self.hand, self.quantity)
            )
            if taken < written:
                found["set_size"] = f"{written} results are written here; give at least that many."
        return found

    @property
    def taken(self) -> int | None:
        """How many results were taken in all, where somebody changed that number."""
        if self.text["set_size"] == self.begun["set_size"]:
            return None
        taken = read_typed(SiteTest, "set_size", self.text["set_size"])
        return taken if isinstance(taken, int) else None

    @property
    def _lacks_results(self) -> bool:
        """Whether more results were taken than are written here."""
        written = sum(len(one.part.lines) for one in parts_of_quantity(self.hand, self.quantity))
        return any(one.set_size > written for one in self.tests) or (
            self.text["set_size"] != self.begun["set_size"]
        )

    def shown_fields(self) -> list[Field]:
        """Fields of this quantity other than the results, which are above them."""
        results = [line for line in self.part.lines if line]
        asked = {"method"} if results else {"method", "not_measured_because"}
        if Quantity.named(self.quantity).of_lead:
            asked |= set(OF_LEAD)
        if self.quantity.startswith(BY_CHEMISTRY):
            asked |= {"detection_limit"}
        if len(results) == 1:
            asked |= {"spread"}
        if self.key.endswith("-0") and self._lacks_results:
            asked |= {"set_size"}
        view = [one for one in self.view() if one.name.partition(".")[2] != "value"]
        return [one for one in view
                if one.name.partition(".")[2] in asked or one.fault
                or (one.value and not one.name.endswith(".set_size"))]  # fmt: skip


def parts_of_quantity(hand: ZoneAtHand, quantity: str) -> list[PartForm]:
    """All parts of the set of one quantity."""
    forms = (form for form in hand.forms.values() if isinstance(form, PartForm))
    return [form for form in forms if form.quantity == quantity]


class SiteTestsScreen(ZoneScreen):
    """One quantity below the other, each with its results."""

    template = "zone_tests.html"
    task: ClassVar[str] = "tests"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.search = ""
        self.why = ""
        self.why_fault = ""
        self._gather()

    def _gather(self) -> None:
        """A form for each part that is saved or started."""
        kept: dict[str, list[SiteTest]] = {}
        for one in self.desk.survey.of_zone(self.hand.code, SiteTest):
            if one.panel is None:
                kept.setdefault(one.quantity, []).append(one)
        known = {code for form in self._parts() for code in form.codes}
        for quantity, tests in kept.items():
            for part in parts_of(one for one in tests if one.site_test not in known):
                self._begin(quantity, [one.site_test for one in part])
        begun = f"zone/{self.hand.code}/tests#test-"
        for draft in self.desk.drafts.all():
            if draft.who == self.desk.who and draft.task.startswith(begun):
                quantity, _, number = draft.task.removeprefix(begun).rpartition("-")
                if f"test-{quantity}-{number}" not in self.forms:
                    self._put(quantity, int(number), ())

    def _parts(self) -> list[PartForm]:
        return [form for form in self.forms.values() if isinstance(form, PartForm)]

    def _begin(self, quantity: str, codes: Sequence[str] = ()) -> PartForm:
        """A new part, behind the others of its quantity."""
        number = 0
        while f"test-{quantity}-{number}" in self.forms:
            number += 1
        return self._put(quantity, number, codes)

    def _put(self, quantity: str, number: int, codes: Sequence[str]) -> PartForm:
        form = PartForm(self.hand, quantity, number, codes)
        self.forms[form.key] = form
        return form

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        found = super().values()
        self._gather()
        usual = self._usual()
        shown_now = list(dict.fromkeys([*usual, *(form.quantity for form in self._parts())]))
        left = [one for one in terms_for(SiteTest, "quantity") if one.code not in shown_now]
        return {
            **found, "has_record": self.hand.record() is not None, "search": self.search,
            "found": matching(left, self.search, SHOWN_AT_ONCE) if self.search else (),
            "quantities": [
                (Quantity.named(code), parts_of_quantity(self.hand, code)) for code in shown_now
            ],
            "summary": {form.key: summary_of(form.quantity, form.part, form.fixed)
                        for form in self._parts()},
            "rest": sum(not parts_of_quantity(self.hand, code) for code in usual),
            "why": self.why, "why_fault": self.why_fault,
        }  # fmt: skip

    def _usual(self) -> Sequence[str]:
        """Quantities that are usually measured here."""
        zone = self.hand.record()
        if zone is None:
            return ()
        survey = self.desk.survey
        tests = [one for one in survey.of_zone(zone.zone, SiteTest) if one.panel is None]
        facts = facts_at_the_wall(zone, survey.of_zone(zone.zone, Observation), tests)
        return usual_quantities(zone, coated=facts["coated"] == frozenset({"yes"}))

    def typed(self, name: str, value: str) -> None:
        """Search for a quantity, give a reason for the rest, or fill in a part."""
        if name == "tests.search":
            self.search = value
        elif name == "rest.why":
            self.why, self.why_fault = value, ""
        else:
            super().typed(name, value)

    def do_part(self, event: Event) -> None:
        """Begin results of a quantity, or of another coating of it."""
        form = self._begin(event.arg)
        self.search = ""
        self.desk.focus = f"{form.key}.value"

    def do_rest(self, event: Event) -> None:
        """Give one reason for all that is usually measured and was not."""
        if not self.why.strip():
            self.why_fault = "Write why in a few words, such as no meter on site."
            self.desk.focus = "rest.why"
            return
        for code in self._usual():
            if not parts_of_quantity(self.hand, code):
                self._begin(code).type("not_measured_because", self.why.strip())
        self.why = ""

    def changed_forms(self) -> Sequence[Form]:
        """Parts in which something is not saved."""
        return [form for form in self._parts() if form.changed]

    def records(self, forms: Sequence[Form]) -> Iterable[Record]:
        """All tests of each set that was changed."""
        return [one for found, _ in self._sets() for one in found]

    def taken_out(self) -> Sequence[Record]:
        """Results whose line was removed."""
        changed = self.changed_forms()
        if any(form.wrong() for form in changed):
            return ()
        return [one for _, gone in self._sets() for one in gone]

    def _sets(self) -> list[tuple[tuple[SiteTest, ...], tuple[SiteTest, ...]]]:
        """Sets that were changed: what is to be saved, and what is no longer there."""
        quantities = dict.fromkeys(form.quantity for form in self._parts() if form.changed)
        found = []
        for quantity in quantities:
            forms = parts_of_quantity(self.hand, quantity)
            given = [form.taken for form in forms if form.taken is not None]
            found.append(
                set_of_tests(
                    self.desk.survey, self.hand.code, quantity, [form.part for form in forms],
                    taken=given[0] if given else None, who=self.desk.who, today=date.today(),
                )
            )  # fmt: skip
        return found

    def do_save(self, event: Event) -> None:
        """Save all sets that were changed; then each part knows its tests."""
        changed = [form for form in self._parts() if form.changed]
        head = self.desk.head
        super().do_save(event)
        if self.desk.head != head and changed and not any(form.changed for form in changed):
            for form in self._parts():
                del self.forms[form.key]
            self._gather()
