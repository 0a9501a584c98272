"""Materials taken for want of better: by thickness, by name, and said."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from shells import as_mesh, ball

from fitkit.piece.buildup import BuildUp, Layer
from fitkit.piece.generic import THICK_G_CM3, THIN_G_CM3, generic_materials


def stand_in(wall_mm, surface="solid", **layers):
    shell = as_mesh(ball(120) - ball(120 - wall_mm))
    design = SimpleNamespace(parts={"shell": shell}, surface=surface)
    return SimpleNamespace(design=design, build_up=BuildUp(**layers))


@pytest.mark.parametrize(("wall_mm", "density"), [(3, THIN_G_CM3), (9, THICK_G_CM3)])
def test_thick_walls_are_taken_for_foam_and_thin_ones_for_plastic(wall_mm, density):
    found = generic_materials(stand_in(wall_mm))
    assert found.materials.part_g_cm3 == {"shell": density}
    assert f"shell ({wall_mm:.1f} mm thick on average)" in found.words[0]
    assert f"at {density:g} g/cm³" in found.words[0]
    assert "weigh the piece" in found.words[0]


@pytest.mark.parametrize(
    ("name", "density"),
    [("glass cloth and resin", 1.45), ("paper laminate", 0.75), ("wicking lining", 0.3),
     ("filler and lacquer", 1.3), ("foam-backed cloth", 0.3), ("mystery", THIN_G_CM3)],
)  # fmt: skip
def test_layers_are_taken_by_the_words_in_their_names(name, density):
    layers = (Layer(name=name, thickness_mm=2.0),)
    found = generic_materials(stand_in(3, surface="outer", inward=layers))
    assert found.materials.layer_g_cm3 == {name: density}
    assert found.materials.part_g_cm3 == {}
    assert f"{name} as " in found.words[0]
