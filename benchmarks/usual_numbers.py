"""Writes docs/usual-numbers.md: usual numbers of the trade beside our answers, on the demo and on a
body drawn by a seed. Run by `make usual-numbers` (about three minutes)."""

import tempfile
from pathlib import Path

from graduale.base.progress import silent
from graduale.jobs import decide, seeded
from graduale.jobs.earlier import read_earlier
from graduale.jobs.reasons import comparisons, failures, limits

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "examples" / "narrow-fiddle" / "instrument.toml"
SEED = 20261125
PAGE = ROOT / "docs" / "usual-numbers.md"

HEAD = f"""# Usual numbers beside ours

Written by `make usual-numbers`; not edited by hand. The usual numbers are common practice of the
trade, without a source. The demo's inputs were committed before the first decision and are not
changed to close a gap; the second body is drawn by the seed {SEED} inside the trade's usual
dimensions, with four dimensions left out.
"""


def report(path: Path, title: str, folder: Path) -> str:
    """One body: thickness, comparisons, reasons."""
    result = decide.run(path, folder, silent)
    earlier = read_earlier(folder)
    found, lines = earlier.document, [f"## {title}", ""]
    body = earlier.instrument.body
    lines += [
        f"Body {body.length_mm:.0f}, widths {body.upper_width_mm:.0f}/{body.waist_width_mm:.0f}/"
        f"{body.lower_width_mm:.0f}, ribs {body.rib_height_lower_mm:.0f} mm; strings "
        f"{found['setup']['tension_total_n']:.0f} N. Exit code {result.exit_code}.",
        "",
        "| plate | centre | upper bout | lower bout | mass |",
        "|---|---|---|---|---|",
    ]
    for which in ("top", "back"):
        plate = found["plates"][which]
        at = plate["summary_mm"]
        lines.append(
            f"| {which} | {at['centre']:.1f} mm | {at['upper bout']:.1f} mm | "
            f"{at['lower bout']:.1f} mm | {plate['mass_g']:.1f} g |"
        )
    told = [*failures(found), *comparisons(found), *limits(found, earlier.instrument)]
    return "\n".join([*lines, "", *(f"- {s}" for s in told), ""])


def main() -> None:
    """Decides both bodies and writes the page."""
    with tempfile.TemporaryDirectory() as folder:
        second = Path(folder) / "second.toml"
        seeded.run(SEED, second)
        parts = [
            report(DEMO, "The demo", Path(folder) / "demo"),
            report(second, "A second body, drawn by a seed", Path(folder) / "second"),
        ]
    PAGE.write_text("\n".join([HEAD, *parts]), encoding="utf-8")


if __name__ == "__main__":
    main()
