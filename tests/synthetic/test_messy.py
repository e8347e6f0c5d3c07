"""A spoiled file: nothing that was spoiled gets lost on the way in."""

from __future__ import annotations

from datetime import date

import pytest

from insights.history.declared import Declared
from insights.history.intake import read_history
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.messy import COMMAS, SEMICOLONS, TABS, spoil

TODAY = date(2026, 11, 1)


@pytest.fixture(scope="module")
def clean():
    return generate(cafe_workshop(jobs=600))[0]


def read(messy, style):
    declared = Declared(
        messy.headings,
        date_format=messy.date_format,
        decimal=messy.decimal,
        currency=style.currency_sign,
    )
    return read_history((messy.name, messy.content), declared, today=TODAY)


@pytest.mark.parametrize("style", [SEMICOLONS, COMMAS, TABS])
@pytest.mark.parametrize("seed", [1, 2])
def test_loaded_refused_and_skipped_are_all_lines(clean, style, seed):
    messy = spoil(clean, seed, style)
    history = read(messy, style)
    skipped = sum(note.jobs or 0 for note in history.notes if note.code == "identical_rows")
    assert len(history.jobs) + history.refused_count + skipped == messy.lines
    assert skipped == messy.count("skipped")
    assert history.refused_count == messy.count("refused")
    refused = set(history.refused["job_id"])
    for one in messy.spoiled:
        if one.outcome == "refused" and one.job_id:
            number = one.now if one.column == "job_id" else one.job_id
            assert number in refused, one


def test_what_was_not_spoiled_loads_as_it_was(clean):
    messy = spoil(clean, 3, SEMICOLONS)
    history = read(messy, SEMICOLONS)
    touched = {job for one in messy.spoiled for job in (one.job_id, one.was, one.now)}
    before = clean.jobs[~clean.jobs["job_id"].isin(touched)].set_index("job_id")
    after = history.jobs.set_index("job_id").loc[before.index]
    for name in ("received", "handed_back", "bench_minutes", "parts_cost", "term_days"):
        assert after[name].equals(before[name]), name
    for name in ("model", "technician", "root_cause", "practice_contact_pair"):
        assert after[name].astype("string").equals(before[name].astype("string")), name


def test_a_seed_is_a_file(clean):
    assert spoil(clean, 4).content == spoil(clean, 4).content
    assert spoil(clean, 4).content != spoil(clean, 5).content


def test_each_kind_of_mistake_is_in_the_file_and_loads_or_not_as_listed(clean):
    messy = spoil(clean, 6, SEMICOLONS)
    history = read(messy, SEMICOLONS)
    kinds = {one.what: one.outcome for one in messy.spoiled}
    assert len(kinds) == 12
    assert set(kinds.values()) == {"loads", "refused", "skipped"}
    after = history.jobs.set_index("job_id")
    before = clean.jobs.set_index("job_id")
    for one in messy.spoiled:
        if one.outcome != "loads":
            continue
        assert one.now != one.was
        if one.what != "a mistyped serial":
            assert after.at[one.job_id, one.column] == before.at[one.job_id, one.column], one


def test_the_bytes_are_as_the_style_says(clean):
    semicolons, commas, tabs = (spoil(clean, 1, style) for style in (SEMICOLONS, COMMAS, TABS))
    assert b"\x80" in semicolons.content  # the euro sign in cp1252
    with pytest.raises(UnicodeDecodeError):
        semicolons.content.decode("utf-8")
    assert commas.content.startswith(b"\xef\xbb\xbf")
    assert tabs.content.splitlines()[0].startswith(b"Job no.\tDate in\t")
    for one in (semicolons, commas, tabs):
        assert b"\r\n\r\n" in one.content
        assert b"\r\nTotal" in one.content
