"""The farm's certificate authority: trusted for the farm's names alone, keys private, renewed and told in time."""

import datetime as dt
import ipaddress
import socket
import ssl
import stat
import threading
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization

from intake.app.access import farm_certificates as tls
from intake.errors import BadInput, StoreTrouble

HOSTS = {"127.0.0.1", "localhost", "farm.lan", "10.20.0.5"}
NOW = dt.datetime.now(dt.UTC).replace(microsecond=0)


def shaken(authority: Path, pair: tuple[str, str], host: str) -> None:
    """One handshake over a socket pair with a client that trusts this authority alone."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(*pair)
    client = ssl.create_default_context(cafile=str(authority))
    here, there = socket.socketpair()
    here.settimeout(20)
    there.settimeout(20)

    def serve() -> None:
        try:
            with server.wrap_socket(there, server_side=True) as line:
                line.recv(1)
        except OSError:
            there.close()  # the client refused

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with client.wrap_socket(here, server_hostname=host) as line:
            line.sendall(b"x")
    finally:
        here.close()
        thread.join(20)


def files(made: tls.Secured) -> tuple[str, str]:
    """The pair a server loads."""
    return str(made.certificate), str(made.key)


@pytest.fixture
def made(tmp_path: Path) -> tls.Secured:
    """A farm's certificates, made now."""
    return tls.secured(tmp_path, "Invented farm", HOSTS, NOW)


def test_a_client_that_trusts_the_authority_alone_accepts_the_farms_names(made: tls.Secured, tmp_path: Path) -> None:
    """By name and by address; loopback is no name of the farm's."""
    authority = tmp_path / "tls" / "authority.crt"
    assert made.names == ("farm.lan", "10.20.0.5")
    for host in made.names:
        shaken(authority, files(made), host)
    with pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch|not valid for"):
        shaken(authority, files(made), "bank.example")


def test_whatever_the_authority_signs_for_another_name_is_refused(made: tls.Secured, tmp_path: Path) -> None:
    """Its key stolen, it still speaks for no other host: the client names the permitted names as the reason."""
    here = tmp_path / "tls"
    key = serialization.load_pem_private_key((here / "board.key").read_bytes(), None)
    signer = serialization.load_pem_private_key((here / "authority.key").read_bytes(), None)
    authority = x509.load_pem_x509_certificate((here / "authority.crt").read_bytes())
    for other in ("bank.example", "10.20.0.6"):
        name = x509.DNSName(other) if other.startswith("b") else x509.IPAddress(ipaddress.ip_address(other))
        forged = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.ORGANIZATION_NAME, "Elsewhere")]))
            .issuer_name(authority.subject)
            .public_key(key.public_key())  # type: ignore[arg-type]  # made by this house, an elliptic curve
            .serial_number(7)
            .not_valid_before(NOW - dt.timedelta(hours=1))
            .not_valid_after(NOW + dt.timedelta(days=30))
            .add_extension(x509.SubjectAlternativeName([name]), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key()), critical=False)  # type: ignore[arg-type]
            .sign(signer, hashes.SHA256())  # type: ignore[arg-type]
        )
        file = tmp_path / "forged.crt"
        file.write_bytes(forged.public_bytes(serialization.Encoding.PEM))
        with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
            shaken(here / "authority.crt", (str(file), str(made.key)), other)


def test_keys_are_private_and_the_certificate_short(made: tls.Secured, tmp_path: Path) -> None:
    """Files 600, the folder 700; at most 398 days; every name in it; the authority signs nothing but the board's."""
    here = tmp_path / "tls"
    assert stat.S_IMODE(here.stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in here.iterdir()} == {0o600}
    board = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    assert board.not_valid_after_utc - board.not_valid_before_utc <= dt.timedelta(days=398)
    authority = x509.load_pem_x509_certificate((here / "authority.crt").read_bytes())
    assert authority.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0
    assert authority.extensions.get_extension_for_class(x509.NameConstraints).critical


def test_it_is_made_once_and_renewed_near_its_end(made: tls.Secured, tmp_path: Path) -> None:
    """A second start changes nothing; one in the last 60 days makes a new certificate by the same authority."""
    first = made.certificate.read_bytes()
    again = tls.secured(tmp_path, "Invented farm", HOSTS, NOW + dt.timedelta(days=300))
    assert (again.fresh, again.certificate.read_bytes()) == (False, first)
    later = tls.secured(tmp_path, "Invented farm", HOSTS, NOW + dt.timedelta(days=340))
    assert later.certificate.read_bytes() != first
    assert (later.fresh, later.fingerprint) == (False, made.fingerprint)
    anew = tls.secured(tmp_path, "Invented farm", HOSTS, NOW + dt.timedelta(days=3620))
    assert anew.fresh
    assert anew.fingerprint != made.fingerprint


def test_the_end_is_told_more_than_thirty_days_before(made: tls.Secured, tmp_path: Path) -> None:
    """Nothing while it is far; from 45 days before with what to do; then that phones refuse the board."""
    days = dt.timedelta(days=1)
    assert tls.certificate_warnings(tmp_path, made.until - 50 * days) == []
    told = tls.certificate_warnings(tmp_path, made.until - 31 * days)
    assert [line.partition(" on ")[0] for line in told] == ["The board's certificate ends"]
    assert "in 31 d" in told[0]
    assert "phones refuse" in tls.certificate_warnings(tmp_path, made.until + days)[0]
    assert tls.certificate_warnings(tmp_path / "elsewhere", NOW) == []


def test_a_name_the_authority_was_not_made_for_is_told(made: tls.Secured, tmp_path: Path) -> None:
    """Beside a good name it is left out; alone it is refused; a new authority takes it."""
    more = tls.secured(tmp_path, "Invented farm", {*HOSTS, "10.20.0.99"}, NOW)
    assert more.left_out == ("10.20.0.99",)
    with pytest.raises(BadInput, match="made for"):
        tls.secured(tmp_path, "Invented farm", {"barn.lan"}, NOW)
    anew = tls.secured(tmp_path, "Invented farm", {"barn.lan"}, NOW, anew=True)
    assert (anew.fresh, anew.names) == (True, ("barn.lan",))
    shaken(tmp_path / "tls" / "authority.crt", files(anew), "barn.lan")


def test_files_that_cannot_be_read_are_told(made: tls.Secured, tmp_path: Path) -> None:
    """A damaged file is no traceback."""
    made.certificate.write_bytes(b"not a certificate")
    with pytest.raises(StoreTrouble):
        tls.secured(tmp_path, "Invented farm", HOSTS, NOW)
    assert tls.certificate_warnings(tmp_path, NOW) == []
