"""The package's public names are there, each from its own room."""

from __future__ import annotations

import subprocess
import sys

import pytest

import insights


@pytest.mark.parametrize("name", insights.__all__)
def test_every_public_name_is_there(name):
    found = getattr(insights, name)
    assert found.__name__ == name
    assert found.__module__.startswith("insights.")
    assert found.__doc__


def test_an_unknown_name_is_an_ordinary_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'league_table'"):
        insights.league_table  # noqa: B018


def test_importing_the_package_loads_no_room():
    words = "import sys, insights; print([name for name in sys.modules if 'scipy' in name])"
    ran = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
