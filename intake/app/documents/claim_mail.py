"""The claim as a mail: a standard message with its files, and the way to the farm's mail server."""

from __future__ import annotations

import mimetypes
import os
import smtplib
import ssl
from dataclasses import dataclass
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, formataddr

from intake.app.session import House
from intake.errors import BadInput, Finding, Refused
from intake.farm.site import Mail
from intake.report.claiming.versions import Claim

__all__ = ["Part", "Unsure", "addressees", "as_bytes", "check_addresses", "message", "send"]

_PATIENCE_S = 30.0


@dataclass(frozen=True, slots=True)
class Part:
    """A file of the message."""

    name: str
    data: bytes


def check_addresses(house: House, supplier: str) -> None:
    """Refuse a mail that has no one to go to, no one to come from, or no password for the server."""
    faults = []
    if house.site.mail is None:
        faults.append(Finding("farm.toml, mail", "", 'a table [mail] with sender = "…"'))
    if not house.site.supplier(supplier).email:
        faults.append(Finding(f"farm.toml, supplier.{supplier}, email", "", "the address claims are mailed to"))
    settings = house.site.mail
    if settings and settings.host and settings.user and not os.environ.get(settings.password_variable):
        faults.append(Finding(settings.password_variable, "", "the mail password in this environment variable"))
    if faults:
        raise BadInput(faults)


def addressees(house: House, supplier: str) -> list[str]:
    """Everybody the mail goes to."""
    copies = house.site.mail.copy_to if house.site.mail else ()
    return [house.site.supplier(supplier).email, *copies]


def message(house: House, claim: Claim, parts: tuple[Part, ...], digest: str) -> EmailMessage:
    """The message (RFC 5322) with its files attached; equal content gives equal bytes.

    Parameters
    ----------
    digest
        SHA-256 of the claim's PDF, which makes the message's id and boundary.
    """
    sender = house.site.mail.sender if house.site.mail else ""
    supplier = house.site.supplier(claim.supplier)
    mail = EmailMessage(policy=SMTP)
    mail["From"] = formataddr((house.site.farm.name, sender))
    mail["To"] = formataddr((supplier.name, supplier.email))
    if house.site.mail and house.site.mail.copy_to:
        mail["Cc"] = ", ".join(house.site.mail.copy_to)
    mail["Subject"] = f"Claim {claim.shipment} / {claim.version}: {claim.claimable} animals, {_money(claim)}"
    mail["Date"] = format_datetime(claim.as_of.astimezone(house.site.farm.zone))
    mail["Message-ID"] = f"<{claim.shipment}.{claim.version}.{digest[:24]}@{sender.rpartition('@')[2]}>"
    mail.set_content(_words(house, claim))
    for part in parts:
        kind, _ = mimetypes.guess_type(part.name)
        main, _, sub = (kind or "application/octet-stream").partition("/")
        mail.add_attachment(part.data, maintype=main, subtype=sub, filename=part.name)
    mail.set_boundary(f"=_{digest[:40]}")
    return mail


def as_bytes(mail: EmailMessage) -> bytes:
    """The message as a file any mail program opens."""
    return mail.as_bytes(policy=SMTP)


def _money(claim: Claim) -> str:
    return " + ".join(f"{value:,.2f} {currency}" for currency, value in claim.totals) or "no prices"


def _words(house: House, claim: Claim) -> str:
    zone = house.site.farm.zone
    landed = claim.received_at.astimezone(zone) if claim.received_at else None
    papers = " · ".join(
        f"{name} {number}"
        for name, number in (("invoice", claim.facts.invoice), ("waybill", claim.waybill), ("order", claim.order))
        if number
    )
    lines = [
        f"Claim for shipment {claim.shipment}" + (f", received {landed:%Y-%m-%d %H:%M %Z}" if landed else "") + ".",
        *([papers] if papers else []),
        "",
        f"We ask you to credit {_money(claim)} for {claim.claimable} animals.",
        claim.sums.balance + ".",
        claim.sums.check + ".",
        "",
        f"Terms: {claim.terms.words()}",
        "The claim, its lines and the photos are attached.",
        "",
        house.site.farm.name,
    ]
    return "\n".join(lines)


class Unsure(Refused):
    """The connection broke after the message was handed over: it may be on its way."""


def send(house: House, mail: EmailMessage) -> list[str]:
    """Hand the message to the mail server over TLS; gives addresses it did not accept, if others were.

    Raises
    ------
    Refused
        The server cannot be reached, is not who it says it is, or took nothing.
    Unsure
        The connection broke while it took the message.
    """
    settings = house.site.mail
    if settings is None:
        raise BadInput(Finding("farm.toml, mail", "", "a mail server"))
    password = os.environ.get(settings.password_variable, "")
    where = f"mail server {settings.host}:{settings.port}"
    nothing = "Nothing was sent. Correct [mail] in farm.toml, or send the message file by hand."
    try:
        context = ssl.create_default_context(cafile=settings.ca_file or None)
        server = _connected(settings, context)
        if settings.user:
            server.login(settings.user, password)
    except (OSError, smtplib.SMTPException, ValueError) as error:
        raise Refused(Finding(where, _told(error), "a server that takes the mail", nothing)) from error
    try:
        return list(server.send_message(mail))
    except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused, smtplib.SMTPNotSupportedError) as error:
        raise Refused(Finding(where, _told(error), "a server that takes the mail", nothing)) from error
    except (OSError, smtplib.SMTPException) as error:
        words = "Look into the sent mail: record --state sent if it is there, or --take-back with a reason if not."
        raise Unsure(Finding(where, _told(error), "an answer to the message", words)) from error
    finally:
        server.close()


def _told(error: Exception) -> str:
    return str(error)[:200] or type(error).__name__


def _connected(settings: Mail, context: ssl.SSLContext) -> smtplib.SMTP:
    if settings.security == "tls":
        return smtplib.SMTP_SSL(settings.host, settings.port, timeout=_PATIENCE_S, context=context)
    server = smtplib.SMTP(settings.host, settings.port, timeout=_PATIENCE_S)
    try:
        server.starttls(context=context)
    except BaseException:
        server.close()
        raise
    return server
