import pytest


@pytest.fixture(autouse=True)
def own_home(tmp_path, monkeypatch):
    """Nothing a test remembers reaches another test or the user's own folder."""
    monkeypatch.setenv("STAYSFIXED_HOME", str(tmp_path / "home"))
    return tmp_path / "home"
