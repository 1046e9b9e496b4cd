"""A claim as mail: a standard message, and a real SMTP server with TLS started here; all names and addresses are invented."""

from __future__ import annotations

import email
import socket
import ssl
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from intake.app.commands import advance_claim, attach_photo, count_animals
from intake.app.commands.count_animals import Count
from intake.app.commands.phones import sync_phone
from intake.app.documents import claim_mail, claim_paper, claim_sending
from intake.app.queries.reports import claim_status
from intake.app.session import House
from intake.errors import BadInput, Refused
from tests.app.test_claims import EVIDENCE, picture, received
from tests.conftest import NOON

Open = Callable[..., House]


@dataclass
class Inbox:
    """What the server took, and what it refuses."""

    port: int = 0
    letters: list[Envelope] = field(default_factory=list)
    refuse: str = ""
    cut: bool = False

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """Take the message, refuse it, or break off after taking it."""
        if self.refuse:
            return self.refuse
        self.letters.append(envelope)
        if self.cut:
            assert server.transport is not None
            server.transport.close()
        return "250 taken"


@pytest.fixture
def authority(tmp_path: Path) -> tuple[trustme.CA, Path]:
    """An authority of its own, and its certificate as a file."""
    found = trustme.CA()
    file = tmp_path / "authority.pem"
    found.cert_pem.write_to_path(str(file))
    return found, file


@pytest.fixture
def inbox(authority: tuple[trustme.CA, Path]) -> Iterator[Inbox]:
    """A mail server that asks for TLS first and then for a name and a password."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority[0].issue_cert("localhost").configure_cert(context)
    kept = Inbox()

    def sign_in(server: SMTP, session: Session, envelope: Envelope, mechanism: str, told: object) -> AuthResult:
        good = isinstance(told, LoginPassword) and (told.login, told.password) == (b"farm", b"pass word")
        return AuthResult(success=good)

    with socket.socket() as free:
        free.bind(("localhost", 0))
        kept.port = free.getsockname()[1]
    controller = Controller(
        kept, hostname="localhost", port=kept.port, tls_context=context, require_starttls=True, auth_required=True,
        authenticator=sign_in,
    )  # fmt: skip
    controller.start()
    yield kept
    controller.stop()


MAIL = '\n[mail]\nsender = "claims@farm.invalid"\ncopy_to = ["books@farm.invalid"]\n'


def configure(folder: Path, more: str = "", *, address: bool = True) -> None:
    """Write addresses, and the server, into the farm file."""
    farm = folder / "farm.toml"
    text = farm.read_text()
    if address:
        text = text.replace("[supplier.one]", '[supplier.one]\nemail = "claims@lagoon.invalid"', 1)
    farm.write_text(text + MAIL + more)


def server_lines(inbox: Inbox, authority: tuple[trustme.CA, Path]) -> str:
    """The table's keys for the test's server."""
    return f'host = "localhost"\nport = {inbox.port}\nuser = "farm"\nca_file = "{authority[1]}"\n'


def opened(data: bytes) -> EmailMessage:
    """The message as a mail program reads it."""
    found = email.message_from_bytes(data, policy=default)
    assert isinstance(found, EmailMessage)
    assert not found.defects
    return found


def test_without_a_server_a_message_file_is_written_with_everything_attached(
    house_at: Open, farm_folder: Path, tmp_path: Path
) -> None:
    """Addressed from farm.toml; the claim's PDF and CSV are those recorded as sent afterwards."""
    configure(farm_folder)
    house = received(house_at)
    attach_photo.keep_photo(house, "S1-01", picture(90), sync_phone.Sent("photo-key-00000001"), evidence=EVIDENCE)
    mailed = claim_sending.mail(house, "S1", tmp_path)
    assert (mailed.sent, mailed.file.name) == (False, "claim-S1-v1.eml")
    message = opened(mailed.file.read_bytes())
    assert message["From"].addresses[0].addr_spec == "claims@farm.invalid"
    assert [one.addr_spec for one in message["To"].addresses] == ["claims@lagoon.invalid"]
    assert message["Subject"] == "Claim S1 / 1: 14 animals, 50.50 EUR"
    assert message["Message-ID"] == mailed.message_id
    body = message.get_body(("plain",))
    assert body is not None
    assert "We ask you to credit 50.50 EUR for 14 animals." in body.get_content()
    parts = {part.get_filename(): part.get_content() for part in message.iter_attachments()}
    assert picture(90) in parts.values()
    assert claim_status.current(house, "S1").state == "drafted"
    # sent by hand an hour later: what is kept is what was in the message
    later = house_at(house.now + timedelta(hours=1))
    claim_sending.mark_sent(later, "S1")
    claim = claim_status.current(later, "S1")
    assert parts["claim-S1-v1.pdf"] == claim_paper.given_pdf(later, claim)
    assert isinstance(parts["claim-S1-v1.csv"], str)
    assert claim.state == "sent"
    again = claim_sending  # the same version is not mailed a second time
    with pytest.raises(BadInput, match="sent"):
        again.mail(later, "S1", tmp_path)


def test_the_same_version_gives_the_same_message(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Byte for byte, whenever it is written."""
    configure(farm_folder)
    first = claim_sending.mail(received(house_at), "S1", tmp_path / "a").file.read_bytes()
    second = claim_sending.mail(house_at(NOON + timedelta(hours=3)), "S1", tmp_path / "b").file.read_bytes()
    assert first == second


def test_a_claim_is_mailed_over_tls_once(
    house_at: Open,
    farm_folder: Path,
    tmp_path: Path,
    inbox: Inbox,
    authority: tuple[trustme.CA, Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Signed in with the password of the environment, recorded with its id; a second time is refused; a new version goes."""
    configure(farm_folder, server_lines(inbox, authority))
    monkeypatch.setenv("VATSIDE_MAIL_PASSWORD", "pass word")
    house = received(house_at)
    mailed = claim_sending.mail(house, "S1", tmp_path)
    (letter,) = inbox.letters
    assert sorted(letter.rcpt_tos) == ["books@farm.invalid", "claims@lagoon.invalid"]
    assert letter.mail_from == "claims@farm.invalid"
    assert isinstance(letter.content, bytes)
    got = opened(letter.content)
    names = [part.get_filename() for part in got.iter_attachments()]
    assert names == ["claim-S1-v1.pdf", "claim-S1-v1.csv", "claim-S1-v1-evidence.csv"]
    claim = claim_status.current(house, "S1")
    (step,) = claim_status.steps_of(house, "S1")
    assert (mailed.sent, claim.state, step.payload["message_id"]) == (True, "sent", got["Message-ID"])
    assert next(part for part in got.iter_attachments()).get_content() == claim_paper.given_pdf(house, claim)
    with pytest.raises(BadInput, match="sent"):
        claim_sending.mail(house, "S1", tmp_path)
    assert len(inbox.letters) == 1
    later = house_at(NOON + timedelta(hours=30))
    count_animals.count(later, "S1-01", "Q1", Count(dead=3))
    claim_sending.mail(later, "S1", tmp_path)
    assert [step.version for step in claim_status.steps_of(later, "S1")] == [1, 2]


def test_what_the_server_refuses_is_not_sent_and_may_be_tried_again(
    house_at: Open,
    farm_folder: Path,
    tmp_path: Path,
    inbox: Inbox,
    authority: tuple[trustme.CA, Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A wrong password, then a full mailbox, then it goes."""
    configure(farm_folder, server_lines(inbox, authority))
    house = received(house_at)
    with pytest.raises(BadInput, match="VATSIDE_MAIL_PASSWORD"):
        claim_sending.mail(house, "S1", tmp_path)
    monkeypatch.setenv("VATSIDE_MAIL_PASSWORD", "wrong")
    with pytest.raises(Refused, match="Nothing was sent"):
        claim_sending.mail(house, "S1", tmp_path)
    monkeypatch.setenv("VATSIDE_MAIL_PASSWORD", "pass word")
    inbox.refuse = "552 mailbox full"
    with pytest.raises(Refused, match="mailbox full"):
        claim_sending.mail(house, "S1", tmp_path)
    assert claim_status.current(house, "S1").state == "drafted"
    inbox.refuse = ""
    assert claim_sending.mail(house, "S1", tmp_path).sent


def test_a_connection_that_breaks_after_the_message_leaves_it_open_and_never_sends_twice(
    house_at: Open,
    farm_folder: Path,
    tmp_path: Path,
    inbox: Inbox,
    authority: tuple[trustme.CA, Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It may be on its way: a person looks, and withdraws the attempt with a reason before it is tried again."""
    configure(farm_folder, server_lines(inbox, authority))
    monkeypatch.setenv("VATSIDE_MAIL_PASSWORD", "pass word")
    house = received(house_at)
    inbox.cut = True
    with pytest.raises(claim_mail.Unsure):
        claim_sending.mail(house, "S1", tmp_path)
    inbox.cut = False
    with pytest.raises(Refused, match="may be on its way"):
        claim_sending.mail(house, "S1", tmp_path)
    assert len(inbox.letters) == 1
    advance_claim.take_back(house, "S1", reason="not among the sent mail")
    assert claim_sending.mail(house, "S1", tmp_path).sent


def test_a_server_that_is_not_who_it_says_is_not_spoken_to(
    house_at: Open, farm_folder: Path, tmp_path: Path, inbox: Inbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its certificate is of an authority the farm does not know: neither password nor claim leave."""
    stranger = tmp_path / "stranger.pem"
    trustme.CA().cert_pem.write_to_path(str(stranger))
    configure(farm_folder, f'host = "localhost"\nport = {inbox.port}\nuser = "farm"\nca_file = "{stranger}"\n')
    monkeypatch.setenv("VATSIDE_MAIL_PASSWORD", "pass word")
    with pytest.raises(Refused, match="certificate"):
        claim_sending.mail(received(house_at), "S1", tmp_path)
    assert inbox.letters == []


def test_a_mail_without_addresses_says_which_are_missing(house_at: Open, farm_folder: Path, tmp_path: Path) -> None:
    """Both at once."""
    with pytest.raises(BadInput) as refused:
        claim_sending.mail(received(house_at), "S1", tmp_path)
    assert [fault.where for fault in refused.value.findings] == ["farm.toml, mail", "farm.toml, supplier.one, email"]
