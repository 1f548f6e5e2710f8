"""Does the example of wires show every kind of wire and every setting, as the site file takes them?"""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel

from daemon.site.adapters import CONNECTIONS, connect, settings_class
from daemon.site.load import load_site

EXAMPLE = Path(__file__).parents[2] / "deploy" / "wires.example.toml"
LEFT_OUT = {
    "mqtt": {
        "client_id": "one a daemon, which it makes itself",
        "password_env": "an alternative to password_file",
        "max_payload": "a bound that nobody meets",
        "clock_topic": "for the demo's player",
        "unit_at": "named in a remark",
    }
}


def keys_of(settings: type[BaseModel]) -> set[str]:
    """All keys of a table, those of the tables in it too."""
    found = set()
    for name, field in settings.model_fields.items():
        found.add(field.alias or name)
        for inner in get_args(field.annotation):
            if isinstance(inner, type) and issubclass(inner, BaseModel):
                found |= keys_of(inner)
    return found


def test_the_example_of_wires_is_right_and_makes_every_adapter() -> None:
    """Each kind that brings readings in stands in it, and can be made from what stands there."""
    site = load_site(EXAMPLE)
    assert {table.kind for table in site.adapters.values()} == set(CONNECTIONS)
    for table in site.adapters.values():
        made = connect(table, site.plan)
        assert made is not None
        assert made.name == table.name


@pytest.mark.parametrize("kind", sorted(CONNECTIONS))
def test_every_setting_of_a_kind_is_shown(kind: str) -> None:
    """In a line or a remark, but for those that few need."""
    text = EXAMPLE.read_text(encoding="utf-8")
    shown = set(re.findall(r"\b([a-z_]+)(?: = |\]\])", text))
    assert keys_of(settings_class(kind)) - set(LEFT_OUT.get(kind, {})) - shown == set()
