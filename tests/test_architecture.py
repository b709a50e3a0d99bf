"""The rules of the code base that no linter option covers, and the layers."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("calibration", "tracker", "sample_media")
MODULES = [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]
NAMES = [str(path.relative_to(ROOT)) for path in MODULES]

MODULE_LINES = 500
BODY_LINES = 80
BODY_LINES_P90 = 40
POSITIONAL = 4


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    yield from (n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without signature and docstring."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def share(values: list[int], part: float) -> int:
    return sorted(values)[min(int(part * len(values)), len(values) - 1)]


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_no_module_is_too_long(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MODULE_LINES


@pytest.mark.parametrize("path", MODULES, ids=NAMES)
def test_no_print_and_no_assert(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    prints = [n.lineno for n in ast.walk(tree) if isinstance(n, ast.Name) and n.id == "print"]
    asserts = [n.lineno for n in ast.walk(tree) if isinstance(n, ast.Assert)]
    assert not prints + asserts, f"print or assert in lines {prints + asserts}"


def test_functions_are_short() -> None:
    """Write the table of function sizes (run with -s) and hold the limits of DEVELOPERS.md."""
    sizes = {f"{path.relative_to(ROOT)}:{f.name}": body_lines(f) for path in MODULES for f in functions(path)}
    for package in PACKAGES:
        own = [n for name, n in sizes.items() if name.startswith(package)]
        quarters = [share(own, part) for part in (0.5, 0.9, 1.0)]
        middle, most, longest = quarters
        sys.stdout.write(f"{package:14} {len(own):4} functions, body lines {middle}, p90 {most}, max {longest}\n")
    assert share(list(sizes.values()), 0.9) <= BODY_LINES_P90
    assert not {name: n for name, n in sizes.items() if n > BODY_LINES}


def test_no_function_takes_many_positional_arguments() -> None:
    """Self and cls do not count; click passes the arguments of commands by name."""
    many = []
    for path in MODULES:
        for f in functions(path):
            own = [a.arg for a in f.args.posonlyargs + f.args.args if a.arg not in {"self", "cls"}]
            if len(own) > POSITIONAL and not any("click" in ast.unparse(d) for d in f.decorator_list):
                many.append(f"{path.relative_to(ROOT)}:{f.name}({', '.join(own)})")
    assert not many


def test_no_time_from_a_frame_number() -> None:
    """A frame's time is the container's: only the renderer, which makes the times, divides by a frame rate."""
    guilty = []
    for path, name in zip(MODULES, NAMES, strict=True):
        if name.startswith("sample_media"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
                rate = ast.unparse(node.right).rsplit(".", 1)[-1]
                index = ast.unparse(node.left).rsplit(".", 1)[-1]
                if rate in {"fps", "nominal_fps", "frame_rate", "average_rate"} and index in {
                    "frame",
                    "index",
                    "frames",
                }:
                    guilty.append(f"{name}:{node.lineno}")
    assert not guilty


def test_help_loads_nothing_heavy() -> None:
    """``--help`` stays quick because arrays, pictures and decoders are imported by the commands that need them."""
    code = (
        "import sys, tracker.cli.main\n"
        "heavy = {'numpy', 'scipy', 'cv2', 'av', 'filterpy', 'matplotlib'} & set(sys.modules)\n"
        "sys.exit(', '.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_layers_point_one_way() -> None:
    command = Path(sys.executable).with_name("lint-imports")
    found = str(command) if command.exists() else shutil.which("lint-imports")
    if found is None:
        pytest.skip("import-linter is not installed")
    done = subprocess.run([found, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
