from hypothesis import strategies as st

from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import HAIR_ZONES, make_record


@st.composite
def records(draw):
    """Records that are not refused: at most one measure of each swapping pair."""
    keys = [
        "head_circumference_mm",
        "mouth_opening_mm",
        "ear_length_mm",
        "sellion_height_mm",
    ]
    readings = {}
    for key in draw(st.lists(st.sampled_from(keys), unique=True)):
        entry = CATALOGUE[key]
        first = draw(st.floats(entry.low, entry.high))
        readings[key] = [first] * draw(st.integers(1, 3))
    words = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
    return make_record(
        name=draw(words),
        notes=draw(words),
        sex=draw(st.sampled_from([None, "female", "male"])),
        age_years=draw(st.none() | st.floats(0, 120)),
        tape_hair_mm=draw(st.none() | st.floats(0, 30)),
        hair_mm=draw(st.dictionaries(st.sampled_from(HAIR_ZONES), st.floats(0, 80))),
        glasses=draw(
            st.none()
            | st.fixed_dictionaries(
                {
                    "width_mm": st.floats(90, 190),
                    "depth_mm": st.floats(5, 45),
                    "height_mm": st.floats(15, 80),
                }
            )
        ),
        **readings,
    )
