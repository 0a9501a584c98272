import pytest
from matplotlib.figure import Figure

from fitkit.plots import draw_zone_bars
from fitkit.plots.bars import bar_look


@pytest.fixture(scope="module")
def ax(tight):
    ax = Figure().add_subplot()
    draw_zone_bars(ax, tight.ease, intervals=tight.uncertainty.by_zone)
    return ax


def line_named(ax, name):
    (line,) = [line for line in ax.lines if line.get_gid() == name]
    return line


def test_bars_end_at_the_least_ease_and_diamonds_stand_at_the_median(ax, tight):
    bars = {bar.get_gid(): bar for bar in ax.patches}
    for zone in tight.ease.by_zone.values():
        assert bars[f"least {zone.zone}"].get_width() == zone.least_mm
        assert line_named(ax, f"median {zone.zone}").get_xdata() == [zone.median_mm]


def test_what_was_asked_is_marked(ax, tight):
    for zone in tight.ease.by_zone.values():
        asked = line_named(ax, f"asked {zone.zone}").get_xdata()
        assert tuple(asked) == (zone.wanted_mm, zone.wanted_mm)
        most = [line for line in ax.lines if line.get_gid() == f"most {zone.zone}"]
        assert len(most) == (zone.most_mm is not None)


def test_whiskers_are_the_ninety_percent_intervals(ax, tight):
    for name, sure in tight.uncertainty.by_zone.items():
        ends = line_named(ax, f"interval {name}").get_xdata()
        assert tuple(ends) == (sure.low_mm, sure.high_mm)


def test_without_intervals_there_are_no_whiskers(tight):
    ax = Figure().add_subplot()
    draw_zone_bars(ax, tight.ease)
    assert not [line for line in ax.lines if str(line.get_gid()).startswith("interval")]
    keys = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "90 % interval of the least" not in keys


def test_zones_are_named_in_order_with_the_unit_below(ax, tight):
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels[:3] == ["brow", "crown", "left temple"]
    assert len(labels) == len(tight.ease.by_zone)
    assert "mm" in ax.get_xlabel()


def test_clash_shortfall_and_kept_differ_in_hatch_not_only_in_colour(tight):
    hatches = {
        (zone.least_mm < 0, zone.short_mm > 0.05): bar_look(zone)[1]
        for zone in tight.ease.by_zone.values()
    }
    assert hatches[(True, True)] == "xxxx"
    assert hatches[(False, True)] == "...."
    assert hatches[(False, False)] is None
