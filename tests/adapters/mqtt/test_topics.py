"""Do topic filters name the topics that MQTT says, and do point names fill in?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from adapters.mqtt.topics import PointTemplate, TopicFilter
from rules.errors import SettingError


@pytest.mark.parametrize(
    ("text", "topic", "wildcards"),
    [
        # MQTT 5 sections 4.7.1.2 and 4.7.1.3
        ("sport/tennis/player1/#", "sport/tennis/player1", ("",)),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", ("ranking",)),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", ("score/wimbledon",)),
        ("sport/#", "sport", ("",)),
        ("sport/tennis/+", "sport/tennis/player1", ("player1",)),
        ("sport/tennis/+", "sport/tennis/player1/ranking", None),
        ("sport/+", "sport", None),
        ("sport/+", "sport/", ("",)),
        ("+/+", "/finance", ("", "finance")),
        ("/+", "/finance", ("finance",)),
        ("+", "/finance", None),
        ("#", "a/b", ("a/b",)),
        # section 4.7.2
        ("#", "$SYS/uptime", None),
        ("+/monitor/Clients", "$SYS/monitor/Clients", None),
        ("$SYS/#", "$SYS/uptime", ("uptime",)),
        # section 4.8.2
        ("$share/group/sport/+", "sport/tennis", ("tennis",)),
        ("house.air", "houseXair", None),
    ],
)
def test_the_examples_of_the_standard(text: str, topic: str, wildcards: tuple[str, ...] | None) -> None:
    """MQTT 5 section 4.7, and what stands at the wildcards."""
    assert TopicFilter(text).match(topic) == wildcards


@pytest.mark.parametrize(
    "text",
    [
        "",
        "sport/tennis#",
        "sport/tennis/#/ranking",
        "sport+",
        "a/b+/c",
        "a\0b",
        "$share/group",
        "$share//a",
        "x" * 65536,
    ],
)
def test_what_is_no_filter_is_refused(text: str) -> None:
    """The invalid examples of MQTT 5 section 4.7.1, and others."""
    with pytest.raises(SettingError, match="topic"):
        TopicFilter(text)


LEVEL = st.sampled_from(["a", "b", "", "+", "#", "$x", "a.b"])


@given(
    st.lists(LEVEL, min_size=1, max_size=4),
    st.lists(st.sampled_from(["a", "b", "", "$x", "a.b"]), min_size=1, max_size=4),
)
def test_any_filter_agrees_with_the_library(filter_levels: list[str], levels: list[str]) -> None:
    """The same verdict as paho-mqtt's own matcher, apart from `$` topics, where MQTT is stricter than it."""
    topic = "/".join(levels)
    try:
        pattern = TopicFilter("/".join(filter_levels))
    except SettingError:
        return
    if topic and not topic.startswith("$"):
        assert (pattern.match(topic) is not None) is topic_matches_sub(pattern.text, topic)


def test_a_point_is_filled_by_the_wildcards() -> None:
    """In any order; what `#` took has dots for slashes."""
    assert PointTemplate("{2}.{1}", 2).fill(("temperature", "tank")) == "tank.temperature"
    assert PointTemplate("house.{1}", 1).fill(("air/temperature",)) == "house.air.temperature"
    assert PointTemplate("{1}.{name}", 1, named=True).fill(("tank",), "temperature") == "tank.temperature"
    assert PointTemplate("tank.level", 2).fill(("a", "b")) == "tank.level"


@pytest.mark.parametrize(
    ("text", "wildcards"), [("{1}", 0), ("{2}", 1), ("{0}", 1), ("{}", 1), ("{name}", 1), ("{x}", 1)]
)
def test_a_place_that_nothing_fills_is_refused(text: str, wildcards: int) -> None:
    """The error says which places there are."""
    with pytest.raises(SettingError, match=r"nothing fills .*; places here: (none|\{1\})"):
        PointTemplate(text, wildcards)
