"""How mail is sent, as the owner says it: in a file, or kept in the job book. No password in it."""

from __future__ import annotations

import os
import stat
import tomllib
from dataclasses import asdict, dataclass, fields
from email.errors import MessageError
from email.headerregistry import Address
from pathlib import Path
from typing import TYPE_CHECKING, Any

from insights.errors import MailError, RequestError, SourceError
from insights.history.book.kinds import MAIL, WHOLE_BOOK
from insights.history.book.people import OWNER

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.history.book.entries import Record
    from insights.history.book.people import Person

STARTTLS, TLS, NONE = "starttls", "tls", "none"
PORTS = {STARTTLS: 587, TLS: 465, NONE: 25}
THIS_MACHINE = ("localhost", "127.0.0.1", "::1")
PASSWORD_VARIABLE = "STAYSFIXED_MAIL_PASSWORD"
MOST_PORT = 65535


@dataclass(frozen=True)
class MailSettings:
    """How mail is sent.

    Parameters
    ----------
    host
        The mail server.
    sender
        Whose address it is sent from.
    to
        Who gets it, one address each.
    security
        ``starttls`` (encrypted after the greeting), ``tls`` (encrypted from the start), or
        ``none``, which only a server on this machine may have.
    port
        0: the usual one of that security.
    user
        To sign in as; empty: the server asks for none.
    password_variable
        The environment variable that holds the password.
    password_file
        A file that holds it, readable by its owner only; empty: none.

    Raises
    ------
    RequestError
        Something of it can't be used.
    """

    host: str
    sender: str
    to: tuple[str, ...]
    security: str = STARTTLS
    port: int = 0
    user: str = ""
    password_variable: str = PASSWORD_VARIABLE
    password_file: str = ""

    def __post_init__(self) -> None:
        if not self.host or self.host.split() != [self.host]:
            raise RequestError("Mail: 'host' names the mail server, such as mail.example.org.")
        if self.security not in PORTS:
            raise RequestError(
                f"Mail: security is '{self.security}'. Choose one of: {', '.join(PORTS)}."
            )
        if self.security == NONE and not self.is_here:
            raise RequestError(
                f"Mail: security 'none' would send the summary readable to anyone on the way to "
                f"{self.host}; only a server on this machine may have it. Say 'starttls' or 'tls'."
            )
        if not 0 <= self.port <= MOST_PORT:
            raise RequestError(f"Mail: there is no port {self.port}. It is 587 or 465 mostly.")
        if not self.to:
            raise RequestError("Mail: 'to' lists the addresses that get the summary. Give one.")
        if not self.user.isascii():
            raise RequestError("Mail: 'user' holds letters beyond ASCII, which can't sign in.")
        for address in (self.sender, *self.to):
            _check_address(address)

    @property
    def is_here(self) -> bool:
        """Whether the server is this machine."""
        return self.host.lower() in THIS_MACHINE

    @property
    def at_port(self) -> int:
        """The port in force."""
        return self.port or PORTS[self.security]


KEYS = {**{field.name: field.name for field in fields(MailSettings)}, "sender": "from"}
"""What each setting is called in the owner's file."""


def read_settings(path: str | Path) -> MailSettings:
    """Read settings from a TOML file that the owner wrote.

    Parameters
    ----------
    path
        Holds ``host``, ``from``, ``to`` (a list), and where wanted ``security``, ``port``,
        ``user``, ``password_variable``, ``password_file``.

    Raises
    ------
    SourceError
        The file can't be read, or is no TOML.
    RequestError
        Something in it can't be used.
    """
    try:
        given = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise SourceError(f"{path} can't be read: {error.strerror}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SourceError(
            f'{path} is no TOML file: {error}. Write lines like host = "mail.example.org".'
        ) from error
    return _from_keys(given, str(path))


def settings_in(book: Book) -> MailSettings | None:
    """Read how a book's summary is mailed; None where that was never set up, or taken back."""
    found = book.get(MAIL, WHOLE_BOOK)
    if found is None or found.body is None:
        return None
    return MailSettings(**{**found.body, "to": tuple(found.body["to"])})


def keep_settings(book: Book, settings: MailSettings | None, *, by: Person) -> Record:
    """Store how a book's summary is mailed, or that it is not; only an owner may."""
    body = None if settings is None else {**asdict(settings), "to": list(settings.to)}
    return book.put(MAIL, WHOLE_BOOK, body, by=by, roles=OWNER)


def password_of(settings: MailSettings) -> str:
    """Find the password; empty where no sign-in is wanted.

    Raises
    ------
    MailError
        There is none, or its file is open to others.
    """
    if not settings.user:
        return ""
    if found := os.environ.get(settings.password_variable):
        return _plain(found)
    if settings.password_file:
        return _plain(_password_in(Path(settings.password_file).expanduser()))
    raise MailError(
        f"There is no password for {settings.user} on {settings.host}. Put it into the environment "
        f"variable {settings.password_variable}, or into a file that only you may read and name it "
        "as password_file."
    )


def _plain(password: str) -> str:
    if not password.isascii():
        raise MailError(
            "The mail password holds letters beyond ASCII (such as ö), which can't be sent when "
            "signing in. Choose one of plain letters, digits and signs."
        )
    return password


def _password_in(path: Path) -> str:
    if os.name == "nt":
        raise MailError(
            f"Whether only you may read {path} can't be told on Windows. Put the password into the "
            "environment variable instead."
        )
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise MailError(f"The password's file {path} can't be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise MailError(f"The password's file {path} is no text. Write it anew.") from error
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise MailError(f"Others may read the password's file {path}. Close it: chmod 600 {path}")
    found = text.strip("\r\n")
    if not found:
        raise MailError(f"The password's file {path} is empty. Write the password into it.")
    return found


def _from_keys(given: dict[str, Any], where: str) -> MailSettings:
    if "password" in given:
        raise RequestError(
            f"{where} holds a password, which has no place in it. Take it out; put it into the "
            f"environment variable {PASSWORD_VARIABLE}, or into a file named as password_file."
        )
    ours = {theirs: name for name, theirs in KEYS.items()}
    unknown = [name for name in given if name not in ours]
    missing = [theirs for theirs in ("host", "from", "to") if theirs not in given]
    if unknown or missing:
        told = f"does not know '{unknown[0]}'" if unknown else f"lacks '{missing[0]}'"
        raise RequestError(f"{where} {told}. It may hold: {', '.join(ours)}.")
    values = {ours[name]: value for name, value in given.items()}
    to = values["to"]
    values["to"] = (to,) if isinstance(to, str) else tuple(to) if isinstance(to, list) else ()
    for name, value in values.items():
        _check_kind(name, value, where)
    return MailSettings(**values)


def _check_kind(name: str, value: object, where: str) -> None:
    if name == "port":
        fine = isinstance(value, int) and not isinstance(value, bool)
    elif name == "to":
        fine = isinstance(value, tuple) and all(isinstance(one, str) for one in value)
    else:
        fine = isinstance(value, str)
    if not fine:
        kind = {"port": "a whole number", "to": "a list of addresses"}.get(name, "a text")
        raise RequestError(f"{where}: {KEYS[name]} is not {kind}. Write it as one.")


def _check_address(address: str) -> None:
    try:
        parsed = Address(addr_spec=address)
        fine = bool(parsed.username and parsed.domain) and address.isascii()
    except (MessageError, ValueError, IndexError):
        fine = False
    if not fine or address.split() != [address]:
        shown = " ".join(address.split())
        raise RequestError(
            f"Mail: '{shown}' is no address that mail can be sent to. Write it as "
            "name@example.org, without the person's name."
        )
