"""Renews docs/pictures from out/demo (run `make demo` first). Run by `make docs-pictures`."""

import subprocess
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).parents[1]
DEMO, TO = ROOT / "out" / "demo", ROOT / "docs" / "pictures"
COLOURS = 48
PAGES = {"sheet-test-card": 1, "sheet-guide-holes": 2, "sheet-graduation": 7}
PAIRS = {
    "plates": ("top-thickness", "back-thickness"),
    "back-floors": ("back-floor-joint", "back-floor-lone-spot"),
}


def keep(image: Image.Image, name: str) -> None:
    """Few colours, small file."""
    image.convert("RGB").quantize(COLOURS).save(TO / f"{name}.png", optimize=True)


def page(number: int) -> Image.Image:
    """One page of the A4 sheets at 80 dpi."""
    with tempfile.TemporaryDirectory() as folder:
        stem = Path(folder) / "page"
        one = ["-f", str(number), "-l", str(number), "-singlefile"]
        command = ["pdftoppm", "-png", "-r", "80", *one, str(DEMO / "sheets-A4.pdf"), str(stem)]
        subprocess.run(command, check=True)
        return Image.open(stem.with_suffix(".png")).copy()


def main() -> None:
    """All pictures that the docs show."""
    for name, parts in PAIRS.items():
        left, right = (Image.open(DEMO / "pictures" / f"{p}.png") for p in parts)
        both = Image.new("RGB", (left.width + right.width, max(left.height, right.height)), "white")
        both.paste(left, (0, 0))
        both.paste(right, (left.width, 0))
        keep(both, name)
    for name in ("verdicts", "top-tap-tones", "measure-first"):
        keep(Image.open(DEMO / "pictures" / f"{name}.png"), name)
    for name, number in PAGES.items():
        keep(page(number), name)


if __name__ == "__main__":
    main()
