"""What may stand in each table of a site file, besides the rules, stages and persons that rules/ defines?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

from pydantic import Field

from rules.derived_settings import AnyDerived, DerivedSettings
from rules.durations import MINUTE, SECOND, Duration
from rules.quality.chosen import Chosen
from rules.settings import Amount, Settings

DERIVED_KINDS: Mapping[str, type[DerivedSettings]] = {
    get_args(member.model_fields["kind"].annotation)[0]: member for member in get_args(get_args(AnyDerived)[0])
}
"""kind of a `[[derived]]` table -> settings class."""

ID = r"^[a-z0-9_]+(\.[a-z0-9_]+)*$"


class DisplayTable(Settings):
    """`[site.display]`: units in which numbers are shown; nothing that is stored or judged changes."""

    temperature: Literal["degC", "degF"] = "degC"
    volume: Literal["L", "gal"] = "L"


class SiteTable(Settings):
    """`[site]`: the place itself."""

    name: str = Field(default="", description="what the place is called in messages; left out, the name of the file")
    timezone: str = Field(default="UTC", description='an IANA time zone, as in "Europe/Dublin"')
    latitude: float | None = Field(default=None, ge=-90, le=90, description="degrees, north is positive")
    longitude: float | None = Field(default=None, ge=-180, le=180, description="degrees, east is positive")
    altitude: float | None = Field(default=None, ge=-430, le=6000, description="metres above sea level")
    display: DisplayTable = DisplayTable()
    language: str = Field(
        default="en", description='in which the messages are; "en", or a file of daemon/texts, as in "de"'
    )
    settle: Duration = Field(default=SECOND, description="how long a reading that is on its way is waited for")
    catch_up: Duration = Field(
        default=MINUTE, description="how long a restart waits for readings that were queued meanwhile"
    )


class PointTable(Settings):
    """`[[point]]`: one measured quantity at one place."""

    id: str = Field(pattern=ID, description="name of the point, as in tank.temperature")
    name: str = Field(default="", description='what people call it, as in "Oxygen in the fish tank"')
    quantity: str = Field(description="what is measured, as in water_temperature")
    unit: str | None = Field(
        default=None, description="unit of the readings and of limits; left out, the quantity's own"
    )
    resolution: Amount | None = Field(
        default=None, description="what one count means, in `unit`; left out, the quantity's own"
    )
    raw_unit: str | None = Field(
        default=None, description='what the probe itself sends, as in "mV", where calibrations make `unit` of it'
    )
    raw_resolution: Amount | None = Field(
        default=None, description="what one count of the probe is worth, in `raw_unit`; left out, as `resolution`"
    )
    expect_every: Duration = Field(default=MINUTE, description="how often a reading should come")
    stale_after: Duration | None = Field(default=None, description="left out: three times expect_every")
    accept_suspect: bool = Field(default=False, description="rules also use readings that a quality test calls suspect")
    quality: Chosen | None = Field(
        default=None,
        description='"none": no quality tests on this point; else a table of tests and their settings; '
        "a test that is left out is as it suits the quantity",
    )


class StoreTable(Settings):
    """`[store]`: where readings are kept."""

    path: str = Field(
        default="tidebed.sqlite", min_length=1, description="a file; a relative path starts at the site file"
    )
    commit_every: Duration = Field(
        default=SECOND, ge=10, le=MINUTE, description="how long readings may wait to be written together"
    )
