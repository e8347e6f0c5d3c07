"""The verb `month`: one month on a page or two, printed, or mailed from a scheduled command."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from insights import wording
from insights.errors import MailError, RequestError, SourceError
from insights.followup import Followup
from insights.history.asof import as_known
from insights.history.book.address import is_book
from insights.history.declared import home_folder
from insights.report.section import Section
from insights.reviewing.kept_calls import answers_in
from insights.reviewing.one_month import latest_month
from insights.reviewing.watched import watched_in
from insights.verbs.answer import Answer
from insights.verbs.asked import as_of_day, followed, read, selected
from insights.verbs.leaving import note_leaving
from insights.verbs.watch import tell_limits
from insights.verbs.writing import say, write
from insights.wording import Finding, day_of
from insights.wording import month as wording_month

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.history.book.people import Person
    from insights.mail.sent import Log
    from insights.mail.settings import MailSettings

SETTINGS_NAME = "mail.toml"


def month_options(parser: argparse.ArgumentParser) -> None:
    """Add what a month's summary can be asked."""
    parser.add_argument("--month", metavar="YYYY-MM", help="the last whole one if not said")
    parser.add_argument("--to", metavar="FILE.html", required=True, help="the page to write")
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="to print on (%(default)s)"
    )
    parser.add_argument(
        "--workshop", metavar="NAME", help="printed at its head; the book's if not said"
    )
    parser.add_argument(
        "--customers",
        action="store_true",
        help="name customers and telephones in the lists of units to call in, in the mail as well",
    )
    mail = parser.add_argument_group("by mail, where that was set up")
    mail.add_argument("--mail", action="store_true", help="send it; once for each month")
    mail.add_argument(
        "--mail-settings",
        metavar="FILE.toml",
        help=f"how; else as the book says, or {SETTINGS_NAME} in the program's own folder",
    )
    mail.add_argument("--again", action="store_true", help="also if this month was sent already")
    mail.add_argument("--by", metavar="NAME", help="who sends it; this machine's user if not said")


def month(args: argparse.Namespace) -> Answer:
    """Work out a month, write it, and mail it where that is asked."""
    # Drawing takes half a second to import, which no other verb should wait for.
    from insights.report.month import MonthWanted, month_sections
    from insights.report.page import Cover, short_page

    to = Path(args.to)
    if not to.resolve().parent.is_dir():  # said before the work, not after it
        raise SourceError(f"{to} can't be written: there is no folder {to.parent}. Make it first.")
    mailing = _Mailing(args) if args.mail else None
    watched = watched_in(args.source)
    which, followup = _as_known(args)
    if mailing:
        mailing.look_up(str(which))
    wanted = MonthWanted(
        which,
        watched,
        decides=watched.book is not None,
        customers=args.customers,
        answers=answers_in(args.source, as_of_day(args)),
    )
    if args.customers:
        note_leaving(args.source, args.by, f"customers of units to call in, {which}")
    limits = tell_limits if sys.stderr.isatty() else None
    parts = tuple(month_sections(followup, wanted, say, limits))
    name = wording_month.name_of(which)
    workshop = watched.workshop if args.workshop is None else args.workshop
    cover = Cover(
        workshop=workshop,
        period=name,
        source=Path(followup.history.source).name,
        made=f"As known on {day_of(followup.data_date)}; made on {day_of(pd.Timestamp.today())} "
        f"by staysfixed {version('staysfixed')}.",
    )
    html = short_page(cover, parts, (wording.SAFETY, wording.STATUTORY), args.paper)
    write(to, html)
    told = [{"title": part.title, "sentence": part.found.finding.sentence} for part in parts]
    data: dict[str, Any] = {"file": args.to, "month": str(which), "sections": told, "mail": None}
    finding = Finding(f"{args.to} is written: {name}. {parts[0].found.finding.sentence}")
    if mailing:
        data["mail"] = mailing.send(workshop, name, parts, html)
        finding = finding.followed_by(mailing.said)
    return Answer(data, finding)


class _Mailing:
    """One sending: settings and password are looked up before the work, so that it fails early."""

    def __init__(self, args: argparse.Namespace) -> None:
        from insights.mail.settings import password_of

        self._again: bool = args.again
        self._log: Log
        self._book: Book | None = None
        self._person: Person | None = None
        if is_book(args.source):
            self._book, self._person = _opened(args)
        self._settings = _settings(args, self._book)
        self._password = password_of(self._settings)
        self._log = _log(args, self._book, self._person)
        self._before: dict[str, Any] | None = None
        self._month = ""
        self.said = Finding("")

    def look_up(self, month: str) -> None:
        """Read whether the month was mailed already."""
        from insights.mail.sent import already_sent

        self._month = month
        self._before = self._log.read(month) if self._again else already_sent(self._log, month)

    def send(self, workshop: str, what: str, parts: Iterable[Section], html: str) -> dict[str, Any]:
        """Send the mail, unless this month's was sent; what became of it."""
        from insights.mail.message import compose
        from insights.mail.sending import send
        from insights.mail.sent import begun, sent

        if self._before is not None and not self._again:
            at, to = self._before["at"], self._before["to"]
            self.said = Finding(
                f"It was mailed on {at} to {', '.join(to)} and is not sent twice; --again sends it "
                "once more."
            )
            return {"sent": False, "at": at, "to": to, "refused": []}
        message = compose(
            self._settings,
            workshop=workshop,
            what=what,
            sections=parts,
            cautions=(wording.SAFETY,),
            html=html,
            file_name=f"{self._month}.html",
        )
        self._log.begin(self._month, begun(self._settings.to), self._before)
        try:
            refused = send(message, self._settings, self._password)
        except MailError as error:
            if not error.may_be_sent:
                self._log.write(self._month, self._before)
            raise
        reached = tuple(address for address in self._settings.to if address not in refused)
        state = sent(reached)
        self._log.write(self._month, state)
        left = f" The server takes no mail for {', '.join(refused)}." if refused else ""
        self.said = Finding(f"Mailed to {', '.join(reached)}.{left}")
        return {"sent": True, "at": state["at"], "to": list(reached), "refused": list(refused)}


def _as_known(args: argparse.Namespace) -> tuple[pd.Period, Followup]:
    """Choose the month, and follow the record as it was known at its end."""
    asked = _month_of(args.month) if args.month else None
    history = read(args)
    whole = followed(args, history)
    which = asked or latest_month(whole.data_date, _today())
    if which > whole.data_date.to_period("M"):
        raise RequestError(
            f"--month {which}: the record ends on {whole.data_date:%Y-%m-%d}. Give an earlier one."
        )
    end = which.end_time.normalize()
    if end >= whole.data_date:
        return which, selected(args, whole)
    args.data_date = f"{end:%Y-%m-%d}"
    past = as_known(history, end)
    return which, selected(args, followed(args, past))


def _month_of(text: str) -> pd.Period:
    try:
        found = pd.Period(text, freq="M")
    except ValueError:
        found = None
    if found is None or str(found) != text:
        raise RequestError(f"--month {text}: write the month as 2026-10.")
    return found


def _today() -> pd.Timestamp:
    return pd.Timestamp.today().normalize()


def _settings(args: argparse.Namespace, book: Book | None) -> MailSettings:
    from insights.mail.settings import read_settings, settings_in

    if args.mail_settings:
        return read_settings(args.mail_settings)
    if book is not None:
        kept = settings_in(book)
        if kept is None:
            raise RequestError(
                f"{args.source} is not set up for mail. Write the settings into a file and keep "
                "them with `staysfixed book mail BOOK --settings FILE.toml`."
            )
        return kept
    usual = home_folder() / SETTINGS_NAME
    if not usual.is_file():
        raise RequestError(
            f"Mail is not set up. Write host, from and to into {usual}, or name another file with "
            "--mail-settings."
        )
    return read_settings(usual)


def _opened(args: argparse.Namespace) -> tuple[Book, Person]:
    from insights.history.book.opening import open_book
    from insights.history.book.people import Person
    from insights.verbs.book import named

    return open_book(args.source), Person(named(args))


def _log(args: argparse.Namespace, book: Book | None, person: Person | None) -> Log:
    from insights.mail.sent import BookLog, FileLog

    if book is None or person is None:
        return FileLog(args.source)
    return BookLog(book, person)
