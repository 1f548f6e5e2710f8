"""Does every decoder turn any bytes into readings or counted refusals?

By hand: python -m tests.faults.fuzz_decoders 100000. The default test run has the same laws with few examples; this one
gives each decoder as many lines as it is told, made by changing, dropping, doubling and exchanging bytes of good ones.
"""

from __future__ import annotations

import random
import sys
import time
from collections import Counter
from collections.abc import Callable

import cbor2

from adapters.checks import xor8
from adapters.modbus.registers import value_of
from adapters.modbus.settings import WIDTH, RegisterSettings
from adapters.mqtt.decode import Decoder
from adapters.mqtt.settings import MqttSettings
from adapters.payloads.decoded import Decoded
from adapters.sdi12.replies import ReplyRefused, body, crc_text, parse_identity, parse_measuring, parse_values
from adapters.serial_line.cutting import Cutter
from adapters.serial_line.decode import LineDecoder
from adapters.serial_line.settings import SerialLineSettings
from adapters.sysfs.texts import TextRefused, number, one_wire_temperature
from daemon.listening.payloads import numbers_in
from rules.errors import ValueRefused
from tests.fed_points import POINTS

NOW = 1_775_182_470_000
Try = Callable[[bytes], bool]
"""Whether the bytes were read or refused with a cause; raises nothing."""


def spoiled(good: bytes, chance: random.Random) -> bytes:
    """A good line with a few faults of a wire, or noise alone."""
    data = bytearray(good if chance.random() < 0.9 else chance.randbytes(chance.randrange(60)))
    for _ in range(chance.randrange(4)):
        at = chance.randrange(len(data) + 1)
        match chance.randrange(4):
            case 0:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                del data[at : at + chance.randrange(4)]
            case 2:
                data[at:at] = data[at : at + chance.randrange(4)]
            case _:
                data[at : at + 2] = data[at : at + 2][::-1]
    return bytes(data)


def decoders() -> dict[str, tuple[bytes, Try]]:
    """name -> (a good line, the decoder)."""
    said = b"TANK,21.5,x,7.25"
    csv: dict[str, object] = {"port": "/", "line": "csv", "fields": [{"point": "tank.temperature", "at": 2}]}
    pairs: dict[str, object] = {"port": "/", "line": "pairs", "fields": [{"point": "tank.temperature", "key": "t"}]}
    json: dict[str, object] = {"port": "/", "line": "json", "fields": [{"point": "tank.temperature", "value": "/t"}]}
    topics = [
        {"topic": "plain", "point": "tank.temperature"},
        {"topic": "each", "payload": "json", "point": "tank.temperature", "each": "/a", "value": "/t"},
        {"topic": "senml", "payload": "senml"},
        {"topic": "cbor", "payload": "senml_cbor"},
    ]
    broker = Decoder("mqtt", MqttSettings.model_validate({"topics": topics}), POINTS)
    wire = b"73 01 4b 46 7f ff 0d 10 41"
    return {
        "csv": (said, _lines(csv)),
        "csv with xor": (b"$%s*%02X" % (said, xor8(said)), _lines(csv | {"checksum": "xor"})),
        "number line": (b" 21.50", _lines({"port": "/", "fields": [{"point": "tank.temperature"}]})),
        "pairs": (b"t=21.5,flow=8", _lines(pairs)),
        "json line": (b'{"t":21.5}', _lines(json)),
        "sdi12 values": (b"0+22.5-61.3" + crc_text(b"0+22.5-61.3") + b"\r\n", _sdi12),
        "one-wire": (wire + b" : crc=41 YES\n" + wire + b" t=23187\n", _one_wire),
        "sysfs number": (b"21500\n", _attribute),
        "modbus words": (b"\x42\xf6\xe9\x79", _words),
        "listening": (b'{"t":21.5}', lambda data: all(found.payload for found in numbers_in(data))),
        "mqtt plain": (b"21.5", _message(broker, "plain")),
        "mqtt array": (b'{"a":[{"t":21.5},{"t":21.6}]}', _message(broker, "each")),
        "senml json": (b'[{"n":"tank.oxygen","u":"kg/m3","v":0.0075}]', _message(broker, "senml")),
        "senml cbor": (cbor2.dumps([{0: "tank.oxygen", 1: "kg/m3", 2: 0.0075}]), _message(broker, "cbor")),
    }


def _heard(found: Decoded) -> bool:
    return bool(found.readings or found.refusals) and all(refusal.cause for refusal in found.refusals)


def _lines(table: dict[str, object]) -> Try:
    decoder = LineDecoder(SerialLineSettings.model_validate(table), POINTS)

    def check(data: bytes) -> bool:
        cutter = Cutter(512)
        cutter.quiet()
        lines, refused = cutter.feed(data + b"\n")
        return all(_heard(decoder.decode(line, NOW)) for line in lines) and bool(lines or refused or not data.strip())

    return check


def _message(decoder: Decoder, topic: str) -> Try:
    def check(data: bytes) -> bool:
        found = decoder.decode(topic, data, False, NOW)
        # A pack of base fields alone is a pack without a record (RFC 8428 section 4.1).
        return bool(found.readings or found.refusals) or topic in ("senml", "cbor")

    return check


def _sdi12(data: bytes) -> bool:
    for parse in (parse_values, parse_measuring, parse_identity):
        for crc in (True, False):
            try:
                parse(body(data, "0", crc=crc))
            except ReplyRefused as error:
                if not error.cause:
                    return False
    return True


def _one_wire(data: bytes) -> bool:
    try:
        one_wire_temperature(data.decode("latin-1"))
    except TextRefused as error:
        return bool(error.cause)
    return True


def _attribute(data: bytes) -> bool:
    try:
        number(data.decode("latin-1"))
    except TextRefused as error:
        return bool(error.cause)
    return True


def _words(data: bytes) -> bool:
    """As the registers of an answer, of whatever length, taken for each type."""
    words = [int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2)]
    for kind in WIDTH:
        try:
            value_of(words, RegisterSettings.model_validate({"point": "tank.temperature", "address": 0, "type": kind}))
        except ValueRefused as error:
            if not str(error):
                return False
    return True


def run(count: int, seed: int) -> Counter[str]:
    """Lines that were neither read nor refused, by decoder; every decoder is named with 0 where there were none."""
    chance = random.Random(seed)
    lost: Counter[str] = Counter()
    for name, (good, check) in decoders().items():
        lost[name] = sum(not check(spoiled(good, chance)) for _ in range(count))
    return lost


if __name__ == "__main__":
    begun = time.monotonic()
    result = run(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000, seed=1)
    for decoder, lost in result.items():
        print(f"{decoder:<14} {lost} lines neither read nor refused")
    print(f"{time.monotonic() - begun:.0f} s")
    sys.exit(1 if result.total() else 0)
