"""The farm's own certificate authority: https on the farm's network, trusted for the farm's names and addresses alone.

The authority is made once and installed on each phone; the board's certificate is made by it at every start that finds the
old one near its end or without a name it needs.  Keys are their owner's alone (mode 600).

References
----------
RFC 5280 for certificates, name constraints in its section 4.2.1.10.  Browsers take certificates of at most 398 days (their
published root policies, from memory).
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from intake.errors import BadInput, Finding, StoreTrouble

if TYPE_CHECKING:
    from cryptography import x509

__all__ = ["FOLDER", "Secured", "authority_bytes", "certificate_warnings", "secured"]

FOLDER: Final = "tls"
_AUTHORITY, _AUTHORITY_KEY, _BOARD, _BOARD_KEY = "authority.crt", "authority.key", "board.crt", "board.key"
_AUTHORITY_DAYS: Final = 3650
_BOARD_DAYS: Final = 397
_RENEW_DAYS: Final = 60
_TOLD_DAYS: Final = 45
_EARLIER: Final = timedelta(hours=1)  # a phone's clock may be behind


@dataclass(frozen=True, slots=True)
class Secured:
    """What https is served with.

    Attributes
    ----------
    certificate, key
        Files of the board's certificate with its authority, and of its key.
    names
        Names and addresses the certificate is for.
    left_out
        Names and addresses asked for that the authority was not made for.
    until
        When the certificate ends.
    fingerprint
        SHA-256 of the authority, in pairs of signs, to compare on the phone.
    fresh
        Whether the authority was made now: every phone must install it.
    """

    certificate: Path
    key: Path
    names: tuple[str, ...]
    left_out: tuple[str, ...]
    until: datetime
    fingerprint: str
    fresh: bool


def secured(folder: Path, farm: str, hosts: Iterable[str], now: datetime, *, anew: bool = False) -> Secured:
    """Make what is missing or near its end: the authority once, the board's certificate for the names it is reached by.

    Parameters
    ----------
    hosts
        Host names and IP addresses of the board.  Loopback is left out unless there is nothing else.
    anew
        Make another authority, for names the present one was not made for.

    Raises
    ------
    StoreTrouble
        The library `cryptography` is not installed, or a file cannot be read or written.
    BadInput
        The authority was made for none of these names.
    """
    _library()
    here, wanted = folder / FOLDER, _wanted(hosts)
    try:
        fresh = (
            anew or not (here / _AUTHORITY).exists() or _ends(here / _AUTHORITY) <= now + timedelta(days=_RENEW_DAYS)
        )
        if fresh:
            _make_authority(here, farm, wanted, now)
        authority = _read(here / _AUTHORITY)
        names = _known(wanted, _permitted(authority))
        if fresh or not _serves(here, names, now):
            _make_board(here, farm, names, now)
        until = _ends(here / _BOARD)
    except BadInput:
        raise
    except (OSError, ValueError) as error:
        do = "Correct it, or delete the folder: phones must then install the new authority."
        raise StoreTrouble(
            Finding(str(here), str(error)[:200], "certificates that can be read and written", do)
        ) from error
    left_out = tuple(one for one in wanted if one not in names)
    return Secured(here / _BOARD, here / _BOARD_KEY, names, left_out, until, _fingerprint(authority), fresh)


def authority_bytes(folder: Path) -> bytes:
    """The authority's certificate as phones take it (DER).

    Raises
    ------
    OSError
        There is none.
    """
    from cryptography.hazmat.primitives.serialization import Encoding

    return _read(folder / FOLDER / _AUTHORITY).public_bytes(Encoding.DER)


def certificate_warnings(folder: Path, now: datetime) -> list[str]:
    """What is told from 45 days before a certificate of the farm ends; nothing where there is none."""
    told = []
    for name, what, do in (
        (_BOARD, "The board's certificate", "Stop `vatside serve --tls` and start it again: it makes a new one."),
        (
            _AUTHORITY,
            "The farm's certificate authority",
            "Start `vatside serve --tls` again; every phone must install the new one.",
        ),
    ):
        file = folder / FOLDER / name
        try:
            until = _known_end(str(file), file.stat().st_mtime_ns)
        except (OSError, ValueError, ImportError):
            continue
        days = (until - now).days
        if until <= now:
            told.append(f"{what} ended on {until:%Y-%m-%d}: phones refuse the board. {do}")
        elif days <= _TOLD_DAYS:
            told.append(f"{what} ends on {until:%Y-%m-%d}, in {days} d. {do}")
    return told


@lru_cache(maxsize=8)
def _known_end(file: str, changed: int) -> datetime:
    del changed  # part of the key: a renewed file is read again
    return _ends(Path(file))


def _library() -> None:
    try:
        import cryptography  # noqa: F401
    except ImportError as error:
        do = "Install it with `pip install 'vatside[tls]'`, or give --certificate and --key."
        raise StoreTrouble(Finding("--tls", str(error), "the library cryptography", do)) from error


def _wanted(hosts: Iterable[str]) -> tuple[str, ...]:
    """The names in order, addresses last; loopback only where there is nothing else, a host name always."""
    every = sorted({one.lower().strip("[]") for one in hosts if one}, key=lambda one: (_address(one) is not None, one))
    beyond = [one for one in every if not _loopback(one)]
    if beyond and any(_address(one) is None for one in beyond):
        return tuple(beyond)
    return tuple([one for one in every if one == "localhost"] + beyond) if beyond else tuple(every)


def _loopback(name: str) -> bool:
    address = _address(name)
    return name == "localhost" if address is None else address.is_loopback


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return None


def _general(name: str) -> Any:
    from cryptography import x509

    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _constraints(names: Iterable[str]) -> x509.NameConstraints:
    """Only these names and addresses; where no address is named, none at all."""
    from cryptography import x509

    permitted: list[x509.GeneralName] = []
    for name in names:
        address = _address(name)
        permitted.append(x509.DNSName(name) if address is None else x509.IPAddress(ipaddress.ip_network(address)))
    every = [x509.IPAddress(ipaddress.ip_network(one)) for one in ("0.0.0.0/0", "::/0")]
    none = None if any(isinstance(one, x509.IPAddress) for one in permitted) else every
    return x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=none)


def _permitted(authority: x509.Certificate) -> tuple[str, ...]:
    from cryptography import x509

    told = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    return tuple(str(one.value).partition("/")[0] for one in told if isinstance(one, (x509.IPAddress, x509.DNSName)))


def _known(wanted: Iterable[str], permitted: Collection[str]) -> tuple[str, ...]:
    """Those of the names that the authority may speak for."""
    names = tuple(one for one in wanted if one in permitted)
    if not names:
        expected = f"a name or address the farm's authority was made for: {', '.join(permitted)}"
        do = "Serve it under one of them, or add --new-authority and install it on every phone."
        raise BadInput(Finding("--tls", ", ".join(wanted), expected, do))
    return names


def _make_authority(here: Path, farm: str, names: tuple[str, ...], now: datetime) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"{farm[:40]}: certificates", farm)
    builder = _begun(name, name, key.public_key(), key.public_key(), (now, _AUTHORITY_DAYS))
    usage = _usage(sign=False)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(usage, critical=True).add_extension(_constraints(names), critical=True)
    _write(here, key, _AUTHORITY_KEY, builder, key, _AUTHORITY)


def _make_board(here: Path, farm: str, names: tuple[str, ...], now: datetime) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    authority = _read(here / _AUTHORITY)
    signer = serialization.load_pem_private_key((here / _AUTHORITY_KEY).read_bytes(), None)
    days = min(_BOARD_DAYS, (authority.not_valid_after_utc - now).days)
    key = ec.generate_private_key(ec.SECP256R1())
    public: Any = authority.public_key()
    builder = _begun(_name("Vatside board", farm), authority.subject, key.public_key(), public, (now, days))
    server = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    builder = builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    builder = builder.add_extension(_usage(sign=True), critical=True).add_extension(server, critical=False)
    builder = builder.add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
    whole = authority.public_bytes(serialization.Encoding.PEM)
    _write(here, key, _BOARD_KEY, builder, signer, _BOARD, whole)


def _name(common: str, farm: str) -> x509.Name:
    from cryptography import x509

    oid = x509.NameOID
    return x509.Name(
        [
            x509.NameAttribute(oid.ORGANIZATION_NAME, farm[:64] or "Farm"),
            x509.NameAttribute(oid.COMMON_NAME, common[:64]),
        ]
    )


def _begun(subject: x509.Name, issuer: x509.Name, public: Any, signer: Any, span: tuple[datetime, int]) -> Any:
    from cryptography import x509

    now, days = span
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now - _EARLIER + timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer), critical=False)
    )


def _usage(*, sign: bool) -> x509.KeyUsage:
    """What a key is for: the board's signs handshakes, the authority's signs certificates."""
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=sign, key_cert_sign=not sign, crl_sign=not sign, content_commitment=False,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _write(here: Path, key: Any, key_name: str, builder: Any, signer: Any, name: str, chain: bytes = b"") -> None:
    """Write key and certificate, the key first: a certificate is never without its key."""
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    made = builder.sign(signer, hashes.SHA256())
    here.mkdir(mode=0o700, exist_ok=True)
    here.chmod(0o700)
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    _private_file(here / key_name, private)
    _private_file(here / name, made.public_bytes(Encoding.PEM) + chain)


def _private_file(file: Path, data: bytes) -> None:
    """Write a file whole or not at all, its owner's alone from its first byte on."""
    beside = file.with_name(f".{file.name}.new")
    beside.unlink(missing_ok=True)
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    beside.replace(file)


def _read(file: Path) -> x509.Certificate:
    from cryptography import x509

    return x509.load_pem_x509_certificate(file.read_bytes())


def _ends(file: Path) -> datetime:
    return _read(file).not_valid_after_utc


def _serves(here: Path, names: tuple[str, ...], now: datetime) -> bool:
    """Whether the board's certificate still stands: of this authority, for all these names, with its key, not near its end."""
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import serialization

    if not (here / _BOARD).exists() or not (here / _BOARD_KEY).exists():
        return False
    board, authority = _read(here / _BOARD), _read(here / _AUTHORITY)
    try:
        board.verify_directly_issued_by(authority)
    except (InvalidSignature, ValueError):
        return False
    key = serialization.load_pem_private_key((here / _BOARD_KEY).read_bytes(), None)
    told = board.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return (
        key.public_key() == board.public_key()
        and {_general(name) for name in names} <= set(told)
        and board.not_valid_after_utc > now + timedelta(days=_RENEW_DAYS)
    )


def _fingerprint(authority: x509.Certificate) -> str:
    from cryptography.hazmat.primitives import hashes

    return authority.fingerprint(hashes.SHA256()).hex(":", 1).upper()
