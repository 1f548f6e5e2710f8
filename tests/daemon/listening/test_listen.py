"""Does listening find what is there, guess it with a reason, and write a site file that is right and runs?"""

from __future__ import annotations

import io
import json
import threading
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import cbor2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paho.mqtt import publish
from rich.console import Console

from adapters.modbus.settings import ModbusSettings
from adapters.sdi12.settings import Sdi12Settings
from adapters.sysfs.settings import SysfsSettings
from daemon.listening.asking import answer_of
from daemon.listening.guess import guess
from daemon.listening.heard import Heard, Place
from daemon.listening.limits import Chosen, rules_of
from daemon.listening.naming import is_id, name_for
from daemon.listening.payloads import columns_in, form_of, numbers_in
from daemon.listening.shown import table_of
from daemon.listening.site_text import Named, expect_every, resolution, site_text
from daemon.main import main
from daemon.site.load import load_site, problems_of, site_from_text
from demo_replay.replay import replay
from rules.errors import SettingError
from tests.adapters.modbus.servers import Slaves, device, tcp_server
from tests.adapters.sdi12.probes import Probe, ProbeBus
from tests.adapters.wires import Answering, Wire
from tests.brokers import Broker, broker
from tests.replays import moves, recording

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


def chosen(point: str, quantity: str, unit: str, middle: str) -> Chosen:
    return Chosen(point, quantity, unit, Decimal(middle), 10_000, point.replace(".", "/"))


FLOW = chosen("return.flow", "flow", "L/min", "22.5")
PUMP = chosen("pump.current", "current", "A", "1.8")
BEDS = [chosen(f"bed{at}.level", "level", "cm", "14") for at in (1, 2, 3)]


def stops_at(points: list[Chosen], stopped: int, hours: int, broken: str = "") -> list[tuple[int, str, str]]:
    """What is said of water that stops after so many minutes (0: never), minute by minute.

    A bed fills for 20 min and is emptied, each at its own time. broken: a point that shows nothing from an hour on.
    """
    lines = ["[site]", 'name = "x"', 'timezone = "UTC"']
    for point in points:
        lines += ["[[point]]", f'id = "{point.id}"', f'quantity = "{point.quantity}"', f'unit = "{point.unit}"',
                  'resolution = 0.01', 'expect_every = "1 min"']  # fmt: skip
    lines += [text for text in rules_of(points) if '"stopped"' in text]
    plan = site_from_text("\n".join(lines), Path("site.toml")).plan
    values = {}
    for at, point in enumerate(points):
        level = [((min(minute, stopped) if stopped else minute) + 7 * at) % 20 * 100 for minute in range(60 * hours)]
        runs = [round(point.middle * 100) if not stopped or minute < stopped else 0 for minute in range(60 * hours)]
        values[point.id] = level if point.quantity == "level" else runs
        if point.id == broken:
            values[point.id][60:] = [0] * (60 * hours - 60)
    return moves(replay(plan, recording(values)).events)


@pytest.mark.parametrize(
    ("points", "broken", "after"),
    [
        ([FLOW, PUMP], "", (1, 3)),
        ([FLOW, PUMP, *BEDS], "", (1, 3)),
        ([FLOW], "", (1, 3)),
        ([FLOW, *BEDS], "", (10, 17)),
        (BEDS, "", (50, 61)),
        ([PUMP, BEDS[0]], "", (10, 17)),
    ],
)
def test_the_rule_that_is_written_tells_when_the_water_stops(
    points: list[Chosen], broken: str, after: tuple[int, int]
) -> None:
    """Within minutes by two meters, when no bed has moved for a while by one, and by beds alone within the hour."""
    said = stops_at(points, 120, 4, broken)
    assert [(rule, state) for _, rule, state in said] == [("water.stopped", "unacknowledged")]
    assert after[0] <= said[0][0] - 120 <= after[1]


@pytest.mark.parametrize(("points", "broken"), [([FLOW, PUMP, *BEDS], ""), ([FLOW, PUMP, *BEDS], "return.flow"),
                                                ([FLOW, *BEDS], "return.flow"), ([FLOW, PUMP], "pump.current"),
                                                (BEDS, "bed2.level")])  # fmt: skip
def test_the_rule_that_is_written_cries_no_wolf(points: list[Chosen], broken: str) -> None:
    """Neither while all runs nor when one meter or one bed shows nothing any more."""
    assert stops_at(points, 0, 4, broken) == []


def test_every_rule_that_is_written_says_what_to_do_first() -> None:
    """An alarm needs a response (ISA-18.2)."""
    oxygen = chosen("tank.oxygen", "dissolved_oxygen", "mg/L", "6.5")
    for text in rules_of([FLOW, PUMP, *BEDS, oxygen]):
        assert '\ndo = "' in text, text


def test_what_is_not_the_waters_tells_nothing_of_it() -> None:
    """A tank's level, a fan's current; the file says that nothing watches the water, and why."""
    fan = chosen("fan.current", "current", "A", "0.4")
    for points in ([chosen("tank.level", "level", "cm", "0")], [fan]):
        (said,) = (text for text in rules_of(points) if "water" in text)
        assert said.startswith("# Nothing that was heard tells when the water stops")


def test_deadbands_and_delays_begin_with_what_is_published_for_the_signal() -> None:
    """At least 1 % of a pH probe's span, with the source beside; what the trade is used to where that is wider."""
    ph = Chosen("tank.ph", "ph", "pH", Decimal("6.8"), 60_000, "tank/ph")
    air = Chosen("house.air", "air_temperature", "degC", Decimal(22), 60_000, "house/air")
    text = "".join(rules_of([ph, air]))
    assert "deadband = 0.14   # 1 % of a span of 14 (EEMUA 191, as quoted)" in text
    assert "deadband = 1\n" in text
    assert 'on_delay = "15 min"' in text


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
                    ("farm/bed", cbor2.dumps([{0: "bed1/moisture", 1: "%", 2: 0.31}]), 0, False),
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
        "bed1.moisture": "soil_moisture",
    }
    assert "water.stopped" in {rule.id for rule in site.plan.rules}
    assert main(["check", str(out)]) == 0
    assert main(["listen", "127.0.0.1", "--yes", "--out", str(out)]) == 2
    assert "is there already" in capsys.readouterr().err


def test_what_the_broker_had_kept_is_not_said_to_be_silent(broker: Broker, tmp_path: Path) -> None:
    """Whether it ever comes again was not heard; a place that came is watched for its silence."""
    publish.single("farm/roof/lux", "20000", retain=True, hostname="127.0.0.1", port=broker.port)
    out = tmp_path / "site.toml"
    assert main(["listen", f"127.0.0.1:{broker.port}", "--for", "500 ms", "--yes", "--out", str(out)]) == 0
    site = load_site(out)
    assert [point.id for point in site.plan.points] == ["roof.lux"]
    assert list(site.plan.rules) == []
    assert "roof.lux did not come while we listened" in out.read_text()


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
    assert {point.id: point.quantity for point in site.plan.points} == {
        "water.temp": "water_temperature",
        "column.ph": "ph",
    }
    assert json.loads(capsys.readouterr().out.splitlines()[0])["interval_s"] > 0


def test_the_kernels_sensors_are_found(tmp_path: Path) -> None:
    """One-wire probes by their numbers, channels with the unit that the kernel names; expected as often as asked."""
    probe = tmp_path / "bus/w1/devices/28-0316a2795aff"
    probe.mkdir(parents=True)
    data = "73 01 4b 46 7f ff 0d 10 41"
    (probe / "w1_slave").write_text(f"{data} : crc=41 YES\n{data} t=23187\n")
    sensor = tmp_path / "bus/iio/devices/iio:device0"
    sensor.mkdir(parents=True)
    (sensor / "in_humidityrelative_input").write_text("48312\n")
    out = tmp_path / "site.toml"
    assert main(["listen", str(tmp_path), "--for", "1 s", "--yes", "--out", str(out)]) == 0
    site = load_site(out)
    assert {point.quantity for point in site.plan.points} == {"air_temperature", "relative_humidity"}
    (table,) = site.adapters.values()
    assert isinstance(table.settings, SysfsSettings)
    assert all(point.expect_every == table.settings.every for point in site.plan.points)


def answers(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(line + "\n" for line in lines)))


def test_probes_of_an_sdi12_bus_are_asked_for_and_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By their addresses; a probe of version 1.4 tells its units, of another the keeper says them."""
    wire, out = Wire(tmp_path), tmp_path / "site.toml"
    probe = Probe("1", ["+24.5", "+7.25"], seconds=0, meanings=[("TW", "degC"), ("DO", "mg/L")])
    older = Probe("4", ["+31.5"], identity="12TIDEFARMWET   100", seconds=0)
    answers(monkeypatch, "tank.temperature water_temperature", "", "bed1.moisture soil_moisture %")
    with Answering(wire, ProbeBus(probe, older).answer):
        assert main(["listen", str(wire.path), "--sdi12", "0-5", "--for", "1 s", "--out", str(out)]) == 0
    site = load_site(out)
    assert {point.id: (point.quantity, point.unit) for point in site.plan.points} == {
        "tank.temperature": ("water_temperature", "degC"),
        "probe1.value2": ("dissolved_oxygen", "mg/L"),
        "bed1.moisture": ("soil_moisture", "%"),
    }
    (table,) = site.adapters.values()
    assert isinstance(table.settings, Sdi12Settings)
    assert [(p.address, p.command, p.is_, len(p.values)) for p in table.settings.probes] == [
        ("1", "MC", "TIDEFARM SOIL-2 100 S/N 0042", 2), ("4", "M", "TIDEFARM WET 100", 1)
    ]  # fmt: skip
    assert all(point.expect_every == table.settings.every for point in site.plan.points)


def test_registers_of_modbus_devices_are_read_when_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Over TCP and on a serial line; the keeper says what they are and by what they are multiplied."""
    out = tmp_path / "site.toml"
    answers(monkeypatch, "-", "return.flow flow L/min 0.01", "x depth", "-", "x current degC", "-", "-", "-")
    with tcp_server([device(2, [7, 2250, 65535])]) as port:
        where = ["listen", f"127.0.0.1:{port}", "--modbus", "2-3", "--registers", "0-2", "--for", "1 s"]
        assert main([*where, "--out", str(out)]) == 0
        assert main([*where, "--yes", "--out", str(tmp_path / "other.toml")]) == 1
    assert "without --yes you can say what each is" in capsys.readouterr().err
    site = load_site(out)
    (table,) = site.adapters.values()
    assert isinstance(table.settings, ModbusSettings)
    (register,) = table.settings.registers
    assert (register.unit_id, register.table, register.address, register.scale) == (2, "holding", 1, Decimal("0.01"))
    assert site.plan.points[0].resolution == Fraction(1, 100)
    assert "under = 5.6" in out.read_text()
    wire = Wire(tmp_path)
    answers(monkeypatch, "tank.temperature water_temperature degC 0.1", "-")
    with Answering(wire, Slaves({5: [245]}).answer):
        asked = ["listen", str(wire.path), "--modbus", "5", "--registers", "0", "--baud", "115200", "--for", "1 s"]
        assert main([*asked, "--out", str(tmp_path / "line.toml")]) == 0
    assert load_site(tmp_path / "line.toml").plan.points[0].resolution == Fraction(1, 10)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Tank", "a name has small letters"),
        ("bed1.level", "is taken"),
        ("", None),
        ("-", None),
        ("tank.level", "what does it measure"),
        ("tank.level depth", "no quantity"),
        ("tank.level level degC", "not measured in"),
        ("tank.level level furlong", "not known"),
        ("tank.level level cm 0.1", "for registers alone"),
        ("tank.level level cm 1 2", "at most"),
    ],
)
def test_an_answer_that_cannot_be_used_is_told_why(line: str, told: str | None) -> None:
    """Where nothing is guessed an empty line leaves it out."""
    odd = place("a/b", "3")
    if told is None:
        assert answer_of(line, odd, "a.b", None, ["bed1.level"]) is None
    else:
        with pytest.raises(SettingError, match=told):
            answer_of(line, odd, "a.b", None, ["bed1.level"])


def test_what_is_sent_in_degrees_is_no_level() -> None:
    """A quantity that the sender's own unit contradicts is refused; without a unit the sender's is taken."""
    sent = place("a/b", "70.1", unit="degF")
    with pytest.raises(SettingError, match="it is sent in degF"):
        answer_of("tank.level level cm", sent, "a.b", None, [])
    found = answer_of("tank.temperature water_temperature", sent, "a.b", None, [])
    assert found is not None
    assert (found.guess.quantity, found.guess.unit) == ("water_temperature", "degF")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["localhost", "--sdi12"], "for a serial port"),
        (["/dev/x", "--sdi12", "--modbus", "1"], "SDI-12 or Modbus"),
        (["/dev/x", "--sdi12", "0-?"], "no address"),
        (["/dev/x", "--modbus", "0-300"], "no span"),
        (["x:y"], "no folder"),
    ],
)
def test_what_cannot_be_asked_is_told(options: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is opened."""
    assert main(["listen", *options, "--yes", "--out", "no-such-file.toml"]) == 2
    assert told in capsys.readouterr().err


def test_the_table_on_the_screen_shows_all_that_is_known() -> None:
    """Address, value, interval, finest step, the guess with its reason, and what holds no number."""
    heard = Heard()
    for at in range(3):
        heard.add("farm/return/flow", {}, Decimal("22.50"), 10.0 * at)
    heard.what_not["farm/mode"] = "auto\x1b[2J"
    screen = Console(width=140, record=True, file=io.StringIO())
    screen.print(table_of(heard, 12.0))
    said = screen.export_text()
    for part in (
        "farm/return/flow",
        "22.50",
        "every 10 s",
        "to 0.01",
        'flow in L/min: "flow" in its name',
        "12 s left",
    ):
        assert part in said
    assert "auto?[2J" in said


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
