"""A real SMTP server on this machine (aiosmtpd), with a certificate of a throw-away authority."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

USER, PASSWORD = "bench", "boiler 7"


@dataclass
class Inbox:
    """What a server took, and how it behaves."""

    mails: list[EmailMessage] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    refused: tuple[str, ...] = ()
    answer: str = "250 OK"
    port: int = 0

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if address in self.refused:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        if self.answer.startswith("250"):
            mail = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(mail, EmailMessage)
            self.mails.append(mail)
            self.recipients.append(list(envelope.rcpt_tos))
            self.encrypted.append(server.transport.get_extra_info("ssl_object") is not None)
        return self.answer


def authority(folder: Path) -> tuple[Path, ssl.SSLContext]:
    """Make an authority, and a server's side for localhost; the file to trust it by."""
    ca = trustme.CA()
    trusted = folder / "authority.pem"
    ca.cert_pem.write_to_path(str(trusted))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    ca.issue_cert("localhost").configure_cert(context)
    return trusted, context


def checked(server, session, envelope, mechanism, given) -> AuthResult:
    fine = (given.login, given.password) == (USER.encode(), PASSWORD.encode())
    return AuthResult(success=fine, handled=fine)


@contextmanager
def serving(
    context: ssl.SSLContext | None, *, starttls: bool = True, **behaviour
) -> Iterator[Inbox]:
    """Serve on a free port; ``starttls`` says whether encryption comes after the greeting."""
    inbox = Inbox(**behaviour)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        inbox.port = free.getsockname()[1]
    later = {"tls_context": context, "require_starttls": True} if starttls and context else {}
    controller = Controller(
        inbox,
        hostname="localhost",
        port=inbox.port,
        server_hostname="localhost",
        authenticator=checked,
        auth_require_tls=bool(later),  # it knows of TLS by STARTTLS only
        ssl_context=None if starttls else context,
        **later,
    )
    controller.start()
    try:
        yield inbox
    finally:
        controller.stop(no_assert=True)
