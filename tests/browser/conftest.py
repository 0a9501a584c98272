"""A browser and a JupyterLab for all tests here, or the reason why there is none."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fitkit.panels.boxes import BOXES, PLACING
from fitkit.panels.controller import SessionController
from fitkit.panels.questions import QUESTIONS

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_heads"
#: Longest that a step may take on a loaded machine. [ms]
PATIENCE_MS = 300_000
#: The panels of the first notebook, in its order.
PANELS = ("record", "desk", "sections", "solid", *QUESTIONS, "compare", "pads")
#: The piece as drawn.
START = {name: BOXES[name].start for name in PLACING}
#: Nothing is asked of the outside: no news, no updates.
SETTINGS = {"fetchNews": "false", "checkForUpdates": False}
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
#: A browser that asks nothing of the outside, and draws by software.
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--enable-unsafe-swiftshader",
]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running_lab(folder: Path, room: Path) -> Iterator[str]:
    """Run JupyterLab on a folder, its own files in a room apart; gives its address."""
    settings = room / "settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True)
    text = json.dumps(SETTINGS)
    (settings / "notification.jupyterlab-settings").write_text(text, encoding="utf-8")
    port, token = free_port(), secrets.token_hex(12)
    rooms = {
        "JUPYTERLAB_SETTINGS_DIR": room / "settings",
        "JUPYTERLAB_WORKSPACES_DIR": room / "workspaces",
        "JUPYTER_CONFIG_DIR": room / "config",
        "JUPYTER_RUNTIME_DIR": room / "runtime",
    }
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root",
        "--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={folder}", "--LabApp.expose_app_in_browser=True",
    ]  # fmt: skip
    with (room / "lab.log").open("wb") as log:
        server = subprocess.Popen(
            command,
            env={**os.environ, **{k: str(v) for k, v in rooms.items()}},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
        try:
            wait_for_server(f"http://127.0.0.1:{port}/api", server, room / "lab.log")
            yield f"http://127.0.0.1:{port}/lab/tree/{{}}?token={token}&reset"
        finally:
            server.terminate()
            server.wait(30)


def wait_for_server(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    for _ in range(PATIENCE_MS // 250):
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except urllib.error.HTTPError:
            return  # it answers: that is enough
        except OSError:
            if server.poll() is not None:
                break
            time.sleep(0.25)
    raise RuntimeError(f"JupyterLab did not start:\n{log.read_text()[-2000:]}")


def least_shown(state) -> dict[str, str]:
    """Least ease by zone of a session's state, as a page writes it."""
    figures = {}
    for zone, ease in state.answer.ease.by_zone.items():
        text = f"{ease.least_mm:.1f}"
        figures[zone] = text.replace("-0.0", "0.0").replace("-", "−")
    return figures


class Notebook:
    """One notebook open in a page, with what a maker can see and do there."""

    def __init__(self, page, address: str) -> None:
        self.page, self.address = page, address
        self.faults: list[str] = []
        self.asked_outside: list[str] = []
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", self._note)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("request", self._watch)

    def _note(self, message) -> None:
        if message.type == "error":
            self.faults.append(message.text)

    def _watch(self, request) -> None:
        inside = ("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:")
        if not request.url.startswith(inside):
            self.asked_outside.append(request.url)

    def open(self, name: str) -> None:
        self.page.goto(self.address.format(name))
        self.page.wait_for_selector(".jp-Notebook .jp-Cell")
        self.page.wait_for_function(
            "() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session"
            "?.kernel?.status === 'idle'"
        )

    def run_all(self, panels: int) -> None:
        self.execute("notebook:run-all-cells")
        self.page.wait_for_function(
            f"() => document.querySelectorAll('.fk').length >= {panels}"
        )

    def execute(self, command: str, **arguments: object) -> None:
        self.page.evaluate(
            "([name, args]) => { window.jupyterapp.commands.execute(name, args); }",
            [command, arguments],
        )

    # -- looking ------------------------------------------------------------------------

    def panel(self, name: str):
        return self.page.locator(f'.fk[data-panel="{name}"]')

    @property
    def sections(self):
        return self.page.locator(".fk:has(.fk-views)")

    def least(self, zone: str) -> str:
        cell = f'tr[data-zone="{zone}"] [data-figure="least"]'
        return self.sections.locator(cell).text_content()

    def figures(self) -> dict[str, str]:
        rows = self.sections.locator("tr[data-zone]").all()
        return {
            row.get_attribute("data-zone"): row.locator("[data-figure]").text_content()
            for row in rows
        }

    def expect_figures(self, wanted: dict[str, str]) -> None:
        """Wait until the table shows these figures, and no others."""
        self.page.wait_for_function(
            """(wanted) => {
              const rows = [...document.querySelectorAll('.fk-zones tr[data-zone]')];
              const shown = Object.fromEntries(rows.map((row) => [row.dataset.zone,
                row.querySelector('[data-figure]').textContent]));
              const same = (zone) => shown[zone] === wanted[zone];
              const zones = Object.keys(wanted);
              return rows.length === zones.length && zones.every(same);
            }""",
            arg=wanted,
        )

    def box(self, name: str):
        return self.sections.locator(f'[data-box="{name}"]')

    def number(self, name: str) -> str:
        return self.box(name).locator('input[type="text"]').input_value()

    def expect_number(self, name: str, wanted: str) -> None:
        """Wait until a box shows this."""
        self.page.wait_for_function(
            "([name, wanted]) => document.querySelector("
            '`[data-box="${name}"] input[type=text]`).value === wanted',
            arg=[name, wanted],
        )

    # -- doing --------------------------------------------------------------------------

    def slide(self, name: str, value: float) -> None:
        """Drag a slider to a value, in three steps, and let go."""
        slider = self.box(name).locator('input[type="range"]')
        slider.evaluate(
            """(slider, value) => {
              const from = Number(slider.value);
              for (const share of [0.3, 0.7, 1]) {
                slider.value = from + share * (value - from);
                slider.dispatchEvent(new Event('input', { bubbles: true }));
              }
              slider.dispatchEvent(new Event('change', { bubbles: true }));
            }""",
            value,
        )

    def type_number(self, name: str, text: str) -> None:
        field = self.box(name).locator('input[type="text"]')
        field.fill(text)
        field.press("Enter")

    def press(self, words: str, panel: str = "sections") -> None:
        self.panel(panel).get_by_role("button", name=words, exact=True).click()


# -- fixtures ----------------------------------------------------------------------------


@pytest.fixture(scope="session")
def pictures(tmp_path_factory) -> Path:
    """Folder for pictures of the panels, kept as artifacts of the run."""
    named = os.environ.get("FITKIT_PICTURES")
    folder = Path(named) if named else tmp_path_factory.mktemp("pictures", numbered=False)
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def samples() -> Path:
    """Sample wearers and pieces."""
    return ROOT / "sample_heads"


@pytest.fixture(scope="session")
def shown():
    """What a page shows of a session's state: least ease by zone."""
    return least_shown


def give_up(reason: str) -> None:
    """Skip, unless the browser tests were required."""
    if os.environ.get("FITKIT_BROWSER") == "required":
        pytest.fail(f"{reason} FITKIT_BROWSER=required forbids skipping.")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def playwright():
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        give_up("playwright is not installed: pip install playwright.")
    with sync_playwright() as running:
        yield running


def launch(playwright, *more: str):
    if not CHROMIUM:
        give_up("No chromium on this machine: apt-get install chromium.")
    return playwright.chromium.launch(executable_path=CHROMIUM, args=[*ARGUMENTS, *more])


@pytest.fixture(scope="session")
def browser(playwright):
    running = launch(playwright)
    yield running
    running.close()


@pytest.fixture(scope="session")
def flat_browser(playwright):
    """A browser without WebGL."""
    running = launch(playwright, "--disable-3d-apis")
    yield running
    running.close()


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    """The notebooks as cloned, beside the samples."""
    home = tmp_path_factory.mktemp("clone")
    (home / "notebooks").mkdir()
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        shutil.copy(path, home / "notebooks" / path.name)
    (home / "sample_heads").symlink_to(ROOT / "sample_heads")
    return home / "notebooks"


@pytest.fixture(scope="session")
def lab(browser, folder, tmp_path_factory):  # noqa: ARG001  # no lab without a browser
    with running_lab(folder, tmp_path_factory.mktemp("lab")) as address:
        yield address


def opened(browser, lab: str, name: str, panels: int) -> Notebook:
    page = browser.new_page(viewport={"width": 1400, "height": 1500})
    notebook = Notebook(page, lab)
    notebook.open(name)
    notebook.run_all(panels)
    return notebook


@pytest.fixture(scope="session")
def open_in(lab):
    """Open a notebook of the folder in a browser and run it: browser, name, panels."""
    return lambda browser, name, panels: opened(browser, lab, name, panels)


@pytest.fixture(scope="session")
def ran(browser, lab):
    """The first notebook, run once for all tests."""
    notebook = opened(browser, lab, "01_first_fit.ipynb", len(PANELS))
    notebook.page.wait_for_function(
        "() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.status"
        " === 'idle'"
    )
    yield notebook
    notebook.page.close()


@pytest.fixture
def notebook(ran, tmp_path):
    """The first notebook; at the end nothing may have gone wrong, and a picture is kept."""
    yield ran
    ran.page.screenshot(path=tmp_path / "page.png")
    assert ran.faults == []
    assert ran.asked_outside == []


@pytest.fixture(scope="session")
def library(samples) -> SessionController:
    """The session of the first notebook in this process, without a browser."""
    return SessionController(
        record=samples / "wearers" / "tamsin.json", piece=samples / "pieces" / "otter.3mf"
    )


@pytest.fixture
def as_drawn(notebook, library, shown):
    """The page with the piece as drawn, and the library with it."""
    notebook.sections.locator("details").evaluate_all(
        "(all) => all.forEach((one) => { one.open = true; })"
    )
    for name, value in START.items():  # whatever is shown: a box rounds what it holds
        notebook.type_number(name, f"{value:g}")
    notebook.expect_figures(shown(library.edit(**START)))
    return notebook
