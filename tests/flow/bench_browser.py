"""A bench page for the tests: a book with the decided narrow fiddle, its server, a real browser."""

import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from graduale.store.book import Book, open_book
from tests.flow.typed import GRADUALE, NARROW, places

NAME = "Narrow fiddle, demo"
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
]
PATIENCE_MS = 60_000


def make_book(folder: Path, decided: Path) -> Path:
    """A book in `folder` that holds the narrow fiddle with its decision."""
    path = folder / "workshop.book"
    command = [GRADUALE, "book", "add", str(NARROW), "--decision", str(decided)]
    done = subprocess.run(
        [*command, "--book", str(path)], env=places(folder), capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return path


class Served:
    """The command `bench` running on a port; can be killed and started again on the same one."""

    def __init__(self, book: Path, folder: Path) -> None:
        self.book, self.folder, self.port = book, folder, 0
        self.run: subprocess.Popen[str] | None = None
        self.start()

    def start(self) -> None:
        """Starts it; returns when it answers."""
        command = [GRADUALE, "bench", "--book", str(self.book), "--port", str(self.port)]
        self.run = subprocess.Popen(
            command,
            env=places(self.folder),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.run.stdout is not None
        line = self.run.stdout.readline()
        assert "http://127.0.0.1:" in line, self.run.communicate()[1]
        self.port = int(line.split("127.0.0.1:")[1].split("/")[0])

    def kill(self) -> None:
        """kill -9."""
        assert self.run is not None
        self.run.kill()
        self.run.communicate()

    def stop(self) -> tuple[int, str]:
        """Asks it to stop; exit code and what it said."""
        assert self.run is not None
        self.run.terminate()
        said = self.run.communicate(timeout=60)[1]
        return self.run.returncode, said

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.port}"

    def opened(self) -> Book:
        """The book, for reading beside the server."""
        return open_book(self.book, write=False)


@contextmanager
def browser() -> Iterator[Browser]:
    """Debian's Chromium, headless."""
    path = shutil.which("chromium")
    assert path is not None, "chromium is missing; make debian-packages"
    with sync_playwright() as made:
        one = made.chromium.launch(executable_path=path, args=FLAGS)
        yield one
        one.close()


def tablet(where: Browser, size: tuple[int, int]) -> BrowserContext:
    """A tablet with its own memory, which outlives its pages."""
    return where.new_context(viewport={"width": size[0], "height": size[1]})


def plate_page(where: BrowserContext, served: Served, which: str) -> Page:
    """An open bench page of one plate."""
    page = where.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{served.address}/book")
    page.get_by_role("link", name=which, exact=True).first.click()
    page.wait_for_selector("#over [data-station]")
    return page


def burst(page: Page, texts: list[str]) -> None:
    """Types each text and Enter as fast as the browser takes it, like a caliper."""
    page.focus("#typed")
    for text in texts:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def settled(page: Page) -> None:
    """Waits until every entry of the page is in the book."""
    page.wait_for_selector("#link:has-text('all entries are in the book')")


def until(true: object, seconds: float = 60.0) -> None:
    """Waits for a condition given as a callable."""
    assert callable(true)
    stop = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < stop
        time.sleep(0.05)
