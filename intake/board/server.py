"""The server: where it listens, by which names it is known, and the link by which the first owner comes in."""

from __future__ import annotations

import contextlib
import logging
import socket
import sys
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from intake.app import system_clock
from intake.app.access import devices, roles
from intake.app.access.farm_certificates import secured
from intake.app.backups.scheduled import Due, make_due
from intake.app.board_links import remember_board
from intake.app.calendars.feed_publication import publish
from intake.app.output_files import save
from intake.app.session import open_house
from intake.board.api.secure_door import OwnTls, SecureDoor, configured, terminal_code
from intake.board.asgi_app import board
from intake.board.background_jobs import Regular
from intake.board.middleware import SecretFilter
from intake.board.open_farm import OpenFarm
from intake.errors import BadInput, Finding, StoreTrouble

__all__ = ["LOOPBACK", "backups_of", "first_link", "names_of", "run"]

LOOPBACK: Final = frozenset({"127.0.0.1", "::1", "localhost"})


def names_of(folder: Path, host: str, also: Collection[str] = ()) -> set[str]:
    """Host names and addresses the board answers to: its own, those of this machine when it listens beyond, and named ones."""
    names = {*LOOPBACK, *(one.lower() for one in also)}
    page = urlsplit(_farm_page(folder)).hostname
    if page:
        names.add(page)
    if host not in {"0.0.0.0", "::"}:  # noqa: S104  # compared, not bound
        names.add(host.lower())
        return names
    own = socket.gethostname().lower()
    names |= {own, f"{own}.local", *_addresses()}
    return names


def _farm_page(folder: Path) -> str:
    house = open_house(folder)
    try:
        return house.site.farm.count_page
    finally:
        house.books.close()


def _addresses() -> set[str]:
    """Addresses of this machine on its networks."""
    found: set[str] = set()
    with contextlib.suppress(OSError):
        found |= {str(row[4][0]) for row in socket.getaddrinfo(socket.gethostname(), None)}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): nothing is sent, the way out is asked
            found.add(str(probe.getsockname()[0]))
        except OSError:
            pass
    return found


def first_link(folder: Path, base: str, person: str = "") -> tuple[str, str] | None:
    """An invitation for a person, or for the first owner when no owner has a device yet: who, and the link.

    Raises
    ------
    UnknownName
        No such person.
    BadInput
        The farm names people but no owner.
    """
    farm = OpenFarm(folder)
    try:
        with farm.writing() as house:
            who = person or roles.owner(house)
            known = devices.devices(house)
            in_use = {one.person for one in devices.open_devices(house).values()}
            if not person and any(roles.role_of(house, one) == "owner" for one in in_use):
                return None
            for one in known:
                if one.state == "invited" and one.person == who and one.label == "server":
                    devices.revoke(house, one.id)  # a new link replaces the one printed at an earlier start
            _, code = devices.invite(house, who, label="server")
    finally:
        farm.close()
    return who, f"{base}/join/{code}"


def run(  # what the command line can say
    folder: Path,
    *,
    host: str,
    port: int,
    names: Collection[str] = (),
    certificate: tuple[str, str] | None = None,
    own: OwnTls | None = None,
    say: Callable[[str], None] = print,
    invite: str = "",
    backup: bool = False,
    passphrase: str = "",
) -> None:
    """Serve the board of a farm until the process is reported to stop.

    Parameters
    ----------
    names
        Further host names it is reached by.
    certificate
        Files of a certificate and its key, for https without a proxy.
    own
        Https with the farm's own authority; the port then shows how to trust it, and the board is on a port beside.
    backup
        Whether it makes backups by itself (:mod:`intake.app.backups.scheduled`), sealed with a passphrase if one is given.

    Raises
    ------
    StoreTrouble
        The port is taken, or the farm's certificate cannot be made.
    """
    import uvicorn

    hosts = names_of(folder, host, names)
    door = None if own is None else _secure(folder, host, port, hosts, own)
    certificate = certificate if door is None else door.pair
    sock = _listen(host, port) if door is None else door.secure
    scheme = "https" if certificate else "http"
    shown = _shown(folder, scheme, host, sock.getsockname()[1])
    if door is not None:
        shown = door.trusted(shown, names)
    app = board(folder, hosts)
    if names or host not in _HERE_ONLY:
        _remember(folder, f"{scheme}://{sorted(names)[0]}:{sock.getsockname()[1]}" if names and door is None else shown)
    _log_plainly()
    _welcome(
        say,
        folder,
        shown,
        host,
        _farm_page(folder),
        invited=first_link(folder, shown, invite),
        secure=bool(certificate),
    )
    if door is not None:
        for line in door.words(_shown(folder, "http", host, door.plain.getsockname()[1])):
            say(line)
        door.start()
    calendars = Regular("calendars", app.state.feed_door.bring_up, _CLOCK_EVERY_S)
    calendars.start()
    backups = Regular("backup", backups_of(folder, passphrase), _LOOK_EVERY_S)
    if backup:
        say("Backups are made by themselves: the ledger every hour, the whole farm every day, in backups/.")
        backups.start()
    try:
        uvicorn.Server(configured(app, certificate)).run(sockets=[sock])
    finally:
        if door is not None:
            door.stop()
        calendars.stop()
        if backup:
            backups.stop()
        app.state.farm.close()
        sock.close()


def _secure(folder: Path, host: str, port: int, hosts: Collection[str], own: OwnTls) -> SecureDoor:
    """Listen on both ports with the farm's own certificate, made where it must be."""
    house = open_house(folder)
    farm = house.site.farm.name
    house.books.close()
    told = secured(folder, farm, hosts, system_clock.now(), anew=own.new_authority)
    plain = _listen(host, port)
    try:
        secure = _listen(host, own.beside(plain.getsockname()[1] if port else 0))
    except StoreTrouble:
        plain.close()
        raise
    return SecureDoor(folder, farm, frozenset(hosts), told, plain, secure)


_LOOK_EVERY_S: Final = 300.0
"""How often it is looked whether a backup is due."""

_CLOCK_EVERY_S: Final = 20.0
"""How often it is looked whether a quarter hour is over, after which calendars say what is late or missed."""


def backups_of(folder: Path, passphrase: str = "") -> Callable[[], tuple[str, ...]]:
    """Makes the backups of a farm that are due each time it is called, and says which."""
    due = Due()
    return lambda: make_due(folder, system_clock.now(), due, passphrase=passphrase)


_HERE_ONLY = frozenset({"127.0.0.1", "localhost", "::1"})


def _remember(folder: Path, address: str) -> None:
    """Have calendars link to the board at the address phones reach it by."""
    farm = OpenFarm(folder)
    try:
        with farm.writing() as house:
            if remember_board(house, address):
                publish(house)
    finally:
        farm.close()


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # asyncio sets TCP_NODELAY only on sockets whose protocol says TCP; without it the body of a reply waits 40 ms for the
    # acknowledgement of its head (python/cpython issue 148783)
    sock = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
    except (OSError, OverflowError) as error:
        sock.close()
        raise StoreTrouble(
            Finding(f"{host}:{port}", getattr(error, "strerror", None) or str(error), "a free port of this machine",
                    "Choose another with --port.")
        ) from error  # fmt: skip
    return sock


def _shown(folder: Path, scheme: str, host: str, port: int) -> str:
    """Address to type: the one of the farm file when it names one for this port, else an address of this machine."""
    page = urlsplit(_farm_page(folder))
    if page.hostname and (page.port or 80) == port and host not in LOOPBACK:
        return f"{scheme}://{page.netloc}"
    if host in {"0.0.0.0", "::"}:  # noqa: S104  # compared, not bound
        host = next((one for one in sorted(_addresses()) if ":" not in one and not one.startswith("127.")), "127.0.0.1")
    return f"{scheme}://[{host}]:{port}" if ":" in host else f"{scheme}://{host}:{port}"


def _log_plainly() -> None:
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%d %H:%M:%S"))
    handler.addFilter(SecretFilter())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    logging.getLogger("uvicorn").setLevel(logging.WARNING)


def _welcome(  # everything said once at the start
    say: Callable[[str], None],
    folder: Path,
    base: str,
    host: str,
    page: str,
    *,
    invited: tuple[str, str] | None,
    secure: bool,
) -> None:
    say(f"The board is at {base}/  (stop it with Ctrl-C)")
    if host in LOOPBACK:
        say("Only this computer can reach it; --lan opens it to the farm's network.")
    elif not secure:
        say(
            "Traffic is not encrypted: anyone on this network can read it. For encryption add --tls, or give --certificate and"
        )
        say(
            "--key, or put a reverse proxy with TLS on this machine that sends X-Forwarded-Proto, and name it with --name."
        )
        say("A proxy's log must not keep addresses below /cal/ and /join/: they are secrets.")
    if page and urlsplit(page).netloc != urlsplit(base).netloc:
        say(f"Printed codes lead to {page} (farm.toml, count_page), not to this address.")
    elif not page and host not in LOOPBACK:
        say("Printed codes and calendars lead to this address.")
    elif not page:
        say(f'Printed codes hold only the batch; for the count page set in farm.toml: count_page = "{base}/c"')
    if invited:
        _say_link(say, folder, *invited, code=host not in LOOPBACK)
    say("Invite more people and phones on the People page.")


def _say_link(say: Callable[[str], None], folder: Path, who: str, link: str, *, code: bool) -> None:
    """Show the sign-in link where a person reads it; what goes to a log is kept there permanently, so it gets a file."""
    if sys.stdout.isatty():
        say(f"Sign in as {who}, once, within three days: {link}")
        if code:
            say(terminal_code(link))
        return
    file = save(folder / "sign-in-link.txt", f"{link}\n".encode())
    file.chmod(0o600)
    say(f"Sign in as {who}, once, within three days, with the link in {file}; delete the file then.")


def certificate_of(certificate: str, key: str) -> tuple[str, str] | None:
    """The pair of files for https, or ``None`` when neither is named.

    Raises
    ------
    BadInput
        Only one of them, or a file that is not there.
    """
    if not certificate and not key:
        return None
    for name, file in (("--certificate", certificate), ("--key", key)):
        if not file or not Path(file).is_file():
            raise BadInput(Finding(name, file, "a file, together with the other one"))
    return certificate, key
