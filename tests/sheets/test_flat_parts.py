from dataclasses import replace

import numpy as np
import pytest

from fitkit.fit._cut_edges import CutPatch, CutSide
from fitkit.fit.foam import library
from fitkit.fit.lens_blank import Forming, LensBlank
from fitkit.fit.pad_patterns import pad_patterns
from fitkit.fit.pads import Pad
from fitkit.geometry.shapes import lies_in
from fitkit.plots.lettering import size_for_capital_pt, text_width_mm
from fitkit.sheets.flat_parts import _cut, lens_templates, pad_templates


@pytest.fixture(scope="module")
def patterns(roomy):
    foam = next(iter(library().values()))
    pads = [
        Pad(name="back", foam=foam, thickness_mm=12, centre_mm=(0, -95, 30)),
        Pad(name="left temple", foam=foam, thickness_mm=10, zones=("temple_left",)),
    ]
    return pad_patterns(roomy.wearer, roomy.piece, roomy.placement, pads=pads)


def ring(radius, count=60):
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return radius * np.column_stack([np.cos(turn), 0.6 * np.sin(turn)])


def test_pads_are_cut_along_their_patterns(patterns):
    for pattern, template in zip(patterns, pad_templates(patterns), strict=True):
        cut = [line.points_mm for line in template.lines if line.job == "cut"]
        assert len(cut) == len(pattern.outlines_mm)
        assert cut[0] == pytest.approx(pattern.outlines_mm[0])
        assert f"{pattern.thickness_mm:g} mm" in template.notes[0]
        assert template.arrow.words == pattern.grain


def test_name_and_arrow_of_a_pad_stand_within_it(patterns):
    for pattern, template in zip(patterns, pad_templates(patterns), strict=True):
        (words,) = template.words
        size = size_for_capital_pt(height_mm=words.height_mm)
        half = np.array([text_width_mm(words.text, size) / 2, words.height_mm / 2])
        corners = words.at_mm + half * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
        points = np.vstack([corners, template.arrow.ends_mm])
        assert lies_in(points, pattern.outlines_mm).all()


def test_a_name_that_could_not_be_read_is_left_to_the_caption(patterns):
    tiny = replace(patterns[0], name="a very long name for a small pad " * 4)
    (one,) = pad_templates([tiny])
    assert one.words == ()
    assert "a very long name" in one.name


def test_a_pad_over_its_bound_says_so(patterns):
    (over,) = pad_templates([replace(patterns[0], keeps_bound=False)])
    assert "more than was asked" in over.notes[-1]


def blank(*, formed):
    return LensBlank(
        opening="eye_left",
        lens_mm=ring(30.0),
        opening_mm=ring(24.0),
        blank_mm=ring(44.0) if formed else ring(30.0),
        mean_stretch_percent=1.2,
        worst_stretch_percent=3.4,
        formed=formed,
        off_wall_mm=2.5,
        lap_mm=6.0,
        forming=Forming(),
    )


def test_a_formed_lens_is_cut_at_its_blank_and_trimmed_at_its_edge():
    (one,) = lens_templates([blank(formed=True)])
    jobs = [(line.job, np.ptp(line.points_mm[:, 0])) for line in one.lines]
    assert [job for job, _ in jobs] == ["cut", "mark", "mark"]
    assert [wide for _, wide in jobs] == pytest.approx([88.0, 48.0, 60.0], abs=0.5)
    said = " ".join(one.notes)
    for words in ("3.4 % at most", "12 mm to trim", "1.5 % up", "up to 2.5 mm off"):
        assert words in said


def test_a_bent_lens_has_no_allowance():
    (one,) = lens_templates([blank(formed=False)])
    assert [line.job for line in one.lines] == ["cut", "mark"]
    assert any("Bends in cold" in note for note in one.notes)


def side(template, stretch=2.5):
    return CutSide(outlines=(), template=template, stretch_percent=stretch, area_mm2=400.0)


def patch(outer, inner):
    return CutPatch(
        part="shell",
        outer=outer,
        inner=inner,
        bevel_deg=(np.array([5.0, 10.0, np.nan, 20.0]),),
        volume_mm3=900.0,
        from_pupil_mm=30.0,
    )


def test_a_sight_cut_has_a_template_for_each_side_that_lies_flat():
    closed = np.vstack([ring(20.0), ring(20.0)[:1]])
    found = list(_cut("left", 1, 1, patch(side((closed,)), (side((closed * 0.9,)),))))
    assert [one.name for one in found] == [
        "sight cut left, from outside",
        "sight cut left, from inside",
    ]
    assert found[0].lines[0].closed
    assert len(found[0].lines[0].points_mm) == 60
    assert "off by up to 2.5 %" in found[0].notes[0]
    assert "The saw leans 6° to 18° off square" in found[0].notes[1]
    stretched = patch(side((closed,), stretch=23.0), (side((closed,), stretch=0.9),))
    assert [one.name for one in _cut("left", 1, 1, stretched)] == [
        "sight cut left, from inside"
    ]
    folded = list(_cut("left", 2, 3, patch(side(()), (side((closed,)),))))
    assert [one.name for one in folded] == ["sight cut left 2, from inside"]
