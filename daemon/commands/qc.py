"""Which flag does one quality test give each reading of a recording?"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.arguments import json_argument
from daemon.pairs import parse_pairs
from daemon.site.located import nearest
from rules.errors import SettingError, UnitError

if TYPE_CHECKING:
    from adapters.recordings.recording import Recording
    from rules.block import Block, Flags
    from rules.plan import PointPlan
    from rules.quality.settings import QualitySettings

EXAMPLE = (
    "tidebed qc gross_range night.csv.gz --point tank.oxygen fail_low=0 fail_high=20 suspect_low=4\n"
    "         tidebed qc flat_line night.csv.gz suspect_time=3600 fail_time='3 h' tolerance=0.01\n"
    "         tidebed qc rate_of_change night.csv.gz suspect=1/60 --json\n\n"
    "tests and keys (amounts in the point's unit or with their own, times in seconds or with theirs):\n"
    "  gross_range     fail_low fail_high suspect_low suspect_high\n"
    "  spike           suspect fail method (average, differential)\n"
    "  rate_of_change  suspect fail: per second, or as in 1/60, '1 degC/min'\n"
    "  flat_line       suspect_time fail_time tolerance\n"
    "  attenuated      suspect fail kind (std, range) period min_readings (2); without period the recording is one\n"
    "  climatology     spans, as in '1-3:10..20; 4-9@08:00-20:00:15..28(5..35)'\n"
    "  gap             limit\n"
    "  codes           values, as in -127,85\n"
    "  neighbour       points suspect fail (with --point)\n"
    "  syntax          a reading is well formed; lines that are not are told"
)

STORE = "store:"
NEVER = 2**60
"""A recording says nothing of how soon a point goes stale."""
_FLAGS = {1: "pass", 2: "not evaluated", 3: "suspect", 4: "fail", 9: "missing"}
_MOST_SPANS = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """TEST, RECORDING, KEY=VALUE..., --point, --timezone, --strict, --json."""
    parser.add_argument("test", metavar="TEST", help="the quality test; see below")
    parser.add_argument(
        "recording",
        metavar="RECORDING",
        help="CSV or SenML JSON, gzipped or not; or store: for what the daemon has kept",
    )
    parser.add_argument("pairs", metavar="KEY=VALUE", nargs="*", help="the settings of the test")
    parser.add_argument("--point", metavar="P", help="this point alone; left out, every point of the recording")
    parser.add_argument("--timezone", default="UTC", metavar="ZONE", help="of months, hours and times without offset")
    parser.add_argument("--strict", action="store_true", help="stop at the first line that cannot be read")
    site = os.environ.get("TIDEBED_SITE", "site.toml")
    parser.add_argument("--site", default=site, metavar="SITE", help="the site file, where the recording is store:")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: judged, whatever it found."""
    pairs = parse_pairs(arguments.pairs, "suspect=0.5")
    check = _checked(arguments.test, pairs)
    recording = _stored(arguments) if arguments.recording == STORE else _recorded(arguments)
    names = _names(recording, arguments.point)
    if not names:
        print(f"{arguments.recording} holds no readings", file=sys.stderr)
    found = {name: _told(check, recording, name, arguments.timezone) for name in names}
    if arguments.json:
        for line in _lines(recording, found):
            sys.stdout.write(line)
    else:
        for name, flags in found.items():
            _print(recording.blocks[name], flags, arguments.timezone)
    return 0


def _recorded(arguments: argparse.Namespace) -> Recording:
    from adapters.recordings.read import read_recordings
    from daemon.bench.account import account
    from daemon.bench.source import Recorded

    file = Path(arguments.recording)
    recording = read_recordings([file], None, arguments.timezone, strict=arguments.strict)
    for line in account(Recorded(recording, (file.name,), recording=recording)):
        print(line, file=sys.stderr)
    return recording


def _stored(arguments: argparse.Namespace) -> Recording:
    """Everything that the daemon has kept, as if it were one file."""
    from adapters.recordings.recording import Recording
    from daemon.bench.source import recorded
    from daemon.site.load import load_site
    from rules.block import concatenate

    site = load_site(arguments.site)
    with recorded(site, [STORE]) as found:
        blocks = {
            point.id: concatenate(point.id, found.source.read(point.id, -NEVER, NEVER)) for point in site.plan.points
        }
    return Recording(blocks, {point.id: (point.unit, point.resolution) for point in site.plan.points})


Check = Callable[["Recording", str, str], "Flags"]
"""(recording, point, time zone) -> the flag of each of its readings."""


def _checked(test: str, pairs: dict[str, str]) -> Check:
    """What a test with these settings says; raises SettingError where the words make no sense."""
    from daemon.quality_words import settings_of
    from rules.quality.attenuated import AttenuatedSettings, as_a_whole

    if test == "syntax":
        if pairs:
            raise SettingError(f"syntax has no settings; take out {', '.join(pairs)}")
        return _syntax
    is_whole = test == "attenuated" and "period" not in pairs
    settings = settings_of(test, {**pairs, "period": "1 s"} if is_whole else pairs)

    def check(recording: Recording, name: str, timezone: str) -> Flags:
        from rules.local_time import Zone
        from rules.quality.all_points import final_flags

        for other in getattr(settings, "points", ()):
            _names(recording, other)
        if is_whole and isinstance(settings, AttenuatedSettings):
            return as_a_whole(settings, _point(recording, name), recording.blocks[name])
        points = [_point(recording, each, settings if each == name else None) for each in recording.blocks]
        return final_flags(points, recording.blocks, Zone(timezone))[name]

    return check


def _told(check: Check, recording: Recording, name: str, timezone: str) -> Flags:
    """What the test says of a point; a unit that does not fit is told with the point that it does not fit."""
    try:
        return check(recording, name, timezone)
    except UnitError as error:
        unit = recording.series[name][0]
        mend = f"it is in {unit}" if unit not in ("", "1") else "the recording names no unit for it; write bare numbers"
        raise SettingError(f"{name}: {error}; {mend}, or name the point with --point") from None


def _syntax(recording: Recording, name: str, timezone: str) -> Flags:
    import numpy as np

    from rules.flags import Flag
    from rules.quality.syntax import syntax_flag

    missing = recording.blocks[name].flags == Flag.MISSING
    return np.where(missing, syntax_flag(has_value=False), syntax_flag(has_value=True)).astype(np.uint8)


def _point(recording: Recording, name: str, settings: QualitySettings | None = None) -> PointPlan:
    """A point as the recording has it; where its unit is not known, settings must be bare numbers."""
    from rules.plan import PointPlan
    from rules.units import parse_unit

    unit, resolution = recording.series[name]
    try:
        parse_unit(unit)
    except UnitError:
        unit = "1"
    return PointPlan(name, "ratio", unit, resolution, stale_after=NEVER, quality=(settings,) if settings else ())


def _names(recording: Recording, point: str | None) -> list[str]:
    if point is None:
        return recording.points()
    if point not in recording.points():
        raise SettingError(f"the recording has no point {point!r}; {nearest(point, recording.points(), kind='points')}")
    return [point]


def _lines(recording: Recording, found: dict[str, Flags]) -> Iterator[str]:
    """A JSON line for every reading, in order of time."""
    import numpy as np

    from rules.door import as_float
    from rules.events import show_time

    names = list(found)
    if not names:
        return
    blocks = [recording.blocks[name] for name in names]
    times = np.concatenate([part.times for part in blocks])
    places = np.repeat(np.arange(len(names)), [len(part) for part in blocks])
    counts, flags = np.concatenate([part.values for part in blocks]), np.concatenate(list(found.values()))
    order = np.lexsort((places, times))
    resolutions = [recording.series[name][1] for name in names]
    for time, place, count, flag in zip(*(c[order].tolist() for c in (times, places, counts, flags)), strict=True):
        value = None if flag == 9 else as_float(count, resolutions[place])
        line = {"t": show_time(time), "point": names[place], "value": value, "flag": flag}
        yield json.dumps(line, ensure_ascii=False) + "\n"


def _print(part: Block, flags: Flags, timezone: str) -> None:
    """How many readings got which flag, and the spans of those that did not pass."""
    from rules.local_time import Zone

    counts = Counter(flags.tolist())
    told = ", ".join(f"{counts[flag]:,} {word}" for flag, word in _FLAGS.items() if counts[flag])
    print(f"{part.point}: {len(part):,} readings: {told}")
    zone = Zone(timezone)
    spans = list(_spans(part.times.tolist(), flags.tolist()))
    for flag, first, last, count in spans[:_MOST_SPANS]:
        begin, end = (f"{zone.moment(time):%Y-%m-%d %H:%M:%S}" for time in (first, last))
        until = "" if count == 1 else f" to {end} ({count:,} readings)"
        print(f"  {_FLAGS[flag]:<8} {begin}{until}")
    if len(spans) > _MOST_SPANS:
        print(f"  and {len(spans) - _MOST_SPANS:,} more spans; --json shows every reading")


def _spans(times: list[int], flags: list[int]) -> Iterator[tuple[int, int, int, int]]:
    """(flag, first time, last time, how many) of each run of readings that are suspect or fail."""
    begin = 0
    for index in range(1, len(flags) + 1):
        if index == len(flags) or flags[index] != flags[begin]:
            if flags[begin] in (3, 4):
                yield flags[begin], times[begin], times[index - 1], index - begin
            begin = index
