"""The rules of the house that no other tool looks after."""

import ast
import importlib
import pkgutil
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import bellmouth

PACKAGE = Path(bellmouth.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
_LONGEST_MODULE = 400
_LONGEST_FUNCTION = 50


def _id(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_no_module_is_longer_than_a_reader_can_hold(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= _LONGEST_MODULE


def _code_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = function.body
    if ast.get_docstring(function) is not None:
        body = body[1:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_no_function_is_longer_than_fifty_lines(path: Path) -> None:
    kinds = ast.FunctionDef | ast.AsyncFunctionDef
    functions = [node for node in ast.walk(_tree(path)) if isinstance(node, kinds)]
    too_long = [node.name for node in functions if _code_lines(node) > _LONGEST_FUNCTION]
    assert too_long == []


@pytest.mark.parametrize("path", MODULES, ids=_id)
def test_every_module_says_what_it_is_and_what_is_public(path: Path) -> None:
    tree = _tree(path)
    names = {
        target.id
        for node in tree.body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name)
    }
    assert ast.get_docstring(tree)
    assert "__all__" in names


@pytest.mark.parametrize(
    "module", [m.name for m in pkgutil.walk_packages([str(PACKAGE)], "bellmouth.")]
)
def test_every_public_name_is_there(module: str) -> None:
    loaded = importlib.import_module(module)
    assert [name for name in loaded.__all__ if not hasattr(loaded, name)] == []


def _loaded_by(code: str) -> set[str]:
    script = f"import sys\n{code}\nprint('\\n'.join(sys.modules))"
    ran = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    return set(ran.stdout.split())


def test_importing_bellmouth_loads_no_library() -> None:
    loaded = _loaded_by("import bellmouth; bellmouth.__version__")
    assert loaded.isdisjoint({"numpy", "polars", "scipy", "click", "rich", "matplotlib", "pint"})


def test_the_public_interface_is_complete_and_lazy() -> None:
    assert set(bellmouth.__all__) <= set(dir(bellmouth))
    for name in set(bellmouth.__all__) - {"__version__"}:
        assert callable(getattr(bellmouth, name))
    with pytest.raises(AttributeError, match="no attribute 'fnid'"):
        bellmouth.__getattr__("fnid")


def test_help_loads_no_number_library() -> None:
    loaded = _loaded_by(
        "from bellmouth.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    )
    assert loaded.isdisjoint({"numpy", "polars", "scipy", "rich", "matplotlib", "pint"})


def test_the_changelog_knows_this_version(root: Path) -> None:
    headings = re.findall(r"^## (\S+)", (root / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    assert headings[0] == bellmouth.__version__


def test_the_map_of_the_house_has_every_room_on_its_floor(root: Path) -> None:
    page = (root / "docs" / "architecture.md").read_text("utf-8")
    floor = {
        room: int(at) for at, room in re.findall(r"^\| (\d) \| `(\w+)/?` ", page, re.MULTILINE)
    }
    settings = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    stacked = [set(layer.split(" : ")) for layer in reversed(layers)]
    assert set(floor) == set().union(*stacked)
    floors = [{floor[room] for room in layer} for layer in stacked]
    assert [len(one) for one in floors] == [1] * len(floors)
    assert floors == sorted(floors, key=min)


@pytest.mark.parametrize("page", ["docs/architecture.md", "CONTRIBUTING.md"])
def test_every_file_that_is_pointed_to_is_there(root: Path, page: str) -> None:
    text = (root / page).read_text("utf-8")
    named = set(re.findall(r"`((?:[\w.]+/)*\w+\.(?:py|toml|csv|md|json|yaml))`", text))
    places = (root, PACKAGE, root / "docs", *PACKAGE.glob("*/"), PACKAGE / "pages" / "site")
    assert [name for name in named if not any((place / name).is_file() for place in places)] == []


def test_the_hooks_need_no_network(root: Path) -> None:
    text = (root / ".pre-commit-config.yaml").read_text("utf-8")
    assert re.findall(r"repo: (\S+)", text) == ["local"]
    assert set(re.findall(r"language: (\S+)", text)) == {"system"}


def test_the_check_of_every_change_is_make_test(root: Path) -> None:
    assert (root / ".ci" / "run").read_text("utf-8").splitlines()[-1] == "exec make test"


def test_package_data_is_where_it_is_read_from() -> None:
    for name in ("py.typed", "pages/templates/report.html", "data/demo/recording.csv"):
        assert (PACKAGE / name).is_file(), name
