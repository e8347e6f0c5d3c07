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
from dashboards.server import APP, SERVED, SOURCE_VARIABLE, arguments


def option(words: list[str], name: str) -> list[str]:
    return [word.split("=", 1)[1] for word in words if word.startswith(f"--{name}=")]


def test_only_this_machine_by_default():
    words = arguments("127.0.0.1", 8501, headless=False)
    assert words[:2] == ["run", str(SERVED)]
    assert option(words, "server.address") == ["127.0.0.1"]
    assert option(words, "server.allowedHosts") == ["127.0.0.1", "localhost"]
    assert option(words, "browser.gatherUsageStats") == ["false"]


def test_other_names_are_answered_to_by_choice_only():
    words = arguments("192.168.1.5", 8501, headless=True, hosts=("localhost", "192.168.1.5"))
    assert option(words, "server.allowedHosts") == ["localhost", "192.168.1.5"]
    assert option(words, "browser.serverAddress") == ["192.168.1.5"]


def test_every_address_asks_no_outside_service_for_our_own():
    words = arguments("0.0.0.0", 8501, headless=True)
    assert option(words, "browser.serverAddress") == ["localhost"]
    assert option(words, "server.allowedHosts") == ["127.0.0.1", "localhost"]


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
    launch(str(shop_file), port=8700, headless=True)
    assert os.environ[SOURCE_VARIABLE] == str(shop_file)
    assert "http://127.0.0.1:8700" in capsys.readouterr().out
    launch(headless=True)
    assert SOURCE_VARIABLE not in os.environ
    assert len(streamlit_words) == 2


@pytest.mark.parametrize("words", [["--address", "0.0.0.0"], ["--behind-tls"], ["--name", "b"]])
def test_a_file_is_never_opened_to_others(streamlit_words, shop_file, capsys, words):
    assert main([str(shop_file), *words]) == 2
    said = capsys.readouterr().err
    assert "Only a job book can be opened to the network" in said
    assert said.count("\n") == 1
    assert main(words) == 2
    assert not streamlit_words


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
