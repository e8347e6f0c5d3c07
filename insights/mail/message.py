"""A summary as a mail: sentences to read at once, and the page attached."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import localtime, make_msgid

from insights.mail.settings import MailSettings
from insights.report.section import Section

WIDTH = 76
PAGE_SAID = "The tables, and what to keep in mind, are on the page attached."


def compose(
    settings: MailSettings,
    *,
    workshop: str,
    what: str,
    sections: Iterable[Section],
    cautions: Iterable[str],
    html: str,
    file_name: str,
) -> EmailMessage:
    """Put a mail together.

    Parameters
    ----------
    settings
        From whom, and to whom.
    workshop
        Its name, as printed; may be empty.
    what
        What the summary is about, such as a month's name.
    sections
        The answers, of which the sentences stand in the text.
    cautions
        Printed at its end.
    html
        The page attached.
    file_name
        What the attachment is called.
    """
    name = one_line(workshop)
    message = EmailMessage()
    message["Subject"] = one_line(f"{name or 'Comebacks'}: {what}")
    message["From"] = Address(display_name=name, addr_spec=settings.sender)
    message["To"] = tuple(Address(addr_spec=address) for address in settings.to)
    message["Date"] = localtime()
    message["Message-ID"] = make_msgid(domain=settings.sender.rpartition("@")[2])
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no machine is to answer it
    message.set_content(text_of(what, sections, cautions))
    message.add_attachment(html, subtype="html", cte="base64", filename=file_name)
    return message


def text_of(what: str, sections: Iterable[Section], cautions: Iterable[str]) -> str:
    """Write the answers' sentences as plain text."""
    parts = [what]
    for part in sections:
        parts.append(f"{part.title.upper()}\n{_filled(part.found.finding.sentence)}")
    return "\n\n".join([*parts, PAGE_SAID, *map(_filled, cautions)]) + "\n"


def one_line(text: str) -> str:
    """Put a text on one line, without any character that steers: it goes into a heading."""
    kept = "".join(" " if unicodedata.category(sign)[0] in "CZ" else sign for sign in text)
    return " ".join(kept.split())


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)
