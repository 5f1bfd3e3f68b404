"""Every public function is a data sheet: its arguments in order, each with its unit."""

import inspect
import re
from collections.abc import Callable
from types import ModuleType

import pytest

from bellmouth.physics import air, cylinder, fuel, orifice, throttle

UNIT_IN_NAME = {
    "pa": "Pa", "k": "K", "m": "m", "m2": "m²", "deg": "deg", "pct": "%", "kg_s": "kg/s",
    "m3": "m³", "rev_s": "1/s",
}  # fmt: skip


def public_functions() -> list[Callable[..., object]]:
    modules: tuple[ModuleType, ...] = (air, cylinder, fuel, orifice, throttle)
    found = (getattr(module, name) for module in modules for name in module.__all__)
    return [one for one in found if inspect.isfunction(one)]


def documented(function: Callable[..., object]) -> list[tuple[str, str]]:
    """Arguments of the ``Parameters`` section, each with the text of its entry."""
    text = inspect.getdoc(function) or ""
    section = re.search(r"Parameters\n-+\n(.*?)(?=\n\n\w+\n-+\n|\Z)", text, re.DOTALL)
    assert section, f"{function.__name__} documents no parameters"
    entries = re.findall(r"^(\w.*)\n((?:    .*\n?)+)", section.group(1), re.MULTILINE)
    return [(name, body) for names, body in entries for name in names.split(", ")]


@pytest.mark.parametrize("function", public_functions(), ids=lambda one: one.__name__)
def test_arguments_are_documented_in_order_with_units(function: Callable[..., object]) -> None:
    entries = documented(function)
    assert [name for name, _ in entries] == list(inspect.signature(function).parameters)
    for name, body in entries:
        units = re.findall(r"\[([^\]]+)\]", body)
        assert units, f"{name} has no unit"
        for suffix, unit in UNIT_IN_NAME.items():
            if re.search(rf"_{suffix}$", name) and not name.endswith(("kg_m3", "m3_s_pa")):
                assert unit in units, f"{name} is in {units}"


@pytest.mark.parametrize("function", public_functions(), ids=lambda one: one.__name__)
def test_the_result_has_a_unit_too(function: Callable[..., object]) -> None:
    text = inspect.getdoc(function) or ""
    before = text.split("Parameters\n")[0]
    assert (
        re.search(r"\[[^\]]+\]", before)
        or "inverse of" in before.lower()
        or re.search(r"_(pa|k|m|m2|deg|kg_s|kg_m3)$", function.__name__)
    )
