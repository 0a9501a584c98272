import re
from dataclasses import replace
from datetime import date
from html import escape
from html.parser import HTMLParser

import pytest

from fitkit.errors import BriefError
from fitkit.sheets.page import report_page
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import report_tables
from fitkit.wearer.record import make_record
from fitkit.wearer.slips import check_record

NAMES = ("sections", "ease_map", "zones", "eyes")


class Reader(HTMLParser):
    """Collect tags, texts and what is loaded."""

    def __init__(self):
        super().__init__()
        self.tags, self.open, self.texts, self.loads = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.loads += [value for name, value in attrs if name in ("src", "href")]
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)


def page_of(assessment) -> str:
    pictures = {
        name: Picture(
            name=f"{name}.svg", data=b"<svg/>", alternative='a "quote"', caption="<c>"
        )
        for name in NAMES
    }
    tables = {table.name: table for table in report_tables(assessment)}
    return report_page(
        assessment,
        pictures=pictures,
        tables=tables,
        parts=[
            Part(
                name="sight",
                title="What is <seen>",
                pictures={"field": replace(pictures["eyes"], name="field.svg")},
                tables=(replace(tables["sight"], name="field_of_view"),),
                sentences=("Sees <far>.",),
                cautions=("Mind the <step>.",),
            )
        ],
        contents=[("a<b>.csv", "x & y")],
        made_on=date(2025, 2, 3),
    )


@pytest.fixture(scope="module")
def page(tight):
    return page_of(tight)


@pytest.fixture(scope="module")
def reader(page):
    reader = Reader()
    reader.feed(page)
    return reader


def test_a_wearer_named_script_runs_no_script(page, reader, tight):
    assert "<script>" in tight.wearer.record.name
    assert "script" not in reader.tags
    assert "Ida &lt;script&gt;alert(1)&lt;/script&gt; &amp; Co" in page
    assert any("Ida <script>alert(1)</script> & Co" in text for text in reader.texts)


def test_every_tag_is_closed(reader):
    assert reader.open == []


def test_nothing_is_loaded_from_outside(page, reader):
    assert len(reader.loads) == len(NAMES) + 1  # and one of sight
    assert all(load.startswith("data:image/svg+xml;base64,") for load in reader.loads)
    assert "default-src 'none'" in page
    assert not re.search(r"url\(|@import|https?://", page)


def test_verdict_comes_first_then_changes_figures_measures_cautions_sources(page):
    order = [
        "Does not fit",
        "What to change",
        "Ease over the head",
        "Sections",
        "Measures",
        "Cautions",
        "Sources and method",
    ]
    places = [page.index(words) for words in order]
    assert places == sorted(places)


def test_all_reasons_changes_and_cautions_are_there(reader, tight):
    said = {text.strip() for text in reader.texts}
    for words in (*tight.reasons, *tight.changes, *tight.cautions):
        assert words in said


def test_zones_that_miss_what_was_asked_are_marked(page, tight):
    missed = [
        zone
        for zone in tight.ease.by_zone.values()
        if max(zone.short_mm, zone.loose_mm) > 0.05
    ]
    assert page.count('<tr class="marked">') == len(missed) > 0


def test_a_fit_says_what_to_make_and_the_day_it_was_written(roomy):
    assert roomy.fits
    page = page_of(roomy)
    assert "3 February 2025" in page
    assert "What to make" in page
    assert "Does not fit" not in page


def test_a_page_tells_where_the_mouth_and_hinge_are_in_words(page):
    assert "The piece has no hinge" in page


def test_doubtful_readings_are_told_above_the_measures(tight):
    record = make_record(head_circumference_mm=[560, 575], head_length_mm=190)
    page = page_of(replace(tight, wearer=replace(tight.wearer, record=record)))
    (slip,) = [one for one in check_record(record) if one.key == "head_circumference_mm"]
    assert escape(slip.message) in page
    assert page.index("Look at these readings again") < page.index("“Read” is the mean")
    assert "Look at these readings again" not in page_of(tight)


def test_sight_is_said_and_its_cautions_come_first(page):
    assert "Sees &lt;far&gt;." in page
    cautions = page[page.index("<h2>Cautions</h2>") :]
    assert cautions.index("Mind the &lt;step&gt;.") < cautions.index("It sizes costumes")


def test_a_question_that_cannot_be_answered_says_why_in_its_place():
    def ask():
        raise BriefError("The left eye is inside the wall.")

    part = answered("sight", "What is seen", ask)
    assert part.sentences == ("The left eye is inside the wall.",)
    assert (part.title, part.tables, part.cautions) == ("What is seen", (), ())
