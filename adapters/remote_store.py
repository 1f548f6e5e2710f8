"""How are readings written to a server that speaks the InfluxDB v2 write API?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, Protocol
from urllib.parse import urlsplit

from pydantic import Field, field_validator

from adapters.secrets import Secret
from rules.durations import SECOND, Duration
from rules.errors import SettingError
from rules.settings import Settings


class RemoteStoreSettings(Settings):
    """`[adapter.remote_store]`: where this site's readings go as well. The token is kept among the secrets."""

    kind: Literal["remote_store"] = "remote_store"
    url: str = Field(description='the server, as in "https://readings.example:8086"')
    org: str = Field("", description="organisation, where the server has such")
    bucket: str = Field("tidebed", description="what the server calls the place for these readings")
    token_name: str = Field("remote_store", description="name of the token under [tokens] in the secrets")
    send_every: Duration = Field(10 * SECOND, description="how long readings are gathered before they are sent")
    most: int = Field(5000, ge=1, le=100_000, description="readings in one request at most")
    answer_within: Duration = Field(10 * SECOND, description="how long to wait for the server's answer")

    @field_validator("url")
    @classmethod
    def _is_an_address(cls, url: str) -> str:
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise SettingError(f'{url!r} is no address of a server; write it as in "https://readings.example:8086"')
        return url.rstrip("/")


class Answer(StrEnum):
    """What became of one write."""

    ACCEPTED = "accepted"
    NOT_NOW = "not now"
    """No answer, or one that may change: the link, the token, the server's load."""
    TOO_LARGE = "too large"
    """Or malformed: a smaller part of it may be taken."""
    PARTLY = "partly"
    """The server took what it could of it and will never take the rest, as with readings older than it keeps."""


@dataclass(frozen=True, slots=True)
class Written:
    """The answer to one write, and the server's reason in a few words."""

    answer: Answer
    reason: str = ""


class Remote(Protocol):
    """Takes lines of line protocol."""

    def write(self, lines: Sequence[str]) -> Written:
        """Try once; blocks until the server answered or its time is over. The same lines again change nothing."""


class RemoteStore:
    """A server of the InfluxDB v2 write API, by influxdb-client."""

    def __init__(self, settings: RemoteStoreSettings, token: Secret | None = None) -> None:
        """Connects to nothing yet."""
        # Heavy, and needed only by a site that has a remote store.
        from influxdb_client.client.influxdb_client import InfluxDBClient
        from influxdb_client.service.write_service import WriteService

        self._settings = settings
        self._client = InfluxDBClient(
            settings.url,
            token=token.reveal() if token else "",
            org=settings.org,
            timeout=settings.answer_within,
            enable_gzip=True,
        )
        # Not its WriteApi, which hides the status: a log-in page on the way answers 200, a server that took it 204.
        self._service = WriteService(self._client.api_client)  # type: ignore[no-untyped-call]  # it has no types

    def write(self, lines: Sequence[str]) -> Written:
        """See Remote."""
        from influxdb_client.client.exceptions import InfluxDBError
        from influxdb_client.rest import ApiException
        from urllib3.exceptions import HTTPError

        try:
            _, status, _ = self._service.post_write_with_http_info(  # type: ignore[no-untyped-call]  # likewise
                self._settings.org, self._settings.bucket, "\n".join(lines), precision="ms", content_type=_PLAIN
            )
        except ApiException as error:
            return Written(_MEANING.get(error.status, Answer.NOT_NOW), _reason(error.status, error.message))
        except (InfluxDBError, HTTPError) as error:
            return Written(Answer.NOT_NOW, f"no answer from {self._settings.url} ({type(error).__name__})")
        if status != _TAKEN:
            return Written(Answer.NOT_NOW, _reason(status, "something else than the server is on the way"))
        return Written(Answer.ACCEPTED)

    def close(self) -> None:
        """Close; idempotent."""
        self._client.close()  # type: ignore[no-untyped-call]  # likewise


_TAKEN = 204
_PLAIN = "text/plain; charset=utf-8"
_MEANING = {400: Answer.TOO_LARGE, 413: Answer.TOO_LARGE, 422: Answer.PARTLY}


def _reason(status: int, message: object) -> str:
    hint = {401: "; see the token in the secrets", 403: "; see what the token may do", 404: "; see org and bucket"}
    told = message.decode(errors="replace") if isinstance(message, bytes) else str(message)
    return f"the server answered {status} ({' '.join(told.split())[:160]}){hint.get(status, '')}"
