"""Mail handed to a real server: encrypted or not at all, and every refusal in one clear sentence.

The server is aiosmtpd, the certificates are trustme's: both general-purpose libraries.
"""

from __future__ import annotations

import socket
import ssl
import threading

import pytest
from smtp_server import PASSWORD, USER, authority, serving

from insights.errors import MailError
from insights.mail.message import compose
from insights.mail.sending import send
from insights.mail.settings import MailSettings
from insights.report.section import Found, Section
from insights.wording import Finding

SECTIONS = (Section("a", "Trouble early", Found(Finding("Nothing stands out: ½ of 3 charts."))),)


@pytest.fixture(scope="module")
def tls(tmp_path_factory) -> ssl.SSLContext:
    trusted, context = authority(tmp_path_factory.mktemp("authority"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SSL_CERT_FILE", str(trusted))
        yield context


def settings(port: int, **more) -> MailSettings:
    usual = {"host": "localhost", "sender": "bench@example.org", "to": ("owner@example.org",)}
    return MailSettings(**{**usual, "port": port, **more})


def mail(wanted: MailSettings, workshop: str = "Bench"):
    return compose(
        wanted,
        workshop=workshop,
        what="October 2026",
        sections=SECTIONS,
        cautions=("Unplug first.",),
        html="<p>ganz: ½</p>",
        file_name="2026-10.html",
    )


def refusal(wanted: MailSettings, password: str = "") -> str:
    with pytest.raises(MailError) as told:
        send(mail(wanted), wanted, password)
    assert not told.value.may_be_sent
    return str(told.value)


@pytest.mark.parametrize(("security", "starttls"), [("starttls", True), ("tls", False)])
def test_it_arrives_encrypted_with_text_and_page(tls, security, starttls):
    with serving(tls, starttls=starttls) as inbox:
        wanted = settings(inbox.port, security=security, user=USER)
        assert send(mail(wanted, "Zoë Žák & Søn"), wanted, PASSWORD) == ()
    (found,) = inbox.mails
    assert inbox.encrypted == [True]
    assert inbox.recipients == [["owner@example.org"]]
    assert found["Subject"] == "Zoë Žák & Søn: October 2026"
    assert found["From"].addresses[0].display_name == "Zoë Žák & Søn"
    assert found["From"].addresses[0].addr_spec == "bench@example.org"
    assert found["Auto-Submitted"] == "auto-generated"
    text, page = found.iter_parts()
    said = text.get_content().replace("\r\n", "\n")
    assert "TROUBLE EARLY\nNothing stands out: ½ of 3 charts." in said
    assert "Unplug first." in said
    assert page.get_content_type() == "text/html"
    assert page.get_filename() == "2026-10.html"
    assert page.get_content().strip() == "<p>ganz: ½</p>"


def test_a_server_on_this_machine_may_go_without(tls):
    with serving(None) as inbox:
        wanted = settings(inbox.port, security="none")
        send(mail(wanted), wanted, "")
    assert inbox.encrypted == [False]


@pytest.mark.parametrize(
    "name",
    [
        "Bench\r\nBcc: other@example.org",
        "Bench\nBcc: other@example.org\n\nBody",
        "B\x00\u2028Bcc: x",
    ],
)
def test_a_workshops_name_puts_in_no_heading(tls, name):
    with serving(tls) as inbox:
        wanted = settings(inbox.port)
        send(mail(wanted, name), wanted, "")
    (found,) = inbox.mails
    assert found["Bcc"] is None
    assert inbox.recipients == [["owner@example.org"]]
    assert found["Subject"].startswith("B")
    assert "Bcc:" in found["Subject"]  # it is part of the name, on one line
    assert len(list(found.iter_parts())) == 2


def test_a_server_without_encryption_gets_nothing(tls):
    with serving(None) as inbox:
        told = refusal(settings(inbox.port, user=USER), PASSWORD)
    assert "offers no encryption (STARTTLS), so nothing was sent" in told
    assert inbox.mails == []


def test_a_certificate_of_nobody_we_trust_is_refused(tls, tmp_path, monkeypatch):
    _, other = authority(tmp_path)
    with serving(other) as inbox:
        told = refusal(settings(inbox.port))
        assert "certificate that can't be trusted" in told
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))
        send(mail(settings(inbox.port)), settings(inbox.port), "")
    with serving(other) as inbox:
        assert "trusted" in refusal(settings(inbox.port, host="127.0.0.1"))  # not its name
    assert inbox.mails == []


def test_the_wrong_way_of_encrypting_is_said(tls):
    with serving(tls) as inbox:
        told = refusal(settings(inbox.port, security="tls"))
    assert "does not speak TLS as asked" in told
    assert '587 is usually "starttls"' in told


def test_a_wrong_password_is_said_and_not_shown(tls):
    with serving(tls) as inbox:
        told = refusal(settings(inbox.port, user=USER), "guessed")
    assert "refuses user bench or the password (535" in told
    assert "guessed" not in told
    assert inbox.mails == []


def test_a_server_that_refuses_says_why(tls):
    with serving(tls, answer="554 too much like spam") as inbox:
        assert "refuses the mail (554 too much like spam)" in refusal(settings(inbox.port))
    with serving(tls, refused=("owner@example.org",)) as inbox:
        assert "(550 no such mailbox)" in refusal(settings(inbox.port))


def test_addresses_refused_are_told_while_the_others_get_it(tls):
    with serving(tls, refused=("gone@example.org",)) as inbox:
        wanted = settings(inbox.port, to=("gone@example.org", "owner@example.org"))
        assert send(mail(wanted), wanted, "") == ("gone@example.org",)
    assert inbox.recipients == [["owner@example.org"]]


def test_nobody_there_and_no_such_name_are_said():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert "can't be reached: Connection refused" in refusal(settings(port, security="none"))
    # RFC 2606 keeps .invalid for names that never exist.
    assert "No machine is found by the name" in refusal(settings(25, host="mail.invalid"))


def test_a_line_that_breaks_may_have_sent_it():
    """A server that takes the mail and dies before it says so."""

    def serve() -> None:
        with listening.accept()[0] as line, line.makefile("rb") as said:
            line.sendall(b"220 here\r\n")
            for words in said:
                if words.upper().startswith(b"DATA"):
                    break
                line.sendall(b"250 fine\r\n")
            line.sendall(b"354 go on\r\n")
            assert any(words == b".\r\n" for words in said)

    with socket.create_server(("127.0.0.1", 0)) as listening:
        server = threading.Thread(target=serve)
        server.start()
        wanted = settings(listening.getsockname()[1], security="none")
        with pytest.raises(MailError, match="may have been sent") as told:
            send(mail(wanted), wanted, "")
        server.join()
    assert told.value.may_be_sent
