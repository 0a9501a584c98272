import json
from dataclasses import replace

import numpy as np
import pytest

from fitkit.errors import BriefError
from fitkit.fit.placement import Placement
from fitkit.sheets.placement_file import placement_json, read_placement


def written(tmp_path, content):
    path = tmp_path / "placement.json"
    text = content if isinstance(content, str) else json.dumps(content)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_placement_comes_back_bit_for_bit(tmp_path, tight):
    odd = Placement(
        size=(1.1, 0.95, 1 / 3),
        shift_mm=(0.1, -2, 1e-9),
        pitch_deg=0.3,
        yaw_deg=-7,
        roll_deg=2,
    )
    path = written(tmp_path, placement_json(replace(tight, placement=odd)))
    back = read_placement(path)
    assert np.array_equal(back.matrix, odd.matrix)


def test_the_matrix_in_the_file_carries_the_piece_onto_the_head(tight):
    content = json.loads(placement_json(tight))
    matrix = np.array(content["matrix_piece_to_head"])
    point = np.array([10.0, 120.0, -30.0])
    assert matrix @ [*point, 1.0] == pytest.approx([*tight.placement.to_head(point), 1.0])


def test_the_file_says_its_version_verdict_and_build_up(tight):
    content = json.loads(placement_json(tight))
    assert content["fitkit_placement"] == 1
    assert content["verdict"] == "does not fit"
    assert content["lining_mm"] == 3.0
    assert content["master_scale"] == pytest.approx(1 / 0.996)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "line 1"),
        ([], "is no placement"),
        ({"fitkit_placement": 2}, "must be 1; got 2"),
        ({"fitkit_placement": 1}, "size must give a number for each of right, front, up"),
        (
            {"fitkit_placement": 1, "size": {"right": True, "front": 1, "up": 1}},
            "size must give a number",
        ),
        (
            {
                "fitkit_placement": 1,
                "size": {"right": 105, "front": 105, "up": 105},
                "shift_mm": {"right": 0, "front": 0, "up": 0},
                "turn_deg": {"pitch": 0, "yaw": 0, "roll": 0},
            },
            "factors, not percent",
        ),
    ],
)
def test_what_is_no_placement_is_refused_with_the_files_name(tmp_path, content, words):
    with pytest.raises(BriefError, match=words) as caught:
        read_placement(written(tmp_path, content))
    assert str(caught.value).startswith("placement.json: ")


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(BriefError, match="cannot be read"):
        read_placement(tmp_path / "none.json")
