"""What ``import bellmouth`` offers: every function is a data sheet, and a page shows it."""

import ast
import inspect
import re
from collections.abc import Callable
from pathlib import Path

import pytest

import bellmouth

FUNCTIONS = [name for name in bellmouth.__all__ if inspect.isfunction(getattr(bellmouth, name))]


def _sections(function: Callable[..., object]) -> dict[str, str]:
    """The sections of a docstring by their titles; what stands before the first is no section."""
    text = inspect.getdoc(function) or ""
    parts = re.split(r"^(\w+)\n-+\n", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_tells_arguments_in_order_what_comes_back_and_what_it_raises(
    name: str,
) -> None:
    function = getattr(bellmouth, name)
    told = _sections(function)
    entries = re.findall(r"^(\w.*)$", told["Parameters"], re.MULTILINE)
    arguments = [argument for entry in entries for argument in entry.split(", ")]
    assert arguments == list(inspect.signature(function).parameters)
    assert told["Returns"].split("\n")[0] == inspect.signature(function).return_annotation.__name__
    assert re.search(r"^\w+Error$", told["Raises"], re.MULTILINE)


@pytest.mark.parametrize("name", ["find", "prove"])
def test_what_reckons_says_its_units_and_where_its_equations_stand(name: str) -> None:
    told = _sections(getattr(bellmouth, name))
    assert re.search(r"mm2?, .*g/s", told["Returns"].replace("\n", " "))
    assert "priors.toml" in told["References"]


@pytest.mark.parametrize("name", [name for name in bellmouth.__all__ if name != "__version__"])
def test_every_public_name_is_on_the_page_for_programs(root: Path, name: str) -> None:
    page = (root / "docs" / "python.md").read_text("utf-8")
    assert re.search(rf"^\.\. auto\w+:: bellmouth\.{name}$", page, re.MULTILINE)


def test_a_type_checker_sees_every_public_name_and_no_other() -> None:
    """A module's ``__getattr__`` would have it take ``bellmouth.fnd`` for one of ours."""
    body = ast.parse(Path(str(bellmouth.__file__)).read_text("utf-8")).body
    functions = {one.name for one in body if isinstance(one, ast.FunctionDef)}
    assert "__getattr__" not in functions
    typed = {
        alias.name
        for one in body
        if isinstance(one, ast.If) and isinstance(one.test, ast.Name)
        for inner in one.body
        if isinstance(inner, ast.ImportFrom)
        for alias in inner.names
    }
    assert typed | {"BellmouthError", "__version__"} == set(bellmouth.__all__)
    with pytest.raises(AttributeError, match="fnd"):
        getattr(bellmouth, "f" + "nd")
