"""The verb review: its sentences, its tables, its JSON, owners called, and its complaints."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from insights.command import main
from insights.history.intake import read_history
from synthetic.generate import generate
from synthetic.presets import cafe_workshop


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> str:
    history, _ = generate(cafe_workshop(jobs=400))
    path = tmp_path_factory.mktemp("shop") / "shop.csv"
    history.jobs.dropna(axis="columns", how="all").to_csv(path, index=False, date_format="%Y-%m-%d")
    return str(path)


def said(capsys, *words: str) -> str:
    assert main(["review", *words]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return out.out


def complaint(capsys, *words: str) -> str:
    assert main(["review", *words]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    return out.err


def test_it_speaks_first_and_lists_then(shop, capsys):
    text = said(capsys, shop)
    year, groups, costs = text.splitlines()[:3]
    assert "in the last 12 months" in year
    assert groups.startswith("Comebacks within 180 days, like for like.")
    assert "Halving the" in costs
    assert "By technician, within 180 days" in text
    assert "By month, within 180 days, the latest 24" in text
    assert "It is" not in groups
    # Lots are many: only those that stand out are listed.
    assert "CO001" not in text
    assert "Counted is what came back to us." in text


def test_json_holds_every_group_and_day(shop, capsys):
    data = json.loads(said(capsys, shop, "--json", "--at", "90,180"))
    assert data["days"] == [90, 180]
    assert {row["by"] for row in data["groups"]} >= {"month", "technician", "lot_contact"}
    ada = next(row for row in data["groups"] if (row["group"], row["day"]) == ("Ada", 180))
    assert {"jobs", "returns", "expected", "ratio", "low", "high", "verdict"} <= set(ada)
    assert {"ratio", "low", "high", "chance_worse", "jobs", "returns"} <= set(data["year"])
    assert {"causes", "apart", "dearest_save_a_year"} <= set(data["costs"])
    assert data["notes"] == [note for note in data["notes"] if note["text"]]


def test_by_takes_a_few_columns(shop, capsys):
    data = json.loads(said(capsys, shop, "--json", "--by", "model,technician"))
    assert {row["by"] for row in data["groups"]} == {"model", "technician"}
    told = said(capsys, shop, "--by", "earlier_work")
    assert "By earlier work, within 180 days" in told
    assert "parts missing after earlier work" in told
    assert "Can't group by 'luck'" in complaint(capsys, shop, "--by", "luck")


def test_days_must_be_whole_and_inside_a_term(shop, capsys):
    assert "whole days" in complaint(capsys, shop, "--at", "90.5")
    assert "No job's term reaches" in complaint(capsys, shop, "--at", "5000")


def test_owners_are_drawn_called_and_counted(shop, capsys, tmp_path):
    path = tmp_path / "calls.csv"
    said(capsys, shop, "--call-list", str(path), "--calls", "20")
    calls = pd.read_csv(path, dtype=str)
    assert len(calls) == 20
    jobs = read_history(Path(shop)).jobs["job_id"].astype(str)
    assert set(calls["job_id"]) <= set(jobs)
    calls.assign(answer=["would_return"] * 16 + ["would_not"] * 4).to_csv(path, index=False)
    data = json.loads(said(capsys, shop, "--answers", str(path), "--json"))
    call = data["call_back"]
    assert call["failed"] == pytest.approx(call["back"] / 0.8)


def test_answers_that_can_not_be_read_are_one_line(shop, capsys, tmp_path):
    assert "No such file" in complaint(capsys, shop, "--answers", str(tmp_path / "none.csv"))
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("job_id,answer\nJ1,perhaps\n")
    assert "'perhaps' is not an answer" in complaint(capsys, shop, "--answers", str(wrong))
    folder = str(tmp_path)
    assert "can't be written" in complaint(capsys, shop, "--call-list", folder)
