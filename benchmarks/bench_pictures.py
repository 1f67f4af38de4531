"""Writes docs/pictures/bench-*.png: the bench page in a real browser, after a round of readings.

    .venv/bin/python -m benchmarks.bench_pictures FOLDER_OF_A_DECISION

The readings are invented: the tool's target and up to half a millimetre more.
"""

import io
import json
import sys
import tempfile
from pathlib import Path

from PIL import Image

from tests.flow.bench_browser import Served, browser, burst, make_book, plate_page, settled, tablet

PICTURES = Path(__file__).parents[1] / "docs" / "pictures"


def keep(picture: bytes, name: str) -> None:
    """Writes a screenshot with 64 colours at two thirds of its size."""
    full = Image.open(io.BytesIO(picture)).convert("RGB")
    size = (full.width * 2 // 3, full.height * 2 // 3)
    full.resize(size, Image.Resampling.LANCZOS).quantize(64).save(PICTURES / name, optimize=True)


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
            keep(page.screenshot(full_page=True), "bench-plate.png")
            page.goto(f"{served.address}/book")
            keep(
                page.screenshot(clip={"x": 0, "y": 0, "width": 700, "height": 420}),
                "bench-book.png",
            )
        finally:
            served.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
