"""Serves the desk: one socket, one line when it accepts connections, an end after what is in hand.

Belongs here: binding, the lock that keeps a second desk off one SQLite file, signals. Does not
belong here: what is answered (`application`).
"""

from __future__ import annotations

import asyncio
import fcntl
import os
import secrets
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import uvicorn

from pipelines.desk.application import application
from pipelines.desk.gathering_ahead import gathering_ahead
from pipelines.desk.guard import is_loopback
from pipelines.desk.site import DeskSite
from pipelines.errors import UsageError
from pipelines.store.reading import kept_open
from pipelines.workspace.layout import SETTINGS_FILE, Workspace
from pipelines.workspace.settings import Settings

LOCK = "desk.lock"
# Addresses that mean all of a machine's, and nobody can open.
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}


def check_host(host: str, settings: Settings) -> None:
    """Refuses to serve others in the clear.

    Raises:
        UsageError: the host is not this very machine's own, and nothing protects the way to it.
    """
    desk_settings = settings.desk
    if bool(desk_settings.tls_certificate) != bool(desk_settings.tls_key):
        raise UsageError(
            f"[desk] in {SETTINGS_FILE} needs both tls_certificate and tls_key, or neither."
        )
    if (
        is_loopback(host.strip("[]"))
        or desk_settings.trusted_proxies
        or desk_settings.tls_certificate
    ):
        return
    raise UsageError(
        f"{host} is reached from other machines, and passwords would go there in the clear. Put a "
        f"proxy before the desk and name it in [desk] trusted_proxies of {SETTINGS_FILE}, give "
        "tls_certificate and tls_key there, or serve 127.0.0.1."
    )


@contextmanager
def listening(host: str, port: int) -> Iterator[socket.socket]:
    """A socket on which connections wait; 0 takes a free port.

    Raises:
        UsageError: the address is not this machine's, or is taken.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host.strip("[]"), port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        made = socket.socket(family, kind, protocol)
    except OSError as error:
        raise UsageError(f"{host} is no address of this machine ({error.strerror}).") from None
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind(address)
            made.listen(128)
        except OSError as error:
            raise UsageError(
                f"{host} port {port} cannot be taken ({error.strerror}); stop what uses it, or "
                "choose another with --port (0: any free one)."
            ) from None
        yield made
    finally:
        made.close()


@contextmanager
def alone(workspace: Workspace, settings: Settings) -> Iterator[None]:
    """Keeps a second desk off the same SQLite file; a server's database has room for several.

    Raises:
        UsageError: another desk holds it.
    """
    if settings.desk.database:
        yield
        return
    descriptor = os.open(workspace.desk / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise UsageError(
                f"Another desk serves {workspace.root} already; use that one, or stop it first."
            ) from None
        yield
    finally:
        os.close(descriptor)


def address_of(host: str, port: int, settings: Settings) -> str:
    """The desk's own address, as the line on stdout tells it.

    Where it listens on every address of the machine, that is the machine's own, which opens.
    """
    host = EVERYWHERE.get(host.strip("[]"), host)
    shown = f"[{host}]" if ":" in host.strip("[]") and "[" not in host else host
    return f"{'https' if settings.desk.tls_certificate else 'http'}://{shown}:{port}/"


def new_invitation() -> str:
    """What makes the first administrator: a number that only the terminal tells."""
    return secrets.token_urlsafe(32)


def serve(site: DeskSite, listener: socket.socket, ready: Callable[[], None]) -> None:
    """Answers until SIGTERM or SIGINT; `ready` is called once connections are accepted."""
    desk_settings = site.settings.desk
    config = uvicorn.Config(
        application(site),
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=30,
        ssl_certfile=_path(site, desk_settings.tls_certificate),
        ssl_keyfile=_path(site, desk_settings.tls_key),
    )
    with kept_open(site.workspace), gathering_ahead(site):
        asyncio.run(_run(_Server(config), listener, ready))


class _Server(uvicorn.Server):
    """Ends with exit code 0: the library would raise the signal again when it is done."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Listens to both signals for as long as it serves."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self.handle_exit, number, None)
        try:
            yield
        finally:
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.remove_signal_handler(number)


async def _run(server: _Server, listener: socket.socket, ready: Callable[[], None]) -> None:
    serving = asyncio.ensure_future(server.serve(sockets=[listener]))
    while not server.started and not serving.done():
        await asyncio.sleep(0.01)
    if server.started:
        ready()
    await serving


def _path(site: DeskSite, given: str) -> str | None:
    return str(Path(site.workspace.root, given)) if given else None
