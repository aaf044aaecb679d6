"""Every name of the Python API says what it takes, gives back and raises, as it really does; and the check finds what it looks for."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

from tests.host.api_docstrings import PAGE, faults_of

Maker = Callable[[str], ModuleType]
NAMES = [(module, name) for module, names in PAGE.API for name in names]

SAMPLE = '''
from dataclasses import dataclass
from collections.abc import Iterator
from numpy.typing import ArrayLike
from firstcrank.errors import CalibrationError, LinkLostError, StoreError

@dataclass(frozen=True)
class Divider:
    """Two resistors.

    Attributes:
        top_ohm: Upper one, ohms.
        name: What it is called.

    Raises:
        ValueError: A resistor is not above 0.
    """

    top_ohm: float
    name: str = ""

    def __post_init__(self) -> None:
        if not self.top_ohm > 0:
            raise ValueError(self.top_ohm)

    @property
    def top_kohm(self) -> float:
        """Upper one, thousands of ohms."""
        return self.top_ohm / 1e3

    @classmethod
    def called(cls, name: str) -> "Divider":
        """The one of that name.

        Args:
            name: Of a divider.

        Returns:
            It, with usual values.
        """
        return cls(1e3, name)

class Client:
    """A board.

    Args:
        port: Its name.

    Attributes:
        port: As given.
    """

    def __init__(self, port: str) -> None:
        self.port = port
        self._rest = b""

    def _silent(self) -> LinkLostError:
        return LinkLostError("silent")

    def wait(self, *ports: str, timeout_s: float = 1.0) -> None:
        """Waits.

        Args:
            *ports: Their names.
            timeout_s: How long, seconds.

        Raises:
            LinkLostError: Nothing came.
        """
        raise self._silent()

def volts(codes: ArrayLike, gain: float) -> "FloatArray":
    """Volts of codes.

    Args:
        codes: Any shape.
        gain: Volts per code.

    Returns:
        Volts, shape as of codes.

    Raises:
        CalibrationError: The gain is not above 0.
    """
    try:
        if gain <= 0:
            raise KeyError("gain")
    except KeyError as error:
        raise CalibrationError(str(error)) from error
    return codes * gain

def rows(most: int) -> Iterator[str]:
    """Lines.

    Args:
        most: How many.

    Yields:
        One after the other.
    """
    yield from ["a"] * most
'''
ITEMS = ("Divider", "Client", "volts", "rows")


@pytest.fixture
def made(tmp_path: Path) -> Iterator[Maker]:
    """Makes a module from text, known by its name as long as the test runs."""
    names: list[str] = []

    def module_of(text: str) -> ModuleType:
        name = f"sample_{tmp_path.name}_{len(names)}"
        path = tmp_path / f"{name}.py"
        path.write_text(text, "utf-8")
        spec = importlib.util.spec_from_file_location(name, path)
        assert spec is not None
        assert spec.loader is not None
        names.append(name)
        sys.modules[name] = module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    yield module_of
    for name in names:
        del sys.modules[name]


def faults_in(module: ModuleType) -> list[str]:
    return [fault for name in ITEMS for fault in faults_of(getattr(module, name))]


@pytest.mark.parametrize(("module", "name"), NAMES, ids=[name for _, name in NAMES])
def test_a_name_of_the_api_describes_what_it_takes_gives_back_and_raises(module: str, name: str) -> None:
    assert faults_of(getattr(importlib.import_module(module), name)) == []


def test_methods_are_compared_too() -> None:
    items = [getattr(importlib.import_module(module), name) for module, name in NAMES]
    methods = [f"{i.__name__}.{node.name}" for i in items if inspect.isclass(i) for node in PAGE.methods_of(i)]
    assert {"Limits.__getitem__", "Calibration.from_json", "BoardClient.ask", "Link.read", "Trace.mid_s"} <= set(methods)
    assert not [name for name in methods if "._" in name and not name.endswith("__")]


def test_a_module_that_describes_everything_has_no_fault(made: Maker) -> None:
    assert faults_in(made(SAMPLE)) == []


@pytest.mark.parametrize(
    ("whole", "broken", "fault"),
    [
        ("        timeout_s: How long, seconds.\n", "", "Client.wait: parameter timeout_s is not described"),
        (
            "        timeout_s: How long, seconds.\n",
            "        timeout_s: How long, seconds.\n            timeout_s: It, seconds.\n",
            "Client.wait: parameter timeout_s is described 2 times",
        ),
        (
            "        most: How many.\n",
            "        most: How many.\n        least: How few.\n",
            "rows: there is no parameter least",
        ),
        (
            "        most: How many.\n",
            "        most: How many.\n    least: How few.\n",
            "rows: 'least: How few.' stands in no section",
        ),
        ("*ports: Their names.", "*ports:", "Client.wait: parameter ports has no text"),
        ("How long, seconds.", "How long.", "Client.wait: parameter timeout_s has no unit"),
        ("codes: Any shape.", "codes: Any.", "volts: parameter codes has no shape"),
        ("Upper one, ohms.", "Upper one.", "Divider: attribute top_ohm has no unit"),
        ("        name: What it is called.\n", "", "Divider: attribute name is not described"),
        ("        name: What it is called.\n", "        nam: It.\n", "Divider: there is no attribute nam"),
        ("        port: As given.\n", "        port: As given.\n        rest: Bytes.\n", "Client: there is no attribute rest"),
        (
            "        port: Its name.\n",
            "        port: Its name.\n        baud: Its rate.\n",
            "Client: there is no parameter baud",
        ),
        ("thousands of ohms", "thousands", "Divider.top_kohm: has no unit"),
        (
            "\n        Returns:\n            It, with usual values.\n",
            "",
            "Divider.called: one section Returns is wanted, there are 0",
        ),
        ("    Yields:", "    Returns:", "rows: one section Yields is wanted, there are 1"),
        ("    Volts, shape as of codes.", "    Volts.", "volts: Returns has no shape"),
        (
            "        Raises:\n            LinkLostError: Nothing",
            "        Returns:\n            Something.\n\n        Raises:\n            LinkLostError: Nothing",
            "Client.wait: Returns where None comes back",
        ),
        ("CalibrationError: The gain is", "LinkLostError: The gain is", "volts: CalibrationError is raised and not in Raises"),
        ("LinkLostError: Nothing came", "StoreError: Nothing came", "Client.wait: LinkLostError is raised and not in Raises"),
        ("        ValueError: A resistor", "        KeyError: A resistor", "Divider: ValueError is raised and not in Raises"),
        ("CalibrationError: The gain is", "CalibratedError: The gain is", "volts: there is no exception CalibratedError"),
        ("CalibrationError: The gain is", "Divider: The gain is", "volts: there is no exception Divider"),
        ("LinkLostError: Nothing came.", "LinkLostError:", "Client.wait: LinkLostError in Raises has no text"),
        (
            "            LinkLostError: Nothing came.\n",
            "            LinkLostError: Nothing came.\n            LinkLostError: Gone.\n",
            "Client.wait: LinkLostError is in Raises 2 times",
        ),
        ("        most: How many.\n", "        most How many.\n", "rows: Expected a colon in 'most How many.'."),
    ],
)
def test_the_check_finds_each_fault(made: Maker, whole: str, broken: str, fault: str) -> None:
    assert SAMPLE.count(whole) == 1
    found = faults_in(made(SAMPLE.replace(whole, broken)))
    assert any(one.startswith(fault) for one in found), found


def test_a_missing_docstring_is_found() -> None:
    def bare(x: int) -> int:
        return x

    class Bare:
        def method(self) -> None:
            pass

    assert faults_of(bare) == ["bare: no docstring"]
    assert faults_of(Bare) == ["Bare: no docstring", "Bare.method: no docstring"]
