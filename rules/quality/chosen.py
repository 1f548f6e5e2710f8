"""Which quality tests does a point have? Those that suit its quantity, changed by what its keeper writes."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Tag, create_model

from rules.quality.defaults import default_tables
from rules.quality.registry import TESTS
from rules.quality.settings import QualitySettings
from rules.quantities import Quantity
from rules.settings import Settings


def _written(value: object) -> str:
    """Whether a table stands there or a text; so that only the one that was meant is explained when it is wrong."""
    return "table" if isinstance(value, dict | Settings) else "text"


def _or_none(table: type[Settings]) -> Any:
    off, on = Annotated[Literal["none"], Tag("text")], Annotated[table, Tag("table")]
    return Annotated[off | on, Discriminator(_written)]


_FIELDS: dict[str, Any] = {name: (_or_none(settings) | None, None) for name, settings in TESTS.items()}

QualityTable = create_model(
    "QualityTable",
    __base__=Settings,
    __doc__="The quality tests of a point; one that is left out is as it suits its quantity, `none` switches one off.",
    **_FIELDS,
)
"""A table of tests and their settings, as in `quality = { gross_range = { suspect_low = 6.0 }, spike = "none" }`."""

Chosen = _or_none(QualityTable)
"""What may stand at `quality`: such a table, or `none` for no tests at all."""


def chosen(written: Settings | str | None, quantity: Quantity) -> dict[str, QualitySettings]:
    """Name -> settings of each test; written: what stands at `quality`, None where nothing does.

    A key of a test that is left out is as it suits the quantity, where that has the test.
    """
    if written == "none":
        return {}
    found = {name: TESTS[name].model_validate(table) for name, table in default_tables(quantity).items()}
    for name in TESTS:
        own = getattr(written, name, None)
        if own == "none":
            found.pop(name, None)
        elif own is not None:
            changes = {key: getattr(own, key) for key in own.model_fields_set}
            found[name] = found[name].model_copy(update=changes) if name in found else own
    return {name: found[name] for name in TESTS if name in found}
