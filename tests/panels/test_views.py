"""Views without a browser: what they send, what they do, and how a fault shows."""

from __future__ import annotations

from pathlib import Path

import ipywidgets
import pytest

from fitkit.errors import FitkitError
from fitkit.panels.compare_view import CompareView, compare_panel
from fitkit.panels.desk_view import DeskView, desk
from fitkit.panels.pads_view import PadsView, pads_panel
from fitkit.panels.question_view import QuestionView, question_panel
from fitkit.panels.record_form_view import RecordFormView, record_form
from fitkit.panels.sections_view import SectionsView, sections_panel
from fitkit.panels.solid_view import SolidView, solid_panel


def send(view, **content) -> None:
    """Hand a view what its browser module would send."""
    view._handle_custom_msg(content, [])


@pytest.fixture
def errors():
    return ipywidgets.Output()


@pytest.fixture
def sections(session, errors):
    view = SectionsView(session, errors)
    send(view, shown=True)
    return view


def test_a_moved_slider_is_answered_with_the_new_state(sections, session):
    send(sections, seq=1, numbers={"size_percent": 103}, gesture=1)
    assert sections.state["answered"] == 1
    assert sections.state["values"]["size_percent"] == 103
    assert session.state.placement.mean_size == pytest.approx(1.03)
    by_zone = session.state.answer.ease.by_zone
    for row in sections.state["zones"]:
        assert row["least_mm"] == by_zone[row["zone"]].least_mm


def test_a_wrong_value_is_answered_with_its_problem_and_no_figures(sections):
    send(sections, seq=1, numbers={"front_mm": "12.x"}, gesture=1)
    assert "12.x" in sections.state["problems"]["front_mm"]
    assert sections.state["zones"] == []
    assert sections.state["verdict"] == ""


def test_a_request_that_changes_nothing_is_answered_too(sections):
    send(sections, seq=7, command="stop_solver")
    assert sections.state["answered"] == 7


def test_two_panels_on_one_session_show_the_same(sections, session):
    other = SectionsView(session, ipywidgets.Output())
    send(other, shown=True)
    send(sections, seq=1, numbers={"up_mm": 4}, gesture=1)
    send(other, seq=1, numbers={"front_mm": 2}, gesture=1)
    for name in ("values", "zones", "verdict", "revision"):
        assert sections.state[name] == other.state[name]
    assert session.undo().values["up_mm"] == 4.0  # gestures of two panels stay apart


def test_meshes_are_sent_only_when_they_are_others(sections, session):
    sent = []
    sections.observe(lambda change: sent.append(change["new"]), "scene")
    send(sections, seq=1, numbers={"up_mm": 4}, gesture=1)
    session.name_opening(1, "vent")
    assert sent == []
    session.type_in("head_breadth_mm", "150")
    assert len(sent) == 1


def test_a_panel_that_no_page_shows_is_sent_nothing_until_it_is_shown(sections, session):
    send(sections, shown=False)
    before = sections.state
    session.edit(up_mm=5.0)
    assert sections.state is before
    send(sections, shown=True)
    assert sections.state["values"]["up_mm"] == 5.0


def test_a_state_that_was_overtaken_is_not_sent_after_the_newer(sections, session):
    older = session.edit(up_mm=1.0)
    newer = session.edit(up_mm=2.0)
    sections._watch(older)
    assert sections.state["revision"] == newer.revision
    assert sections.state["values"]["up_mm"] == 2.0


def test_only_known_requests_are_done(sections, session, errors):
    before = session.state.inputs
    with pytest.raises(FitkitError, match="no request 'save'"):
        sections.obey({"command": "save", "path": "/tmp/x"})
    with pytest.raises(FitkitError):
        sections.obey({"command": "__init__"})
    assert session.state.inputs == before
    assert errors.outputs == ()


def test_typing_in_the_form_types_in_the_session(session, errors, tmp_path):
    form = RecordFormView(session, tmp_path, errors)
    send(form, shown=True)
    send(form, seq=1, command="type_in", box="head_length_mm", text="19", gesture=1)
    assert form.state["boxes"]["head_length_mm"]["slips"][0]["mended"] == "190"
    send(form, seq=2, command="type_in", box="head_length_mm", text="190", gesture=1)
    assert form.state["boxes"]["head_length_mm"]["slips"] == []
    assert session.undo().inputs.typed.readings["head_length_mm"] != "19"


def test_the_form_saves_only_under_plain_names(session, errors, tmp_path):
    form = RecordFormView(session, tmp_path / "records", errors)
    (tmp_path / "records").mkdir()
    send(form, shown=True)
    send(form, seq=1, command="save_record", file="../ida.json")
    assert "plain name" in form.state["message"]
    send(form, seq=2, command="save_record", file="ida.json")
    assert [path.name for path in tmp_path.rglob("*.json")] == ["ida.json"]
    text = (tmp_path / "records" / "ida.json").read_text(encoding="utf-8")
    send(form, seq=3, command="open_record", text=text)
    assert "Opened the record" in form.state["message"]


def test_the_desk_saves_opens_and_names(session, errors, shell_files, tmp_path):
    view = DeskView(session, shell_files.piece.parent, tmp_path, errors)
    send(view, shown=True)
    send(view, seq=1, command="name_opening", place=1, choice="vent")
    assert view.state["openings"][1]["choice"] == "vent"
    send(view, seq=2, command="save", file="a.session.json")
    send(view, seq=3, command="name_opening", place=1, choice="mouth")
    send(view, seq=4, command="open", file="a.session.json")
    assert "figures are the same" in view.state["message"]
    assert view.state["openings"][1]["choice"] == "vent"
    for name in ("../a.session.json", "a.json", ""):
        send(view, seq=5, command="open", file=name)
        assert "Nothing was done" in view.state["message"]


def test_the_desk_chooses_only_pieces_that_it_offers(session, errors, shell_files):
    view = DeskView(session, shell_files.piece.parent, Path(), errors)
    send(view, shown=True)
    send(view, seq=1, command="use_piece", file="../../etc/passwd")
    assert session.state.inputs.piece_file == str(shell_files.piece)
    send(view, seq=2, command="use_piece", file="shell.stl")
    assert session.state.piece is not None


def test_the_comparison_keeps_goes_back_and_drops(session, errors):
    view = CompareView(session, errors)
    send(view, shown=True)
    send(view, seq=1, command="keep", name="first")
    session.edit(size_percent=90.0)
    send(view, seq=2, command="go_back_to", place=0)
    assert session.state.values["size_percent"] == 100.0
    assert view.state["cards"][0]["name"] == "first"
    send(view, seq=3, command="drop", place=0)
    assert view.state["cards"] == []


def test_the_view_in_the_round_gets_the_same_state(session, errors):
    solid = SolidView(session, errors)
    send(solid, shown=True)
    session.edit(pitch_deg=3.0)
    assert solid.state["values"]["pitch_deg"] == 3.0
    assert {body["role"] for body in solid.scene["bodies"]} == {
        "head",
        "hair",
        "wall",
        "inner",
    }


def test_pad_sets_are_typed_compared_and_dropped(session, errors):
    view = PadsView(session, errors)
    send(view, shown=True)
    typed = {**view.fields["start"], "name": "soft", "foam": "hr 40", "layout": "ring"}
    send(view, seq=1, command="keep_pads", **{**typed, "wall_g_cm3": "400"})
    assert "did you mean 0.4" in view.state["problem"]
    send(view, seq=2, command="keep_pads", **typed)
    assert view.state["problem"] == ""
    assert view.state["ready"]
    send(view, seq=3, command="compare")
    view.comparison.wait(600)
    (card,) = view.shown["cards"]
    assert card["name"] == "soft"
    assert card["known"]
    assert not view.state["ready"]
    send(view, seq=4, command="drop_pads", place=0)
    assert view.shown["cards"] == []


@pytest.fixture
def sight(session, errors):
    view = QuestionView(session, "sight", errors)
    send(view, shown=True)
    return view


def test_a_question_is_asked_answered_and_cleared(sight, session):
    assert sight.state["stage"] == "idle"
    assert sight.part["sentences"] == []
    send(sight, seq=1, command="ask")
    assert sight.state["answered"] == 1
    sight.asking.wait(600)
    assert sight.state["stage"] == "done"
    assert sight.part["sentences"]
    assert sight.part["pictures"][0]["data"].startswith(b"<?xml")
    session.edit(size_percent=101.0)
    assert sight.state["stage"] == "idle"
    assert sight.part["sentences"] == []


def test_a_question_without_a_fit_says_why_under_the_panel(sight, session):
    session.edit(size_percent="x")
    assert not sight.state["ready"]
    send(sight, seq=1, command="ask")
    assert "no fit to ask about" in sight.state["problem"]
    send(sight, seq=2, command="stop")
    assert sight.state["problem"] == ""


def test_pictures_are_sent_once_not_with_every_state(sight, session):
    sent = []
    sight.observe(lambda change: sent.append(change["new"]), "part")
    send(sight, seq=1, command="ask")
    sight.asking.wait(600)
    session.edit(side_cut_mm=3.0)
    session.say("Hello")
    assert len(sent) == 1


def test_an_unknown_question_has_no_panel(session):
    with pytest.raises(FitkitError, match="question"):
        question_panel(session, "colour")


def test_every_panel_has_a_place_for_faults_under_it(session, tmp_path):
    panels = [
        sections_panel(session),
        solid_panel(session),
        record_form(session, folder=tmp_path),
        desk(session, folder=tmp_path),
        compare_panel(session),
        question_panel(session, "sight"),
        pads_panel(session),
    ]
    for panel in panels:
        view, below = panel.children
        assert isinstance(below, ipywidgets.Output)
        assert view.session is session
