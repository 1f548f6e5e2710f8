"""Which `[adapter.NAME]` tables are there, and which settings class reads each?

The classes live with their protocols in adapters/ and are imported only where a site file uses them.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from adapters.intake import Adapter
from rules.plan import Plan

SETTINGS: Mapping[str, str] = {
    "mqtt": "adapters.mqtt.settings:MqttSettings",
    "remote_store": "adapters.remote_store:RemoteStoreSettings",
    "serial_line": "adapters.serial_line.settings:SerialLineSettings",
    "sdi12": "adapters.sdi12.settings:Sdi12Settings",
    "modbus": "adapters.modbus.settings:ModbusSettings",
    "sysfs": "adapters.sysfs.settings:SysfsSettings",
    "digital_inputs": "adapters.digital_inputs.settings:DigitalInputsSettings",
}
"""kind -> module:class. A table is of the kind that it is named for, or that its `kind` says."""

CONNECTIONS: Mapping[str, str] = {
    "mqtt": "adapters.mqtt.connection:MqttAdapter",
    "serial_line": "adapters.serial_line.connection:SerialLineAdapter",
    "sdi12": "adapters.sdi12.connection:Sdi12Adapter",
    "modbus": "adapters.modbus.connection:ModbusAdapter",
    "sysfs": "adapters.sysfs.connection:SysfsAdapter",
    "digital_inputs": "adapters.digital_inputs.connection:DigitalInputsAdapter",
}
"""kind -> module:class of those that bring readings in: called with settings, points, the site's name, name=..."""


@dataclass(frozen=True, slots=True)
class AdapterTable:
    """One `[adapter.NAME]` table: its name, its kind and its settings."""

    name: str
    kind: str
    settings: BaseModel


def settings_class(kind: str) -> type[BaseModel]:
    """The settings class of a kind; KeyError for an unknown kind."""
    found: type[BaseModel] = _named(SETTINGS[kind])
    return found


def connect(table: AdapterTable, plan: Plan) -> Adapter | None:
    """The adapter that a table describes, not started yet; None for one that brings no readings in."""
    if table.kind not in CONNECTIONS:
        return None
    points = {point.id: point for point in plan.points}
    made: Adapter = _named(CONNECTIONS[table.kind])(table.settings, points, plan.name, name=table.name)
    return made


def _named(path: str) -> Any:
    module, _, name = path.partition(":")
    return getattr(importlib.import_module(module), name)
