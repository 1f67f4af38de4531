"""Writes docs/pictures/bench-*.png: the bench page in a real browser, after a round of readings.

    .venv/bin/python -m benchmarks.bench_pictures FOLDER_OF_A_DECISION

The readings are invented: the tool's target and up to half a millimetre more.
"""

import json
import sys
import tempfile
from pathlib import Path

from tests.flow.bench_browser import Served, browser, burst, make_book, plate_page, settled, tablet

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"


def main(decision: Path) -> None:
    """Types a round on the back, then keeps the screen, light and dark."""
    with tempfile.TemporaryDirectory() as name, browser() as chromium:
        served = Served(make_book(Path(name), decision), Path(name))
        try:
            page = plate_page(tablet(chromium, (1280, 800)), served, "back")
            start = json.loads(page.text_content("#start") or "")
            aims = [s["target_mm"] for s in start["state"]["stations"]]
            burst(page, [f"{aim + 0.5 * (37 * i % 10) / 10:.2f}" for i, aim in enumerate(aims)])
            settled(page)
            page.wait_for_selector("#figures dd:has-text('≈')")
            page.wait_for_timeout(1500)
            page.screenshot(path=PICTURES / "bench-plate.png", full_page=True)
            page.goto(f"{served.address}/book")
            page.screenshot(path=PICTURES / "bench-book.png")
        finally:
            served.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
