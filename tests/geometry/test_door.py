"""Geometry is the only door to the mesh libraries, and never opens the bad ones."""

from __future__ import annotations

import ast
import pkgutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import fitkit.geometry

FITKIT = Path(fitkit.geometry.__file__).parents[1]
#: All but the scripts that made the data, which are run by hand and never imported.
SOURCES = sorted(set(FITKIT.rglob("*.py")) - set((FITKIT / "data").rglob("*.py")))
#: Mesh libraries that only geometry may import.
MESH = {"igl", "embreex", "manifold3d", "trimesh", "skimage"}
#: Parts of them that mirror, scale, guess, leak, mislead, or bind by their licence.
FORBIDDEN = {
    "procrustes",
    "icp",
    "iterative_closest_point",
    "proximity",
    "signed_distance",
    "pseudonormal_test",
    "ray_mesh_intersect",
    "intersect_ray",
    "units_from_metadata",
    "copyleft",
}


def imported(source: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.partition(".")[0]


@pytest.mark.parametrize("source", SOURCES, ids=lambda p: str(p.relative_to(FITKIT)))
def test_only_geometry_imports_mesh_libraries(source):
    inside = source.is_relative_to(FITKIT / "geometry")
    assert inside or not MESH & set(imported(source))


def test_geometry_does_not_use_what_is_known_to_mislead():
    for source in (FITKIT / "geometry").glob("*.py"):
        tree = ast.parse(source.read_text(encoding="utf-8"))
        used = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        assert not FORBIDDEN & used, source.name


def test_loading_geometry_loads_no_copyleft_plots_or_tables():
    names = [m.name for m in pkgutil.iter_modules(fitkit.geometry.__path__)]
    assert {"mesh", "distance", "rays", "sections", "solids", "files", "repair"} <= set(
        names
    )
    code = "".join(f"import fitkit.geometry.{name}\n" for name in names)
    code += "import sys; print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    loaded = set(run.stdout.decode().split())
    assert not loaded & {"igl.copyleft", "matplotlib", "pandas", "open3d", "numba"}
