"""Who may import whom: the rooms are kept apart by reading the imports."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted([*(ROOT / "nesting").rglob("*.py"), *(ROOT / "cli").rglob("*.py")])

VALUES = {
    "errors",
    "tolerances",
    "units",
    "clearances",
    "corner_names",
    "demand",
    "layout",
    "leads",
    "mass",
    "part",
    "plate",
    "pull",
    "shop",
    "tables",
}
"""The nouns and what they are made of; every room may use these and `geometry`."""

ROOMS: dict[str, set[str]] = {
    "geometry": set(),
    "drawing": {"drawing"},
    "search": {"search"},
    "batch": {"batch", "search", "check"},
    "fit": {"fit"},
    "check": {"checking", "drawing"},
    "checking": {"checking", "drawing"},
    "report": {"report", "drawing", "remnant", "checking", "fit"},
    "remnant": set(),
    "settle": {"settle", "outline", "drawing", "checking"},
    "rack": {"rack"},
    "outline": {"outline", "drawing", "remnant", "lengths"},
    "files": {"files", "drawing", "outline", "lengths"},
}
"""Rooms, and the rooms they may open besides their own values."""


def imports(path: Path) -> set[str]:
    """Every module imported anywhere in a file, functions and type checking included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def dotted(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def room(module: str) -> str:
    """The room of a module of nesting: the first name below it."""
    return module.split(".")[1] if module.startswith("nesting.") else ""


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_rooms_open_only_on_those_they_may(path: Path) -> None:
    here = room(dotted(path))
    opened = {room(name) for name in imports(path)} - {""}
    if here == "geometry":
        # It knows the tolerances and errors, but no noun.
        assert opened <= {"geometry", "errors", "tolerances"}
    elif here in VALUES:
        assert opened <= VALUES | {"geometry"}
    elif here in ROOMS:
        assert opened <= VALUES | {"geometry"} | ROOMS[here]


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_nothing_in_nesting_knows_the_command_line(path: Path) -> None:
    if dotted(path).startswith("nesting"):
        tops = {name.split(".")[0] for name in imports(path)}
        assert not tops & {"cli", "click", "rich"}


def test_the_check_shares_nothing_with_the_search() -> None:
    """Not even by way of others: follow every import from the check and from what it imports."""
    known = {dotted(path): path for path in MODULES}
    waiting, seen = {"nesting.check"}, set()
    while waiting:
        name = waiting.pop()
        seen.add(name)
        waiting |= {n for n in imports(known[name]) if n in known} - seen
    assert "nesting.checking.distances" in seen
    assert not {name for name in seen if room(name) == "search"}
    assert not {n for name in seen for n in imports(known[name]) if n.split(".")[0] in {"numba", "matplotlib"}}


def test_only_kernels_import_numba() -> None:
    users = {dotted(path) for path in MODULES if any(n.split(".")[0] == "numba" for n in imports(path))}
    assert users and all(name.startswith("nesting.search.kernels.") for name in users)


def test_only_the_rack_imports_sqlalchemy() -> None:
    users = {dotted(path) for path in MODULES if any(n.split(".")[0] == "sqlalchemy" for n in imports(path))}
    assert users and all(name.startswith("nesting.rack.") for name in users)


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_nesting_never_prints_or_exits(path: Path) -> None:
    if not dotted(path).startswith("nesting"):
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            assert called not in {"print", "input", "exit", "quit", "sys.exit", "os._exit"}, f"line {node.lineno}"
        assert "SystemExit" not in (ast.unparse(node) if isinstance(node, ast.Raise) else "")


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_the_command_line_has_no_geometry(path: Path) -> None:
    if dotted(path).startswith("cli"):
        tops = {name.split(".")[0] for name in imports(path)}
        assert not tops & {"shapely", "numpy", "ezdxf", "numba"}
        assert not {name for name in imports(path) if name.startswith("nesting.geometry")}


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_modules_stay_readable(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 500


def test_top_level_holds_what_it_should() -> None:
    names = {"README.md", "DEVELOPERS.md", "pyproject.toml", "nesting", "cli", "tests", "data", "docs"}
    built = {"build", "dist", "oddplate-demo"}  # what a build and README's own command leave behind
    there = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and not p.name.endswith(".egg-info")}
    assert there - names - built == set()
