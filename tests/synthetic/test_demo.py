"""The demo as a file: it loads without a refusal, and its truth lies beside it."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from insights.history.intake import read_history
from insights.history.written import write_history
from synthetic.__main__ import main
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import simple_shop


def test_the_demo_is_written_read_and_the_same(tmp_path, capsys):
    assert main(["--jobs", "800", "--seed", "3", "--to", str(tmp_path / "demo")]) == 0
    assert "history.csv" in capsys.readouterr().out
    history = read_history(tmp_path / "demo" / "history.csv")
    assert history.refused.empty
    truth = json.loads((tmp_path / "demo" / "truth.json").read_text("utf-8"))
    assert truth["data_date"] == "2025-10-01"
    assert set(truth["practices"]) == {"contact_pair", "switch", "gasket"}
    assert set(truth["unit_of_job"]) == set(history.jobs["job_id"])


def test_a_preset_can_be_chosen(tmp_path):
    words = ["--preset", "simple_shop", "--jobs", "300", "--seed", "5", "--to", str(tmp_path)]
    assert main(words) == 0
    made, _ = generate(simple_shop(jobs=300, seed=5))
    read = read_history(tmp_path / "history.csv")
    pd.testing.assert_series_equal(read.jobs["received"], made.jobs["received"])


def test_an_unknown_preset_is_refused_with_the_known_ones(tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["--preset", "bakery", "--to", str(tmp_path)])
    assert stop.value.code == 2
    assert "cafe_workshop" in capsys.readouterr().err


def no_constant(name: str) -> float:
    raise AssertionError(f"{name} is not JSON")


def test_the_smallest_shops_are_still_plain_json(tmp_path):
    words = ["--preset", "practice_shop", "--jobs", "1", "--to", str(tmp_path)]
    assert main(words) == 0
    text = (tmp_path / "truth.json").read_text("utf-8")
    truth = json.loads(text, parse_constant=no_constant)
    risks = truth["practices"]["contact_pair"]
    assert (risks["treated"]["both"] is None) != (risks["untreated"]["both"] is None)
    assert 0 < risks["all"]["both"] < risks["all"]["one"] < 1


def test_a_folder_that_is_a_file_is_told(tmp_path, capsys):
    place = tmp_path / "taken"
    place.write_text("here already")
    assert main(["--jobs", "5", "--to", str(place)]) == 2
    assert str(place) in capsys.readouterr().err


def test_no_jobs_are_refused(tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["--jobs", "0", "--to", str(tmp_path)])
    assert stop.value.code == 2
    assert "one job or more" in capsys.readouterr().err


def test_every_column_comes_back_as_it_was_written(tmp_path):
    """All of the demo's columns, read again: blanks around a serial are all that is cut."""
    made, _ = generate(cafe_workshop(jobs=400, seed=6))
    write_history(made, tmp_path / "history.csv")
    read = read_history(tmp_path / "history.csv").jobs
    wanted = made.jobs.assign(unit_serial=made.jobs["unit_serial"].str.strip())
    pd.testing.assert_frame_equal(read, wanted, check_categorical=False, check_like=True)
