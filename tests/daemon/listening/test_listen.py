"""Does listening find what is there, guess it with a reason, and write a site file that is right and runs?"""

from __future__ import annotations

import json
import threading
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paho.mqtt import publish

from daemon.listening.guess import guess
from daemon.listening.heard import Heard, Place
from daemon.listening.limits import Chosen, rules_of
from daemon.listening.naming import is_id, name_for
from daemon.listening.payloads import columns_in, form_of, numbers_in
from daemon.listening.site_text import Named, expect_every, resolution, site_text
from daemon.main import main
from daemon.site.load import load_site, problems_of, site_from_text
from tests.adapters.wires import Wire
from tests.brokers import Broker, broker

__all__ = ["broker"]


def place(address: str, *values: str, unit: str | None = None, every: float = 10.0) -> Place:
    return Place(address, {"topic": address}, unit, False, [Decimal(v) for v in values],
                 [every * at for at in range(len(values))])  # fmt: skip


@pytest.mark.parametrize(
    ("address", "value", "unit", "quantity", "guessed"),
    [
        ("house/tank/temperature", "24.5", None, "water_temperature", "degC"),
        ("house/bench/airTemp", "78.1", None, "air_temperature", "degF"),
        ("tank /do", "7.2", None, "dissolved_oxygen", "mg/L"),
        ("tank/ph", "6.9", None, "ph", "pH"),
        ("pump/current", "1.8", None, "current", "A"),
        ("pump/current", "1800", None, "current", "mA"),
        ("return/flow", "22.5", None, "flow", "L/min"),
        ("bed2/level", "14.2", None, "level", "cm"),
        ("a/b", "24.5", "degC", "air_temperature", "degC"),
        ("x/rh", "61", "%", "relative_humidity", "%"),
        ("baro/pressure", "1013.2", None, "pressure", "hPa"),
        ("tank/ec", "1.4", None, "conductivity", "mS/cm"),
    ],
)
def test_a_guess_rests_on_words_units_and_values(
    address: str, value: str, unit: str | None, quantity: str, guessed: str
) -> None:
    """And says on which."""
    found = guess(place(address, value, value, unit=unit))
    assert found is not None
    assert (found.quantity, found.unit) == (quantity, guessed)
    assert found.why


def test_what_nothing_speaks_for_is_not_guessed() -> None:
    """An unknown word, or a value that no such probe can show; 0 and 1 alone are a state."""
    assert guess(place("a/b", "17.3")) is None
    assert guess(place("tank/ph", "70")) is None
    assert guess(place("tank/oxygen", "96")) is None
    found = guess(place("a/b", "0", "1", "0"))
    assert found is not None
    assert found.quantity == "state"


def test_numbers_are_found_in_every_form_of_message() -> None:
    """Plain, JSON however deep, SenML with its units as everybody writes them; times and counters are left."""
    assert numbers_in(b" 21.50 ")[0].value == Decimal("21.50")
    assert [(f.where, f.value) for f in numbers_in(b'{"water":{"temp":21.5,"ts":1},"on":true,"l":[1]}')] == [
        ("/water/temp", Decimal("21.5")), ("/on", True), ("/l/0", Decimal(1))
    ]  # fmt: skip
    # RFC 8428 section 5.1.2 in form; %RH is per cent
    packed = numbers_in(b'[{"bn":"urn:dev:ow:10e2:","n":"temp","u":"Cel","v":23.1},{"n":"rh","u":"%RH","v":61}]')
    assert [(f.payload, f.where, f.unit) for f in packed] == [
        ("senml", "urn:dev:ow:10e2:temp", "degC"), ("senml", "urn:dev:ow:10e2:rh", "%")
    ]  # fmt: skip
    assert numbers_in(b"on") == numbers_in(b"\xff{") == []


@pytest.mark.parametrize(
    ("line", "form", "numbers"),
    [
        (b"21.5", "number", {"": 21.5}),
        (b"21.5;7.2", "csv", {1: 21.5, 2: 7.2}),
        (b"$TANK,21.5,7.2", "csv", {2: 21.5, 3: 7.2}),
        (b"t=21.5 do=7.2", "pairs", {"t": 21.5, "do": 7.2}),
        (b"t:21.5,do:7.2", "pairs", {"t": 21.5, "do": 7.2}),
        (b'{"t":21.5}', "json", {"/t": 21.5}),
    ],
)
def test_the_form_of_a_line_is_found(line: bytes, form: str, numbers: dict[str | int, float]) -> None:
    """And its numbers with their places."""
    found = form_of(line)
    assert found is not None
    assert found.line == form
    assert {key: float(value) for key, value in columns_in(line, found)} == numbers


@given(st.binary(max_size=80))
def test_any_bytes_can_be_listened_to(data: bytes) -> None:
    """No form is found or its numbers are; nothing is raised."""
    assert all(found.payload in ("plain", "json", "senml") for found in numbers_in(data))
    form = form_of(data)
    assert form is None or form.line != "csv" or any(columns_in(data, form))


@given(st.lists(st.text(max_size=30), max_size=8))
def test_names_are_ids_and_none_stands_twice(addresses: list[str]) -> None:
    """Whatever the addresses are."""
    names: list[str] = []
    for address in addresses:
        names.append(name_for(address, names))
    assert all(map(is_id, names))
    assert len(set(names)) == len(names)


def test_interval_and_resolution_are_those_heard() -> None:
    """Up to the next usual interval; after few values the finer of what was heard and what is usual."""
    known = guess(place("tank/temperature", "24.5"))
    assert known is not None
    many = place("tank/temperature", *["24.5"] * 12, every=29.4)
    assert expect_every(many, 60) == 30_000
    assert resolution(many, known) == Decimal("0.1")
    assert resolution(place("tank/temperature", "24.5"), known) == Decimal("0.001")
    assert expect_every(place("tank/temperature", "24.5"), 60) == 120_000


ODD = st.text(alphabet=st.characters(blacklist_categories=["Cs"]), min_size=1, max_size=20)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.one_of(ODD, st.sampled_from(["tank/temperature", "p/current", "bed1/level", "r/flow", "x/rh", "t/ph"])),
            st.lists(st.decimals("-60", "2000", places=2), min_size=1, max_size=4),
        ),
        min_size=1, max_size=6, unique_by=lambda pair: pair[0],
    ),
)  # fmt: skip
def test_every_file_that_is_written_passes_the_check(found: list[tuple[str, list[Decimal]]]) -> None:
    """Whatever was heard, from whatever address."""
    points: list[Named] = []
    unknown = []
    for address, values in found:
        topic = "".join(char for char in address if char not in "+#\0") or "x"
        one = Place(topic, {"topic": topic}, None, False, values, [5.0 * at for at in range(len(values))])
        guessed = guess(one)
        if guessed is None:
            unknown.append(one)
        else:
            points.append(Named(name_for(topic, [point.id for point in points]), one, guessed))
    if points:
        adapter: dict[str, str | int] = {"kind": "mqtt", "host": "localhost"}
        text = site_text(points, unknown, adapter, "topics", name='Ä "x"', timezone="UTC", listened=60)
        assert problems_of(text) == []


def test_water_that_stops_is_watched_where_something_tells_of_it() -> None:
    """Two of flow, pump and a still bed; a bed that moves speaks against it. A tank's level alone tells nothing."""
    flow = Chosen("return.flow", "flow", "L/min", Decimal("22.5"), 10_000, "return/flow")
    pump = Chosen("pump.current", "current", "A", Decimal("1.8"), 10_000, "pump/current")
    bed = Chosen("bed1.level", "level", "cm", Decimal(14), 30_000, "bed1/level")
    tank = Chosen("tank.level", "level", "cm", Decimal(0), 30_000, "tank/level")
    (rule,) = (text for text in rules_of([flow, pump, bed]) if '"stopped"' in text)
    assert "needed = 2" in rule
    assert "under = 11" in rule
    assert "weight = -1" in rule
    assert not any('"stopped"' in text for text in rules_of([tank]))


def test_from_a_broker_with_unknown_devices_to_a_site_that_is_right(
    broker: Broker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Retained values, plain numbers, JSON and SenML; the file runs by `check`, with a stopped-water rule."""
    ending = threading.Event()

    def devices() -> None:
        while not ending.wait(0.2):
            publish.multiple(
                [
                    ("farm/return/flow", "22.5", 0, False),
                    ("farm/pump/current", "1.81", 0, False),
                    ("farm/box", json.dumps({"tank": {"temperature": 24.512, "oxygen": 7.2}, "ts": 5}), 0, False),
                    (
                        "farm/packs",
                        '[{"n":"bench:rh","u":"%RH","v":61},{"n":"bench:temp","u":"Cel","v":23.1}]',
                        0,
                        False,
                    ),
                    ("farm/mode", "auto", 0, False),
                ],
                hostname="127.0.0.1",
                port=broker.port,
            )

    thread = threading.Thread(target=devices)
    thread.start()
    try:
        out = tmp_path / "site.toml"
        assert main(["listen", f"127.0.0.1:{broker.port}", "--for", "2 s", "--yes", "--out", str(out)]) == 0
    finally:
        ending.set()
        thread.join()
    said = capsys.readouterr().out
    assert "heard farm/return/flow: 22.5" in said
    assert "'auto' holds no number" in said
    site = load_site(out)
    assert {point.id: point.quantity for point in site.plan.points} == {
        "return.flow": "flow",
        "pump.current": "current",
        "tank.temperature": "water_temperature",
        "tank.oxygen": "dissolved_oxygen",
        "bench.rh": "relative_humidity",
        "bench.temp": "air_temperature",
    }
    assert "water.stopped" in {rule.id for rule in site.plan.rules}
    assert main(["check", str(out)]) == 0
    assert main(["listen", "127.0.0.1", "--yes", "--out", str(out)]) == 2
    assert "is there already" in capsys.readouterr().err


def test_a_port_is_listened_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line of words names the columns."""
    wire = Wire(tmp_path)
    ending = threading.Event()

    def board() -> None:
        while not ending.wait(0.1):
            wire.send(b"water temp,ph\r\n21.5,6.9\r\n")

    thread = threading.Thread(target=board)
    thread.start()
    try:
        out = tmp_path / "site.toml"
        assert main(["listen", str(wire.path), "--for", "2 s", "--yes", "--out", str(out), "--json"]) == 0
    finally:
        ending.set()
        thread.join()
    site = site_from_text(out.read_text(), out)
    assert sorted(point.quantity for point in site.plan.points) == ["ph", "water_temperature"]
    assert json.loads(capsys.readouterr().out.splitlines()[0])["interval_s"] > 0


def test_the_kernels_sensors_are_found(tmp_path: Path) -> None:
    """One-wire probes by their numbers, channels with the unit that the kernel names."""
    probe = tmp_path / "bus/w1/devices/28-0316a2795aff"
    probe.mkdir(parents=True)
    data = "73 01 4b 46 7f ff 0d 10 41"
    (probe / "w1_slave").write_text(f"{data} : crc=41 YES\n{data} t=23187\n")
    sensor = tmp_path / "bus/iio/devices/iio:device0"
    sensor.mkdir(parents=True)
    (sensor / "in_humidityrelative_input").write_text("48312\n")
    out = tmp_path / "site.toml"
    assert main(["listen", str(tmp_path), "--for", "1 s", "--yes", "--out", str(out)]) == 0
    assert {point.quantity for point in load_site(out).plan.points} == {"air_temperature", "relative_humidity"}


def test_nothing_heard_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And a port that is not there is told as such."""
    out = tmp_path / "site.toml"
    wire = Wire(tmp_path)
    assert main(["listen", str(wire.path), "--for", "100 ms", "--yes", "--out", str(out)]) == 1
    assert main(["listen", "/dev/no-such-port", "--yes", "--out", str(out)]) == 2
    assert "cannot be opened" in capsys.readouterr().err
    assert not out.exists()


def test_addresses_cannot_fill_the_memory() -> None:
    """Places and values are bounded; the rest is counted."""
    heard = Heard()
    for at in range(700):
        heard.add(str(at), {}, Decimal(1), 0.0)
    assert len(heard.places) == 500
    assert heard.left_out == 200
