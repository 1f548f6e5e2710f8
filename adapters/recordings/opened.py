"""Which bytes does a recording hold, gzipped or not? Handed out as stretches of whole lines, within bounds."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Callable, Iterator
from io import BufferedReader
from pathlib import Path

from adapters.recordings.recording import RecordingRefused

STRETCH = 1 << 22
"""Bytes read at a time."""
LONGEST_LINE = 1 << 16
"""Bytes in a line beyond which the file is refused: it is no CSV."""
LARGEST_PACK = 1 << 28
"""Bytes of a SenML file, unpacked, beyond which it is refused; it can only be read whole."""

Progress = Callable[[int, int], None]
"""Called with bytes done and bytes in all, as they lie on the disk."""


def _has_too_long_a_line(stretch: bytes) -> bool:
    """Looks from one line's beginning as far as a line may reach, and goes on at the last one that begins there."""
    at = 0
    while at < len(stretch):
        feed = stretch.rfind(b"\n", at, at + LONGEST_LINE + 1)
        if feed < 0:
            return True
        at = feed + 1
    return False


class Opened:
    """A file under way. kind: `csv`, `senml` or `parquet`, told by its content."""

    def __init__(self, path: Path, on_progress: Callable[[int], None]) -> None:
        """Raises RecordingRefused where the file cannot be opened."""
        self.path = path
        self._on_progress = on_progress
        try:
            self._raw = path.open("rb")
        except OSError as error:
            raise RecordingRefused(f"{path}: cannot be read: {error.strerror}") from error
        packed = self._raw.peek(2)[:2] == b"\x1f\x8b"
        self._stream: BufferedReader | gzip.GzipFile = gzip.GzipFile(fileobj=self._raw) if packed else self._raw
        self._first = self._read(STRETCH).removeprefix(b"\xef\xbb\xbf")
        self.kind = "senml" if self._first.lstrip()[:1] == b"[" else "csv"
        if self._first.startswith(b"PAR1"):
            self.kind = "parquet"
            if packed:
                self.close()
                raise RecordingRefused(f"{path}: unpack it first; Parquet is compressed within")

    def close(self) -> None:
        """Close the file."""
        self._stream.close()
        self._raw.close()

    def __enter__(self) -> Opened:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _read(self, size: int) -> bytes:
        try:
            read = self._stream.read(size)
        except (OSError, EOFError, zlib.error) as error:
            self.close()
            raise RecordingRefused(f"{self.path}: damaged or cut short: {error}") from error
        self._on_progress(self._raw.tell())
        return read

    def stretches(self) -> Iterator[bytes]:
        """The content as stretches of whole lines, each ending in a line feed.

        Raises RecordingRefused for a line of more than LONGEST_LINE bytes and for a damaged file.
        """
        kept, more = b"", self._first
        while more:
            end = more.rfind(b"\n") + 1
            kept, stretch = (more[end:], kept + more[:end]) if end else (kept + more, b"")
            if len(kept) > LONGEST_LINE or _has_too_long_a_line(stretch):
                raise RecordingRefused(f"{self.path}: a line has more than {LONGEST_LINE} bytes; this is no CSV")
            if stretch:
                yield stretch
            more = self._read(STRETCH)
        if kept:
            yield kept + b"\n"

    def whole(self) -> bytes:
        """The whole content; raises RecordingRefused beyond LARGEST_PACK bytes and for a damaged file."""
        parts, size, more = [], 0, self._first
        while more:
            parts.append(more)
            size += len(more)
            if size > LARGEST_PACK:
                raise RecordingRefused(f"{self.path}: more than {LARGEST_PACK} bytes of SenML; split it, or use CSV")
            more = self._read(STRETCH)
        return b"".join(parts)
