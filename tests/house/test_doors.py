"""One door to the disk, one to each awkward library; and the tests that watch them are tested."""

import ast
from collections.abc import Iterator

import pytest

from tests.house.tree import modules

_WRITERS = {
    "write_text", "write_bytes", "mkdir", "makedirs", "mkdtemp", "mkstemp", "touch", "unlink",
    "rmdir", "rmtree", "copytree", "copy2", "copyfile", "symlink_to", "hardlink_to", "savez",
    "savez_compressed", "savetxt", "tofile", "NamedTemporaryFile", "TemporaryDirectory",
}  # fmt: skip
_OS_WRITERS = {"open", "remove", "rename", "replace", "link", "symlink", "truncate"}


def _writes(tree: ast.Module) -> Iterator[str]:
    """Calls that write to disk, as text with their line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _is_write(node):
            yield f"line {node.lineno}: {ast.unparse(node)}"


def _is_write(call: ast.Call) -> bool:
    function = call.func
    if isinstance(function, ast.Name):
        return function.id in _WRITERS or (function.id == "open" and _mode_writes(call, 1))
    if not isinstance(function, ast.Attribute):
        return False
    owner = function.value.id if isinstance(function.value, ast.Name) else ""
    if owner == "os" and function.attr in _OS_WRITERS:
        return True
    if function.attr == "open":
        return _mode_writes(call, 0)
    return function.attr in _WRITERS


def _mode_writes(call: ast.Call, place: int) -> bool:
    modes = [k.value for k in call.keywords if k.arg == "mode"] + call.args[place : place + 1]
    return any(
        not isinstance(m, ast.Constant) or bool(set(str(m.value)) & set("wax+")) for m in modes
    )


def _imports(tree: ast.Module) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.split(".")[0])
    return names


def test_only_the_store_writes_to_disk() -> None:
    found = {name: list(_writes(tree)) for name, tree in modules(outside="store")}
    assert {name: calls for name, calls in found.items() if calls} == {}


@pytest.mark.parametrize(
    "line",
    [
        "open(p, 'w')", "open(p, mode='ab')", "open(p, m)", "Path(p).open('w')", "p.write_text(t)",
        "p.parent.mkdir()", "os.replace(a, b)", "shutil.rmtree(p)", "np.savez(p, a=a)",
        "tempfile.mkdtemp()",
    ],
)  # fmt: skip
def test_the_watch_on_the_disk_sees_a_write(line: str) -> None:
    assert list(_writes(ast.parse(line)))


@pytest.mark.parametrize(
    "line", ["open(p)", "open(p, 'rb')", "p.read_text()", "text.replace(a, b)", "p.open()"]
)
def test_the_watch_on_the_disk_lets_reading_pass(line: str) -> None:
    assert not list(_writes(ast.parse(line)))


@pytest.mark.parametrize(
    ("library", "doors"),
    [
        ("sqlite3", ("store/",)),
        ("threadpoolctl", ("base/threads.py",)),
        ("reportlab", ("prints/",)),
        ("PIL", ("prints/",)),
        ("pydantic", ("files/",)),
        ("argparse", ("cli/",)),
        ("starlette", ("web/",)),
        ("uvicorn", ("web/",)),
        ("jinja2", ("web/",)),
        ("multiprocessing", ("jobs/",)),
        ("concurrent", ("jobs/",)),
    ],
)
def test_each_library_has_its_door(library: str, doors: tuple[str, ...]) -> None:
    users = [name for name, tree in modules() if library in _imports(tree)]
    assert [name for name in users if not name.startswith(doors)] == []


def test_physics_knows_no_screen_and_prints_nothing() -> None:
    printers = [
        name
        for name, tree in modules(outside="cli")
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id == "print"
    ]
    assert printers == []
