"""What a wall is taken to be made of when nobody has said: loudly, part by part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from fitkit.piece.buildup import Piece
from fitkit.piece.mass import DENSITIES_G_CM3, Materials

#: A drawn wall thicker than this is no print, casting or laminate: common practice. [mm]
THIN_WALL_MM = 5.0
#: Density of walls up to that, between printed plastic, cast resin and polyester
#: laminate; and of thicker ones, as of foam clay or sheet foam glued up. From memory of
#: data sheets; walls of either kind differ from these by a third. [g/cm³]
THIN_G_CM3, THICK_G_CM3 = 1.25, DENSITIES_G_CM3["foam clay"]
#: Words in the name of a layer, the kind it is then taken for, and its density, from
#: memory of data sheets; the first that fits counts. [g/cm³]
LAYERS: tuple[tuple[tuple[str, ...], str, float], ...] = (
    (("glass", "resin", "carbon", "gelcoat"), "laminate", 1.45),
    (("paper", "card", "tissue", "mache"), "paper", DENSITIES_G_CM3["card"]),
    (("lining", "cloth", "felt", "flock", "fabric", "fur", "fleece"), "cloth", 0.3),
    (("foam", "sponge"), "sheet foam", 0.1),
    (("silicone", "latex", "rubber"), "rubber", DENSITIES_G_CM3["silicone"]),
    (("paint", "lacquer", "varnish", "filler", "primer", "plaster"), "paint", 1.3),
)


@dataclass(frozen=True, kw_only=True)
class GenericMaterials:
    """Densities that were taken for want of better, and what was said of them."""

    materials: Materials
    #: What was taken for what, in sentences; to be shown beside any figure made of it.
    words: tuple[str, ...]


def generic_materials(piece: Piece) -> GenericMaterials:
    """
    Take densities for a piece whose maker has given none.

    Parameters
    ----------
    piece : Piece

    Returns
    -------
    GenericMaterials
        Drawn walls by how thick they are, layers by the words in their names. Densities
        of generic kinds: the maker's own scales are better by far.

    Notes
    -----
    The mean thickness of a drawn part is twice its volume over its area, which holds for
    thin shells and makes rods and horns come out as thick.
    """
    walls = dict(_walls(piece))
    layers = {
        layer.name: _layer(layer.name)
        for layer in (*piece.build_up.outward, *piece.build_up.inward)
    }
    said = [
        f"{name} ({thick:.1f} mm thick on average) as {kind} at {density:g} g/cm³"
        for name, (thick, kind, density) in walls.items()
    ]
    said += [f"{name} as {kind} at {g:g} g/cm³" for name, (kind, g) in layers.items()]
    words = (
        f"No densities were given, so these were taken: {'; '.join(said)}. Generic "
        "figures: weigh the piece, or give its materials, before anything is cut.",
    )
    materials = Materials(
        wall_g_cm3=THIN_G_CM3,
        part_g_cm3={name: density for name, (_, _, density) in walls.items()},
        layer_g_cm3={name: density for name, (_, density) in layers.items()},
    )
    return GenericMaterials(materials=materials, words=words)


def _walls(piece: Piece) -> Iterator[tuple[str, tuple[float, str, float]]]:
    """Mean thickness, kind and density of every part that is drawn with its wall."""
    if piece.design.surface != "solid":
        return
    for name, mesh in piece.design.parts.items():
        thick = 2.0 * mesh.volume_mm3 / mesh.area_mm2
        if thick > THIN_WALL_MM:
            yield name, (thick, "foam", THICK_G_CM3)
        else:
            yield name, (thick, "plastic or laminate", THIN_G_CM3)


def _layer(name: str) -> tuple[str, float]:
    low = name.casefold()
    for words, kind, density in LAYERS:
        if any(word in low for word in words):
            return kind, density
    return "plastic or laminate", THIN_G_CM3
