"""The shop window: what `import flatcheck` gives, and what it does not load."""

import subprocess
import sys

import pytest

import flatcheck
from flatcheck.rules import standards


@pytest.mark.parametrize("name", flatcheck.__all__)
def test_every_name_is_there(name: str) -> None:
    """Each public name is the class or function of that name, not a module."""
    assert getattr(flatcheck, name).__name__ == name
    assert name in dir(flatcheck)


def test_unknown_names_are_refused() -> None:
    """A name that is not there is missing, as in any module."""
    with pytest.raises(AttributeError, match="no attribute 'tiles'"):
        _ = flatcheck.tiles


@pytest.mark.parametrize("first", ["flatcheck.assess", "flatcheck.standards", "flatcheck.rules"])
def test_functions_stay_what_they_are(first: str) -> None:
    """`assess` and `standards` are functions, whichever module of that name is loaded before."""
    code = (
        f"import {first}; from flatcheck import assess, standards; "
        "standards(); import flatcheck; flatcheck.standards(); print(callable(flatcheck.assess))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "True\n"


def test_all_of_it_at_once() -> None:
    """`from flatcheck import *` binds every public name."""
    names: dict[str, object] = {}
    exec("from flatcheck import *", names)
    assert set(flatcheck.__all__) <= set(names)
    assert names["standards"] is standards


def test_the_window_loads_nothing() -> None:
    """The package alone loads no numpy; that comes with the first name that needs it."""
    loaded = "print('numpy' in sys.modules)"
    code = f"import sys, flatcheck; {loaded}; flatcheck.assess; {loaded}"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["False", "True"]
