"""The real app in a real browser: one server on its own database, Chromium from the system, a tablet or a telephone."""

from __future__ import annotations

import http.client
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from postgres import free_port
from spiracle.doors.demo import hospital_path

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-dev-shm-usage",
         "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip
TABLET = {"width": 1180, "height": 820}
PHONE = {"width": 390, "height": 844}
SPIRACLE = Path(sys.executable).parent / "spiracle"


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    found = next((p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None)
    if not found:
        pytest.fail("no Chromium: run `python3 dev.py test` once as root")
    return {**browser_type_launch_args, "executable_path": found, "args": FLAGS}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, object]) -> dict[str, object]:
    # a wave is turned like a page, not swept: walks that look at other things need no sixty pictures a second
    calm = {"reduced_motion": "reduce"}
    return {**browser_context_args, **calm, "viewport": TABLET, "has_touch": True, "timezone_id": "Europe/Dublin"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """One Chromium and one demo server: all browser tests share a worker."""
    for item in items:
        if item.path.parent == Path(__file__).parent / "browser":
            item.add_marker(pytest.mark.xdist_group("browser"))


class Server:
    """A server process on a free port of this machine."""

    def __init__(self, *words: str) -> None:
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.words = [str(SPIRACLE), "serve", "--port", str(self.port), *words]
        self.start()

    def start(self) -> None:
        """Waits for the line with which the server says where it is, then asks until it listens."""
        self.process = subprocess.Popen(self.words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        said = self.process.stdout.readline() if self.process.stdout else ""
        if not said.startswith("Spiracle is at"):
            rest = self.process.stdout.read() if self.process.stdout else ""
            raise RuntimeError(said + rest)
        while self.process.poll() is None:
            line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
            try:
                line.request("GET", "/api/hospital")
                if line.getresponse().status == 200:
                    return
            except ConnectionError:
                continue
            finally:
                line.close()
        raise RuntimeError("the server ended")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """An empty hospital: the demo's people and stock, no case yet."""
    found = Server("--hospital", str(hospital_path()), "--database", f"sqlite:///{tmp_path / 'log.sqlite'}")
    yield found
    found.kill()


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The demo hospital with its invented cases; tests that use it only look."""
    found = Server("--demo", "--database", f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.sqlite'}")
    yield found
    found.kill()


@pytest.fixture
def tablet(context: BrowserContext) -> Page:
    page = context.new_page()
    page.set_viewport_size(TABLET)  # type: ignore[arg-type]
    return page


@pytest.fixture
def phone(context: BrowserContext) -> Page:
    page = context.new_page()
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    return page
