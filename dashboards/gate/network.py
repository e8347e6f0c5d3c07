"""Whether, and how, others than this machine may be let in: decided before the server starts."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from pathlib import Path

from dashboards.gate.policy import Policy
from dashboards.server import EVERY_ADDRESS, THIS_MACHINE
from insights.errors import RequestError
from insights.history.book.address import is_address, is_book

_NEEDS_BOOK = (
    "Only a job book can be opened to the network, because only a book knows who may sign in. Make "
    "one (staysfixed book new) and bring the history in (staysfixed book add)."
)
_NEEDS_USERS = (
    "Nobody can sign in to {book} yet. Add an owner first: staysfixed book user add BOOK NAME "
    "--role owner"
)
_NEEDS_NAMES = (
    "Say under which name browsers will ask for this server: --name NAME, as often as there are "
    "names. Requests under any other name are refused."
)


def policy_for(
    source: str | None,
    address: str = THIS_MACHINE[0],
    names: Sequence[str] = (),
    *,
    behind_tls: bool = False,
    sign_in: bool = False,
) -> Policy:
    """Decide what the gate lets through.

    Parameters
    ----------
    source
        What will be shown.
    address
        Where the server will listen.
    names
        Names, beside the address, under which browsers ask for it.
    behind_tls
        Whether a proxy speaks HTTPS with the browsers: then others are let in, wherever the
        server itself listens.
    sign_in
        Ask for a sign-in on this machine as well.

    Returns
    -------
    Policy

    Raises
    ------
    RequestError
        Others would be let in without signing in, or under any name.
    """
    others = address not in THIS_MACHINE or behind_tls or bool(names)
    if not others and not sign_in:
        return Policy()
    book = _book_of(source)
    known = [name.strip().lower().rstrip(".") for name in names]
    if others and not known and (behind_tls or address in EVERY_ADDRESS):
        raise RequestError(_NEEDS_NAMES)
    if address not in EVERY_ADDRESS:
        known.append(_plain(address))
    hosts = tuple(dict.fromkeys((*THIS_MACHINE, *known)))
    return Policy(book=book, hosts=hosts, behind_tls=behind_tls)


def _book_of(source: str | None) -> str:
    if source is None or not is_book(source):
        raise RequestError(_NEEDS_BOOK)
    from insights.history.book.opening import open_book
    from insights.history.book.sessions import has_users

    book = open_book(source)
    if not has_users(book):
        raise RequestError(_NEEDS_USERS.format(book=book.name))
    return source if is_address(source) else str(Path(source).resolve())


def _plain(address: str) -> str:
    try:
        return str(ipaddress.ip_address(address.strip("[]")))
    except ValueError:
        return address.lower()
