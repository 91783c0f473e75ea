"""The house keeps its order: who imports whom, and what importing costs."""

import ast
import importlib
import inspect
import re
import subprocess
import sys
from functools import cached_property
from pathlib import Path
from types import FunctionType

import pytest

import dccwire
from dccwire.notation import INSTRUCTION_TYPES

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
    "toml_tables",
    "csv_tables",
    "documents",
    "cv",
    "framing",
    "signal",
    "counts",
    "assembly",
    "packet_text",
    "packet",
    "findings",
    "receiver",
    "inspection",
    "synthesis",
    "plan",
    "faults",
    "drawing",
    "exercises",
    "programming",
    "station",
    "consists",
    "decoder",
    "matching",
    "recordings",
    "conformance",
    "pytest_plugin",
    "cli",
    "__main__",
]
PURE = ORDER[: ORDER.index("matching") + 1]
FILES = [path for path in sorted(ROOT.rglob("*.py")) if path != ROOT / "__init__.py"]


def room(path: Path) -> str:
    """The room of a file."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def in_drawing(module: str | None) -> bool:
    """Whether a module is of the room that draws."""
    return f"{module}.".startswith("dccwire.drawing.")


def imports(source: str) -> set[str]:
    """What is imported anywhere in a file, but for what serves its types, or notebooks, alone."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
            node.body = []
        if isinstance(node, ast.FunctionDef) and node.name in ("_repr_html_", "_repr_svg_"):
            # `drawing` may be imported inside the call, and nothing else.
            node.body = [
                one
                for one in node.body
                if not isinstance(one, ast.ImportFrom) or not in_drawing(one.module)
            ]
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_imports_only_from_those_above_it(path: Path) -> None:
    """The order is that of DEVELOPERS.md; the package itself gives rooms and its version."""
    assert not misplaced(path.read_text("utf-8"), room(path))


def misplaced(source: str, own: str) -> list[str]:
    """What a file of a room imports and may not: rooms below it, or names of the package itself."""
    found = []
    for name in imports(source):
        package, _, inside = name.partition(".")
        below = [one for one in ORDER[ORDER.index(own) + 1 :] if one == inside.split(".")[0]]
        known = inside.split(".")[0] in ORDER or name == "dccwire.__version__"
        if package == "dccwire" and (below or not known):
            found.append(name)
    return found


@pytest.mark.parametrize(
    ("own", "source", "wrong"),
    [
        ("inspection", "from dccwire import explain", ["dccwire.explain"]),
        ("inspection", "def f():\n    from dccwire import Receiver", ["dccwire.Receiver"]),
        ("inspection", "import dccwire", ["dccwire"]),
        ("inspection", "from dccwire import drawing", ["dccwire.drawing"]),
        ("inspection", "import dccwire.drawing.explanation", ["dccwire.drawing.explanation"]),
        ("inspection", "from dccwire import packet, errors", []),
        ("inspection", "from dccwire.inspection import inspect", []),
        ("cli", "from dccwire import __version__", []),
        ("packet", "if TYPE_CHECKING:\n    from dccwire.drawing import explain", []),
        ("packet", "def _repr_html_(self):\n    from dccwire.drawing.page import part", []),
        (
            "packet",
            "def _repr_html_(self):\n    from dccwire.plan import read_plan",
            ["dccwire.plan.read_plan"],
        ),
    ],
)
def test_imports_that_are_misplaced_are_found(own: str, source: str, wrong: list[str]) -> None:
    """Also those by way of the package, which loads rooms from below when asked."""
    assert misplaced(source, own) == wrong


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_pure_rooms_have_no_files_clocks_threads_logging_or_print(path: Path) -> None:
    """Numpy is in the vectorised receiver, `matching`, `recordings` and `conformance` alone."""
    source = path.read_text("utf-8")
    names = {name.split(".")[0] for name in imports(source)}
    if room(path) in PURE:
        assert not calls(source) & {"open", "input", "breakpoint", "__import__"}
        assert not names & {"os", "io", "pathlib", "time", "datetime", "threading", "logging"}
        if path.name != "columns.py" and room(path) != "matching":
            assert "numpy" not in names
    assert room(path) == "cli" or "print" not in calls(source)


def calls(source: str) -> set[str]:
    """The names of what is called without a dot anywhere in a file."""
    nodes = ast.walk(ast.parse(source))
    return {
        node.func.id for node in nodes if isinstance(node, ast.Call) and hasattr(node.func, "id")
    }


def test_calls_are_found_wherever_they_stand() -> None:
    """In a function, within an expression; not in a docstring, nor a method of this name."""
    source = 'def f():\n    "print(1)"\n    return [open("x").read(), g.print(2)]'
    assert calls(source) == {"open"}


def _fresh(code: str) -> str:
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent
    )
    return run.stdout


@pytest.mark.parametrize("room", [one for one in ORDER if one not in ("pytest_plugin", "__main__")])
def test_a_room_can_be_imported_first(room: str) -> None:
    """All names and all formats are there then, as when the package is asked for them."""
    code = (
        f"import dccwire.{room}; from dccwire.notation import INSTRUCTION_TYPES as types; "
        "import dccwire; print(len(types), len(dccwire.__all__), len(dir(dccwire)), "
        "dccwire.decode(b'7tC'), dccwire.decode(b'|\\x1c&F', mode=dccwire.Mode.SERVICE))"
    )
    every, names = len(dccwire.__all__), len(dir(dccwire))
    speed = "short 55: SpeedAndDirection forward=yes c=1 speed=4"
    write = "service programming-track: DirectByteAccess operation=write cv=29 value=38"
    told = f"{len(INSTRUCTION_TYPES)} {every} {names} {speed} {write}"
    assert _fresh(code).strip() == told


def test_what_is_no_room_and_no_name_is_none() -> None:
    """Whatever it is called."""
    assert not hasattr(dccwire, "no_room")
    assert not hasattr(dccwire, "no room.at all")


def test_importing_loads_no_numpy_and_none_of_the_lower_rooms() -> None:
    """Nor construct, which comes when an object of it is asked for."""
    loaded = _fresh("import sys, dccwire; print(*sys.modules)").split()
    for name in ("numpy", "pywellen", "rich", "construct", "argparse"):
        assert name not in loaded
    for name in (
        "recordings",
        "conformance",
        "matching",
        "cli",
        "drawing",
        "cv",
        "programming",
        "consists",
        "station",
        "decoder",
    ):
        assert f"dccwire.{name}" not in loaded


@pytest.mark.parametrize(
    ("arguments", "absent"),
    [
        ("'decode', '377443'", {"plan", "framing", "receiver", "inspection", "drawing", "cv"}),
        ("'encode', 'idle: Idle'", {"plan", "framing", "receiver", "inspection", "drawing", "cv"}),
        ("'inspect', '377443'", {"drawing", "cv", "programming", "decoder"}),
        ("'explain', '377443'", {"cv", "programming", "decoder", "recordings"}),
    ],
)
def test_a_command_loads_what_it_needs_alone(arguments: str, absent: set[str]) -> None:
    """Starting takes longest; construct and numpy come with none of these."""
    code = f"import sys, dccwire.cli as c; c.main([{arguments}]); print(*sys.modules)"
    loaded = set(_fresh(code).split())
    assert "dccwire.packet" in loaded
    assert not loaded & {"construct", "numpy"}
    assert not loaded & {f"dccwire.{name}" for name in absent}


FORMATS = {
    "tables": ("a.csv", b"Time [us],track\n0,0\n58,1\n116,0\n", "signal='track'"),
    "vcd": (
        "a.vcd",
        b"$timescale 1 ns $end $var wire 1 ! t $end $enddefinitions $end",
        "signal='t'",
    ),
    "fst": ("a.fst", bytes(7) + b"\x01\x49", ""),
    "samples": ("a.bin", bytes(9), "rate=1e6, bit=0"),
}


@pytest.mark.parametrize("name", FORMATS)
def test_a_format_is_loaded_when_a_file_of_it_is_met(name: str, tmp_path: Path) -> None:
    """Importing the room loads none of them, reading one loads no other; rows may be samples."""
    file, content, options = FORMATS[name]
    path = tmp_path / file
    path.write_bytes(content)
    before, after = _fresh(
        "import sys, dccwire, dccwire.recordings as r\nprint(*sys.modules)\n"
        f"try: r.read({str(path)!r}, {options})\n"
        "except dccwire.DccwireError: pass\nprint(*sys.modules)"
    ).splitlines()
    formats = {f"dccwire.recordings.{one}" for one in FORMATS}
    assert not formats & set(before.split())
    needed = {
        f"dccwire.recordings.{one}" for one in ({name, "samples"} if name == "tables" else {name})
    }
    assert formats & set(after.split()) == needed
    assert not {"pywellen", "dccwire.conformance", "rich"} & set(after.split())


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


def test_no_name_is_exported_twice() -> None:
    """Nor by two rooms."""
    import dccwire

    assert len(dccwire.__all__) == len(set(dccwire.__all__))


def test_everything_public_can_be_seen() -> None:
    """`dir` and `help` show all of `__all__`, before anything else is loaded."""
    code = "import dccwire, pydoc; print(*dir(dccwire)); print(pydoc.render_doc(dccwire))"
    names, _, page = _fresh(code).partition("\n")
    import dccwire

    assert set(dccwire.__all__) <= set(names.split())
    assert {"recordings", "conformance", "matching"} <= set(names.split())
    page = re.sub(".\b", "", page)
    for name in dccwire.__all__:
        assert re.search(rf"\b{name}\b", page), name


def test_every_public_method_says_what_it_is_for() -> None:
    """In its own words, or in those of the base whose method it is."""
    classes = {
        one
        for path in FILES
        if path.stem not in ("__main__", "fst_child")  # which run when they are imported
        for one in vars(importlib.import_module(_module(path))).values()
        if inspect.isclass(one) and one.__module__ == _module(path) and one.__name__[0] != "_"
    }
    methods = [
        (cls, name)
        for cls in classes
        for name, own in vars(cls).items()
        if name[0] != "_"
        and isinstance(own, (FunctionType, property, classmethod, cached_property))
    ]
    assert len(methods) > 300
    for cls, name in methods:
        assert inspect.getdoc(getattr(cls, name)), (cls, name)


def _module(path: Path) -> str:
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


def test_missing_parts_are_no_attributes_and_leave_the_rest() -> None:
    """Without numpy: `hasattr` is false, `import *` works, the error says what to install."""
    code = """
import sys
sys.modules.update(dict.fromkeys(["numpy", "pywellen", "rich"]))
import dccwire
from dccwire import *
assert explain(bytes(3)) and cv and Receiver
for name in ("recordings", "conformance", "matching"):
    assert not hasattr(dccwire, name)
    assert getattr(dccwire, name, None) is None
try:
    dccwire.recordings
except AttributeError as error:
    print(error)
    assert isinstance(error.__cause__, MissingPartError)
"""
    assert _fresh(code) == (
        "dccwire.recordings: numpy is not installed; pip install 'dccwire[capture]', in a clone "
        "'.[capture]', brings it\n"
    )


def test_a_missing_part_is_an_attribute_error_and_dir_needs_no_part(monkeypatch) -> None:
    """The same in this process, where the rooms are there already."""
    import dccwire

    assert {*dccwire.__all__, "recordings", "conformance", "__version__"} <= set(dir(dccwire))
    monkeypatch.delitem(sys.modules, "dccwire.recordings", raising=False)
    monkeypatch.setitem(sys.modules, "numpy", None)
    with pytest.raises(AttributeError, match=r"pip install 'dccwire\[capture\]', in a clone"):
        dccwire.__getattr__("recordings")


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
        "dccwire: numpy is not installed; pip install 'dccwire[capture]', in a clone "
        "'.[capture]', brings it\n"
    )
