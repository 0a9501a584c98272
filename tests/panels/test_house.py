"""Who may import what: controllers without widgets, widgets only in views."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import fitkit.panels

PANELS = Path(fitkit.panels.__file__).parent
VIEWS = sorted(path.stem for path in PANELS.glob("*_view.py"))
CONTROLLERS = sorted(
    path.stem for path in PANELS.glob("*.py") if path.stem not in {*VIEWS, "__init__"}
)
SCRIPTS = sorted(PANELS.glob("*.js"))
WIDGETS = {"ipywidgets", "anywidget", "traitlets"}
#: Loaded only when a view or a report asks for them.
LATE = ("ipywidgets", "anywidget", "traitlets", "matplotlib", "pandas", "IPython")


def imported(path: Path) -> set[str]:
    """Top-level names of every import in a file, at any depth."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


def test_no_controller_loads_a_widget_library():
    modules = "; ".join(f"import fitkit.panels.{name}" for name in CONTROLLERS)
    code = f"import sys; {modules}; print(*[n for n in {LATE} if n in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip() == ""


def test_there_are_views_and_controllers():
    assert "sections_view" in VIEWS
    assert "controller" in CONTROLLERS


@pytest.mark.parametrize("name", CONTROLLERS)
def test_a_controller_imports_no_view(name):
    text = (PANELS / f"{name}.py").read_text(encoding="utf-8")
    assert imported(PANELS / f"{name}.py").isdisjoint(WIDGETS)
    assert not re.search(r"import \S*_view|from fitkit\.panels\.\S*_view", text)


def test_only_views_import_widgets_in_the_whole_package():
    package = PANELS.parent
    users = {p for p in package.rglob("*.py") if not imported(p).isdisjoint(WIDGETS)}
    assert all(path.stem.endswith("_view") and path.parent == PANELS for path in users)


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_a_browser_module_works_offline_and_sets_text_as_text(path):
    text = path.read_text(encoding="utf-8")
    addresses = set(re.findall(r"https?://[^\"'\s]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg"}
    for risky in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "eval(",
        "fetch(",
        "import(",
    ):
        assert risky not in text
    own = set(re.findall(r'from "([^"]+)"', text))
    assert all(re.fullmatch(r"\./[a-z_]+\.js", name) for name in own)


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_a_browser_module_is_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 500
