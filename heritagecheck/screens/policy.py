"""What the team agrees before it sees the first answer: the policy and the members' weights."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form, FormScreen
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.records import AgreedPolicy, View
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.tables.row_types import PolicyOffer

CRITERIA = literal_choices(View, "criterion")


class PolicyScreen(FormScreen):
    """The policy: a value and what it means in a line each, agreed or changed in one go."""

    template = "policy.html"
    title = "What the team agrees"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.member = ""
        self._begin()

    def _begin(self) -> None:
        """Show what is agreed, or what is offered."""
        self.kept = next(iter(self.desk.survey.all(AgreedPolicy)), None)
        shown = self.kept or offered_policy(date.today())
        self.forms["policy"] = Form(
            self.desk, "policy", "policy", AgreedPolicy,
            [offer.field for offer in PolicyOffer.rows()],
            fixed={"agreed_on": date.today()}, begun=dict(RecordForm.of(shown).typed),
        )  # fmt: skip
        for criterion in CRITERIA:
            self.forms[criterion] = Form(
                self.desk, criterion, "weights", View, ["swing"],
                fixed={"member": self.member or "member", "criterion": criterion},
            )  # fmt: skip

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        fields = {one.name.partition(".")[2]: one for one in self.forms["policy"].view()}
        views = self.desk.survey.all(View)
        swings = {(view.member, str(view.criterion)): view.swing for view in views}
        members = dict.fromkeys(view.member for view in views)
        return {
            "form": self.forms["policy"],
            "offers": [(offer, fields[offer.field]) for offer in PolicyOffer.rows()],
            "agreed": self.kept,
            "criteria": CRITERIA,
            "weights": [(one, self.forms[one].view()[0]) for one in CRITERIA],
            "member": self.member,
            "members": [(who, [swings.get((who, one)) for one in CRITERIA]) for who in members],
        }

    def typed(self, name: str, value: str) -> None:
        """Keep what was typed into a field."""
        if name == "member":
            self.member = value
        else:
            super().typed(name, value)

    def do_agree(self, event: Event) -> None:
        """Keep all values as agreed today."""
        form = self.forms["policy"]
        if not self.ready(form):
            return
        # The page may be open since yesterday, or have taken over what somebody else agreed.
        form.fixed["agreed_on"] = date.today()
        agreed = form.written.record()
        gone = [self.kept] if self.kept else []
        if self.desk.save(agreed, what="the agreed values", in_place_of=gone):
            form.saved()
            self._begin()

    def do_add_member(self, event: Event) -> None:
        """Keep the weights of one member."""
        member = self.member.strip()
        if not member:
            self.desk.refuse("Name the member by role first, such as engineer.")
            return
        forms = [self.forms[criterion] for criterion in CRITERIA]
        for form in forms:
            form.fixed["member"] = member
        if not self.ready(*forms):
            return
        views = [form.written.record() for form in forms]
        if self.desk.save(*views, what=f"the weights of {member}"):
            for form in forms:
                form.saved(swing="")
            self.member = ""
