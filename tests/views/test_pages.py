"""Every page answers, for every filter, and refuses in words."""

from __future__ import annotations

import pandas as pd
import pytest
from screen import answers, carried, charts, page_text, turn_to

from insights import wording
from insights.followup import follow_up, select
from insights.history.intake import read_history
from insights.meanings import MEANINGS
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves
from insights.survival.maturity import maturity

DAYS = (30, 60, 90, 120, 150, 180, 270, 365)
PAGES = (
    "Where we stand",
    "Coming back",
    "Root causes",
    "Does it work?",
    "Better or worse",
    "Trouble early",
    "Call in",
    "Warranties",
    "The record",
    "First steps",
)


@pytest.fixture(scope="module")
def whole(shop_file):
    return follow_up(read_history(shop_file))


def sentence_of(followup, by=None) -> str:
    return wording.of_curves(return_curves(followup, by=by, at=DAYS)).sentence


def test_it_opens_on_the_invented_workshop(open_app):
    app = open_app(None)
    assert not app.exception
    assert app.title[0].value == "Where we stand"
    assert "invented" in page_text(app)
    assert "share-back" in charts(app)


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers_and_closes_with_what_is_owed(open_app, shop_file, page):
    app = open_app(shop_file, page)
    assert not app.exception
    assert not app.error
    assert app.title[0].value == page
    assert answers(app)
    assert wording.SAFETY in page_text(app)
    assert wording.STATUTORY in page_text(app)


def test_the_answer_is_the_analysis_own(open_app, shop_file, whole):
    app = open_app(shop_file, "Coming back")
    assert answers(app) == [sentence_of(whole, by="practice_contact_pair")]
    app = turn_to(app, "Root causes")
    causes = cause_curves(whole, at=DAYS)
    assert answers(app) == [wording.of_causes(causes).sentence]


def test_every_figure_is_described_and_shares_nothing_with_a_cloud(open_app, shop_file):
    app = open_app(shop_file, "Root causes")
    shown = charts(app)
    assert set(shown) == {"root-causes", "root-causes-over-time"}
    for chart in shown.values():
        assert len(chart["alt"]) > 20
        assert chart["config"]["showSendToCloud"] is False
        assert chart["config"]["displaylogo"] is False
        assert chart["config"]["toImageButtonOptions"]["format"] == "svg"


def test_a_filter_selects_from_the_whole_follow_up(open_app, shop_file, whole):
    app = open_app(shop_file)
    app.multiselect(key="technician").set_value(["Ada"]).run()
    chosen = select(whole, where={"technician": ("Ada",)})
    # The comeback of a kept job counts also where another technician took it in.
    assert answers(app)[1] == sentence_of(chosen)
    alone = chosen.history.jobs["technician"].take(
        chosen.episodes["return_job"][chosen.episodes["return_job"] >= 0]
    )
    assert (alone != "Ada").any()


def test_the_rules_of_the_clock_can_be_changed(open_app, shop_file):
    app = open_app(shop_file)
    app.radio(key="follow").set_value("all").run()
    app.radio(key="count").set_value("all").run()
    whole = follow_up(read_history(shop_file), follow="all", count="all")
    days = (*DAYS, 545, 730, 1095)
    assert answers(app)[1] == wording.of_curves(return_curves(whole, at=days)).sentence


def test_the_choice_stands_in_the_address_and_is_carried_along(open_app, shop_file):
    app = open_app(shop_file)
    app.multiselect(key="model").set_value(["grinder"]).run()
    app.radio(key="count").set_value("all").run()
    assert dict(app.query_params) == {"model": "grinder", "count": "all"}
    assert carried(app, "Root causes") == "model=grinder&count=all"


def test_an_address_is_taken_up_on_any_page(open_app, shop_file, whole):
    app = open_app(shop_file, technician=["Bo"], since=["2018-01-01"], by=["model"])
    assert app.multiselect(key="technician").value == ["Bo"]
    chosen = select(whole, since="2018-01-01", where={"technician": ("Bo",)})
    app = turn_to(app, "Coming back")
    assert answers(app) == [sentence_of(chosen, by="model")]
    assert app.selectbox(key="by").value == "model"


def test_an_address_that_means_nothing_is_named(open_app, shop_file):
    app = open_app(shop_file, model=["toaster"], count=["everything"])
    said = " ".join(warning.value for warning in app.warning)
    assert "toaster" in said
    assert "count = everything" in said
    assert dict(app.query_params) == {}


def test_going_back_to_all_jobs(open_app, shop_file, whole):
    app = open_app(shop_file, technician=["Bo"], follow=["all"])
    app.button(key="clear").click().run()
    assert answers(app)[1] == sentence_of(whole)
    assert app.multiselect(key="technician").value == []
    assert app.radio(key="follow").value == "covered"


def test_a_filter_that_leaves_nothing_is_refused_in_words(open_app, shop_file):
    app = open_app(shop_file, since=["2026-01-01"], until=["2017-01-01"])
    assert not app.exception
    assert "leaves no hand-back" in app.error[0].value


def test_a_file_that_is_none_is_refused_in_words_on_every_page(open_app, tmp_path):
    picture = tmp_path / "picture.csv"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * 64)
    app = open_app(picture)
    for page in PAGES:
        app = turn_to(app, page)
        assert not app.exception
        assert "picture" in app.error[0].value


def test_a_changed_file_is_read_again(open_app, shop_frame, tmp_path):
    path = tmp_path / "growing.csv"
    shop_frame.head(400).to_csv(path, index=False, date_format="%Y-%m-%d")
    app = open_app(path)
    before = answers(app)[0]
    shop_frame.head(500).to_csv(path, index=False, date_format="%Y-%m-%d")
    app.run()
    assert answers(app)[0] != before


def test_refused_rows_are_shown_with_reasons(open_app, shop_frame, tmp_path):
    spoiled = shop_frame.astype({"received": str})
    spoiled.loc[3, "received"] = "soon"
    spoiled.loc[8, "received"] = "2999-01-01"
    path = tmp_path / "spoiled.csv"
    spoiled.to_csv(path, index=False, date_format="%Y-%m-%d")
    app = open_app(path, "The record")
    shown = pd.concat([table.value for table in app.table])
    assert {"5", "10"} <= set(shown["Row"].dropna().astype(int).astype(str))
    assert "soon" in set(shown["Found"])


def test_young_months_are_completed_and_said_to_be_young(open_app, shop_file, whole):
    app = open_app(shop_file)
    tables = [table.value for table in app.table]
    months = next(table for table in tables if "Back so far" in table.columns)
    wanted = maturity(whole).table.tail(12).iloc[::-1]
    assert months["Handed back in"].tolist() == wanted["month"].astype(str).tolist()
    assert months["Back so far"].tolist() == [f"{seen}" for seen in wanted["returns"]]
    assert months["Expect in the end"].tolist() == [
        f"{expected:.1f}" for expected in wanted["bornhuetter_ferguson"]
    ]
    assert months["Remark"].iloc[0] == "too young to judge"


def test_help_stands_beside_the_numbers(open_app, shop_file):
    app = open_app(shop_file, "Coming back")
    (help_text,) = [text.value for text in app.markdown if text.value.startswith("**It says:**")]
    meaning = MEANINGS["coming-back"]
    assert all(text in help_text for text in (meaning.says, meaning.not_that, meaning.worked_out))
