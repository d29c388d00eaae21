"""One running desk: its workspace, its database, its day and the names by which it is reached.

Belongs here: what every request needs to know of the desk. Does not belong here: answering one.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from pipelines.desk.ahead import Ahead
from pipelines.desk.sessions import Cookies, signing_key
from pipelines.desk.together import Together
from pipelines.events.database import Desk
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings

Network = ipaddress.IPv4Network | ipaddress.IPv6Network


@dataclass(frozen=True)
class DeskSite:
    """A desk that is served. `as_of` fixes its day; `invitation` makes the first administrator;
    `gathering` is where those meet who ask for the content of a claim's page, and `ahead` keeps
    what was gathered before anybody asked."""

    workspace: Workspace
    desk: Desk
    cookies: Cookies
    host: str
    as_of: dt.date | None = None
    invitation: str | None = None
    proxies: tuple[Network, ...] = field(default_factory=tuple)
    gathering: Together[Mapping[str, Any] | None] = field(default_factory=Together)
    ahead: Ahead = field(default_factory=Ahead)

    @property
    def settings(self) -> Settings:
        """The settings with which the desk began."""
        return self.desk.settings

    @property
    def day(self) -> dt.date:
        """The desk's day."""
        return self.desk.today(self.as_of)

    @property
    def has_tls(self) -> bool:
        """Whether the desk itself speaks https."""
        return bool(self.settings.desk.tls_certificate)

    @property
    def is_https(self) -> bool:
        """Whether people reach it by https, so that cookies go no other way."""
        return self.has_tls or self.settings.desk.public_url.lower().startswith("https:")

    @property
    def hosts(self) -> list[str]:
        """The names by which it may be called, beside those of this very machine."""
        public = urlsplit(self.settings.desk.public_url).hostname
        return [self.host.lower().strip("[]"), *([public] if public else [])]


def site_of(
    desk: Desk,
    *,
    host: str | None = None,
    as_of: dt.date | None = None,
    invitation: str | None = None,
) -> DeskSite:
    """The desk of a workspace as it is to be served."""
    desk_settings = desk.settings.desk
    return DeskSite(
        workspace=desk.workspace,
        desk=desk,
        cookies=Cookies(signing_key(desk)),
        host=host or desk_settings.host,
        as_of=as_of,
        invitation=invitation,
        proxies=tuple(ipaddress.ip_network(one) for one in desk_settings.trusted_proxies),
    )
