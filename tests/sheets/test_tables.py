import csv
import io

import pytest

from fitkit.sheets.tables import (
    Column,
    Table,
    changes_table,
    doubt_table,
    ease_table,
    measures_table,
    page_cell,
    report_tables,
    sight_table,
    table_csv,
)


def rows_of(table: Table) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table_csv(table))))


def test_ease_file_holds_every_zone_with_its_figures_to_a_micrometre(tight):
    rows = rows_of(ease_table(tight))
    zones = tight.ease.by_zone.values()
    assert len(rows) == len(zones) == 15
    for row, zone in zip(rows, zones, strict=True):
        sure = tight.uncertainty.by_zone[zone.zone]
        assert float(row["least_mm"]) == pytest.approx(zone.least_mm, abs=5e-4)
        assert float(row["median_mm"]) == pytest.approx(zone.median_mm, abs=5e-4)
        assert float(row["short_mm"]) == pytest.approx(zone.short_mm, abs=5e-4)
        assert float(row["least_low_mm"]) == pytest.approx(sure.low_mm, abs=5e-4)
        assert float(row["at_up_mm"]) == pytest.approx(zone.at[2], abs=5e-4)


def test_a_zone_without_a_most_has_an_empty_cell_and_a_dash_on_the_page(roomy):
    table = ease_table(roomy)
    row = next(row for row in rows_of(table) if row["zone"] == "left temple")
    assert row["most_mm"] == ""
    assert page_cell(None, table.columns[7]) == "\N{EN DASH}"


def test_changes_keep_their_order_and_words(tight):
    rows = rows_of(changes_table(tight))
    assert [row["change"] for row in rows] == list(tight.changes)
    assert [row["step"] for row in rows] == [str(k + 1) for k in range(len(rows))]


def test_measures_say_what_was_read_and_what_was_completed(tight):
    rows = {row["key"]: row for row in rows_of(measures_table(tight))}
    girth = rows["head_circumference_mm"]
    assert girth["origin"] == "read"
    assert girth["readings"] == "2"
    assert float(girth["value_mm"]) == 561.0
    face = rows["menton_sellion_mm"]
    assert face["origin"] == "from the survey"
    low, high = tight.wearer.completion.interval_mm("menton_sellion_mm")
    assert float(face["low_mm"]) == pytest.approx(low, abs=5e-4)
    assert float(face["high_mm"]) == pytest.approx(high, abs=5e-4)
    for row in rows.values():
        assert float(row["low_mm"]) < float(row["value_mm"]) < float(row["high_mm"])


def test_sight_has_a_column_for_each_eye(roomy):
    rows = rows_of(sight_table(roomy))
    margin = rows[0]
    assert float(margin["left_mm"]) == pytest.approx(
        roomy.sight["left"].margin_mm, abs=5e-4
    )
    assert float(margin["right_mm"]) == pytest.approx(
        roomy.sight["right"].margin_mm, abs=5e-4
    )


def test_shares_of_the_doubt_sum_to_a_hundred(roomy):
    shares = [float(row["share_percent"]) for row in rows_of(doubt_table(roomy))]
    assert sum(shares) == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t"])
def test_no_text_can_be_a_formula_for_a_spreadsheet(sign):
    column = Column(key="words", title="Words")
    table = Table(name="t", title="T", columns=(column,), rows=((f"{sign}cmd|x",),))
    assert rows_of(table)[0]["words"] == f"'{sign}cmd|x"


def test_negative_numbers_stay_numbers():
    column = Column(key="gap_mm", title="Gap", digits=1)
    table = Table(name="t", title="T", columns=(column,), rows=((-3.25,), (1234.5678,)))
    assert [row["gap_mm"] for row in rows_of(table)] == ["-3.25", "1234.568"]


def test_every_table_of_a_report_has_its_own_name(tight):
    names = [table.name for table in report_tables(tight)]
    assert names == ["changes", "ease_by_zone", "sight", "measures", "doubt"]
