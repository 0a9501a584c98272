import json
import subprocess
import sys

import numpy as np
import pytest
from scans import TEMPLATE, THREE, person

from fitkit import cli
from fitkit.cli import BAD_INPUT, DOES_NOT_FIT, FITS, main
from fitkit.geometry.files import save_mesh
from fitkit.sheets import report as report_module
from fitkit.sheets.placement_file import placement_json
from fitkit.sheets.report import Report
from fitkit.wearer.record_files import read_record


def assess(shell_files, out, *more):
    words = ["assess", str(shell_files.record), str(shell_files.piece), "--out", str(out)]
    return main([*words, *map(str, more)])


@pytest.fixture
def placed(tight, tmp_path):
    """A placement file in which the shell is too small."""
    path = tmp_path / "placement.json"
    path.write_text(placement_json(tight), encoding="utf-8")
    return path


@pytest.fixture
def no_report(monkeypatch):
    """Leave the report out where only the answer matters; give what would be in it."""
    assessed = []

    def keep(assessment, folder, **_):
        assessed.append(assessment)
        return Report(folder=folder, page=folder / "report.html", files=())

    monkeypatch.setattr(report_module, "write_report", keep)
    return assessed


@pytest.mark.usefixtures("first_question")
def test_a_piece_that_fits_ends_with_0_and_a_report(shell_files, tmp_path, capsys):
    assert assess(shell_files, tmp_path / "out") == FITS == 0
    said = capsys.readouterr()
    assert ": Fits" in said.out
    assert "To make it:" in said.out
    assert str(tmp_path / "out" / "report.html") in said.out
    assert "fitkit: Solving" in said.err
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "\N{CHECK MARK} Fits" in page


@pytest.mark.usefixtures("no_report")
def test_a_piece_that_does_not_fit_ends_with_1_and_says_why(
    shell_files, placed, tight, tmp_path, capsys
):
    assert assess(shell_files, tmp_path / "out", "--placement", placed) == DOES_NOT_FIT == 1
    said = capsys.readouterr().out
    assert "DOES NOT FIT" in said
    assert "What to change:" in said
    assert "84.0 %" in said
    assert tight.reasons[0].split(":")[0] in said
    assert f"and {len(tight.reasons) - 5} more" in said


def test_a_placement_that_was_written_gives_the_same_ease_again(
    shell_files, placed, tight, tmp_path, no_report
):
    assess(shell_files, tmp_path / "out", "--placement", placed)
    (again,) = no_report
    same = tight.ease.by_zone.items()
    assert {name: zone.least_mm for name, zone in again.ease.by_zone.items()} == {
        name: zone.least_mm for name, zone in same
    }


@pytest.mark.usefixtures("no_report")
def test_a_size_is_kept_and_only_the_pose_is_solved(shell_files, tmp_path, capsys):
    assert assess(shell_files, tmp_path / "out", "--size", "101%") == FITS
    said = capsys.readouterr()
    assert "Solving for the pose at 101.0%" in said.err
    assert "Size           101.0 %" in said.out


@pytest.mark.usefixtures("no_report")
def test_a_brief_is_what_the_fit_is_asked(shell_files, placed, tmp_path, capsys):
    brief = tmp_path / "brief.json"
    brief.write_text(json.dumps({"fitkit_brief": 1, "ease": {"crown": 79}}))
    asked = ("--brief", brief, "--placement", placed)
    assert assess(shell_files, tmp_path / "out", *asked) == DOES_NOT_FIT
    assert "79 mm asked" in capsys.readouterr().out


def test_sheets_are_written_for_the_paper_asked(shell_files, tmp_path, capsys):
    words = ["sheets", str(shell_files.record), str(shell_files.piece)]
    code = main([*words, "--out", str(tmp_path / "bench"), "--paper", "A3"])
    assert code == FITS
    said = capsys.readouterr()
    assert "No sight cut" in said.out
    assert f"Sheets: {tmp_path / 'bench' / 'sheets.pdf'}" in said.out
    assert (tmp_path / "bench" / "gaps_to_read.csv").is_file()
    assert main([*words, "--out", str(tmp_path / "bench")]) == BAD_INPUT


def test_a_scan_gives_the_shape_and_the_record_the_rest(
    shell_files, no_report, tmp_path, capsys
):
    who = person(4)
    save_mesh(who.scan, tmp_path / "head.ply")
    landmarks = {name: at.tolist() for name, at in who.some(THREE).items()}
    noted = {"fitkit_scan": 1, "unit": "mm", "landmarks": landmarks}
    (tmp_path / "head.notes.json").write_text(json.dumps(noted), encoding="utf-8")
    code = assess(shell_files, tmp_path / "out", "--scan", tmp_path / "head.ply")
    assert code in (FITS, DOES_NOT_FIT)
    (assessed,) = no_report
    recorded = read_record(shell_files.record)
    assert assessed.wearer.record.name == recorded.name
    truth = np.linalg.norm(who.truth[TEMPLATE.landmarks["sellion"]])
    found = np.linalg.norm(assessed.wearer.landmarks["sellion"])
    assert found == pytest.approx(truth, abs=3.0)
    assert "fitkit: Laying the head on head.ply" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        ("no record", "none.json: cannot be read"),
        ("no piece", "is not there"),
        ("no brief", "wishes.json: cannot be read"),
        ("no placement", "place.json: cannot be read"),
        ("folder in use", "holds what no report wrote (photo.jpg)"),
    ],
)
def test_bad_input_ends_with_2_and_one_message(shell_files, tmp_path, capsys, slip, words):
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "photo.jpg").touch()
    record = tmp_path / "none.json" if slip == "no record" else shell_files.record
    piece = tmp_path / "none.stl" if slip == "no piece" else shell_files.piece
    out = tmp_path / ("used" if slip == "folder in use" else "out")
    more = {
        "no brief": ["--brief", str(tmp_path / "wishes.json")],
        "no placement": ["--placement", str(tmp_path / "place.json")],
    }.get(slip, [])
    assert (
        main(["assess", str(record), str(piece), "--out", str(out), *more])
        == BAD_INPUT
        == 2
    )
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err.splitlines()[-1]
    assert "Traceback" not in said.err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("size", "words"),
    [
        ("105", "Did you mean 105%?"),
        ("big", "a factor such as 1.05"),
        ("3", "0.5 to 2"),
        ("nan", "0.5 to 2"),
    ],
)
def test_a_size_that_is_none_ends_with_2(shell_files, tmp_path, capsys, size, words):
    with pytest.raises(SystemExit) as stopped:
        assess(shell_files, tmp_path / "out", "--size", size)
    assert stopped.value.code == BAD_INPUT
    assert words in capsys.readouterr().err


def test_a_report_in_the_way_stops_before_any_work(shell_files, tmp_path, capsys):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "contents.json").write_text('{"files": ["contents.json"]}')
    assert assess(shell_files, tmp_path / "out") == BAD_INPUT
    said = capsys.readouterr().err
    assert "--overwrite" in said
    assert "Reading" not in said


def test_try_without_its_samples_says_where_they_are(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(cli, "SAMPLES", tmp_path)
    assert main(["try", "--out", str(tmp_path / "out")]) == BAD_INPUT
    assert "fitkit assess" in capsys.readouterr().err


def test_try_never_writes_over_an_earlier_try(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "fitkit_report").mkdir()
    (tmp_path / "fitkit_report_2").mkdir()
    assert cli._unused(tmp_path / "fitkit_report") == tmp_path / "fitkit_report_3"


def test_the_samples_are_there_in_a_source_tree():
    assert (cli.SAMPLES / cli.SAMPLE_RECORD).is_file()
    assert (cli.SAMPLES / cli.SAMPLE_PIECE).is_file()


@pytest.mark.usefixtures("no_report")
def test_a_name_cannot_steer_the_terminal(shell_files, placed, tmp_path, capsys):
    record = json.loads(shell_files.record.read_text(encoding="utf-8"))
    record["name"] = "Ida \x1b[2J"
    path = tmp_path / "ida.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    words = ["assess", str(path), str(shell_files.piece), "--out", str(tmp_path / "out")]
    assert main([*words, "--placement", str(placed)]) == DOES_NOT_FIT
    said = capsys.readouterr()
    assert "Ida ?[2J" in said.out
    assert "\x1b" not in said.out + said.err


def test_stopping_by_hand_leaves_no_traceback(shell_files, tmp_path, capsys, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "_wearer", stop)
    assert assess(shell_files, tmp_path / "out") == 130
    assert "stopped" in capsys.readouterr().err


def test_the_module_runs_as_the_command():
    done = subprocess.run(
        [sys.executable, "-m", "fitkit", "--version"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.startswith("fitkit ")


@pytest.mark.slow
def test_try_fits_the_samples(tmp_path, capsys):
    assert main(["try", "--out", str(tmp_path / "out")]) == FITS
    assert "Fits" in capsys.readouterr().out
