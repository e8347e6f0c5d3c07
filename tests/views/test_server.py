"""The dashboard listens on this machine only, and says so where it does not."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib

import pytest

from dashboards import server
from dashboards.__main__ import main
from dashboards.launching import launch
from dashboards.server import APP, SOURCE_VARIABLE, arguments


def option(words: list[str], name: str) -> list[str]:
    return [word.split("=", 1)[1] for word in words if word.startswith(f"--{name}=")]


def test_only_this_machine_by_default():
    words = arguments("127.0.0.1", 8501, headless=False)
    assert words[:2] == ["run", str(APP)]
    assert option(words, "server.address") == ["127.0.0.1"]
    assert option(words, "server.allowedHosts") == ["127.0.0.1", "localhost"]
    assert option(words, "browser.gatherUsageStats") == ["false"]


def test_another_address_is_allowed_by_name():
    words = arguments("192.168.1.5", 8501, headless=True)
    assert option(words, "server.allowedHosts") == ["127.0.0.1", "localhost", "192.168.1.5"]
    assert option(words, "browser.serverAddress") == ["192.168.1.5"]


def test_every_address_asks_no_outside_service_for_our_own():
    words = arguments("0.0.0.0", 8501, headless=True)
    assert option(words, "browser.serverAddress") == ["localhost"]
    assert option(words, "server.allowedHosts") == ["*"]


def test_the_settings_beside_the_app_are_private_too():
    settings = tomllib.loads((APP.parent / ".streamlit" / "config.toml").read_text())
    assert settings["server"]["address"] == "127.0.0.1"
    assert settings["browser"]["gatherUsageStats"] is False


@pytest.fixture
def streamlit_words(monkeypatch):
    called: list[list[str]] = []
    monkeypatch.setattr(
        "streamlit.web.cli.main", lambda words, standalone_mode: called.append(words)
    )
    monkeypatch.setattr("dashboards.ahead.begin", lambda: None)
    monkeypatch.setenv(SOURCE_VARIABLE, "left over")
    return called


def test_the_source_is_handed_over(streamlit_words, shop_file, capsys):
    launch(str(shop_file), port=8700)
    assert os.environ[SOURCE_VARIABLE] == str(shop_file)
    assert "http://127.0.0.1:8700" in capsys.readouterr().out
    launch()
    assert SOURCE_VARIABLE not in os.environ
    assert len(streamlit_words) == 2


def test_opening_to_others_is_said(streamlit_words, capsys):
    launch(address="0.0.0.0")
    assert "no login" in capsys.readouterr().err


def test_a_missing_file_is_one_clear_line(capsys):
    assert main(["nowhere.csv"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("staysfixed: there is no file 'nowhere.csv'.")
    assert said.count("\n") == 1


def test_asking_for_help_imports_no_analysis():
    code = (
        "import sys, dashboards; "
        "print([name for name in ('streamlit', 'pandas') if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
    assert server.PORT == 8501
