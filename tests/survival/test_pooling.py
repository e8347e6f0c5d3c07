"""Counts of branches add up to the counts of one workshop, and hold nothing of a customer."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from insights.errors import RequestError, SourceError
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.survival.branches import (
    branch_counts,
    pool_branches,
    pooled_causes,
    read_counts,
    write_counts,
)
from insights.survival.causes import cause_curves
from insights.survival.lifetable import LifeTable, life_table
from insights.survival.pooling import pool
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

DATA_DATE = "2025-10-01"


def branch(seed: int, jobs: int, prefix: str) -> tuple[History, np.ndarray]:
    """A branch's history and the true unit of each job; no unit is at two branches."""
    history, truth = generate(cafe_workshop(jobs, seed))
    frame = history.jobs.assign(job_id=prefix + history.jobs["job_id"])
    frame["model"] = frame["model"].astype(str).where(frame.index % 3 > 0, f"{prefix} special")
    frame["unit_age_years"] = 3.0 + 5.0 * (prefix == "A") + frame.index % 4
    return History(to_schema(frame.astype({"model": "string"}))), truth.facts["unit"]


def followed(history: History, unit: np.ndarray):
    return follow_up(
        history, links=Links(unit.astype(int), pd.DataFrame()), follow="all", data_date=DATA_DATE
    )


@pytest.fixture(scope="module")
def branches():
    (one, one_unit), (other, other_unit) = branch(1, 700, "A"), branch(2, 500, "B")
    both = pd.concat([one.jobs.astype(object), other.jobs.astype(object)], ignore_index=True)
    units = np.concatenate([one_unit, other_unit + one_unit.max() + 1])
    together = followed(History(to_schema(both)), units)
    return followed(one, one_unit), followed(other, other_unit), together


def repeats_by_unit(table: LifeTable) -> list[tuple[int, ...]]:
    return sorted(
        tuple(sorted(cells)) for cells in table.repeats.groupby("unit")["cell"].agg(tuple)
    )


@pytest.mark.parametrize("by", [(), ("model",), ("model", "age_band")])
def test_pooled_counts_are_those_of_the_histories_put_together(branches, by) -> None:
    one, other, together = branches
    pooled = pool([life_table(one, by), life_table(other, by)])
    whole = life_table(together, by)
    assert (pooled.by, pooled.labels) == (whole.by, whole.labels)
    assert (pooled.causes, pooled.endings) == (whole.causes, whole.endings)
    pd.testing.assert_frame_equal(pooled.cells, whole.cells, check_dtype=False)
    assert pooled.units.tolist() == whole.units.tolist()
    assert len(whole.repeats) > 20
    assert repeats_by_unit(pooled) == repeats_by_unit(whole)


def test_curves_causes_and_tests_of_pooled_counts_are_those_of_one_workshop(
    branches, tmp_path
) -> None:
    one, other, together = branches
    files = []
    for name, followup in (("mill", one), ("quay", other)):
        files.append(tmp_path / f"{name}.json")
        write_counts(branch_counts(followup, ("age_band",), branch=name), files[-1])
    pooled = pool_branches([read_counts(file) for file in files])
    found = pooled_causes(pooled, (90, 180))
    whole = cause_curves(together, "age_band", (90, 180))
    for name in ("at", "table", "counts", "groups", "tests", "left_service"):
        pd.testing.assert_frame_equal(getattr(found, name), getattr(whole, name), rtol=1e-12)
    assert found.total.test == whole.total.test
    assert pooled.branches["jobs"].tolist() == [one.job_count, other.job_count]
    assert pooled.branches["returns"].sum() == together.return_count


def test_the_file_names_no_job_unit_or_customer(branches, tmp_path) -> None:
    one, _, _ = branches
    frame = one.history.jobs
    frame = frame.assign(customer="Quillfeather", phone="0555 900900", notes="Quillfeather rang")
    marked = replace(one, history=replace(one.history, jobs=frame))
    write_counts(branch_counts(marked, ("model",), branch="mill"), tmp_path / "c.json")
    text = (tmp_path / "c.json").read_text("utf-8")
    assert "Quillfeather" not in text
    assert "0555" not in text
    assert not any(job_id in text for job_id in frame["job_id"])
    assert set(json.loads(text)["repeats"]["unit"]) == set(
        range(len(repeats_by_unit(life_table(one))))
    )


def test_groups_of_one_job_are_named(branches) -> None:
    one, _, _ = branches
    jobs = one.history.jobs
    lone = jobs["job_id"].iloc[one.episodes["job"].iloc[0]]
    rare = to_schema(jobs.assign(model=jobs["model"].astype(str).mask(jobs["job_id"] == lone, "x")))
    counts = branch_counts(
        replace(one, history=replace(one.history, jobs=rare)), ("model",), branch="mill"
    )
    assert counts.alone == ("x",)
    assert "x" in counts.notes[0].text
    assert branch_counts(one, branch="mill").notes == ()


def test_what_can_not_be_added_is_told(branches) -> None:
    one, other, _ = branches
    mill = branch_counts(one, branch="mill")
    with pytest.raises(RequestError, match="given twice"):
        pool_branches([mill, mill])
    with pytest.raises(RequestError, match="different rules"):
        pool_branches([mill, replace(mill, branch="quay", count="all")])
    with pytest.raises(RequestError, match="by nothing, another by model"):
        pool([mill.table, life_table(other, ("model",))])
    with pytest.raises(RequestError, match="nothing to pool"):
        pool([])


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda d: d.pop("cells"), "missing or misshapen"),
        (lambda d: d["cells"]["jobs"].__setitem__(0, -1), "not above zero"),
        (lambda d: d["cells"]["jobs"].__setitem__(0, 1.5), "whole number"),
        (lambda d: d["cells"]["outcome"].__setitem__(0, 99), "unknown outcomes"),
        (lambda d: d["cells"]["days"].__setitem__(0, 0.3), "half or whole days"),
        (lambda d: d["repeats"]["cell"].__setitem__(0, 10**6), "repeats of unknown counts"),
        (lambda d: d.update(follow="never"), "unknown rules"),
        (lambda d: d.update(form="counts"), "does not say"),
    ],
)
def test_a_spoiled_file_is_refused(branches, tmp_path, spoil, told) -> None:
    path = tmp_path / "c.json"
    write_counts(branch_counts(branches[0], branch="mill"), path)
    data = json.loads(path.read_text("utf-8"))
    spoil(data)
    path.write_text(json.dumps(data), "utf-8")
    with pytest.raises(SourceError, match=told):
        read_counts(path)
