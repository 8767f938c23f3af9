"""What rules ask about methods."""

import pytest

from heritagecheck.tables import codes, rows
from heritagecheck.tables.conditions import holds, method_facts


@pytest.mark.parametrize("table", ["hard_stops", "harm_ratings", "cautions", "site_rules"])
def test_rules_ask_of_methods_only_what_the_table_of_methods_says(table):
    """So whether a rule is about a method is known without any zone."""
    for method in codes("methods"):
        facts = method_facts(method)
        hanging = [row["methods"] for row in rows(table) if holds(row["methods"], facts) is None]

        assert hanging == []
