"""A small shop on disk, and the dashboard opened on it."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pandas as pd
import pytest
import streamlit as st
from screen import turn_to
from streamlit.testing.v1 import AppTest

from dashboards.data import money as money_data
from dashboards.data import watch as watch_data
from dashboards.server import APP, SOURCE_VARIABLE
from insights.history.declared import HOME_VARIABLE
from insights.money.backtest import backtest
from insights.reviewing.watch import watch
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

WAIT_SECONDS = 60
WORKED_OUT: dict[tuple, object] = {}


@pytest.fixture(scope="session")
def shop_frame() -> pd.DataFrame:
    history, _ = generate(cafe_workshop(jobs=900))
    return history.jobs.dropna(axis="columns", how="all")


@pytest.fixture(scope="session")
def shop_file(shop_frame, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("shop") / "shop.csv"
    shop_frame.to_csv(path, index=False, date_format="%Y-%m-%d")
    return path


@pytest.fixture(autouse=True)
def own_home(tmp_path, monkeypatch):
    """Remember nothing from test to test, nor in the user's own folder."""
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))
    monkeypatch.delenv(SOURCE_VARIABLE, raising=False)
    st.cache_resource.clear()


@pytest.fixture(autouse=True)
def worked_out_once(monkeypatch):
    """Watch and score a record once for the tests of all pages.

    Both take a second or more, the first page watches as well, and they have tests of their own.
    """
    monkeypatch.setattr(money_data, "backtest", partial(remembered, backtest))
    monkeypatch.setattr(watch_data, "watch", partial(remembered, watch))


def remembered(question, followup, **options):
    jobs = followup.history.jobs
    asked = (
        question,
        int(pd.util.hash_pandas_object(jobs.astype(str), index=False).sum()),
        followup.episodes[["job", "days", "end"]].astype(str).to_csv(),
        repr({name: value for name, value in options.items() if name != "kept"}),
    )
    if asked not in WORKED_OUT:
        WORKED_OUT[asked] = question(followup, **options)
    return WORKED_OUT[asked]


@pytest.fixture
def open_app(monkeypatch):
    """Open the dashboard on a source, on one page, with an address's query."""

    def opened(source: Path | None, page: str | None = None, **query: list[str]) -> AppTest:
        if source is not None:
            monkeypatch.setenv(SOURCE_VARIABLE, str(source))
        app = AppTest.from_file(str(APP), default_timeout=WAIT_SECONDS)
        for name, values in query.items():
            app.query_params[name] = values
        app.run()
        return app if page is None else turn_to(app, page)

    return opened
