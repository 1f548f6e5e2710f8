"""Does this site forward its readings, and where to?"""

from __future__ import annotations

from collections.abc import Mapping

from adapters.remote_store import RemoteStore, RemoteStoreSettings
from adapters.secrets import Secret
from daemon.forward import Forwarder
from daemon.site.load import Site
from daemon.store import Store


def forwarder_of(site: Site, store: Store, tokens: Mapping[str, Secret]) -> Forwarder | None:
    """The forwarder that the site file asks for, not started yet; without one nothing is owed to a remote store."""
    for table in site.adapters.values():
        if isinstance(table.settings, RemoteStoreSettings):
            settings = table.settings
            remote = RemoteStore(settings, tokens.get(settings.token_name))
            store.begin_forwarding()
            return Forwarder(
                site.store_path,
                remote,
                site.plan.name,
                points=site.plan.points,
                every=settings.send_every / 1000,
                most=settings.most,
            )
    store.end_forwarding()
    return None
