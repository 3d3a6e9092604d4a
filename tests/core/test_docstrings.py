"""The contract of docstrings: what a public function takes and gives is written down, with its unit."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

import core

# The longest ending counts: `density_kg_m3` is a density, not a volume.
UNITS = {
    "_pa": "[Pa]",
    "_pa_s": "[Pa s]",
    "_m": "[m]",
    "_m2": "[m2]",
    "_m3": "[m3]",
    "_m_s": "[m/s]",
    "_m2_s": "[m2/s]",
    "_m3_s": "[m3/s]",
    "_k": "[K]",
    "_kg_m3": "[kg/m3]",
    "_kg_s": "[kg/s]",
    "_rad": "[rad]",
    "_rad_s": "[rad/s]",
    "_w": "[W]",
}
MODULES = ["core", *(info.name for info in pkgutil.walk_packages(core.__path__, "core."))]


def unit_of(name: str) -> str | None:
    """Return the unit that a name ends in."""
    endings = [ending for ending in UNITS if name.endswith(ending)]
    return UNITS[max(endings, key=len)] if endings else None


def sections_of(doc: str) -> dict[str, str]:
    """Return the text of each section of a numpy docstring by its title."""
    parts = re.split(r"^(\w[\w ]*)\n-{3,}$", doc, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries_of(section: str) -> dict[str, str]:
    """Return the description of each parameter of a section; `a, b : float` describes both."""
    found: dict[str, str] = {}
    for block in re.split(r"^(?=\S)", section, flags=re.MULTILINE):
        names, _, description = block.partition(":")
        found |= {name.strip().lstrip("*"): description for name in names.split(",") if name.strip()}
    return found


def raises(function: Callable) -> bool:
    """Return whether a function's own lines raise an error."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    return any(isinstance(node, ast.Raise) for node in ast.walk(tree))


def faults_of(function: Callable, must_have_sections: bool = True) -> Iterator[str]:
    """Yield what a function's docstring lacks."""
    doc = inspect.getdoc(function)
    if not doc:
        yield "has no docstring"
        return
    sections = sections_of(doc)
    entries = entries_of(sections.get("Parameters", ""))
    signature = inspect.signature(function)
    names = [name for name in signature.parameters if name not in ("self", "cls")]
    if must_have_sections or entries:
        yield from (f"does not describe its parameter '{name}'" for name in names if name not in entries)
    yield from (f"describes '{name}', which is no parameter of it" for name in entries if name not in names)
    for name, description in entries.items():
        unit = unit_of(name)
        if unit and unit not in description:
            yield f"parameter '{name}' lacks its unit {unit}"
    if not must_have_sections:
        return
    given = signature.return_annotation
    if given is inspect.Signature.empty:
        yield "says nothing of what it returns (no annotation)"
    elif given not in (None, "None", "NoReturn") and not sections.keys() & {"Returns", "Yields"}:
        yield f"returns {given} and has no section Returns"
    if raises(function) and "Raises" not in sections:
        yield "raises an error and has no section Raises"


def own_public(owner: object, module: str) -> Iterator[tuple[str, object]]:
    """Yield what an object defines itself under public names."""
    for name, one in vars(owner).items():
        if not name.startswith("_") and getattr(one, "__module__", module) == module:
            yield name, one


def all_faults(module_name: str) -> list[str]:
    """Return what is missing in a module, as `where: what`."""
    module = importlib.import_module(module_name)
    empty = not Path(module.__file__).read_text(encoding="utf-8").strip()  # a package's bare marker
    faults = [] if module.__doc__ or empty else [f"{module_name}: the module has no docstring"]
    for name, one in own_public(module, module_name):
        where = f"{module_name}.{name}"
        if inspect.isfunction(one):
            faults += [f"{where}: {fault}" for fault in faults_of(one)]
        elif inspect.isclass(one):
            # A dataclass without a docstring gets its signature for one.
            if (one.__doc__ or f"{name}(").startswith(f"{name}("):
                faults.append(f"{where}: the class has no docstring")
            for method_name, method in own_public(one, module_name):
                method = method.fget if isinstance(method, property) else method
                if inspect.isfunction(method):
                    found = faults_of(method, must_have_sections=False)
                    faults += [f"{where}.{method_name}: {fault}" for fault in found]
    return faults


@pytest.mark.parametrize("module_name", MODULES)
def test_every_public_function_is_described(module_name):
    faults = all_faults(module_name)
    assert not faults, "\n" + "\n".join(faults)


def test_the_walk_finds_the_functions():
    assert {"core.air", "core.valve", "core.curve", "core.cam", "core.compression"} <= set(MODULES)
    functions = dict(own_public(importlib.import_module("core.curve"), "core.curve"))
    assert {"interpolate", "mean_weights", "time_weights"} <= functions.keys()  # decorated ones, too
    assert "require_positive" not in functions  # belongs to core.checks


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("pressure_pa", "[Pa]"),
        ("density_kg_m3", "[kg/m3]"),
        ("flow_m3_s", "[m3/s]"),
        ("speed_rad_s", "[rad/s]"),
        ("angle_rad", "[rad]"),
        ("swept_m3", "[m3]"),
        ("n", None),
        ("stem", None),
    ],
)
def test_units_of_names(name, unit):
    assert unit_of(name) == unit


# Below, functions that break the contract in one way each: the check has to notice.


def _sound(lift_m: float, flow_m3_s: np.ndarray, **extra: float) -> float:
    """Do it.

    Parameters
    ----------
    lift_m : float
        Lift. [m]
    flow_m3_s : ndarray, shape (n,)
        Flow, over
        two lines. [m3/s]
    **extra : float
        More.

    Returns
    -------
    float
        A number. [1]

    Raises
    ------
    ValueError
        If it must.
    """
    raise ValueError


def _no_unit(lift_m: float) -> None:
    """Do it.

    Parameters
    ----------
    lift_m : float
        Lift in mm.
    """


def _other_unit(lift_m: float, width_m: float) -> None:
    """Do it.

    Parameters
    ----------
    lift_m, width_m : float
        Sizes. [m2]
    """


def _undescribed(lift_m: float, n: int) -> None:
    """Do it.

    Parameters
    ----------
    n : int
        Count.
    """


def _renamed(n: int) -> None:
    """Do it.

    Parameters
    ----------
    n : int
        Count.
    count : int
        Count, as it was called before.
    """


def _no_returns() -> float:
    """Do it."""
    return 1.0


def _no_annotation():
    """Do it."""


def _no_raises() -> None:
    """Do it."""
    raise ValueError


def _nothing() -> None:
    pass


@pytest.mark.parametrize(
    ("function", "faults"),
    [
        (_sound, []),
        (_no_unit, ["parameter 'lift_m' lacks its unit [m]"]),
        (_other_unit, ["parameter 'lift_m' lacks its unit [m]", "parameter 'width_m' lacks its unit [m]"]),
        (_undescribed, ["does not describe its parameter 'lift_m'"]),
        (_renamed, ["describes 'count', which is no parameter of it"]),
        (_no_returns, ["returns float and has no section Returns"]),
        (_no_annotation, ["says nothing of what it returns (no annotation)"]),
        (_no_raises, ["raises an error and has no section Raises"]),
        (_nothing, ["has no docstring"]),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_the_check_notices(function, faults):
    assert list(faults_of(function)) == faults
