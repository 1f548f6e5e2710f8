"""Are the kernel's text files read as its documents say, with what can be wrong in them?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.backoff import Backoff
from adapters.sysfs.connection import SysfsAdapter
from adapters.sysfs.settings import SysfsSettings
from adapters.sysfs.texts import TextRefused, number, one_wire_temperature, plain_temperature
from rules.flags import Flag
from tests.adapters.wires import NOW, Kept, MovedClock, Quick
from tests.fed_points import POINTS
from tests.waiting import until


def text(data: str, thousandths: int, said: str = "YES") -> str:
    """The two lines of w1_slave for nine bytes."""
    return f"{data} : crc={data[-2:]} {said}\n{data} t={thousandths}\n"


PRINTED = [
    # kernel documents and forum posts, each with a right CRC
    ("73 01 4b 46 7f ff 0d 10 41", 23187),
    ("1d 01 4b 46 7f ff 0c 10 dd", 17812),
    ("f8 ff 4b 46 7f ff 0c 10 c3", -500),
    ("90 fc 4b 46 7f ff 0c 10 4f", -55000),
    ("d0 07 4b 46 7f ff 0c 10 f4", 125000),
    ("a2 00 4b 46 7f ff 0c 10 74", 10125),
]


@pytest.mark.parametrize(("data", "thousandths"), PRINTED)
def test_printed_texts_are_their_temperatures(data: str, thousandths: int) -> None:
    """Also at both ends of the probe's range."""
    assert one_wire_temperature(text(data, thousandths)) == (Decimal(thousandths) / 1000, Flag.NOT_EVALUATED)


def test_the_value_after_power_on_is_suspect() -> None:
    """85 degC is what a probe shows before it has measured; a thousandth beside it is a temperature."""
    assert one_wire_temperature(text("50 05 4b 46 7f ff 0c 10 1c", 85000)) == (Decimal(85), Flag.SUSPECT)
    assert plain_temperature("85000\n") == (Decimal(85), Flag.SUSPECT)
    assert plain_temperature("84999\n")[1] is Flag.NOT_EVALUATED


@pytest.mark.parametrize(
    ("said", "cause"),
    [
        (text("ff 07 4b 46 7f ff 0c 10 a6", 127937), "conversion failed"),
        (text("73 01 4b 46 7f ff 0d 10 41", 23187, "NO"), "bad checksum"),
        (text("74 01 4b 46 7f ff 0d 10 41", 23250), "bad checksum"),
        (text("00 00 00 00 00 00 00 00 00", 0), "probe shorted"),
        (text("ff ff ff ff ff ff ff ff ff", -62), "bad checksum"),
        ("", "empty"),
        ("73 01 4b\n", "not a reading"),
    ],
)
def test_what_is_no_temperature_is_refused(said: str, cause: str) -> None:
    """Also where the text still shows one, as after a failed checksum."""
    with pytest.raises(TextRefused) as told:
        one_wire_temperature(said)
    assert told.value.cause == cause


@given(
    st.one_of(
        st.text(max_size=100), st.from_regex(r"([0-9a-f]{2} ){9}: crc=[0-9a-f]{2} YES\n([0-9a-f]{2} ){9}t=-?\d{1,7}")
    )
)
def test_any_text_is_a_value_or_refused(said: str) -> None:
    """Nothing else is raised."""
    for parse in (one_wire_temperature, plain_temperature, number):
        try:
            parse(said)
        except TextRefused as error:
            assert error.cause  # noqa: PT017 - either outcome is right


class Kernel:
    """A folder that looks like /sys."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def one_wire(self, number: str, said: str) -> None:
        self._write(self.root / "bus/w1/devices" / number / "w1_slave", said)

    def industrial(self, number: int, **files: str) -> None:
        for name, said in files.items():
            self._write(self.root / f"bus/iio/devices/iio:device{number}" / name, said + "\n")

    def _write(self, file: Path, said: str) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(said)


@contextmanager
def polling(kernel: Kernel, kept: Kept, **table: Any) -> Iterator[SysfsAdapter]:
    settings = SysfsSettings.model_validate({"root": kernel.root, "every": "10 s"} | table)
    made = SysfsAdapter(settings, POINTS, "x", pace=Quick(), backoff=Backoff(0.02, 0.1))
    made.start(kept, MovedClock())
    try:
        yield made
    finally:
        made.stop()


ID = "28-0316a2795aff"
PROBE = {"point": "tank.temperature", "id": ID}


def test_sensors_are_read_round_after_round(tmp_path: Path) -> None:
    """One-wire, and raw values with the offset and scale of the channel or of its kind."""
    kernel, kept = Kernel(tmp_path), Kept()
    kernel.one_wire(ID, text("73 01 4b 46 7f ff 0d 10 41", 23187))
    kernel.industrial(0, name="air-sensor", in_humidityrelative_input="48312")
    kernel.industrial(
        1, name="adc", in_voltage3_raw="1000", in_voltage_scale="0.5", in_voltage3_offset="-200", in_temp_raw="5"
    )
    with polling(
        kernel,
        kept,
        one_wire=[PROBE],
        industrial=[
            {"point": "house.humidity", "device": "air-sensor", "channel": "humidityrelative"},
            {"point": "loop.flow", "device": "adc", "channel": "voltage3", "unit": "L/h"},
        ],
    ) as adapter:
        until(lambda: len(kept.readings()) >= 6)
        assert {(r.point, r.time, r.counts, r.flag) for r in kept.readings()} == {
            ("tank.temperature", NOW, 23187, 2),
            ("house.humidity", NOW, 483, 2),
            ("loop.flow", NOW, 667, 2),  # (1000 - 200) * 0.5 = 400 L/h = 6.67 L/min
        }
        assert adapter.health().state == "connected"


def test_a_probe_that_is_gone_is_told_and_comes_back(tmp_path: Path) -> None:
    """The others are read meanwhile."""
    kernel, kept = Kernel(tmp_path), Kept()
    kernel.industrial(0, name="air-sensor", in_humidityrelative_input="50000")
    other = {"point": "house.humidity", "device": "air-sensor", "channel": "humidityrelative"}
    with polling(kernel, kept, one_wire=[PROBE], industrial=[other]) as adapter:
        until(lambda: adapter.health().refused["no such sensor"] >= 2)
        assert 500 in kept.counts()
        assert ID in adapter.health().last_error
        kernel.one_wire(ID, text("50 05 4b 46 7f ff 0c 10 1c", 85000))
        until(lambda: 85000 in kept.counts())
        assert next(r.flag for r in kept.readings() if r.counts == 85000) == Flag.SUSPECT


def test_a_bad_checksum_is_read_again_at_once(tmp_path: Path) -> None:
    """And counted; no value comes of it."""
    kernel, kept = Kernel(tmp_path), Kept()
    kernel.one_wire(ID, text("73 01 4b 46 7f ff 0d 10 41", 23187, "NO"))
    with polling(kernel, kept, one_wire=[PROBE]):
        until(lambda: len(kept.causes()) >= 2)
        assert kept.causes()[:2] == ["retried: bad checksum", "bad checksum"]
        assert kept.counts() == []


def test_two_sensors_of_one_name_must_be_told_apart(tmp_path: Path) -> None:
    """By their folders, which the refusal names."""
    kernel, kept = Kernel(tmp_path), Kept()
    for at in (0, 1):
        kernel.industrial(at, name="air-sensor", in_temp_input="20000")
    sensor = {"point": "tank.temperature", "device": "air-sensor", "channel": "temp"}
    with polling(kernel, kept, industrial=[sensor]) as adapter:
        until(lambda: adapter.health().refused["two of that name"])
        assert "iio:device1" in adapter.health().last_error
    with polling(kernel, kept, industrial=[sensor | {"device": "iio:device1"}]):
        until(lambda: 20000 in kept.counts())


@pytest.mark.parametrize(
    "table",
    [
        {},
        {"one_wire": [{"point": "x", "id": "../etc"}]},
        {"industrial": [{"point": "x", "device": "../a", "channel": "t"}]},
    ],
)
def test_settings_that_do_not_fit_are_refused(table: dict[str, Any]) -> None:
    """No sensor, or a name that leads elsewhere."""
    with pytest.raises(ValidationError):
        SysfsSettings.model_validate(table)
