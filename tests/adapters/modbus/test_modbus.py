"""Are registers understood, read together, and read on while a device is slow, silent or wrong?"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.backoff import Backoff
from adapters.checks import crc16
from adapters.modbus.connection import ModbusAdapter
from adapters.modbus.registers import LARGEST_READ, grouped, value_of
from adapters.modbus.settings import ModbusSettings, RegisterSettings
from rules.errors import ValueRefused
from tests.adapters.modbus.servers import Slaves, crc_of_the_standard, device, tcp_server
from tests.adapters.wires import NOW, Answering, Kept, MovedClock, Quick, Wire
from tests.brokers import free_port
from tests.fed_points import POINTS
from tests.waiting import until


def register(**changes: Any) -> RegisterSettings:
    return RegisterSettings.model_validate({"point": "tank.temperature", "address": 0} | changes)


@pytest.mark.parametrize(
    ("frame", "crc"),
    [
        # MODBUS over Serial Line V1.02, figure of section 6.2.2; then computed by hand and seen printed
        ("0207", "4112"),
        ("01030000000A", "C5CD"),
        ("0103006B0003", "7417"),
        ("1103006B0003", "7687"),
        ("010402FFFF", "B880"),
    ],
)
def test_the_crc_is_that_of_the_printed_frames(frame: str, crc: str) -> None:
    """Low byte first; the simulator's agrees."""
    data = bytes.fromhex(frame)
    assert crc16(data, 0xFFFF).to_bytes(2, "little") == bytes.fromhex(crc) == crc_of_the_standard(data)


@pytest.mark.parametrize(
    ("words", "changes", "value"),
    [
        ([0xFFFE], {}, "-2"),
        ([0xFFFE], {"type": "uint16"}, "65534"),
        ([215], {"scale": Decimal("0.1"), "offset": Decimal("-1.5")}, "20.0"),
        ([0x0001, 0x0002], {"type": "int32"}, "65538"),
        ([0x0001, 0x0002], {"type": "int32", "words": "low_first"}, "131073"),
        ([0xFFFF, 0xFFFF], {"type": "uint32"}, "4294967295"),
        ([0x3412], {"bytes": "low_first"}, "4660"),
        # 123.456 as IEEE 754 single: 42 F6 E9 79
        ([0x42F6, 0xE979], {"type": "float32"}, "123.456"),
        ([0xE979, 0x42F6], {"type": "float32", "words": "low_first"}, "123.456"),
        ([0xF642, 0x79E9], {"type": "float32", "bytes": "low_first"}, "123.456"),
    ],
)
def test_registers_are_numbers_by_type_and_order(words: list[int], changes: dict[str, Any], value: str) -> None:
    """Exactly, a float32 as the decimal that was meant."""
    assert value_of(words, register(**changes)) == Decimal(value)


def test_no_value_and_no_number_are_told_apart() -> None:
    """The device's own sign for "none" is a missing reading; NaN is refused."""
    assert value_of([0x8000], register(missing=-32768)) is None
    with pytest.raises(ValueRefused):
        value_of([0x7FC0, 0], register(type="float32"))


@given(st.lists(st.integers(0, 65535), max_size=3), st.sampled_from(["int16", "uint16", "int32", "uint32", "float32"]),
       st.sampled_from(["high_first", "low_first"]), st.sampled_from(["high_first", "low_first"]))  # fmt: skip
def test_any_words_are_a_value_or_refused(words: list[int], kind: str, order: str, within: str) -> None:
    """And what numpy reads from the same bytes is the value."""
    one = register(type=kind, words=order, bytes=within)
    try:
        found = value_of(words, one)
    except ValueRefused:
        return
    swapped = words if order == "high_first" else words[::-1]
    raw = b"".join(struct.pack(">H" if within == "high_first" else "<H", word) for word in swapped)
    expected = np.frombuffer(raw, {"f": ">f4", "i": f">i{len(raw)}", "u": f">u{len(raw)}"}[kind[0]])[0]
    assert found is not None
    assert float(found) == pytest.approx(float(expected), rel=1e-6)


@given(
    st.lists(st.tuples(st.integers(1, 3), st.integers(0, 400), st.sampled_from(["int16", "float32"])), max_size=40),
    st.integers(0, 20),
)
def test_grouped_requests_hold_each_register_once_and_are_no_longer_than_allowed(
    wanted: list[tuple[int, int, str]], gap: int
) -> None:
    """And hold none of another device."""
    registers = [register(unit_id=unit, address=address, type=kind) for unit, address, kind in wanted]
    requests = grouped(registers, 1000, gap)
    assert sorted(map(repr, registers)) == sorted(repr(one) for request in requests for one in request.wanted)
    for request in requests:
        assert request.size <= LARGEST_READ
        for one in request.wanted:
            assert one.unit_id == request.unit_id
            assert request.address <= one.address < request.address + request.size


def test_neighbours_are_read_together() -> None:
    """Up to the gap; one further apart is a request of its own."""
    three = [register(address=0), register(address=1), register(address=5)]
    assert [(r.address, r.size) for r in grouped(three, 1000, 0)] == [(0, 2), (5, 1)]
    assert [(r.address, r.size) for r in grouped(three, 1000, 2)] == [(0, 2), (5, 1)]
    assert [(r.address, r.size) for r in grouped(three, 1000, 3)] == [(0, 6)]


TEMPERATURE = {"point": "tank.temperature", "unit_id": 1, "address": 0, "scale": "0.1"}
OXYGEN = {"point": "tank.oxygen", "unit_id": 2, "address": 1, "type": "float32", "table": "input"}
FLOW = {"point": "loop.flow", "unit_id": 3, "address": 0, "scale": "0.01"}
FLOAT = [0x40E8, 0x0000]  # 7.25


@contextmanager
def polling(kept: Kept, *registers: dict[str, Any], **way: Any) -> Iterator[ModbusAdapter]:
    table = {"every": "10 s", "answer_within": "150 ms", "registers": list(registers)} | way
    settings = ModbusSettings.model_validate(table)
    made = ModbusAdapter(settings, POINTS, "x", pace=Quick(), backoff=Backoff(0.5, 5))
    made.start(kept, MovedClock())
    try:
        yield made
    finally:
        made.stop()


def test_a_server_of_another_making_is_read_over_tcp() -> None:
    """pymodbus's own, holding and input registers, of two devices."""
    kept = Kept()
    with (
        tcp_server([device(1, [215, 0]), device(2, [0, *FLOAT])]) as port,
        polling(kept, TEMPERATURE, OXYGEN, host="127.0.0.1", tcp_port=port) as adapter,
    ):
        until(lambda: {reading.point for reading in kept.readings()} == {"tank.temperature", "tank.oxygen"})
        assert {(r.point, r.time, r.counts) for r in kept.readings()} == {
            ("tank.temperature", NOW, 21500),
            ("tank.oxygen", NOW, 725),
        }
        until(lambda: adapter.health().state == "connected")
        assert adapter.health().refused == {}


def test_a_slow_device_over_tcp_delays_none() -> None:
    """It never answers in time; the other is read round after round."""
    kept = Kept()
    with (
        tcp_server([device(1, [215, 0]), device(2, [0, *FLOAT], delay=[1.0])]) as port,
        polling(kept, TEMPERATURE, OXYGEN, host="127.0.0.1", tcp_port=port, every="2 s") as adapter,
    ):
        until(lambda: adapter.health().refused["no answer"] >= 2)
        assert kept.counts().count(21500) > 2 * adapter.health().refused["no answer"]
        assert 725 not in kept.counts()


def test_a_register_that_is_not_there_is_told_with_the_devices_reason() -> None:
    """Exception 2 of the protocol, by its name."""
    kept = Kept()
    with (
        tcp_server([device(1, [215])]) as port,
        polling(kept, TEMPERATURE | {"address": 9}, host="127.0.0.1", tcp_port=port) as adapter,
    ):
        until(lambda: adapter.health().refused["device refuses"])
        assert "illegal data address" in adapter.health().last_error


def test_a_server_that_is_not_there_is_waited_for() -> None:
    """Health says what and where."""
    kept, port = Kept(), free_port()
    with polling(kept, TEMPERATURE, host="127.0.0.1", tcp_port=port) as adapter:
        until(lambda: adapter.health().state == "waiting" and str(port) in adapter.health().last_error)


def test_slaves_of_a_serial_line_are_read_and_bad_sums_dropped(tmp_path: Path) -> None:
    """One CRC in ten is wrong: counted, and no wrong value comes through."""
    wire, kept = Wire(tmp_path), Kept()
    slaves = Slaves({1: [215], 2: [0, *FLOAT]}, spoil=10)
    with (
        Answering(wire, slaves.answer),
        polling(kept, TEMPERATURE, OXYGEN, port=str(wire.path), baud=115200, every="1 s") as adapter,
    ):
        until(lambda: len(kept.counts()) >= 40)
        assert set(kept.counts()) == {21500, 725}
        assert adapter.health().refused["no answer"] >= 2


def test_a_silent_slave_is_asked_less_often(tmp_path: Path) -> None:
    """The others go on; it is taken up again when it answers."""
    wire, kept = Wire(tmp_path), Kept()
    slaves = Slaves({1: [215], 3: [850]})
    slaves.silent.add(3)
    with (
        Answering(wire, slaves.answer),
        polling(kept, TEMPERATURE, FLOW, port=str(wire.path), baud=115200, every="2 s") as adapter,
    ):
        until(lambda: kept.counts().count(21500) >= 30)
        assert adapter.health().refused["no answer"] <= 8
        slaves.silent.clear()
        until(lambda: 850 in kept.counts())


def test_an_answer_that_comes_late_is_not_taken_for_another(tmp_path: Path) -> None:
    """Two questions of the same shape to one slave: no value ever stands at the other's point."""
    wire, kept = Wire(tmp_path), Kept()
    slaves = Slaves({1: [215, 0, 0, 0, 0, 850]})
    second = FLOW | {"unit_id": 1, "address": 5}
    with (
        Answering(wire, slaves.answer),
        polling(kept, TEMPERATURE, second, port=str(wire.path), baud=115200, every="2 s") as adapter,
    ):
        until(lambda: len(kept.counts()) >= 4)
        slaves.late[1] = 0.2
        until(lambda: adapter.health().refused["no answer"] >= 3)
        slaves.late.clear()
        before = len(kept.counts())
        until(lambda: len(kept.counts()) >= before + 4)
        assert {(r.point, r.counts) for r in kept.readings()} == {("tank.temperature", 21500), ("loop.flow", 850)}


@pytest.mark.parametrize(
    "changes",
    [{}, {"host": "a", "port": "b"}, {"host": "a", "registers": []}, {"host": "a", "registers": [{"point": "x"}]}],
)
def test_settings_that_do_not_fit_are_refused(changes: dict[str, Any]) -> None:
    """No way, two ways, no register, no address."""
    with pytest.raises(ValidationError):
        ModbusSettings.model_validate({"registers": [TEMPERATURE]} | changes)
