"""The verb month: what it writes, and mail that goes out once, encrypted, or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from smtp_server import PASSWORD, USER, authority, serving

from insights.command import main
from insights.history.book.access_log import accesses
from insights.history.book.adding import add_history
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.declared import HOME_VARIABLE
from insights.mail.settings import PASSWORD_VARIABLE
from synthetic.generate import generate
from synthetic.presets import lot_shop

SCENARIO = lot_shop(jobs=1500, days=800, seed=4)
LOT = f"Lot CO{SCENARIO.parts[0].bad_lots[0]:03d} of the contact"
OWNER = Person("Ada")


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("month")


@pytest.fixture(scope="module")
def tls(folder, rough_limits):
    trusted, context = authority(folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SSL_CERT_FILE", str(trusted))
        patch.setenv(HOME_VARIABLE, str(folder / "home"))
        patch.setenv(PASSWORD_VARIABLE, PASSWORD)
        yield context


@pytest.fixture(scope="module")
def history():
    made, _ = generate(SCENARIO)
    jobs = made.jobs.assign(customer="Zoë Quill", phone="0555 1")
    return type(made)(jobs)


@pytest.fixture(scope="module")
def shop(history, folder, tls) -> str:
    path = folder / "shop.csv"
    jobs = history.jobs.dropna(axis="columns", how="all")
    jobs.to_csv(path, index=False, date_format="%Y-%m-%d")
    return str(path)


@pytest.fixture(scope="module")
def month(history) -> str:
    ends = history.jobs["handed_back"].max()
    return str(ends.to_period("M") - 1)


def settings(folder: Path, port: int, **more: str) -> str:
    path = folder / "mail.toml"
    lines = {"host": "localhost", "from": "bench@example.org", "to": "o@example.org", "user": USER}
    text = "\n".join(f'{name} = "{value}"' for name, value in {**lines, **more}.items())
    path.write_text(f"{text}\nport = {port}\n")
    return str(path)


def told(capsys, *words: str) -> dict:
    assert main(["month", *words, "--json"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return json.loads(out.out)


def complaint(capsys, *words: str) -> str:
    capsys.readouterr()
    assert main(["month", *words]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    return out.err


def test_it_is_written_mailed_and_names_no_customer(shop, month, tls, folder, capsys):
    to = folder / "m.html"
    words = [shop, "--month", month, "--to", str(to), "--mail", "--workshop", "Søn\r\nBcc: x@y.org"]
    with serving(tls) as inbox:
        words += ["--mail-settings", settings(folder, inbox.port)]
        first = told(capsys, *words)
    assert first["mail"]["sent"]
    assert inbox.encrypted == [True]
    (mail,) = inbox.mails
    assert mail["Bcc"] is None
    name = f"{pd.Period(month).start_time:%B %Y}"
    assert mail["Subject"] == f"Søn Bcc: x@y.org: {name}"
    text, page = (part.get_content() for part in mail.iter_parts())
    assert page.replace("\r\n", "\n") == to.read_text(encoding="utf-8")
    plain = " ".join(text.split())
    assert all(part["sentence"] in plain for part in first["sections"])
    titles = [part["title"] for part in first["sections"]]
    assert titles[0] == name
    assert "Trouble early" in titles
    assert "Comebacks to decide" not in titles  # a file keeps no decisions of its own
    assert f"Still out: {LOT}" in page
    assert "Quill" not in page + text
    assert "0555" not in page + text


def test_what_is_refused_is_not_taken_for_sent(shop, tls, folder, capsys, monkeypatch):
    # Few hand-backs, so that nothing but the mail takes time.
    few = [shop, "--to", str(folder / "few.html"), "--where", "model=none", "--mail"]
    monkeypatch.setattr("insights.verbs.month._as_known", lambda args: _few())
    with serving(None) as inbox:
        with_port = ["--mail-settings", settings(folder, inbox.port)]
        assert "offers no encryption" in complaint(capsys, *few, *with_port)
    with serving(tls, refused=("o@example.org",)) as inbox:
        with_port = ["--mail-settings", settings(folder, inbox.port)]
        assert "no such mailbox" in complaint(capsys, *few, *with_port)
        monkeypatch.setenv(PASSWORD_VARIABLE, "guessed")
        assert "refuses user bench" in complaint(capsys, *few, *with_port)
        monkeypatch.delenv(PASSWORD_VARIABLE)
        assert "There is no password" in complaint(capsys, *few, *with_port)
    monkeypatch.setenv(PASSWORD_VARIABLE, PASSWORD)
    with serving(tls) as inbox:
        with_port = ["--mail-settings", settings(folder, inbox.port)]
        assert told(capsys, *few, *with_port)["mail"]["sent"]


def test_a_mail_whose_end_is_not_known_is_not_sent_again(shop, tls, folder, capsys, monkeypatch):
    import insights.mail.sending
    from insights.errors import MailError

    def breaks(*_):
        raise MailError("The line broke: it may have been sent.", may_be_sent=True)

    other = str(Path(shop).with_name("other.csv"))
    Path(other).write_text("job_id,received,model\n", "utf-8")
    few = [other, "--to", str(folder / "few.html"), "--mail"]
    monkeypatch.setattr("insights.verbs.month._as_known", lambda args: _few())
    with serving(tls) as inbox:
        few += ["--mail-settings", settings(folder, inbox.port)]
        with monkeypatch.context() as patch:
            patch.setattr(insights.mail.sending, "send", breaks)
            assert "may have been sent" in complaint(capsys, *few)
        assert "never ended" in complaint(capsys, *few)
        assert inbox.mails == []
        assert told(capsys, *few, "--again")["mail"]["sent"]
        again = told(capsys, *few)["mail"]
        assert (again["sent"], again["to"]) == (False, ["o@example.org"])
        assert len(inbox.mails) == 1
        assert told(capsys, *few, "--again")["mail"]["sent"]
        assert len(inbox.mails) == 2


def _few():
    from shop import fleet, followed

    return pd.Period("2026-02"), followed(*fleet(30, (40, 45)), data_date="2026-02-28")


def test_a_book_keeps_how_and_which_months(history, folder, tls, capsys, monkeypatch):
    path = folder / "book.db"
    book = create_book(path, Settings(workshop="Søn's bench"), OWNER)
    late = history.jobs.tail(120).reset_index(drop=True)
    add_history(book, type(history)(late), None, by=OWNER)
    words = [str(path), "--to", str(folder / "b.html"), "--by", "Ada"]
    assert "not set up for mail" in complaint(capsys, *words, "--mail")
    with serving(tls) as inbox:
        file = settings(folder, inbox.port)
        assert main(["book", "mail", str(path), "--settings", file, "--by", "Ada"]) == 0
        assert f"localhost, port {inbox.port} (starttls) as bench" in capsys.readouterr().out
        first = told(capsys, *words, "--mail", "--customers")
        assert not told(capsys, *words, "--mail")["mail"]["sent"]
    assert first["mail"]["to"] == ["o@example.org"]
    assert first["sections"][-1]["title"] == "Comebacks to decide"
    assert inbox.mails[0]["From"].addresses[0].display_name == "Søn's bench"
    assert len(inbox.mails) == 1
    logged = accesses(open_book(path), by=OWNER)
    assert ("Ada", "exported") in set(zip(logged["who"], logged["did"], strict=True))
    assert main(["book", "mail", str(path), "--off", "--by", "Ada"]) == 0
    assert "is not mailed" in capsys.readouterr().out
    assert PASSWORD.encode() not in path.read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--month", "2026-13"], "write the month as 2026-10"),
        (["--month", "October"], "write the month as 2026-10"),
        (["--month", "2036-10"], "the record ends on"),
        (["--month", "1999-10"], "No job had arrived by 1999-10-31"),
        (["--mail"], "Mail is not set up"),
    ],
)
def test_bad_words_are_one_line(folder, tls, capsys, words, said):
    small = folder / "small.csv"
    small.write_text("job_id,received,handed_back,model\n1,2026-01-01,2026-01-02,grinder\n")
    assert said in complaint(capsys, str(small), "--to", str(folder / "x.html"), *words)
    assert not (folder / "x.html").exists()


def test_no_folder_is_said_before_the_work(capsys):
    assert "there is no folder" in complaint(capsys, "none.csv", "--to", "/nowhere/m.html")
