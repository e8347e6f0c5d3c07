"""How mail is sent, as the owner writes it: what is refused, and where a password may be."""

from __future__ import annotations

import os

import pytest

from insights.errors import MailError, NotAllowed, RequestError, SourceError
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.mail.settings import (
    PASSWORD_VARIABLE,
    MailSettings,
    keep_settings,
    password_of,
    read_settings,
    settings_in,
)

LINES = 'host = "mail.example.org"\nfrom = "bench@example.org"\nto = ["owner@example.org"]\n'
OWNER = Person("Ada")


def written(tmp_path, text: str):
    path = tmp_path / "mail.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_three_lines_are_enough_and_encrypted(tmp_path):
    found = read_settings(written(tmp_path, LINES))
    # 587 with STARTTLS: RFC 6409 and RFC 3207; 465 with TLS: RFC 8314.
    assert (found.security, found.at_port) == ("starttls", 587)
    more = read_settings(written(tmp_path, LINES + 'security = "tls"\nuser = "bench"\n'))
    assert (more.at_port, more.user) == (465, "bench")
    one = read_settings(
        written(tmp_path, LINES.replace('["owner@example.org"]', '"o@example.org"'))
    )
    assert one.to == ("o@example.org",)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (LINES + 'password = "x"\n', "holds a password, which has no place in it"),
        (LINES + 'security = "none"\n', "only a server on this machine may have it"),
        (LINES + 'security = "ssl"\n', "Choose one of: starttls, tls, none"),
        (LINES + "ports = 25\n", "does not know 'ports'"),
        (LINES + 'port = "25"\n', "port is not a whole number"),
        (LINES + "port = 70000\n", "no port 70000"),
        (LINES.replace("from", "#from"), "lacks 'from'"),
        (LINES.replace('["owner@example.org"]', "[]"), "'to' lists the addresses"),
        (LINES.replace("owner@example.org", "owner"), "'owner' is no address"),
        (LINES.replace("owner@example.org", "a@b.org\\r\\nBcc: c@d.org"), "is no address"),
        (LINES.replace("owner@example.org", "zoë@example.org"), "is no address"),
        (LINES.replace("mail.example.org", "mail example"), "'host' names the mail server"),
    ],
)
def test_what_can_not_be_used_is_said(tmp_path, text, told):
    with pytest.raises(RequestError, match=told):
        read_settings(written(tmp_path, text))


def test_no_file_and_no_toml_are_said(tmp_path):
    with pytest.raises(SourceError, match="can't be read"):
        read_settings(tmp_path / "none.toml")
    with pytest.raises(SourceError, match="is no TOML file"):
        read_settings(written(tmp_path, "host: x"))


def settings(**more) -> MailSettings:
    return MailSettings("mail.example.org", "b@example.org", ("o@example.org",), user="b", **more)


def test_a_password_comes_from_the_environment_first(tmp_path, monkeypatch):
    path = tmp_path / "password"
    path.write_text("in the file\n")
    path.chmod(0o600)
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    assert password_of(settings(password_file=str(path))) == "in the file"
    monkeypatch.setenv(PASSWORD_VARIABLE, "in the air")
    assert password_of(settings(password_file=str(path))) == "in the air"
    assert password_of(MailSettings("h.org", "b@example.org", ("o@example.org",))) == ""


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps permissions elsewhere")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_file_that_others_may_read_is_refused(tmp_path, monkeypatch, mode):
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    path = tmp_path / "password"
    path.write_text("secret")
    path.chmod(mode)
    with pytest.raises(MailError, match="Others may read") as told:
        password_of(settings(password_file=str(path)))
    assert "secret" not in str(told.value)


def test_no_password_is_said_before_anything_is_sent(tmp_path, monkeypatch):
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    with pytest.raises(MailError, match=PASSWORD_VARIABLE):
        password_of(settings())
    with pytest.raises(MailError, match="can't be read"):
        password_of(settings(password_file=str(tmp_path / "none")))
    monkeypatch.setenv(PASSWORD_VARIABLE, "böiler")
    with pytest.raises(MailError, match="beyond ASCII"):
        password_of(settings())
    monkeypatch.delenv(PASSWORD_VARIABLE)
    empty = tmp_path / "empty"
    empty.touch(mode=0o600)
    with pytest.raises(MailError, match="is empty"):
        password_of(settings(password_file=str(empty)))


def test_a_book_keeps_them_for_its_owner_and_takes_them_back(tmp_path):
    book = create_book(tmp_path / "b.db", Settings(), OWNER)
    assert settings_in(book) is None
    keep_settings(book, settings(), by=OWNER)
    assert settings_in(book) == settings()
    keep_settings(book, None, by=OWNER)
    assert settings_in(book) is None
    with pytest.raises(NotAllowed):
        keep_settings(book, settings(), by=Person("Bo", "bench"))
