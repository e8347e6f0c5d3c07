"""Handing a mail to the server, over an encrypted line unless the server is this machine."""

from __future__ import annotations

import smtplib
import socket
import ssl
from email.message import EmailMessage

from insights.errors import MailError
from insights.mail.settings import STARTTLS, TLS, MailSettings

TIMEOUT_SECONDS = 30.0


def send(message: EmailMessage, settings: MailSettings, password: str) -> tuple[str, ...]:
    """Send a mail once.

    Parameters
    ----------
    message
        The mail.
    settings
        The server, and how to speak to it.
    password
        Of the user that signs in.

    Returns
    -------
    tuple of str
        Addresses that the server refused, while it took the mail for the others.

    Raises
    ------
    MailError
        It was not sent; or, where the error says so, it may have been.
    """
    server = _connected(settings)
    try:
        _signed_in(server, settings, password)
        refused = _handed_over(server, message, settings)
    finally:
        _left(server)
    return tuple(refused)


def _connected(settings: MailSettings) -> smtplib.SMTP:
    """Open the line, encrypted where that is wanted: else nothing more is said on it."""
    where = f"{settings.host}, port {settings.at_port},"
    context = ssl.create_default_context()
    try:
        server: smtplib.SMTP
        if settings.security == TLS:
            server = smtplib.SMTP_SSL(
                settings.host, settings.at_port, timeout=TIMEOUT_SECONDS, context=context
            )
        else:
            server = smtplib.SMTP(settings.host, settings.at_port, timeout=TIMEOUT_SECONDS)
    except ssl.SSLError as error:
        raise MailError(_tls_failed(where, error)) from error
    except socket.gaierror as error:
        raise MailError(
            f"No machine is found by the name {settings.host}. Check the name, and whether this "
            "machine has a network."
        ) from error
    except OSError as error:  # smtplib's own errors are among them
        raise MailError(
            f"{where} can't be reached: {_reason(error)}. Check host, port and network."
        ) from error
    if settings.security == STARTTLS:
        try:
            _encrypt(server, context, where)
        except MailError:
            server.close()
            raise
    return server


def _encrypt(server: smtplib.SMTP, context: ssl.SSLContext, where: str) -> None:
    try:
        server.starttls(context=context)
    except smtplib.SMTPNotSupportedError as error:
        raise MailError(
            f"{where} offers no encryption (STARTTLS), so nothing was sent. Ask whoever runs it "
            'for the encrypted port, often 465 with security = "tls".'
        ) from error
    except ssl.SSLError as error:
        raise MailError(_tls_failed(where, error)) from error
    except OSError as error:
        raise MailError(f"{where} did not start encryption: {_reason(error)}.") from error


def _signed_in(server: smtplib.SMTP, settings: MailSettings, password: str) -> None:
    if not settings.user:
        return
    try:
        server.login(settings.user, password)
    except smtplib.SMTPAuthenticationError as error:
        raise MailError(
            f"{settings.host} refuses user {settings.user} or the password ({_reason(error)}). "
            "Check both; some providers want a password made for programs."
        ) from error
    except smtplib.SMTPNotSupportedError as error:
        raise MailError(
            f"{settings.host} offers no sign-in here. Leave 'user' out, or ask for another port."
        ) from error
    except OSError as error:
        raise MailError(f"Signing in to {settings.host} failed: {_reason(error)}.") from error


def _handed_over(
    server: smtplib.SMTP, message: EmailMessage, settings: MailSettings
) -> dict[str, tuple[int, bytes]]:
    try:
        return server.send_message(message, settings.sender, list(settings.to))
    except smtplib.SMTPRecipientsRefused as error:
        code, text = next(iter(error.recipients.values()))
        raise MailError(
            f"{settings.host} takes no mail for {', '.join(settings.to)} ({code} {_words(text)}). "
            "Check the addresses under 'to'."
        ) from error
    except (smtplib.SMTPSenderRefused, smtplib.SMTPDataError, smtplib.SMTPHeloError) as error:
        raise MailError(
            f"{settings.host} refuses the mail ({_reason(error)}). Check 'from' and 'user'."
        ) from error
    except smtplib.SMTPNotSupportedError as error:
        raise MailError(f"{settings.host} can't take it: {error}.") from error
    except OSError as error:
        raise MailError(
            f"The line to {settings.host} broke while the mail was handed over ({_reason(error)}): "
            "it may have been sent. Look into the mailbox before sending it again.",
            may_be_sent=True,
        ) from error


def _left(server: smtplib.SMTP) -> None:
    try:
        server.quit()
    except OSError:
        # What was handed over is handed over, however the line ends.
        server.close()


def _tls_failed(where: str, error: ssl.SSLError) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"{where} shows a certificate that can't be trusted: {error.verify_message}. Check the "
            "host's name; nothing was sent."
        )
    return (
        f"{where} does not speak TLS as asked ({error.reason or error}). Check port and security: "
        '587 is usually "starttls", 465 "tls".'
    )


def _reason(error: BaseException) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        return f"{error.smtp_code} {_words(error.smtp_error)}"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__


def _words(text: bytes | str) -> str:
    shown = text.decode("utf-8", errors="replace") if isinstance(text, bytes) else text
    return " ".join(shown.split())
