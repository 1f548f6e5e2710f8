"""Which ways back to the daemon does a site have? The endpoint of links and the answer topic, as its file says."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, cast

from adapters.local_way import Ways, is_local
from adapters.notify import Notifier
from adapters.secrets import SecretUrl
from daemon.replies.endpoint import Answers, Endpoint, LinkMaker, is_loopback
from daemon.replies.key import KeyUnusable, link_key
from daemon.replies.topic import TopicAnswers
from daemon.site.load import Site
from daemon.site.reaching import broker_of
from daemon.store import Sending
from rules.clock import Clock
from rules.plan import Plan

if TYPE_CHECKING:
    from adapters.mqtt.aside import Aside
    from adapters.mqtt.settings import MqttSettings

_log = logging.getLogger("tidebed.replies")


class Doors:
    """What people answer by, and the broker's topics that are ways to people."""

    def __init__(self, site: Site, clock: Clock, ways: Mapping[str, SecretUrl], plan: Callable[[], Plan]) -> None:
        """plan: as the site file has it now. Nothing listens or connects yet; the key is made where it is needed."""
        self._link: LinkMaker | None = None
        self._endpoint: Endpoint | None = None
        self._aside: Aside | None = None
        self._open_endpoint(site, clock, plan)
        self._open_aside(site, clock, ways, plan)

    def link(self, sending: Sending, now: int) -> str:
        """As daemon.outbox.Link."""
        return "" if self._link is None else self._link(sending, now)

    def notifier(self, elsewhere: Notifier) -> Ways:
        """What hands messages over: to topics of the site's broker, or to `elsewhere`."""
        return Ways(elsewhere, None if self._aside is None else self._aside.publish)

    def start(self) -> None:
        """Begin to listen."""
        if self._endpoint is not None:
            self._endpoint.start()
        if self._aside is not None:
            self._aside.start()

    def stop(self) -> None:
        """Listen no more; idempotent."""
        if self._endpoint is not None:
            self._endpoint.stop()
        if self._aside is not None:
            self._aside.stop()

    def _open_endpoint(self, site: Site, clock: Clock, plan: Callable[[], Plan]) -> None:
        place = site.web.place()
        if place is None:
            return
        host, port = place
        try:
            key = link_key(site.store_path)
            answers = Answers(site.store_path, key, plan, clock)
            self._endpoint = Endpoint(host, port, answers)
        except KeyUnusable as error:
            _log.error("links are neither made nor answered: %s", error)
            return
        except OSError as error:
            _log.error(
                "links are neither made nor answered: %s:%d cannot be listened at (%s)", host, port, error.strerror
            )
            return
        if not is_loopback(host):
            _log.warning(
                "links are answered at %s:%d without encryption; keep that port to your own network", host, port
            )
        if site.web.link_base is not None:
            self._link = LinkMaker(site.web.link_base, key, site.web.link_valid, plan)

    def _open_aside(self, site: Site, clock: Clock, ways: Mapping[str, SecretUrl], plan: Callable[[], Plan]) -> None:
        broker = broker_of(site.adapters, site.sending)
        topic = site.sending.ack_topic
        if broker is None or not (topic or any(is_local(way) for way in ways.values())):
            return
        from adapters.mqtt.aside import Aside

        settings = cast("MqttSettings", broker.settings)
        slug = re.sub(r"[^a-z0-9]+", "-", site.plan.name.casefold()).strip("-") or "site"
        answers = TopicAnswers(site.store_path, lambda: {rule.id for rule in plan().rules}, clock)
        self._aside = Aside(settings, f"{settings.client_id or f'tidebed-{slug}'}-aside", topic, answers.heard)
