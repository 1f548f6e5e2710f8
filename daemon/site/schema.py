"""Which JSON Schema tells an editor what may stand in a site file?"""

from __future__ import annotations

from typing import Annotated, Any, Union, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, create_model
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from daemon.site.adapters import SETTINGS, settings_class
from daemon.site.reach import HeartbeatTable, PersonTable, SelfwatchTable, SendingTable, WebTable
from daemon.site.tables import PointTable, SiteTable, StoreTable
from rules.conditions import KINDS
from rules.derived_settings import AnyDerived
from rules.durations import Duration, show_duration
from rules.message_settings import MessageSettings
from rules.settings import Amount
from rules.stages import StageSettings

_DURATION = next(part.func for part in get_args(Duration) if isinstance(part, BeforeValidator))
_AMOUNT = next(part.func for part in get_args(Amount) if isinstance(part, BeforeValidator))


class _AsWritten(GenerateJsonSchema):
    """Durations and amounts as they are written in the file, not as they are kept."""

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> JsonSchemaValue:
        reader = schema["function"]["function"]
        if reader is _DURATION:
            return {"type": "string", "pattern": r"^[0-9.]+ ?(ms|s|min|h|d)$", "examples": ["90 s", "5 min"]}
        if reader is _AMOUNT:
            return {"type": ["number", "string"]}
        return super().function_before_schema(schema)

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        shown = super().default_schema(schema)
        if isinstance(shown.get("default"), int) and shown.get("type") == "string":
            shown["default"] = show_duration(shown["default"])
        return shown


def site_schema() -> dict[str, Any]:
    """The schema of a whole site file (JSON Schema 2020-12)."""
    kinds: Any = Union[tuple(KINDS.values())]  # noqa: UP007 - the kinds are known at run time only
    rule: Any = Annotated[kinds, Field(discriminator="kind")]
    adapters: dict[str, Any] = {kind: (settings_class(kind) | None, None) for kind in SETTINGS}
    strict = ConfigDict(extra="forbid")
    whole: type[BaseModel] = create_model(
        "SiteFile",
        __config__=strict,
        site=(SiteTable, SiteTable()),
        point=(list[PointTable], ...),
        derived=(list[AnyDerived], []),
        rule=(list[rule], []),
        stage=(list[StageSettings], []),
        person=(list[PersonTable], []),
        adapter=(create_model("Adapters", **adapters), {}),
        store=(StoreTable, StoreTable()),
        web=(WebTable, WebTable()),
        messages=(MessageSettings, MessageSettings()),
        texts=(dict[str, str], {}),
        sending=(SendingTable, SendingTable()),
        heartbeat=(HeartbeatTable | None, None),
        selfwatch=(SelfwatchTable, SelfwatchTable()),
    )
    schema = whole.model_json_schema(by_alias=True, schema_generator=_AsWritten)
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema, "title": "Tidebed site file"}
