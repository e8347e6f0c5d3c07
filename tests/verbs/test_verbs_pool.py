"""Two branches' files of counts, written and pooled on the command line."""

from __future__ import annotations

import json

import pytest

from insights.command import main

JOBS = "job_id,received,handed_back,model,unit_serial,root_cause\n" + "".join(
    f"{n},2025-01-{n % 27 + 1:02},2025-02-01,{('grill', 'boiler')[n % 2]},SN{n:05}Q,cord\n"
    for n in range(60)
)
BACK = "".join(f"b{n},2025-04-0{n},2025-04-20,grill,SN{2 * n:05}Q,contact\n" for n in range(1, 7))


@pytest.fixture
def files(tmp_path, capsys):
    found = []
    for name, text in (("mill", JOBS + BACK), ("quay", JOBS.replace("SN", "TN"))):
        source, target = tmp_path / f"{name}.csv", tmp_path / f"{name}.json"
        source.write_text(text, "utf-8")
        words = [str(source), "--branch", name, "--to", str(target), "--data-date", "2025-12-31"]
        assert main(["counts", *words]) == 0
        found.append(str(target))
    assert "66 hand-backs of mill" in capsys.readouterr().out
    return found


def test_branches_are_pooled(files, capsys):
    assert main(["pool", *files, "--json", "--at", "90"]) == 0
    told = json.loads(capsys.readouterr().out)
    (group,) = told["groups"]
    assert (group["jobs"], group["returns"]) == (126, 6)
    # By hand: 126 hand-backs, the six comebacks' own among them; six come back within 64 days,
    # and every other one is followed for more than 90.
    assert group["at"][0]["share"] == pytest.approx(6 / 126)
    assert [branch["returns"] for branch in told["branches"]] == [6, 0]


def test_nothing_is_overwritten_and_no_branch_counts_twice(files, tmp_path, capsys):
    words = [str(tmp_path / "mill.csv"), "--branch", "mill", "--to", files[0]]
    assert main(["counts", *words]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["pool", files[0], files[0]]) == 2
    assert "given twice" in capsys.readouterr().err
