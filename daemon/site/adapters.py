"""Which `[adapter.NAME]` tables are there, and which settings class reads each?

The classes live with their protocols in adapters/ and are imported only where a site file uses them.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import BaseModel, ConfigDict

SETTINGS: Mapping[str, str] = {
    "mqtt": "adapters.mqtt.settings:MqttSettings",
    "remote_store": "adapters.remote_store:RemoteStoreSettings",
}
"""kind -> module:class. A table is of the kind that it is named for, or that its `kind` says."""


@dataclass(frozen=True, slots=True)
class AdapterTable:
    """One `[adapter.NAME]` table: its name, its kind and its settings."""

    name: str
    kind: str
    settings: BaseModel


class _Unread(BaseModel):
    """Stands in while the module of a kind is not there yet: any key is taken."""

    model_config = ConfigDict(extra="allow", frozen=True)


def settings_class(kind: str) -> type[BaseModel]:
    """The settings class of a kind; KeyError for an unknown kind."""
    module, _, name = SETTINGS[kind].partition(":")
    try:
        found: type[BaseModel] = getattr(importlib.import_module(module), name)
    except ModuleNotFoundError:
        return _Unread
    return found
