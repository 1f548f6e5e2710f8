"""How does everything that one step of the daemon yields become durable at once?"""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from daemon.store import cursor, inbox, log, schema, sendings
from daemon.store.adding import NOTHING_SAID, Late, Said, add
from daemon.store.connection import Connection
from daemon.store.flagging import keep
from daemon.store.ownership import own
from daemon.store.reader import StoreReader
from daemon.store.sealing import SealedDay, Sealer
from daemon.store.sendings import Sending
from daemon.store.series import Series, register
from rules.acts import Act, ActKind
from rules.block import Block, Flags, Times
from rules.durations import DAY
from rules.events import Event
from rules.plan import PointPlan
from rules.quality.quality import Finals, last_said


@dataclass(frozen=True, slots=True)
class Committed:
    """What one commit did: new readings, exact repeats (no-ops), and repeats with another value (the first kept)."""

    readings: int
    repeats: int
    contradicted: int
    owed: int


class Store(StoreReader):
    """The one writer of the store at `path`; for one thread. It is a rules.block.Source as well."""

    def __init__(self, path: Path, points: Iterable[PointPlan] = ()) -> None:
        """Opens or makes the store and brings it up to date.

        Raises StoreBusy where another daemon owns it, StoreDamaged, StoreTooNew, StoreReadOnly, StoreMissing,
        QuantityChanged.
        """
        with contextlib.ExitStack() as undo:
            self._lock = undo.enter_context(own(path))
            self._open(Connection(path))
            undo.callback(self._connection.close)
            schema.migrate(self._connection)
            self._sealer = Sealer(self._connection)
            self._sealed_upto: dict[int, int] = dict(
                self._connection.rows("SELECT point, MAX(day) * ?1 + ?1 FROM block GROUP BY point", (DAY,))
            )
            self._series: dict[str, Series] = {}
            self.use(points)
            undo.pop_all()

    def close(self) -> None:
        """Close and give up ownership; idempotent."""
        super().close()
        self._lock.close()

    def use(self, points: Iterable[PointPlan]) -> None:
        """From now on readings of `points` come as their probes send them, and are read as this plan says.

        Raises QuantityChanged, after which the former plan stays in use.
        """
        listed = list(points)
        with self._connection.transaction():
            self._series = register(self._connection, [point.raw for point in listed])
        self._read_as(listed)

    def commit(
        self,
        readings: Iterable[Block] = (),
        *,
        events: Iterable[Event] = (),
        checkpoint: Mapping[str, Any] | None = None,
        acts: Iterable[Act] = (),
        behind: Iterable[tuple[str, int]] = (),
        effective: int | None = None,
        judged: Iterable[Block] = (),
        finals: Iterable[tuple[str, Finals]] = (),
        owed: Iterable[Sending] = (),
        taken: Iterable[int] = (),
        meta: Mapping[str, str] | None = None,
    ) -> Committed:
        """Everything that one step yielded, in one transaction: all of it is on disk when this returns, or none.

        readings: blocks of points that `use` named, in raw counts, in any order; behind: (point, time) of those that
        came behind the frontier, and effective: the instant from which rules could know them; judged: readings of this
        commit or an earlier one with the flags by which rules judged them; finals: (point, flags with which some ended,
        where those are others); taken: numbers of inbox entries whose acts are among `acts`. Raises StoreFull,
        StoreReadOnly, StoreBusy, StoreFailing, KeyError for an unknown point.
        """
        blocks = list(readings)
        listed_acts = list(acts)
        late: dict[str, set[int]] = {}
        for point, time in behind:
            late.setdefault(point, set()).add(time)
        said = _gathered((part.point, part.times, part.flags) for part in judged)
        ended = _gathered((point, final.times, final.flags) for point, final in finals)
        now: dict[str, list[Times]] = {}
        new = contradicted = 0
        with self._connection.transaction():
            for block in blocks:
                series = self._series[block.point]
                came_late = Late(late.get(block.point, ()), effective)
                known = said.get(block.point, NOTHING_SAID)
                added = add(self._connection, series, block, came_late, self._sealed_before(series), known)
                now.setdefault(block.point, []).append(block.times)
                new += added.new
                contradicted += added.contradicted
            for name, flags in said.items():
                earlier = ~np.isin(flags.times, np.concatenate(now.get(name, [flags.times[:0]])))
                flags = Said(flags.times[earlier], flags.flags[earlier])
                keep(self._connection, self._series[name], flags, "judged", self._sealed_before(self._series[name]))
            for name, flags in ended.items():
                keep(self._connection, self._series[name], flags, "final", self._sealed_before(self._series[name]))
            log.add_events(self._connection, events)
            log.add_acts(self._connection, listed_acts)
            inbox.strike(self._connection, taken)
            fresh = sendings.add_owed(self._connection, owed)
            if checkpoint is not None:
                # Written at every commit, so kept small: a memory card wears by the bytes written.
                state = zlib.compress(log.compact(checkpoint).encode(), 1)
                self._connection.run("INSERT OR REPLACE INTO checkpoint (id, state) VALUES (1, ?)", (state,))
            for key, value in (meta or {}).items():
                self._connection.run("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", (key, value))
        if any(act.kind is ActKind.CALIBRATE for act in listed_acts):
            self._learn_calibrations()
        repeats = sum(map(len, blocks)) - new - contradicted
        return Committed(new, repeats, contradicted, fresh)

    def tidy(self) -> None:
        """Move what the write-ahead log holds into the file, without waiting for readers. Raises StoreError."""
        self._connection.rows("PRAGMA wal_checkpoint(PASSIVE)")

    def _sealed_before(self, series: Series) -> int:
        return self._sealed_upto.get(series.point, -(2**63))

    def seal_step(self, now: int) -> SealedDay | None:
        """Seal one point's next day that is over at `now` (ms UTC); None when nothing is left to do until tomorrow."""
        done = self._sealer.step(now)
        if done is not None:
            self._sealed_upto[done.point] = max((done.day + 1) * DAY, self._sealed_upto.get(done.point, -(2**63)))
        return done

    def begin_forwarding(self) -> None:
        """From now on every reading is owed to the remote store, the history included."""
        cursor.begin(self._connection)

    def end_forwarding(self) -> None:
        """The site has no remote store: nothing is owed."""
        cursor.end(self._connection)


def _gathered(parts: Iterable[tuple[str, Times, Flags]]) -> dict[str, Said]:
    """By point what was said, in order of time; of what was said twice the last."""
    listed: dict[str, list[tuple[Times, Flags]]] = {}
    for point, times, flags in parts:
        listed.setdefault(point, []).append((times, flags))
    return {point: Said(*last_said(several)) for point, several in listed.items()}
