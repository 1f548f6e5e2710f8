"""Does every reading get to the remote store, whatever the link, sealing and power cuts do meanwhile?"""

from __future__ import annotations

import json
import random
import socket
import subprocess
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.remote_store import Answer, RemoteStore, RemoteStoreSettings, Written
from daemon.forward import Forwarder
from daemon.store.cursor import Debt
from rules.acts import Act, ActKind
from rules.block import block
from rules.durations import DAY, HOUR
from rules.plan import PointPlan
from tests.daemon.remote_site import LEVEL, MIDNIGHT, WATER, Site, stored
from tests.needs import program


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """Nothing stored yet."""
    made = Site(tmp_path / "store.sqlite")
    yield made
    made.close()


def once(site: Site) -> bool:
    """Whether the server has every stored reading just once."""
    return site.server.got == Counter(stored(site.store))


def test_every_reading_arrives_once_with_every_digit(site: Site) -> None:
    """Values as stored, flags beside, missing ones without a value."""
    site.store.commit([block(WATER.id, [5, 6, 7], [27_100, None, -5], [1, 9, 3]), block(LEVEL.id, [5], [12])])
    site.step_on()
    assert dict(site.server.got) == {
        ("tank.temperature", 5, Decimal("27.100"), 1): 1,
        ("tank.temperature", 6, None, 9): 1,
        ("tank.temperature", 7, Decimal("-0.005"), 3): 1,
        ("bed2.level", 5, Decimal("1.2"), 2): 1,
    }


def test_a_reading_that_came_behind_arrives_like_any_other(site: Site) -> None:
    """The cursor follows commits, not times."""
    site.store.commit([block(WATER.id, [MIDNIGHT], [1])])
    site.step_on()
    site.store.commit([block(WATER.id, [MIDNIGHT - DAY], [2])], behind=[(WATER.id, MIDNIGHT - DAY)], effective=1)
    site.step_on()
    assert once(site)
    assert len(site.server.got) == 2


def test_readings_are_gathered(site: Site) -> None:
    """A full batch is followed by the next at once, a small one after a while."""
    site.store.commit([block(WATER.id, range(250), range(250))])
    assert site.step_on() == [0.0, 0.0, 10.0]
    assert site.server.requests == [100, 100, 50]
    assert site.step_on() == [10.0]


def test_the_site_goes_on_while_the_link_is_down_and_catches_up(site: Site) -> None:
    """The waits grow to a minute; nothing is lost or doubled."""
    site.server.down = True
    waits = []
    for n in range(12):
        site.store.commit([block(WATER.id, [n], [n])])
        waits += site.step_on()
    assert waits[0] <= 2.0
    assert 30 <= max(waits) <= 60
    assert site.forwarder.health().state == "waiting"
    assert site.forwarder.health().last_error == "readings wait for the remote store: no answer"
    site.server.down = False
    site.step_on()
    assert once(site)
    assert site.forwarder.health().state == "connected"
    assert site.forwarder.health().accepted == 12
    assert site.forwarder.health().last_error == ""


def test_days_sealed_while_the_link_is_down_arrive_once(site: Site) -> None:
    """The day of which a part was on its way stays rows until it has been answered."""
    site.server.down = True
    for day in range(4):
        start = MIDNIGHT + day * DAY
        site.store.commit([block(WATER.id, range(start, start + 300), range(300))])
        site.forwarder.step()
    assert site.seal(MIDNIGHT + 9 * DAY) == 3
    assert site.store.debt() == Debt(300, 3)
    site.server.down = False
    site.step_on()
    assert once(site)
    assert site.store.debt() == Debt(0, 0)
    assert site.seal(MIDNIGHT + 10 * DAY) == 1
    site.step_on()
    assert once(site)


def test_a_day_of_which_a_part_is_forwarded_waits_to_be_sealed(site: Site) -> None:
    """Else the rest of it would never be sent, or all of it twice."""
    site.store.commit([block(WATER.id, range(MIDNIGHT, MIDNIGHT + 250), range(250))])
    site.forwarder.step()
    assert site.store.debt().rows == 150
    assert site.seal(MIDNIGHT + 2 * DAY) == 0
    site.step_on()
    assert site.seal(MIDNIGHT + 3 * DAY) == 1
    site.step_on()
    assert once(site)


def test_a_late_reading_of_a_forwarded_day_is_forwarded_before_it_is_folded_in(site: Site) -> None:
    """Alone, not with the whole day again."""
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 2], [1, 3])])
    site.step_on()
    assert site.seal(MIDNIGHT + 2 * DAY) == 1
    site.store.commit([block(WATER.id, [MIDNIGHT + 1], [2])])
    assert site.seal(MIDNIGHT + 3 * DAY) == 0
    site.step_on()
    assert site.seal(MIDNIGHT + 4 * DAY) == 1
    site.step_on()
    assert site.server.requests == [2, 1]
    assert once(site)


def test_a_day_that_is_sealed_while_its_readings_are_on_their_way_is_not_sent_twice(site: Site) -> None:
    """Sealing knows what may be at the server already."""
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 1], [1, 2])])
    sealed: list[int] = []
    site.server.before_answer = lambda: sealed.append(site.seal(MIDNIGHT + 2 * DAY))
    site.step_on()
    assert sealed == [0]
    assert site.seal(MIDNIGHT + 3 * DAY) == 1
    site.step_on()
    assert once(site)


def test_a_late_reading_sealed_into_a_day_that_is_on_its_way_is_not_lost(site: Site) -> None:
    """The day is still owed after the answer, and goes again whole."""
    site.server.down = True
    site.forwarder.step()
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 2], [1, 3])])
    assert site.seal(MIDNIGHT + 2 * DAY) == 1
    site.server.down = False

    def late() -> None:
        site.server.before_answer = lambda: None
        site.store.commit([block(WATER.id, [MIDNIGHT + 1], [2])])
        assert site.seal(MIDNIGHT + 4 * DAY) == 1

    site.server.before_answer = late
    site.step_on()
    site.step_on()
    assert set(site.server.got) == stored(site.store)
    assert site.store.debt().days == 0


def test_history_from_before_the_remote_store_is_forwarded(site: Site) -> None:
    """Sealed days and rows alike."""
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 5 * DAY], [1, 2])])
    assert site.seal(MIDNIGHT + 5 * DAY) == 1
    site.step_on()
    assert once(site)
    assert len(site.server.got) == 2


def test_a_large_sealed_day_goes_in_pieces_and_goes_on_where_the_link_failed(site: Site) -> None:
    """No piece that was answered goes again."""
    site.store.commit([block(WATER.id, range(MIDNIGHT, MIDNIGHT + 450), range(450))])
    assert site.seal(MIDNIGHT + 2 * DAY) == 1
    assert site.forwarder.step() == 0.0
    assert site.forwarder.step() == 0.0
    site.server.answers = [Written(Answer.NOT_NOW, "no answer")]
    assert site.forwarder.step() > 0
    site.step_on()
    assert site.server.requests == [100, 100, 100, 100, 50]
    assert once(site)


def test_a_crash_after_the_server_took_a_batch_sends_it_again(site: Site) -> None:
    """The same readings and no others, so that a server with one value a time has each once."""
    site.store.commit([block(WATER.id, range(30), range(30))])

    class PowerCut(Exception):
        """Now."""

    def cut() -> None:
        site.server.before_answer = lambda: None
        raise PowerCut

    site.server.before_answer = cut
    with pytest.raises(PowerCut):
        site.forwarder.step()
    site.forwarder.close()
    site.store.commit([block(WATER.id, range(30, 40), range(10))])
    site.new_forwarder()
    site.step_on()
    assert site.server.requests == [30, 30]
    site.step_on()
    assert set(site.server.got) == stored(site.store)
    assert max(site.server.got.values()) == 2


def test_a_request_that_is_too_large_goes_in_halves(site: Site) -> None:
    """Until the server takes them."""
    site.server.most = 30
    site.store.commit([block(WATER.id, range(100), range(100))])
    site.step_on()
    assert site.server.requests == [25, 25, 25, 25]
    assert once(site)


def test_one_reading_that_the_server_will_not_take_does_not_hold_up_the_others(site: Site) -> None:
    """It is counted and named; it stays in the site's own store."""
    site.server.poison = " value=0.077,"
    site.store.commit([block(WATER.id, range(100), range(100))])
    site.step_on()
    assert len(site.server.got) == 99
    health = site.forwarder.health()
    assert (health.accepted, health.refused) == (99, 1)
    site.store.commit([block(WATER.id, [200], [200])])
    site.step_on()
    assert len(site.server.got) == 100


def test_a_server_that_never_took_anything_is_not_believed_about_single_readings(site: Site) -> None:
    """A wrong setting, more likely: everything waits for its mending."""
    site.server.most = 0
    site.store.commit([block(WATER.id, range(4), range(4))])
    assert site.step_on()[-1] > 0
    assert site.step_on()[-1] > 0
    assert site.forwarder.health().refused == 0
    site.server.most = 10
    site.step_on()
    assert once(site)


def test_readings_older_than_the_server_keeps_are_counted_and_passed_over(site: Site) -> None:
    """It took what it could; the rest it will never take."""
    site.server.answers = [Written(Answer.PARTLY, "the server answered 422 (beyond retention)")]
    site.store.commit([block(WATER.id, range(3), range(3))])
    site.step_on()
    health = site.forwarder.health()
    assert health.refused == 3
    assert health.last_error == (
        "up to 3 readings were refused by the remote store: the server answered 422 (beyond retention)"
    )
    site.store.commit([block(WATER.id, [9], [9])])
    site.step_on()
    assert len(site.server.got) == 1


def test_a_site_that_gives_up_its_remote_store_owes_nothing_and_seals_freely(site: Site) -> None:
    """And owes everything again when it takes one up."""
    site.server.down = True
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 1], [1, 2])])
    site.forwarder.step()
    site.forwarder.close()
    site.store.end_forwarding()
    assert site.seal(MIDNIGHT + 2 * DAY) == 1
    assert site.store.debt().days == 0
    site.server.down = False
    site.new_forwarder()
    site.step_on()
    assert once(site)


def test_a_changed_unit_is_forwarded_in_its_own_unit(site: Site) -> None:
    """Each series as it was stored."""
    site.store.commit([block(LEVEL.id, [1], [120])])
    site.store.use([WATER, PointPlan(LEVEL.id, "level", "cm", Fraction(1, 100))])
    site.store.commit([block(LEVEL.id, [2], [121])])
    site.step_on()
    assert sorted(site.server.got) == [("bed2.level", 1, Decimal("12.0"), 2), ("bed2.level", 2, Decimal("1.21"), 2)]


operations = st.lists(
    st.one_of(
        st.tuples(st.just("commit"), st.integers(0, 3), st.integers(1, 9)),
        st.tuples(st.just("seal"), st.integers(0, 2), st.just(0)),
        st.tuples(st.just("step"), st.integers(1, 4), st.just(0)),
        st.tuples(st.just("link"), st.integers(0, 1), st.just(0)),
        st.tuples(st.just("restart"), st.just(0), st.just(0)),
    ),
    max_size=25,
)


@settings(max_examples=40, deadline=None)
@given(operations, st.randoms(use_true_random=False))
def test_whatever_happens_the_server_ends_with_what_the_store_has(
    tmp_path_factory: pytest.TempPathFactory, given_operations: list[tuple[str, int, int]], rng: random.Random
) -> None:
    """Commits of present and late readings, sealing, a link that comes and goes, and restarts, in any order."""
    with closing(Site(tmp_path_factory.mktemp("forward") / "store.sqlite")) as site:
        site.new_forwarder(most=4)
        now = MIDNIGHT
        for kind, number, more in given_operations:
            if kind == "commit":
                times = [now - number * DAY + rng.randrange(2 * HOUR) for _ in range(more)]
                site.store.commit([block(rng.choice([WATER.id, LEVEL.id]), [t], [t % 1000]) for t in times])
            elif kind == "seal":
                now += number * DAY
                site.store.seal_step(now)
            elif kind == "step":
                for _ in range(number):
                    site.forwarder.step()
            elif kind == "link":
                site.server.down = bool(number)
            else:
                site.forwarder.close()
                site.new_forwarder(most=4)
        site.server.down = False
        site.forwarder.step()
        while site.store.debt() != Debt(0, 0):
            site.forwarder.step()
        assert set(site.server.got) == stored(site.store)
        assert site.store.debt() == Debt(0, 0)


def test_the_forwarder_runs_beside_the_loop_and_stops(site: Site) -> None:
    """On its own thread and connection; stopping twice is no error."""
    arrived = threading.Event()
    site.server.before_answer = arrived.set
    site.store.commit([block(WATER.id, range(5), range(5))])
    site.forwarder.start()
    assert arrived.wait(10)
    site.forwarder.stop()
    site.forwarder.stop()
    assert once(site)
    assert site.forwarder.health().state == "stopped"
    assert site.store.debt().rows == 0


def wait_until(true: Callable[[], bool], seconds: float = 20.0) -> None:
    """Returns once `true` holds; fails after so many seconds."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not come to hold"
        threading.Event().wait(0.02)


class RealServer:
    """victoria-metrics on a free port of loopback, which speaks the v2 write API."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start, and wait until it answers."""
        self.process = subprocess.Popen(
            [
                program("victoria-metrics"),
                f"-storageDataPath={self.folder}",
                f"-httpListenAddr=127.0.0.1:{self.port}",
                "-retentionPeriod=100y",
                "-dedup.minScrapeInterval=1ms",
                "-loggerLevel=ERROR",
            ]
        )
        wait_until(self.answers)

    def stop(self) -> None:
        """End it; what it took is on its disk."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(20)
            self.process = None

    def ask(self, path: str) -> bytes:
        """The body of a GET."""
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=10) as answer:
            body: bytes = answer.read()
        return body

    def answers(self) -> bool:
        """Whether it is up."""
        try:
            return self.ask("/health") == b"OK"
        except (urllib.error.URLError, ConnectionError):
            return False

    def exported(self) -> Counter[tuple[str, str, int, Decimal]]:
        """(name, point, time, value) of everything it holds, as JSON lines of its export."""
        self.ask("/internal/force_flush")
        query = urllib.parse.urlencode({"match[]": '{__name__!=""}', "reduce_mem_usage": "1"})
        found: Counter[tuple[str, str, int, Decimal]] = Counter()
        for line in self.ask(f"/api/v1/export?{query}").splitlines():
            series = json.loads(line, parse_float=Decimal, parse_int=Decimal)
            labels = series["metric"]
            assert labels["site"] == "valley"
            for value, stamp in zip(series["values"], series["timestamps"], strict=True):
                found[labels["__name__"], labels["point"], int(stamp), value] += 1
        return found


@pytest.fixture
def real_server(tmp_path: Path) -> Iterator[RealServer]:
    """Running; ended after the test."""
    server = RealServer(tmp_path / "server")
    server.start()
    yield server
    server.stop()


def test_a_real_server_ends_with_each_reading_exactly_once(site: Site, real_server: RealServer) -> None:
    """Rows, sealed days, readings that came behind, and an outage of the server in between."""
    settings = RemoteStoreSettings.model_validate({"url": f"http://127.0.0.1:{real_server.port}"})
    remote = RemoteStore(settings)
    site.forwarder = Forwarder(site.store.path, remote, "valley", every=0.02, most=500, rng=random.Random(1))
    today = time.time_ns() // 1_000_000 // DAY
    start = (today - 6) * DAY
    rng = random.Random(7)

    def commit_day(day: int) -> None:
        times = range(start + day * DAY, start + (day + 1) * DAY, 60_000)
        values: list[int | None] = [27_000 + rng.randrange(-999, 999) for _ in times]
        values[3] = None
        site.store.commit([block(WATER.id, times, values), block(LEVEL.id, [times[0]], [day])])

    commit_day(0)
    site.forwarder.start()
    wait_until(lambda: site.store.debt().rows == 0)
    real_server.stop()
    for day in (1, 2, 3):
        commit_day(day)
    wait_until(lambda: site.forwarder.health().state == "waiting")
    site.store.commit([block(WATER.id, [start + 30_001], [5])], behind=[(WATER.id, start + 30_001)], effective=start)
    site.seal(start + 5 * DAY)
    assert site.store.debt().days > 0
    real_server.start()
    wait_until(lambda: site.store.debt() == Debt(0, 0), 60)
    site.forwarder.stop()
    remote.close()
    expected: Counter[tuple[str, str, int, Decimal]] = Counter()
    for point, stamp, value, flag in stored(site.store):
        expected["reading_flag", point, stamp, Decimal(flag)] += 1
        if value is not None:
            expected["reading_value", point, stamp, value] += 1
    assert real_server.exported() == expected
    assert len(expected) == 2 * (4 * 1440 + 4 + 1) - 4


def test_readings_go_as_calibrated(site: Site) -> None:
    """What the store keeps raw goes to the server as what it means by then: here 0.5 degC more."""
    forwarder = Forwarder(site.store.path, site.server, "valley", points=[WATER, LEVEL])
    data = {"point": WATER.id, "coefficients": "1/2 1", "raw_unit": "degC", "unit": "degC", "effective": "0"}
    site.store.commit([block(WATER.id, [1000], [20_000])], acts=[Act(500, ActKind.CALIBRATE, data=data)])
    forwarder.step()
    forwarder.close()
    assert site.server.got == Counter(stored(site.store))
    ((_, _, value, _),) = site.server.got
    assert value == Decimal(20_000) * Decimal(str(float(WATER.resolution))) + Decimal("0.5")
