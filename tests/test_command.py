"""The program as its user meets it: words in, an answer or one line of complaint out."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest

from insights.command import main

HEADINGS = "job_id,received,handed_back,model,unit_serial,term_days,root_cause,practice_seal"


@pytest.fixture
def home(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("STAYSFIXED_HOME", str(tmp_path / "home"))
    return tmp_path


def write(path: Path, *rows: str, headings: str = HEADINGS) -> str:
    path.write_text("\n".join([headings, *rows]) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def shop(home) -> str:
    """Sixty boilers handed back on 3 January; twelve are back on 23 January."""
    rows = []
    for unit in range(60):
        level = "renewed" if unit % 2 else "kept"
        rows.append(f"{unit:03d},2025-01-01,2025-01-03,boiler,SN{unit * 7919},365,,{level}")
    for unit in range(12):
        rows.append(f"{unit + 100},2025-01-23,,boiler,SN{unit * 7919},,contacts,")
    rows.append("900,2025-12-01,,grill,SN-X,,,")
    return write(home / "shop.csv", *rows)


def answered(capsys, *words: str) -> dict:
    assert main([*words, "--json"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return json.loads(out.out)


def complaint(capsys, *words: str) -> str:
    assert main(words) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    assert "Traceback" not in out.err
    return out.err


def test_check_counts_what_loads(shop, capsys):
    data = answered(capsys, "check", shop)
    assert (data["jobs"], data["units"], data["refused_rows"]) == (73, 61, 0)
    assert (data["hand_backs"], data["returns"]) == (60, 12)
    assert data["data_date"] == "2025-12-01"


def test_curves_share_back_by_day(shop, capsys):
    data = answered(capsys, "curves", shop, "--at", "10,180")
    (group,) = data["groups"]
    assert [(at["day"], at["share"]) for at in group["at"]] == [(10, 0), (180, 0.2)]
    assert group["at"][1]["at_risk"] == 48


def test_curves_by_a_practice(shop, capsys):
    data = answered(capsys, "curves", shop, "--by", "practice_seal", "--at", "90")
    assert [group["group"] for group in data["groups"]] == ["kept", "renewed"]
    assert [group["at"][0]["share"] for group in data["groups"]] == [0.2, 0.2]
    assert data["test"]["df"] == 1


def test_causes_name_the_comeback_not_the_first_job(shop, capsys):
    data = answered(capsys, "causes", shop, "--at", "90")
    assert [cause["cause"] for cause in data["groups"][0]["causes"]] == ["contacts"]


def test_filters_take_hand_backs_not_comebacks(shop, capsys):
    data = answered(capsys, "curves", shop, "--where", "practice_seal=kept", "--at", "90")
    assert (data["groups"][0]["jobs"], data["groups"][0]["returns"]) == (30, 6)


def test_data_date_moves_the_clock(shop, capsys):
    data = answered(capsys, "curves", shop, "--data-date", "2025-01-13", "--at", "5")
    assert data["groups"][0]["returns"] == 0


def test_people_get_a_sentence_then_a_table(shop, capsys):
    assert main(["curves", shop]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Within 180 days 20.0 of 100 (likely between ")
    assert out.index("of 100") < out.index("Back by day") < out.index("Keep in mind")


def test_refused_rows_are_kept_beside_the_source(home, capsys):
    source = write(
        home / "shop.csv",
        "1,2025-01-01,2025-01-03,boiler,A,90,,",
        "2,2025-01-09,2025-01-03,boiler,B,90,,",
    )
    before = Path(source).read_bytes()
    assert main(["check", source]) == 0
    assert "1 row is refused" in capsys.readouterr().out
    refused = (home / "shop.refused.csv").read_text(encoding="utf-8-sig")
    assert "2025-01-09" in refused
    assert Path(source).read_bytes() == before


def test_every_analysis_says_that_rows_are_missing(home, capsys):
    rows = [f"{unit},2025-01-01,2025-01-03,boiler,S{unit}x{unit},90,," for unit in range(20)]
    source = write(home / "shop.csv", *rows, "99,2025-01-09,2025-01-03,boiler,B,90,,")
    notes = answered(capsys, "curves", source, "--data-date", "2025-03-01")["notes"]
    assert [note["jobs"] for note in notes if note["code"] == "refused"] == [1]


def test_a_strangers_headings_are_suggested_confirmed_and_remembered(home, capsys):
    source = write(
        home / "theirs.csv",
        "1,2025-01-01,2025-01-03,boiler",
        headings="ticket no,date in,date out,machine model",
    )
    assert "--suggest" in complaint(capsys, "check", source)
    mapping = home / "mapping.json"
    assert main(["check", source, "--suggest", str(mapping)]) == 0
    capsys.readouterr()
    assert json.loads(mapping.read_text("utf-8"))["headings"]["date in"] == "received"
    assert answered(capsys, "check", source, "--headings", str(mapping))["jobs"] == 1
    assert answered(capsys, "check", source)["jobs"] == 1


def test_a_date_that_reads_two_ways_is_a_question(home, capsys):
    source = write(home / "shop.csv", "1,03/04/2026,05/04/2026,boiler,A,90,,")
    assert "--date-format" in complaint(capsys, "curves", source)
    data = answered(capsys, "check", source, "--date-format", "%d/%m/%Y")
    assert data["data_date"] == "2026-04-05"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "VERB"),
        (("frob",), "invalid choice"),
        (("curves",), "SOURCE"),
        (("curves", "SHOP", "--at", "soon"), "--at soon"),
        (("curves", "SHOP", "--at", "0"), "above zero"),
        (("curves", "SHOP", "--by", "colour"), "Columns that can be"),
        (("curves", "SHOP", "--where", "model"), "COLUMN=VALUE"),
        (("curves", "SHOP", "--where", "model=kettle"), "Recorded: boiler"),
        (("curves", "SHOP", "--since", "tomorrow"), "year-month-day"),
        (("curves", "SHOP", "--data-date", "1/1/2026"), "year-month-day"),
        (("curves", "SHOP", "--data-date", "2199-01-01"), "still to come"),
        (("curves", "SHOP", "--follow", "some"), "--follow"),
        (("curves", "SHOP", "--grace", "-1"), "zero or more"),
        (("curves", "SHOP", "--link-at", "2"), "2"),
        (("curves", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_bad_requests_end_in_one_clear_line(shop, capsys, words, says):
    words = tuple(shop if word == "SHOP" else word for word in words)
    assert says in complaint(capsys, *words)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.csv", b"", "empty"),
        ("picture.csv", b"\x89PNG\r\n\x1a\n" + bytes(200), "picture"),
        ("headings.csv", HEADINGS.encode() + b"\n", ""),
        ("wrong.csv", b"a,b\n1,2\n", "--suggest"),
        ("broken.xlsx", b"PK\x03\x04nothing", ""),
        ("broken.parquet", b"PAR1nothingPAR1", ""),
    ],
)
def test_bad_files_end_in_one_clear_line(home, capsys, name, content, says):
    path = home / name
    path.write_bytes(content)
    assert says in complaint(capsys, "curves", str(path))


@pytest.mark.skipif(os.name == "nt", reason="Windows ends a program without asking it")
def test_ending_the_program_ends_what_it_runs():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    serve = f"_program('http.server', '{port}', '--bind', '127.0.0.1')"
    words = [sys.executable, "-c", f"from insights.command import _program; {serve}"]
    with subprocess.Popen(words, stderr=subprocess.DEVNULL) as running:
        try:
            wait_until(lambda: answers(port))
            running.terminate()
            wait_until(lambda: not answers(port))
        finally:
            running.kill()


def answers(port: int) -> bool:
    with socket.socket() as asked:
        return asked.connect_ex(("127.0.0.1", port)) == 0


def wait_until(done, seconds: float = 30) -> None:
    until = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < until, "not in time"
        time.sleep(0.05)


def test_demo_and_open_run_as_programs_of_their_own(monkeypatch):
    ran = []
    monkeypatch.setattr("insights.command._program", lambda *words: ran.append(["-m", *words]) or 0)
    assert main(["demo", "--to", "folder"]) == 0
    assert main(["open"]) == 0
    assert main(["open", "jobs.csv", "--port", "9000"]) == 0
    assert ran == [
        ["-m", "synthetic", "--to", "folder"],
        ["-m", "dashboards", "--address", "127.0.0.1", "--port", "8501"],
        ["-m", "dashboards", "jobs.csv", "--address", "127.0.0.1", "--port", "9000"],
    ]


@pytest.fixture(scope="module")
def practised(tmp_path_factory) -> str:
    """Two hundred boilers each way; a kept seal brings back forty, a renewed one ten."""
    rows = []
    for unit in range(400):
        level, model = ("renewed", "kept")[unit % 2], ("boiler", "grill")[unit // 2 % 2]
        serial = f"SN{unit * 7919}"
        rows.append(f"{unit:03d},2025-01-01,2025-01-03,{model},{serial},365,,{level}")
        if unit // 2 < (10 if level == "renewed" else 40):
            rows.append(f"{unit + 1000},2025-02-{unit % 28 + 1:02d},,{model},{serial},,seal,")
    rows.append("9000,2025-11-01,,grill,SN-X,,,")
    return write(tmp_path_factory.mktemp("practice") / "shop.csv", *rows)


def test_practice_has_the_agreed_keys(practised, capsys):
    money = ("--part-cost", "2", "--minutes", "3", "--rate", "40", "--comeback-cost", "45")
    data = answered(capsys, "practice", practised, "seal", "--at", "90", *money)
    assert {"level", "against", "day", "population", "jobs", "returns", "crude"} <= set(data)
    assert {"adjusted", "balance", "overlap", "e_value", "verdict", "pays"} <= set(data)
    for risks in (data["crude"], data["adjusted"]):
        assert set(risks) == {"risk_level", "risk_against", "difference", "low", "high"}
    assert {"covariate", "before", "after"} <= set(data["balance"][0])
    assert set(data["overlap"]) == {
        "share_outside",
        "effective_jobs_level",
        "effective_jobs_against",
    }
    assert {"net_per_job", "low", "high", "probability", "break_even_part_cost"} <= set(
        data["pays"]
    )


def test_practice_compares_what_was_counted_by_hand(practised, capsys):
    data = answered(capsys, "practice", practised, "seal", "--at", "90")
    assert (data["level"], data["against"]) == ("renewed", "kept")
    assert (data["jobs"], data["returns"], data["pays"]) == (400, 50, None)
    assert data["crude"]["difference"] == pytest.approx(0.05 - 0.20)
    assert data["adjusted"]["difference"] == pytest.approx(-0.15, abs=0.02)
    assert data["verdict"] == "helps"


def test_practice_gives_pairs_ratios_and_the_others_when_asked(practised, capsys):
    data = answered(capsys, "practice", practised, "seal", "--at", "90", "--ratios", "--explore")
    (ratio, _) = data["hazard_ratios"]
    assert (ratio["covariate"], ratio["level"]) == ("practice_seal", "renewed")
    # Ten of 200 against forty of 200, all within 60 days: -log(.95) / -log(.80) = .23.
    assert ratio["hazard_ratio"] == pytest.approx(0.23, abs=0.01)
    assert [row["role"] for row in data["exploration"]] == ["declared"]
    assert "No job" in complaint(capsys, "practice", practised, "seal", "--failed", "seal")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("paint",), "Recorded practices: seal"),
        (("seal", "--level", "glued"), "Recorded levels"),
        (("seal", "--at", "5000"), "the last that can be compared"),
        (("seal", "--cause", "paint"), "seal"),
        (("seal", "--adjust", "reading_plate_c"), "reading_plate_c"),
        (("seal", "--part-cost", "-1", "--comeback-cost", "45"), "zero or more"),
        (("seal", "--part-cost", "1"), "Give the cost of a comeback yourself"),
        (("seal", "--part-cost", "1", "--comeback-cost", "45", "--safety"), "afety"),
    ],
)
def test_bad_questions_about_a_practice_end_in_one_clear_line(practised, capsys, words, says):
    assert says in complaint(capsys, "practice", practised, *words)


def test_how_many_draws_stand_behind_a_range_can_be_asked(practised, capsys):
    assert "40 or more" in complaint(capsys, "practice", practised, "seal", "--draws", "10")


def test_quote_has_the_agreed_keys(practised, capsys):
    words = ("quote", practised, "--terms", "90,180,3000", "--claim-cost", "40")
    data = answered(capsys, *words)
    near, half_year, far = data["terms"]
    keys = "term_days claims_per_100 low high cost_per_job loading supported why_not"
    assert set(keys.split()) <= set(near)
    # Counted by hand: 50 of 400 are back within 60 days, and none after.
    assert near["claims_per_100"] == pytest.approx(12.5, abs=0.3)
    assert near["low"] < 12.5 < near["high"]
    assert half_year["claims_per_100"] == pytest.approx(near["claims_per_100"])
    assert near["cost_per_job"] == pytest.approx(12.5 / 100 * 40, rel=0.2)
    assert near["loading"] > near["cost_per_job"]
    assert (far["supported"], far["claims_per_100"]) == (False, None)
    assert far["why_not"]


def test_a_quote_says_what_to_charge_and_what_the_law_grants(practised, capsys):
    assert main(["quote", practised, "--terms", "90", "--claim-cost", "40"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Of each 100 of the next 1,000 jobs like these, expect claims from 12.")
    assert "To be safe, each job's price must carry" in out
    assert "statutory rights" in out


def test_a_statement_is_written_for_the_customer(practised, home, capsys):
    page = home / "warranty.html"
    words = ["quote", practised, "--terms", "180", "--statement", str(page)]
    assert "--workshop" in complaint(capsys, *words)
    words += ["--workshop", "The Bench", "--repaired", "boiler, seal renewed"]
    words += ["--starts-on", "2025-11-02", "--jurisdiction", "the law where you live"]
    assert main([*words, "--exclude", "limescale"]) == 0
    text = page.read_text("utf-8")
    assert "limescale" in text
    assert "statutory rights" in text
    assert "<script" not in text


def test_kinds_of_job_can_be_priced_apart(practised, capsys):
    words = ("--terms", "90", "--claim-cost", "40", "--apart", "practice_seal")
    apart = {row["level"]: row for row in answered(capsys, "quote", practised, *words)["apart"]}
    # Counted by hand: 40 of 200 against 10 of 200, 50 of 400 in all, over both models alike.
    assert apart["kept"]["factor"] == pytest.approx(1.6, abs=0.1)
    assert apart["renewed"]["factor"] == pytest.approx(0.4, abs=0.1)
    assert apart["kept"]["change_per_job"] == pytest.approx((0.2 - 0.125) * 40, abs=0.5)


def test_a_quote_is_kept_with_its_assumptions(practised, home, capsys):
    kept = home / "quote.json"
    assert (
        main(["quote", practised, "--terms", "90", "--claim-cost", "40", "--save", str(kept)]) == 0
    )
    saved = json.loads(kept.read_text("utf-8"))
    assert saved["data_date"] == "2025-11-01"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--terms", "-5"), "--terms -5"),
        (("--terms", "1e9"), "term"),
        (("--claim-cost", "-3"), "-3"),
        (("--offer", "cheap"), "DAYS:PRICE:UPTAKE"),
        (("--batch", "0"), "batch"),
        (("--kind", "pro_rata"), "price"),
        (("--target-rate", "7"), "7"),
    ],
)
def test_bad_quotes_end_in_one_clear_line(practised, capsys, words, says):
    assert says in complaint(capsys, "quote", practised, *words)


@pytest.fixture(scope="module")
def long_record(tmp_path_factory) -> str:
    """Ten boilers a week for three years; one in ten is back on day 30, for 40."""
    start = pd.Timestamp("2022-01-03")
    rows = []
    for unit in range(1560):
        out = start + pd.Timedelta(days=7 * (unit // 10))
        serial = f"SN{unit * 7919}"
        rows.append(f"{unit},{out:%Y-%m-%d},{out:%Y-%m-%d},boiler,{serial},90,,,")
        back = out + pd.Timedelta(days=30)
        if unit % 10 == 0 and back < pd.Timestamp("2025-01-01"):
            rows.append(f"{unit + 9000},{back:%Y-%m-%d},,boiler,{serial},,seal,covered,40")
    headings = "job_id,received,handed_back,model,unit_serial,term_days,root_cause,decision"
    path = tmp_path_factory.mktemp("long") / "shop.csv"
    return write(path, *rows, headings=f"{headings},claim_cost")


def test_reserve_has_the_agreed_keys_and_the_hand_count(long_record, capsys):
    data = answered(capsys, "reserve", long_record, "--data-date", "2024-12-31")
    assert {"expected", "p90", "claims", "months"} <= set(data)
    assert {"mean", "low", "high"} <= set(data["claims"])
    assert {"month", "expected"} <= set(data["months"][0])
    # By hand: hand-backs of the last 30 days hold 4 or 5 weeks of one claim each, at 40 apiece;
    # the comebacks on the bench are decided, so nothing is unsettled.
    assert 3 <= data["claims"]["mean"] <= 6
    assert data["expected"] == pytest.approx(40 * data["claims"]["mean"], rel=0.02)
    assert data["p90"] >= data["expected"]


def test_reserve_completes_the_latest_months_when_asked(home, capsys):
    rows = []
    for month in range(1, 13):
        for unit in range(20):
            serial = f"SN{(month * 100 + unit) * 7919}"
            out = f"2024-{month:02d}-01"
            rows.append(f"{month}-{unit},{out},{out},boiler,{serial},365,,,40")
            if unit == 0:
                back = pd.Timestamp(out) + pd.Timedelta(days=20)
                rows.append(f"{month}-b,{back:%Y-%m-%d},,boiler,{serial},,seal,covered,40")
    headings = "job_id,received,handed_back,model,unit_serial,term_days,root_cause,decision"
    source = write(home / "months.csv", *rows, headings=f"{headings},claim_cost")
    words = ("reserve", source, "--recent", "--data-date", "2024-12-31")
    recent = answered(capsys, *words)["recent"]
    assert [(row["month"], row["returns"]) for row in recent][:2] == [
        ("2024-01", 1),
        ("2024-02", 1),
    ]
    assert recent[-1]["immature"] is False  # all that ever came, came by day 20


def test_backtest_scores_what_came(long_record, capsys):
    data = answered(capsys, "backtest", long_record, "--terms", "60", "--data-date", "2024-12-31")
    scores = {row["what"]: row for row in data["scores"]}
    assert set(scores) == {"reserve", "quote 60 days"}
    assert scores["quote 60 days"]["ratio"] == pytest.approx(1, abs=0.1)
    assert main(["backtest", long_record, "--data-date", "2024-12-31"]) == 0
    assert "what was known then" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("reserve", "SHOP", "--claim-cost", "-1"), "-1"),
        (("reserve", "SHOP", "--ahead", "-5"), "-5"),
        (("backtest", "SHOP", "--terms", "-5"), "--terms -5"),
        (("backtest", "SHOP", "--ahead", "0"), "0"),
    ],
)
def test_bad_questions_about_money_end_in_one_clear_line(long_record, capsys, words, says):
    words = tuple(long_record if word == "SHOP" else word for word in words)
    assert says in complaint(capsys, *words)


def test_curves_say_what_holds_for_repeats_alone(tmp_path, capsys):
    # 12 of 40 units come back on day 40 of 90 and are followed 90 days more; by day 120 the
    # others' terms and grace have ended.
    rows = ["job_id,received,handed_back,model,unit_serial,term_days"]
    rows += [f"A{n},2025-01-01,2025-01-02,boiler,WB-{7919 * n + 1000},90" for n in range(40)]
    rows += [f"B{n},2025-02-11,2025-02-12,boiler,WB-{7919 * n + 1000},90" for n in range(12)]
    source = tmp_path / "terms.csv"
    source.write_text("\n".join(rows), encoding="utf-8")
    words = ("curves", str(source), "--at", "120", "--data-date", "2025-12-31")
    notes = answered(capsys, *words)["notes"]
    assert "there_for_coming_back" in [note["code"] for note in notes]
    assert main(list(words)) == 0
    assert "all jobs: from day 120 on the units followed are those" in capsys.readouterr().out
