"""The commands and their arguments."""

import argparse
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from graduale.cli import commands
from graduale.cli.book import add_book
from graduale.words.catalogue import say

Add = Callable[[str, commands.Command], argparse.ArgumentParser]


def parser() -> argparse.ArgumentParser:
    """The whole command line; `run` of the parsed namespace is the command's function."""
    top = argparse.ArgumentParser(
        prog="graduale", description=say("cli.description"), epilog=say("cli.epilog")
    )
    top.add_argument("--version", action=_Version, help=say("cli.help.version"))
    those = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def add(name: str, run: commands.Command) -> argparse.ArgumentParser:
        about = say(f"cli.help.{name}")
        one = those.add_parser(name, help=about, description=about[0].upper() + about[1:] + ".")
        one.add_argument("--json", action="store_true", help=say("cli.help.json"))
        one.add_argument("--quiet", action="store_true", help=say("cli.help.quiet"))
        one.set_defaults(run=run)
        return one

    for command in (_new, _check, _decide, _alternatives, _judge, _wood, _holes, _sheets):
        command(add)
    add_book(those)
    _bench(add)
    return top


def _new(add: Add) -> None:
    one = add("new", commands.new)
    one.add_argument("kind", metavar="KIND", help=say("cli.help.kind"))
    one.add_argument("dimensions", nargs="*", metavar="NAME=VALUE", help=say("cli.help.dimensions"))
    one.add_argument("--out", type=_path, required=True, metavar="FILE", help=say("cli.help.file"))


def _check(add: Add) -> None:
    _instrument(add("check", commands.check))


def _decide(add: Add) -> None:
    one = add("decide", commands.decide)
    _instrument(one)
    one.add_argument("--out", type=_path, required=True, metavar="DIR", help=say("cli.help.out"))


def _alternatives(add: Add) -> None:
    one = add("alternatives", commands.alternatives)
    _instrument(one)
    one.add_argument("--out", type=Path, required=True, metavar="DIR", help=say("cli.help.out"))
    one.add_argument("--decision", type=Path, metavar="DIR", help=say("cli.help.beside"))
    one.add_argument("--only", metavar="NAME,...", help=say("cli.help.only"))
    for name in ("top_mass_g", "back_mass_g", "top_tone_hz", "back_tone_hz"):
        flag = "--" + name.rpartition("_")[0].replace("_", "-")
        unit = "GRAMS" if name.endswith("_g") else "HERTZ"
        one.add_argument(flag, dest=f"with_{name}", metavar=unit, help=say(f"cli.help.{name}"))
    one.add_argument("--redecide", action="store_true", help=say("cli.help.redecide"))
    one.add_argument("--quick", action="store_true", help=say("cli.help.quick"))


def _judge(add: Add) -> None:
    one = add("judge", commands.judge)
    _instrument(one)
    one.add_argument("readings", type=_path, metavar="READINGS.csv", help=say("cli.help.readings"))
    one.add_argument("--out", type=_path, metavar="DIR", help=say("cli.help.out"))
    one.add_argument("--decision", type=_path, metavar="DIR", help=say("cli.help.target"))


def _wood(add: Add) -> None:
    one = add("wood", commands.wood)
    _instrument(one)
    one.add_argument("--plate", required=True, choices=("top", "back"), help=say("cli.help.plate"))
    tones = say("cli.help.tones")
    one.add_argument("--tones", required=True, nargs="+", metavar="HZ", help=tones)
    one.add_argument("--mass", metavar="WEIGHT", help=say("cli.help.mass"))
    about = say("cli.help.thickness_readings")
    one.add_argument("--readings", type=Path, metavar="FILE.csv", help=about)
    about = say("cli.help.thickness_decision")
    one.add_argument("--decision", type=Path, metavar="DIR", help=about)
    size = ("LENGTH", "WIDTH", "THICKNESS")
    about = say("cli.help.thickness_board")
    one.add_argument("--board", nargs=3, metavar=size, help=about)
    states = ("before_holes", "holes_cut", "finished")
    one.add_argument("--state", choices=states, help=say("cli.help.state"))
    one.add_argument("--out", type=Path, metavar="FILE", help=say("cli.help.table"))


def _holes(add: Add) -> None:
    one = add("holes", commands.holes)
    _decision(one)
    _override(one, "method", choices=("rest", "collar"))
    _override(one, "hold", choices=("level", "tilted"))
    _override(one, "bit_shape", choices=("point118", "flat", "ball", "brad"))
    for name in ("bit_mm", "spur_mm", "rest_radius_mm", "step_mm"):
        _override(one, name)
    for name in ("spacing_along_mm", "spacing_across_mm", "outside_scrape_mm"):
        _override(one, name)


def _sheets(add: Add) -> None:
    one = add("sheets", commands.sheets)
    _decision(one)
    _override(one, "paper", choices=("A4", "Letter"))
    _override(one, "units", choices=("mm", "inch"))
    _override(one, "printed_x_mm")
    _override(one, "printed_y_mm")


def _bench(add: Add) -> None:
    one = add("bench", commands.bench)
    one.add_argument("--book", type=Path, metavar="FILE", help=say("cli.help.book_file"))
    one.add_argument("--port", type=int, default=8017, help=say("cli.help.bench_port"))


def _instrument(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "instrument", type=_path, metavar="INSTRUMENT.toml", help=say("cli.help.instrument")
    )


def _decision(one: argparse.ArgumentParser) -> None:
    one.add_argument("decision", type=_path, metavar="DIR", help=say("cli.help.decision"))
    one.add_argument("--out", type=_path, metavar="DIR", help=say("cli.help.again"))


def _override(one: argparse.ArgumentParser, name: str, **more: Any) -> None:
    """An option whose text goes to the use case under the record's own field name."""
    flag = "--" + name.removesuffix("_mm").replace("_", "-")
    metavar = "LENGTH" if name.endswith("_mm") else None
    one.add_argument(
        flag, dest=f"with_{name}", metavar=metavar, help=say(f"cli.help.{name}"), **more
    )


def _path(text: str) -> Path:
    """A path as typed. Errors: ArgumentTypeError when nothing was typed."""
    if not text.strip():
        raise argparse.ArgumentTypeError(say("cli.empty_name"))
    return Path(text)


class _Version(argparse.Action):
    """Prints the version; it is looked up only then."""

    def __init__(self, option_strings: list[str], dest: str, **more: Any) -> None:
        super().__init__(option_strings, dest, nargs=0, help=more.get("help"))

    def __call__(self, of: argparse.ArgumentParser, *_: object) -> None:
        print(f"graduale {version('graduale')}")
        of.exit()
