import numpy as np
import pytest

from fitkit.errors import SheetError
from fitkit.views.templates import (
    Hole,
    Template,
    Words,
    arrow_up,
    check_names,
    closed_lines,
)

BOX = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 25.0], [0.0, 25.0]])


def template(name="card", points=BOX, **more):
    return Template(name=name, kind="pads", lines=closed_lines("cut", [points]), **more)


def test_its_bounds_hold_lines_holes_and_arrow():
    one = template(
        holes=(Hole(centre_mm=np.array([60.0, 10.0]), diameter_mm=8.0),),
        arrow=arrow_up(at_mm=np.array([5.0, 20.0]), length_mm=30.0, words="up"),
    )
    assert one.bounds_mm.tolist() == [[0.0, 0.0], [64.0, 35.0]]


def test_a_repeated_first_point_is_dropped():
    (line,) = closed_lines("cut", [np.vstack([BOX, BOX[:1]])])
    assert line.points_mm.tolist() == BOX.tolist()
    assert line.closed


def test_four_quarter_turns_bring_it_back():
    words = Words(text="brow", at_mm=np.array([10.0, 5.0]), turn_deg=30.0)
    one = template(words=(words,))
    turned = one.turned()
    assert turned.size_mm.tolist() == [25.0, 60.0]
    back = turned.turned().turned().turned()
    assert back.lines[0].points_mm == pytest.approx(BOX)
    assert back.words[0].turn_deg == pytest.approx(30.0)


def test_words_never_stand_on_their_heads_after_a_turn():
    for turn in (-80.0, 0.0, 45.0, 90.0):
        words = Words(text="brow", at_mm=np.zeros(2), turn_deg=turn)
        assert -90.0 < template(words=(words,)).turned().words[0].turn_deg <= 92.0


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (BOX * 60, r"up to 3000 mm large; this one has 3600 x 1500 mm\. Is its unit mm"),
        (BOX * np.nan, "every point of a template must be a number"),
    ],
)
def test_what_cannot_be_drawn_is_refused_by_name(points, message):
    with pytest.raises(SheetError, match=rf"^brow: .*{message}"):
        template("brow", points)


def test_an_empty_template_and_two_of_a_name_are_refused():
    with pytest.raises(SheetError, match="must have a line or a hole"):
        Template(name="none", kind="pads", lines=())
    with pytest.raises(SheetError, match="Two templates are called 'card': rename one"):
        check_names([template(), template()])
