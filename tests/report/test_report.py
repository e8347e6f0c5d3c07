"""The report says what the command and the screen say, on paper that loads nothing."""

from __future__ import annotations

import json
import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

from insights import wording
from insights.command import main
from insights.errors import RequestError
from insights.history.declared import HOME_VARIABLE
from insights.money.assumptions import USUAL_TERMS
from insights.report.page import Cover, page
from insights.report.section import Found, Section, Sheet
from insights.tables import share_text
from insights.wording import Finding, unbroken
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Reader(HTMLParser):
    """Gather a page's tags, addresses and the texts of table cells; check that tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: set[str] = set()
        self.addresses: list[str] = []
        self.names: list[str] = []
        self.cells: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            if name in ("src", "href", "xlink:href", "action", "data"):
                self.addresses.append(value or "")
            if name == "id":
                self.names.append(value or "")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "td":
            self.cells.append(data)


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def answered(capsys, *words: str) -> dict:
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.fixture(scope="module", autouse=True)
def own_home(tmp_path_factory, rough_limits):
    """Keep the limits in a folder of the tests' own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(HOME_VARIABLE, str(tmp_path_factory.mktemp("home")))
        # Rough limits serve here: what is compared is the page and the command.
        yield


@pytest.fixture(scope="module")
def source(tmp_path_factory) -> Path:
    history, _ = generate(cafe_workshop(2000))
    path = tmp_path_factory.mktemp("shop") / "history.csv"
    history.jobs.to_csv(path, index=False, date_format="%Y-%m-%d")
    return path


@pytest.fixture(scope="module")
def report(source) -> str:
    to = source.parent / "report.html"
    words = ["report", str(source), "--to", str(to), "--by", "model", "--workshop", "Bench <3>"]
    assert main([*words, "--practice-cost", "contact_pair=0.6:1", "--rate", "42"]) == 0
    return to.read_text(encoding="utf-8")


def test_the_page_loads_nothing_and_runs_nothing(report):
    found = read(report)
    assert found.tags.isdisjoint({"script", "link", "iframe", "object", "img", "form", "base"})
    assert all(address.startswith("#") for address in found.addresses)
    assert "url(" not in re.sub(r"url\(#[\w-]+\)", "", report)
    assert "@import" not in report
    assert len(found.names) == len(set(found.names))
    assert "Bench &lt;3&gt;" in report


def test_every_share_is_the_commands(report, source, capsys):
    cells = set(read(report).cells)
    for words in (["curves"], ["curves", "--by", "model"], ["causes"]):
        for group in answered(capsys, words[0], str(source), *words[1:])["groups"]:
            lists = [group["at"], *(cause["at"] for cause in group.get("causes", []))]
            for line in (line for at in lists for line in at):
                if line["share"] is not None:
                    shown = share_text(line["share"], line["low"], line["high"])
                    assert shown in cells, (words, line)


def test_money_is_the_commands(report, source, capsys):
    sentences = re.findall(r'<p class="answer">(.*?)</p>', report)
    cells = set(read(report).cells)
    terms = ",".join(str(term) for term in USUAL_TERMS)
    quote = answered(capsys, "quote", str(source), "--terms", terms)
    for line in quote["terms"]:
        if line["supported"]:
            low, high = line["low"], line["high"]
            shown = f"{line['claims_per_100']:.1f} ({low:.1f} to {high:.1f})"
            assert unbroken(shown) in cells
    held = answered(capsys, "reserve", str(source))
    assert any(f"Set aside {held['p90']:,.0f}" in text for text in sentences)


def test_practices_are_the_commands(report, source, capsys):
    assert main(["practice", str(source), "switch"]) == 0
    said = capsys.readouterr().out.splitlines()[0]
    assert f'<p class="answer">{said}</p>' in unescape(report)
    money = ["--part-cost", "0.6", "--minutes", "1", "--rate", "42"]
    assert main(["practice", str(source), "contact_pair", *money]) == 0
    assert f'<p class="answer">{capsys.readouterr().out.splitlines()[0]}</p>' in unescape(report)


def test_a_period_is_kept_to(source, capsys):
    to = source.parent / "late.html"
    words = ["--since", "2023-01-01", "--where", "model=grinder"]
    assert main(["report", str(source), "--to", str(to), "--paper", "letter", *words]) == 0
    text = to.read_text(encoding="utf-8")
    group = answered(capsys_after(capsys), "curves", str(source), *words)["groups"][0]
    assert f"<td>{wording.whole(group['jobs'])}</td>" in text
    assert "size: letter" in text
    assert "Only model=grinder." in text


def capsys_after(capsys):
    capsys.readouterr()
    return capsys


def test_what_the_record_cannot_answer_is_said_in_its_place(tmp_path, capsys):
    rows = [f"{unit},2025-01-01,2025-01-03,boiler,SN{unit * 7919},90" for unit in range(30)]
    path = tmp_path / "few.csv"
    path.write_text("\n".join(["job_id,received,handed_back,model,unit_serial,term_days", *rows]))
    to = tmp_path / "few.html"
    assert main(["report", str(path), "--to", str(to), "--data-date", "2025-06-01"]) == 0
    text = to.read_text(encoding="utf-8")
    read(text)
    assert "The record can" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--to", "/nowhere/at/all.html"], "can't be written"),
        (["--to", "r.html", "--practice-cost", "seal"], "NAME=PART:MINUTES"),
        ([], "--to"),
    ],
)
def test_bad_words_are_one_line(source, words, told, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(source), "--where", "model=grinder", *words]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1


def section(table: pd.DataFrame) -> Section:
    return Section("a", "A", Found(Finding("Said."), sheets=(Sheet("Listed", table),)))


COVER = Cover("", "period", "source", "made")


def test_long_tables_say_what_is_left_and_empty_columns_go():
    table = pd.DataFrame({"Job": [f"J{row}" for row in range(75)], "Remark": ""})
    text = page(COVER, [section(table)], [], "a4")
    assert "15 more rows" in text
    assert "Remark" not in text
    assert 'class="whole"' not in text
    assert 'class="whole"' in page(COVER, [section(table.head(20))], [], "a4")


def test_cells_are_text_not_markup():
    text = page(COVER, [section(pd.DataFrame({"<b>": ["<script>alert(1)</script>"]}))], [], "a4")
    assert "script" not in read(text).tags


def test_an_unknown_paper_is_refused():
    with pytest.raises(RequestError, match="a4, letter"):
        page(COVER, [], [], "a3")  # type: ignore[arg-type]


def said_by(words: list[str], capsys) -> list[str]:
    """Run the command, and give its sentences."""
    capsys.readouterr()
    assert main(words) == 0
    return capsys.readouterr().out.split("\n\n")[0].splitlines()


def test_better_or_worse_is_the_commands(report, source, capsys):
    shown = unescape(report)
    year, groups, costs = said_by(["review", str(source)], capsys)
    for sentence in (year, groups, costs):
        assert f'<p class="answer">{sentence}</p>' in shown
    cells = set(read(report).cells)
    table = pd.DataFrame(answered(capsys, "review", str(source))["groups"])
    lines = table[(table["day"] == 180) & (table["by"] == "technician")]
    assert len(lines) == 3
    for line in lines.itertuples():
        assert f"{line.ratio:.2f} ({line.low:.2f} to {line.high:.2f})" in cells


def test_signals_and_practices_left_out_are_the_commands(report, source, capsys):
    shown = unescape(report)
    signals, missing = said_by(["watch", str(source)], capsys)
    assert f'<p class="answer">{signals}' in shown
    assert f'<p class="answer">{missing}</p>' in shown


def test_what_most_answers_keep_in_mind_is_said_once_before_them():
    def kept(mark: str, *caveats: str) -> Section:
        return Section(mark, mark, Found(Finding(f"{mark} is so.", caveats)))

    parts = [kept(f"part {number}", "Of all.", f"Of {number}.") for number in range(4)]
    text = page(COVER, parts, [], "a4")
    assert text.count("Of all.") == 1
    assert text.index("Keep in mind with every answer") < text.index("Of all.")
    assert text.index("Of all.") < text.index("part 0 is so.") < text.index("Of 0.")
    few = page(COVER, parts[:3], [], "a4")
    assert few.count("Of all.") == 3
    assert "with every answer" not in few
