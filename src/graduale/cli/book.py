"""The command `book` and its actions: arguments to the use cases, imported only when called."""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from graduale.base.progress import Progress
from graduale.cli.show import Result
from graduale.words.catalogue import say

Run = Callable[[argparse.Namespace, Progress], Result]


def add_book(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Adds `book ACTION ...` to the command line."""
    about = say("cli.help.book")
    one = commands.add_parser("book", help=about, description=about[0].upper() + about[1:] + ".")
    actions = one.add_subparsers(dest="action", metavar="ACTION", required=True)

    def action(name: str, run: Run, *arguments: tuple[str, dict[str, Any]]) -> None:
        told = say(f"cli.help.book_{name}")
        made = actions.add_parser(name, help=told, description=told[0].upper() + told[1:] + ".")
        made.add_argument("--book", type=Path, metavar="FILE", help=say("cli.help.book_file"))
        made.add_argument("--json", action="store_true", help=say("cli.help.json"))
        made.add_argument("--quiet", action="store_true", help=say("cli.help.quiet"))
        for flag, options in arguments:
            made.add_argument(flag, **options)
        made.set_defaults(run=run)

    name = _text("name", "NAME", "book_name")
    action(
        "add",
        _add,
        _path("instrument", "INSTRUMENT.toml", "instrument"),
        _path("--decision", "DIR", "book_decision"),
    )
    action("list", _list)
    action("show", _show, name)
    action("read", _read, name, _path("readings", "READINGS.csv", "readings"))
    action(
        "weigh",
        _weigh,
        name,
        ("what", {"choices": ("top", "back", "bar", "body"), "help": say("cli.help.book_what")}),
        ("mass", {"type": float, "metavar": "GRAMS", "help": say("cli.help.book_mass")}),
        ("--stage", {"default": "", "help": say("cli.help.book_stage")}),
        ("--humidity", {"type": float, "help": say("cli.help.book_humidity")}),
    )
    action("note", _note, name, _text("text", "TEXT", "book_text"))
    action(
        "photo",
        _photo,
        name,
        _path("picture", "FILE", "book_picture"),
        ("--caption", {"default": "", "help": say("cli.help.book_caption")}),
    )
    action("strike", _strike, name, ("id", {"nargs": "?", "help": say("cli.help.book_id")}))
    action("copy", _copy, _path("target", "FILE", "book_target"))
    action("restore", _restore, _path("source", "FILE", "book_source"))
    action("export", _export, name, _path("folder", "DIR", "book_folder"))
    action("import", _import, _path("folder", "DIR", "book_folder"))


def _text(flag: str, metavar: str, key: str) -> tuple[str, dict[str, Any]]:
    return flag, {"metavar": metavar, "help": say(f"cli.help.{key}")}


def _path(flag: str, metavar: str, key: str) -> tuple[str, dict[str, Any]]:
    return flag, {"type": Path, "metavar": metavar, "help": say(f"cli.help.{key}")}


def _add(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.add(a.book, a.instrument, a.decision)


def _list(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.listing(a.book)


def _show(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.show(a.book, a.name)


def _read(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.read(a.book, a.name, a.readings)


def _weigh(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.weigh(a.book, a.name, a.what, a.mass, a.stage, a.humidity)


def _note(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.note(a.book, a.name, a.text)


def _photo(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.photo(a.book, a.name, a.picture, a.caption)


def _strike(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.strike(a.book, a.name, a.id)


def _copy(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.copy(a.book, a.target)


def _restore(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.restore(a.book, a.source)


def _export(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.export(a.book, a.name, a.folder)


def _import(a: argparse.Namespace, _: Progress) -> Result:
    from graduale.jobs import book

    return book.take_in(a.book, a.folder)
