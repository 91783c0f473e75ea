"""The house keeps its order: who imports whom, and what importing costs."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "dccwire"
ORDER = [
    "wording",
    "errors",
    "layout",
    "address",
    "fields",
    "formats",
    "bit_rows",
    "instructions",
    "accessory",
    "service_mode",
    "codebook",
    "notation",
    "cv",
    "framing",
    "signal",
    "assembly",
    "packet",
    "receiver",
    "inspection",
    "synthesis",
    "plan",
    "drawing",
    "programming",
    "decoder",
    "recordings",
    "conformance",
    "cli",
    "__main__",
]
PURE = ORDER[: ORDER.index("decoder") + 1]
FILES = [path for path in sorted(ROOT.rglob("*.py")) if path != ROOT / "__init__.py"]


def room(path: Path) -> str:
    """The room of a file."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports(path: Path) -> set[str]:
    """Modules imported anywhere in a file, but for those that serve its types alone."""
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
            node.body = []
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_imports_only_from_those_above_it(path: Path) -> None:
    """The order is that of DEVELOPERS.md; the package itself gives only its version."""
    own = ORDER.index(room(path))
    for name in imports(path):
        parts = name.split(".")
        if parts[0] == "dccwire" and len(parts) > 1 and parts[1] in ORDER:
            assert ORDER.index(parts[1]) <= own, name


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_pure_rooms_have_no_files_clocks_threads_logging_or_print(path: Path) -> None:
    """Numpy is in the vectorised receiver, `recordings` and `conformance` alone."""
    names = {name.split(".")[0] for name in imports(path)}
    if room(path) in PURE:
        assert not names & {"os", "io", "pathlib", "time", "datetime", "threading", "logging"}
        if path.name != "columns.py":
            assert "numpy" not in names
    if room(path) != "cli":
        assert "print(" not in path.read_text("utf-8").replace(">>> print(", "")


def _fresh(code: str) -> str:
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent
    )
    return run.stdout


def test_importing_loads_no_numpy_and_none_of_the_lower_rooms() -> None:
    """Nor construct, which comes when an object of it is asked for."""
    loaded = _fresh("import sys, dccwire; print(*sys.modules)").split()
    for name in ("numpy", "pywellen", "rich", "construct", "argparse"):
        assert name not in loaded
    for name in ("recordings", "conformance", "cli", "drawing", "cv", "programming", "decoder"):
        assert f"dccwire.{name}" not in loaded


def test_lower_rooms_are_there_when_asked_for() -> None:
    """`dccwire.recordings` and `dccwire.conformance` load on first use; others do not exist."""
    code = "import dccwire as d; print(d.recordings.read.__name__, d.conformance.check.__name__)"
    assert _fresh(code).split() == ["read", "check"]
    import dccwire

    assert dccwire.explain.__module__ == "dccwire.drawing.explanation"
    assert dccwire.__getattr__("cv").__name__ == "dccwire.cv"
    for name in dccwire.__all__:
        assert getattr(dccwire, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = dccwire.nothing


def test_the_core_works_without_numpy() -> None:
    """Decoding, encoding, inspecting, explaining, and the command for them."""
    code = (
        "import sys; sys.modules.update(dict.fromkeys(['numpy', 'pywellen', 'rich'])); "
        "import dccwire; from dccwire.cli import main; p = dccwire.decode(bytes(3)); "
        "assert dccwire.encode(p) == bytes(3); dccwire.inspect(b''); dccwire.explain(b'').text(); "
        "assert main(['decode', '000000']) == 0; print(main(['check', 'x.vcd']))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT.parent
    )
    assert run.stdout.splitlines()[-1] == "2"
    assert run.stderr == (
        "dccwire: numpy is not installed; pip install 'dccwire[capture]' brings it\n"
    )
