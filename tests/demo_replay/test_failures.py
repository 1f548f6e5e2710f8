"""Is every failure of the table answered by rules of the shipped site file, with its priority and its consequences?"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

import pytest

from daemon.selfwatch.plan import watched
from daemon.site.load import load_site
from demo_replay.days import FOLDER, SITE
from rules.settings import Priority, RuleSettings

# The failures of the trade, by letter: water, oxygen, chemistry, heat, cold, damp, roots, power, sensors, network.
NUMBERS = {"W": 22, "O": 11, "C": 6, "H": 7, "K": 5, "D": 2, "R": 4, "P": 4, "S": 8, "N": 8}
IDS = [f"{letter}{number}" for letter, last in NUMBERS.items() for number in range(1, last + 1)]
RANKS = list(Priority)


class Row(NamedTuple):
    """A row of the table."""

    id: str
    failure: str
    priorities: frozenset[Priority]
    rules: tuple[str, ...]
    explains: tuple[str, ...]
    note: str


def _names(text: str) -> tuple[str, ...]:
    """Rules and rows that a cell names, a bed's rule once for each bed."""
    names = [name for name in re.split(r"[,\s]+", text) if name]
    return tuple(name.replace("*", bed) for name in names for bed in (("1", "2", "3") if "*" in name else ("",)))


@cache
def table() -> dict[str, Row]:
    rows = {}
    for line in (FOLDER / "failures.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if re.fullmatch(r"[A-Z]\d+", cells[0]):
            assert cells[0] not in rows, f"{cells[0]} stands there twice"
            identity, failure, priority, rules, explains, note = cells
            named = frozenset(Priority(word) for word in re.findall(r"critical|high|medium|low|log", priority))
            rows[identity] = Row(identity, failure, named, _names(rules), _names(explains), note)
    return rows


@cache
def rules() -> dict[str, RuleSettings]:
    """The rules of the site file, and those by which the daemon watches itself."""
    return {rule.id: rule for rule in watched(load_site(SITE)).rules}


def accounted_for(names: tuple[str, ...]) -> set[str]:
    """The rules that some rules account for, by one step or more."""
    found: set[str] = set()
    todo = list(names)
    while todo:
        new = set(rules()[todo.pop()].explains) - found
        found |= new
        todo += new
    return found


def test_every_failure_has_its_row() -> None:
    """In order, once, and no other."""
    assert list(table()) == IDS


@pytest.mark.parametrize("identity", IDS)
def test_a_failure_is_answered_by_rules_or_by_the_reason_why_none_sees_it(identity: str) -> None:
    """And every rule that it names exists and tells somebody, but for what is only logged."""
    row = table()[identity]
    assert row.rules or len(row.note) > 20
    assert set(row.rules) <= set(rules())


@pytest.mark.parametrize("identity", [identity for identity in IDS if table()[identity].rules])
def test_rules_have_the_priorities_of_their_failure(identity: str) -> None:
    """Each priority that the row names is that of a rule, and no rule has another."""
    row = table()[identity]
    assert {rules()[name].priority for name in row.rules} == row.priorities


@pytest.mark.parametrize("identity", [identity for identity in IDS if table()[identity].rules])
def test_a_failure_accounts_for_its_consequences(identity: str) -> None:
    """Of each row that it names, at least one rule is kept back while one of its own stands; so is each named rule."""
    row = table()[identity]
    found = accounted_for(row.rules)
    for other in row.explains:
        wanted = table()[other].rules if other in table() else (other,)
        assert set(wanted) & found, f"{identity} does not account for {other}"


def test_no_quiet_alarm_silences_a_loud_one() -> None:
    """A rule keeps back another of its own priority, of a lower one, or of the next one up, and nothing above that."""
    for rule in rules().values():
        for explained in rule.explains:
            other = rules()[explained]
            if rule.priority is not Priority.LOG and not other.never_suppressed:
                assert RANKS.index(rule.priority) - RANKS.index(other.priority) <= 1, (rule.id, explained)


def test_every_rule_that_tells_somebody_answers_to_a_failure() -> None:
    """Or is named under the table with its reason."""
    text = (FOLDER / "failures.md").read_text(encoding="utf-8")
    beside = set(re.findall(r"[a-z0-9_]+\.[a-z0-9_]+", text.split("Rules beside the table")[1]))
    answering = {name for row in table().values() for name in row.rules}
    telling = {rule.id for rule in load_site(SITE).plan.rules if rule.priority is not Priority.LOG}
    assert telling - answering == beside
    assert not {name for name in answering & telling if name in beside}


def test_few_rules_are_critical() -> None:
    """Some 5 % critical and 15 % high are usual; a house where fish die within the hour has more (common practice)."""
    telling = [rule for rule in load_site(SITE).plan.rules if rule.priority is not Priority.LOG]
    critical = [rule for rule in telling if rule.priority is Priority.CRITICAL]
    assert len(critical) <= 0.15 * len(telling)
