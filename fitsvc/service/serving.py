"""Serving the application over HTTP until it is told to stop."""

import logging
import signal
import socket
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing, nullcontext
from dataclasses import replace
from functools import partial
from ipaddress import ip_address, ip_network
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final
from urllib.parse import urlsplit

import uvicorn
from litestar import Litestar

from fitsvc.garbage import collected_seldom
from fitsvc.heap import use_one_heap
from fitsvc.language.problems import Problem, ProblemsFound
from fitsvc.paths import how_to_install
from fitsvc.selection.files import index_root
from fitsvc.service.app import create_app
from fitsvc.service.audits.folder import MOST_BYTES
from fitsvc.service.changeover import Changeover
from fitsvc.service.fetching import refuse_half_sources
from fitsvc.service.logs import log_to_stderr
from fitsvc.service.masking import Masks
from fitsvc.service.metrics import Metrics, counted_together
from fitsvc.service.pinned import Pinned
from fitsvc.service.protocol import protocol
from fitsvc.service.published import Followed, Published, Served
from fitsvc.service.pulling import PullFrom, Pulling, require_keys
from fitsvc.service.reloading import FolderRules
from fitsvc.service.settings import OPEN, Settings
from fitsvc.service.signatures import Trusted
from fitsvc.service.workers import HANGUP, together
from fitsvc.store.api_keys import any_key
from fitsvc.store.database import Database

GRACE_SECONDS: Final = 30
_BACKLOG: Final = 2048
_SWITCH_SECONDS: Final = 0.001
"""How long a thread at work keeps the interpreter while the event loop waits for it; a fifth of what is usual."""
COLLECTED: Final = (10_000, 3, 333)
"""New objects before the youngest are looked at for cycles; collections of each generation before one of the next.

The next is small, so that nobody waits long for it: with ten in place of three it took up to 40 ms where the youngest
takes 4, and a fifth less in all. A thousandth as often as at the youngest is at all looked at that serving adds, and at
what was there before, never.
"""
_USUAL: Final = Settings()
_HERE: Final = ("127.0.0.1", "localhost", "[::1]")
_log = logging.getLogger("fitsvc.service")


def serve(
    host: str = "127.0.0.1",
    port: int = 8000,
    database_url: str | None = None,
    rules: Path | None = None,
    audits: Path | None = None,
    audit_bytes: int = MOST_BYTES,
    index: Path | None = None,
    settings: Settings = _USUAL,
    public: frozenset[str] | None = None,
    signed_by: Sequence[str] = (),
    pulled: PullFrom | None = None,
) -> None:
    """Serve until SIGTERM or SIGINT; requests that have begun are then finished.

    `rules` is a folder of rules for answers, pages and audits alike, read anew at SIGHUP; left out they go by the
    rulebook in force among those published in the database, or by fitsvc's own; by none that no key of `signed_by` has
    signed, if there are such. Those are `pulled` from elsewhere, if that is said. What is `public` needs no key; left
    out, that is reading and asking on the loopback address, and nothing off it. Raises ProblemsFound, or the store's
    StoreError, when serving cannot begin.
    """
    trusted = Trusted(signed_by)
    if rules and trusted.names:
        raise _cannot("a folder of rules is not signed", "leave `--rules` out, and publish it, or `--signed-by`")
    if pulled:
        require_keys(pulled.keys)
        refuse_half_sources(pulled.source)
    if rules and pulled:
        raise _cannot("a folder of rules is served, and no other is pulled", "leave out `--rules` or `--pull`")
    with closing(Database(database_url)) as database:
        database.check()
        _refuse_half_addresses(settings.operator.address)
        _refuse_no_proxies(settings.proxies)
        _refuse_open_doors(database, host, port)
    log_to_stderr(settings.log)
    settings = _as_reached(settings, host, port, public)
    # Before the second that it takes to prepare: an address that cannot be had is told at once, and who asks meanwhile
    # is answered a little later instead of refused.
    with ExitStack() as held:
        listening = held.enter_context(_listen(host, port))
        below = Path(held.enter_context(TemporaryDirectory(prefix="fitsvc-rules-")))
        folder = FolderRules(rules, below) if rules else None
        first = folder.first() if folder else _first(database_url, below, trusted)
        Masks(settings.record_without, first.answerer.rulebook.vocabulary)  # a misspelt one is told before all else

        def work() -> None:
            with closing(Database(database_url)) as database:
                kept_in, metrics = index_root(index, database), Metrics()
                followed: Followed = folder or Published(database, below, trusted)

                def make(served: Served, *, answers_only: bool = False) -> Litestar:
                    known = (kept_in, settings, served.rules, metrics, followed, answers_only)
                    app = create_app(database, served.answerer, audits, audit_bytes, *known)
                    if settings.traces:
                        _trace(app)
                    return app

                pinned = Pinned(followed, partial(make, answers_only=True))
                app = Changeover(followed, _now(folder, first), make, pinned=pinned)
                with Pulling(database, pulled, metrics) if pulled else nullcontext():
                    alone = folder if settings.workers == 1 else None
                    _run(uvicorn.Server(_config(app, settings)), [listening], alone.ask if alone else None)

        _log.info("listening on http://%s: the counter's page is there, the API's is /docs", _shown(listening))
        if settings.workers == 1:
            work()
        else:
            with counted_together() as ended:
                together(settings.workers, work, ended, folder.reread if folder else None)


def _first(database_url: str | None, below: Path, trusted: Trusted) -> Served:
    """The published rulebook to begin with: what each worker then begins with too, as a copy of this process."""
    with closing(Database(database_url)) as database:
        return Published(database, below, trusted).first()


def _now(folder: FolderRules | None, first: Served) -> Served:
    """What a process begins with: one that takes another's place may come after the folder was read anew."""
    wanted = folder.in_force() if folder else None
    return first if folder is None or wanted in (None, first.digest) else folder.load(str(wanted)) or first


def _trace(app: Litestar) -> None:
    """Tell each request as a span; ProblemsFound without the libraries for it."""
    try:
        from fitsvc.service.traces import Traced, provider
    except ModuleNotFoundError:
        raise _cannot("there is no OpenTelemetry here for `--traces`", how_to_install("traces")) from None
    app.asgi_handler = Traced(app.asgi_handler, provider())


def _config(app: object, settings: Settings) -> uvicorn.Config:
    return uvicorn.Config(
        app,  # type: ignore[arg-type]  # uvicorn names its own type of application
        http=protocol(settings.header_seconds),
        timeout_keep_alive=settings.keep_alive,
        access_log=False,
        log_config=None,
        # From whom else it comes, `X-Forwarded-For` says what its sender likes.
        proxy_headers=bool(settings.proxies),
        forwarded_allow_ips=list(settings.proxies),
        server_header=False,
        timeout_graceful_shutdown=GRACE_SECONDS,
    )


def _run(server: uvicorn.Server, sockets: Sequence[socket.socket], reread: Callable[..., None] | None) -> None:
    """Run a server; it raises the signal that stopped it once more at its end, where that must not kill.

    With something that SIGHUP has `reread` it does that.
    """

    def stop(*_: object) -> None:
        server.should_exit = True

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    if reread and HANGUP:
        before[HANGUP] = signal.signal(HANGUP, reread)
    sys.setswitchinterval(_SWITCH_SECONDS)
    use_one_heap()
    try:
        with collected_seldom(*COLLECTED):
            server.run(sockets=list(sockets))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _refuse_half_addresses(address: str) -> None:
    """Refuse a public address that no telephone could open."""
    found = urlsplit(address)
    if address and (found.scheme not in ("http", "https") or not found.netloc or found.query or found.fragment):
        raise _cannot(f"`{address}` is not a public address", "write it as in `https://shop.example`")


def _refuse_no_proxies(proxies: Sequence[str]) -> None:
    """Refuse what is no address: the server would take it for a name that nobody ever has."""
    for one in proxies:
        try:
            ip_network(one)
        except ValueError as error:
            help = "write the proxy's address, or the network it is in, as in `10.0.0.0/24`"
            raise _cannot(f"`{one}` is not the address of a proxy: {error}", help) from None


def _refuse_open_doors(database: Database, host: str, port: int) -> None:
    """Refuse to listen beyond this machine before there is a key, when nobody can have meant it."""
    if _is_here(host, port):
        return
    with database.session() as session:
        if not any_key(session):
            raise _cannot(
                f"`{host}` can be reached from other machines, and there is no API key yet",
                "make one with `fitsvc key create NAME`, or listen on 127.0.0.1",
            )


def _is_here(host: str, port: int) -> bool:
    """Whether only this machine can reach an address."""
    return all(ip_address(address.partition("%")[0]).is_loopback for address in _addresses(host, port))


def _as_reached(settings: Settings, host: str, port: int, public: frozenset[str] | None) -> Settings:
    """The settings, with the names a service goes by and what needs no key as they are for who can reach it.

    On the loopback address a page of another site could call its own name by this machine's, and read through a browser
    here: it answers to its own names only, unless its operator lists others. Off it nothing is open that its operator
    does not open.
    """
    if not _is_here(host, port):
        return replace(settings, public=public or frozenset())
    return replace(settings, hosts=settings.hosts or (*_HERE, host), public=OPEN if public is None else public)


def _addresses(host: str, port: int) -> list[str]:
    try:
        return [str(found[4][0]) for found in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    except (OSError, OverflowError, UnicodeError) as error:
        raise _cannot(f"`{host}` is not an address: {error}", "listen on 127.0.0.1, or on 0.0.0.0 for all") from None


def _listen(host: str, port: int) -> socket.socket:
    if not 0 <= port <= 65535:
        raise _cannot(f"`{port}` is not a port", "expected 0 to 65535, 0 for any that is free")
    family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    # Only on a socket that names TCP does the event loop send small pieces at once, and not 40 ms later.
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            listening.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        listening.bind((host, port))
        listening.listen(_BACKLOG)
    except OSError as error:
        listening.close()
        raise _cannot(
            f"cannot listen on {host}:{port}: {error.strerror}", "give another `--host` or `--port`"
        ) from None
    return listening


def _cannot(message: str, help: str) -> ProblemsFound:
    return ProblemsFound([Problem(message, help)])


def _shown(listening: socket.socket) -> str:
    host, port = listening.getsockname()[:2]
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
