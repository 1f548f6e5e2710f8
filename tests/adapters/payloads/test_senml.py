"""Is a SenML pack resolved as RFC 8428 says, and are its readings right?"""

from __future__ import annotations

import base64
import json
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.intake import Arrived
from adapters.payloads.doors import Doors
from adapters.payloads.json_text import parse_json
from adapters.payloads.senml import Faulty, PackRefused, Record, decode_senml, resolve
from adapters.payloads.senml_units import SENML_UNITS, everyday, parse_senml_unit
from rules.errors import UnitError
from rules.units import convert, parse_unit
from tests.fed_points import POINTS

NOW = 1_700_000_000_000
DOORS = Doors(POINTS, parse_senml_unit)


def route(name: str) -> str | None:
    return name if name in POINTS else None


def resolved(text: str, now: int | None = NOW) -> list[Record]:
    records = list(resolve(parse_json(text.encode()), now))
    assert not any(isinstance(record, Faulty) for record in records)
    return [record for record in records if isinstance(record, Record)]


def seen(records: list[Record]) -> list[tuple[str, int | None, str | None, object]]:
    return [(record.name, record.time, record.unit, record.value) for record in records]


def test_5_1_1_single_datapoint() -> None:
    """RFC 8428 section 5.1.1: one value, now."""
    records = resolved('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')
    assert seen(records) == [("urn:dev:ow:10e2073a01080063", None, "Cel", Decimal("23.1"))]


def test_5_1_2_multiple_datapoints() -> None:
    """RFC 8428 section 5.1.2: the base name goes before both names."""
    records = resolved(
        '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]'
    )
    assert seen(records) == [
        ("urn:dev:ow:10e2073a01080063:voltage", None, "V", Decimal("120.1")),
        ("urn:dev:ow:10e2073a01080063:current", None, "A", Decimal("1.2")),
    ]


def test_5_1_2_second_with_base_time_unit_and_version() -> None:
    """RFC 8428 section 5.1.2, second example: times add exactly, the own unit wins, each record has the version."""
    records = resolved(
        """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
             "n":"voltage","u":"V","v":120.1},
            {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
            {"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]"""
    )
    voltage, current = "urn:dev:ow:10e2073a0108006:voltage", "urn:dev:ow:10e2073a0108006:current"
    assert sorted(seen(records), key=lambda record: record[1] or 0) == [
        *((current, 1276020071001 + 1000 * i, "A", Decimal(12 + i) / 10) for i in range(5)),
        (voltage, 1276020076001, "V", Decimal("120.1")),
        (current, 1276020076001, "A", Decimal("1.7")),
    ]
    assert {record.version for record in records} == {5}


def test_5_1_2_stream() -> None:
    """RFC 8428 section 5.1.2, third example: nine humidities, ten seconds apart."""
    values = ["21.2", "21.3", "21.4", "21.4", "21.5", "21.5", "21.5", "21.6", "21.7"]
    more = "".join(f',{{"t":{10 * i},"v":{value}}}' for i, value in enumerate(values) if i)
    records = resolved(f'[{{"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":21.2}}{more}]')
    assert seen(records) == [
        ("urn:dev:ow:10e2073a01080063", 1320067464000 + 10000 * i, "%RH", Decimal(value))
        for i, value in enumerate(values)
    ]


def test_5_1_3_multiple_measurements() -> None:
    """RFC 8428 sections 5.1.3 and 5.1.4: thirteen records at five times (longitudes and latitudes shortened)."""
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1320067464, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621}, {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3}, {"u": "lon", "t": 60, "v": 24.30622}, {"u": "lat", "t": 60, "v": 60.07965},
        {"t": 120, "v": 20.7}, {"u": "lon", "t": 120, "v": 24.30623}, {"u": "lat", "t": 120, "v": 60.07966},
        {"u": "%EL", "t": 150, "v": 98},
        {"t": 180, "v": 21.2}, {"u": "lon", "t": 180, "v": 24.30628}, {"u": "lat", "t": 180, "v": 60.07967},
    ]  # fmt: skip
    records = resolved(json.dumps(pack))
    assert len(records) == 13
    times = [1320067464000] * 3 + [1320067524000] * 3 + [1320067584000] * 3 + [1320067614000] + [1320067644000] * 3
    assert [record.time for record in records] == times
    humidity = [record.value for record in records if record.unit == "%RH"]
    assert humidity == [20, Decimal("20.3"), Decimal("20.7"), Decimal("21.2")]
    assert [record.value for record in records if record.unit == "%EL"] == [98]


def test_5_1_5_different_data_types() -> None:
    """RFC 8428 section 5.1.5: number, text, boolean and data; the data are base64url without padding."""
    records = resolved(
        """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"label","vs":"Machine Room"},
            {"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]"""
    )
    assert [(record.kind, record.value) for record in records] == [
        ("v", Decimal("23.1")),
        ("vs", "Machine Room"),
        ("vb", False),
        ("vd", "aGkgCg"),
    ]
    assert base64.urlsafe_b64decode(f"{records[3].value}==") == b"hi \n"


def test_5_1_6_collection_of_resources() -> None:
    """RFC 8428 section 5.1.6: a second base name keeps the first base time."""
    records = resolved(
        """[{"bn":"2001:db8::2/","bt":1320078429,"n":"temperature","u":"Cel","v":25.2},
            {"n":"humidity","u":"%RH","v":30},
            {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]"""
    )
    assert seen(records) == [
        ("2001:db8::2/temperature", 1320078429000, "Cel", Decimal("25.2")),
        ("2001:db8::2/humidity", 1320078429000, "%RH", 30),
        ("2001:db8::1/temperature", 1320078429000, "Cel", Decimal("12.3")),
        ("2001:db8::1/humidity", 1320078429000, "%RH", 67),
    ]


def test_base_values_and_sums_add_in_decimal() -> None:
    """0.1 + 0.2 is 0.3, and a sum needs no value; base fields alone yield nothing."""
    records = resolved('[{"bn":"a","bv":0.1,"bs":100.1},{"v":0.2},{"s":0.2},{"bv":0,"v":0.2,"s":1}]')
    assert [(record.value, record.total) for record in records] == [
        (Decimal("0.3"), None),
        (None, Decimal("100.3")),
        (Decimal("0.2"), Decimal("101.1")),
    ]


def test_a_long_sum_is_not_rounded() -> None:
    """Decimals of more than 28 digits add exactly."""
    records = resolved('[{"n":"a","bv":1000000000000000000000,"v":0.000000000000000001}]')
    assert records[0].value == Decimal("1000000000000000000000.000000000000000001")


@pytest.mark.parametrize(
    ("seconds", "ms"),
    [
        ("-5", NOW - 5000),
        ("5", NOW + 5000),
        ("-0.25", NOW - 250),
        ("268435455", NOW + 268435455000),
        ("268435455.999", NOW + 268435455999),
        ("268435456", 268435456000),
        ("268435457", 268435457000),
        ("0", None),
    ],
)
def test_times_below_2_to_the_28_count_from_now(seconds: str, ms: int | None) -> None:
    """Below, at and above the bound of RFC 8428 section 4.5.3; a time of 0 is now itself."""
    assert resolved(f'[{{"n":"a","t":{seconds},"v":1}}]')[0].time == ms


def test_without_a_now_a_relative_time_is_a_fault() -> None:
    """A recording has no now."""
    (record,) = resolve(parse_json(b'[{"n":"a","t":-5,"v":1}]'), None)
    assert isinstance(record, Faulty)
    assert record.refusal.cause == "bad time"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{}", "an array"),
        ("[]", "no record"),
        ("[1]", "record 1 is no object"),
        ('[{"n":"a","v":1},{"n":"b","v":2,"odd_":1}]', "record 2: the label 'odd_' must be understood"),
        ('[{"bver":11,"n":"a","v":1}]', "version 11 is later than 10"),
        ('[{"bver":0,"n":"a","v":1}]', "no positive whole number"),
        ('[{"bver":9.5,"n":"a","v":1}]', "no positive whole number"),
        ('[{"bver":"10","n":"a","v":1}]', "no value for bver"),
        ('[{"bn":1,"n":"a","v":1}]', "no value for bn"),
        ('[{"bt":"now","n":"a","v":1}]', "no value for bt"),
        ('[{"bt":NaN,"n":"a","v":1}]', "no value for bt"),
        ('[{"bv":1e999,"n":"a","v":1}]', "no value for bv"),
        ('[{"bu":null,"n":"a","v":1}]', "no value for bu"),
    ],
)
def test_a_fault_that_touches_other_records_refuses_the_pack(text: str, told: str) -> None:
    """Base fields hold on, and what must be understood is not: nothing in the pack can be trusted."""
    with pytest.raises(PackRefused, match=told):
        list(resolve(parse_json(text.encode()), NOW))


@pytest.mark.parametrize(
    ("record", "cause"),
    [
        ('{"n":"tank.temperature"}', "no value"),
        ('{"t":5}', "no value"),
        ('{"n":"tank.temperature","v":1,"vb":true}', "not SenML"),
        ('{"n":"tank.temperature","v":"1"}', "not SenML"),
        ('{"n":"tank.temperature","v":true}', "not SenML"),
        ('{"n":"tank.temperature","vb":1}', "not SenML"),
        ('{"n":5,"v":1}', "not SenML"),
        ('{"n":"tank.temperature","t":"now","v":1}', "not SenML"),
        ('{"n":"","v":1}', "bad name"),
        ('{"n":"-tank","v":1}', "bad name"),
        ('{"n":"tank temperature","v":1}', "bad name"),
        ('{"n":"tänk","v":1}', "bad name"),
        ('{"n":"pond","v":1}', "unknown point"),
        ('{"n":"tank.temperature","t":1e29,"v":1}', "bad time"),
        ('{"n":"tank.temperature","s":1}', "sum alone"),
        ('{"n":"tank.temperature","vs":"21.3"}', "not a number"),
        ('{"n":"tank.temperature","vd":"aGkgCg"}', "not a number"),
        ('{"n":"tank.temperature","vb":true}', "not a number"),
        ('{"n":"tank.temperature","v":NaN}', "not a number"),
        ('{"n":"tank.temperature","v":1e50}', "too large"),
        ('{"n":"tank.temperature","u":"V","v":1}', "unit does not fit"),
        ('{"n":"tank.temperature","u":"furlong","v":1}', "unit does not fit"),
    ],
)
def test_a_faulty_record_is_refused_alone(record: str, cause: str) -> None:
    """The record is refused with its cause, and its neighbours are read."""
    pack = f'[{{"n":"pump.on","vb":true}},{record},{{"n":"pump.on","vb":false}}]'
    decoded = decode_senml(pack.encode(), NOW, route, DOORS)
    assert [reading.counts for reading in decoded.readings] == [1, 0]
    assert [refusal.cause for refusal in decoded.refusals] == [cause]


def test_a_label_that_is_not_known_is_passed_over() -> None:
    """RFC 8428 section 4.4: unknown labels are ignored unless they end in `_`."""
    assert len(resolved('[{"n":"a","v":1,"odd":{"deep":[1]}}]')) == 1


def test_readings_of_a_pack() -> None:
    """Times, units and states as a device sends them; null is missing."""
    pack = (
        b'[{"bn":"tank.","bt":1700000000,"n":"temperature","u":"K","v":294.15},'
        b'{"n":"oxygen","u":"kg/m3","v":0.0075},{"n":"temperature","t":60,"u":"Cel","v":null},'
        b'{"bn":"","n":"pump.on","bt":0,"vb":true}]'
    )
    decoded = decode_senml(pack, NOW, route, DOORS)
    assert decoded.refusals == []
    assert decoded.readings == [
        Arrived("tank.temperature", 1700000000000, 21000, 2),  # 294.15 K = 21 degC
        Arrived("tank.oxygen", 1700000000000, 750, 2),  # 0.0075 kg/m3 = 7.5 mg/L
        Arrived("tank.temperature", 1700000060000, 0, 9),
        Arrived("pump.on", None, 1, 2),
    ]


def test_the_per_cent_sign_is_a_ratio_and_percent_rh_is_not() -> None:
    """RFC 8428: 0.35 `%` is 35 per cent, and so is 35 `%RH`."""
    for unit, value in (("%", "0.35"), ("/", "0.35"), ("%RH", "35"), ("/100", "35")):
        pack = f'[{{"n":"house.humidity","u":"{unit}","v":{value}}}]'
        assert decode_senml(pack.encode(), NOW, route, DOORS).readings[0].counts == 350


def test_the_c_of_senml_is_no_celsius() -> None:
    """C is coulomb in SenML; taking it for a temperature would be a guess."""
    decoded = decode_senml(b'[{"n":"tank.temperature","u":"C","v":21}]', NOW, route, DOORS)
    assert [refusal.cause for refusal in decoded.refusals] == ["unit does not fit"]


def test_a_unit_of_the_trade_that_senml_lacks_is_taken_as_it_is() -> None:
    """SenML has no mg/L; a device that sends it is understood."""
    assert decode_senml(b'[{"n":"tank.oxygen","u":"mg/L","v":7.5}]', NOW, route, DOORS).readings[0].counts == 750


@pytest.mark.parametrize(
    ("value", "unit", "primary", "wanted"),
    [
        ("100", "ms", "s", "0.1"),
        ("90", "min", "s", "5400"),
        ("12", "mV", "V", "0.012"),
        ("20", "mA", "A", "0.02"),
        ("950", "hPa", "Pa", "95000"),
        ("15", "cm", "m", "0.15"),
        ("35", "/100", "/", "0.35"),
        ("7500000", "ug/m3", "kg/m3", "0.0075"),
        ("2", "Wh", "J", "7200"),
        ("10", "dBm", "dBW", "-20"),
    ],
)
def test_secondary_units(value: str, unit: str, primary: str, wanted: str) -> None:
    """The conversions of RFC 8798, exactly."""
    assert convert(Fraction(value), SENML_UNITS[unit], SENML_UNITS[primary]) == Fraction(wanted)


def test_a_senml_unit_has_an_everyday_name() -> None:
    """What SenML calls `%` is called `1` everywhere else; Cel is degC; unknown measures keep their own name."""
    assert everyday(parse_senml_unit("%")) == parse_unit("1")
    assert everyday(parse_senml_unit("Cel")) == parse_unit("degC")
    assert everyday(parse_senml_unit("%RH")).scale == parse_unit("%").scale
    assert everyday(parse_senml_unit("lat")).symbol == "lat"
    with pytest.raises(UnitError, match="not known"):
        parse_senml_unit("furlong")


FIELD = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x", "x_"]
)
VALUE = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**40), 2**40),
    st.floats(),
    st.sampled_from(["tank.", "temperature", "tank.temperature", "Cel", "%", "pump.on", "", "a b"]),
    st.lists(st.integers(), max_size=2),
)
RECORD = st.dictionaries(FIELD, VALUE, max_size=5)


@given(st.lists(RECORD, max_size=6), st.integers(0, 2**42))
def test_any_pack_is_read_or_refused_record_by_record(pack: list[dict[str, object]], now: int) -> None:
    """No pack crashes the decoder; each record with a value or a sum is one reading or one refusal."""
    decoded = decode_senml(json.dumps(pack).encode(), now, route, DOORS)
    told = len(decoded.readings) + len(decoded.refusals)
    whole = sum(not set(record).isdisjoint(("v", "vs", "vb", "vd", "s", "n", "t", "u")) for record in pack)
    if decoded.refusals and decoded.refusals[0].cause == "not SenML" and told == 1:
        return  # the pack, or its only record
    assert whole <= told <= len(pack)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(payload: bytes) -> None:
    """No bytes crash the decoder."""
    decode_senml(payload, NOW, route, DOORS)
