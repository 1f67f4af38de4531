"""One short function a command: arguments to the use case, which is imported only here."""

import argparse
from collections.abc import Callable
from functools import partial

from graduale.base.findings import refuse
from graduale.base.progress import Progress
from graduale.cli.show import Result
from graduale.words.catalogue import say

Command = Callable[[argparse.Namespace, Progress], Result]

_OVERRIDE = "with_"


def new(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Writes an instrument file."""
    from graduale.jobs.new import run

    return run(arguments.kind, dimensions(arguments.dimensions), arguments.out)


def check(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Says what an instrument file lacks, assumes or contradicts."""
    from graduale.jobs.check import run

    return run(arguments.instrument)


def decide(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Decides both plates."""
    from graduale.jobs.decide import run

    return run(arguments.instrument, arguments.out, progress)


def alternatives(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Sets other maps, bars, posts and strings beside the decision."""
    from graduale.jobs.alternatives import Asked, run

    names = [n.strip() for n in (arguments.only or "").split(",") if n.strip()]
    asked = Asked(
        names, overrides(arguments), arguments.decision, arguments.redecide, arguments.quick
    )
    return run(arguments.instrument, arguments.out, asked, progress)


def judge(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Judges plates already carved."""
    from graduale.jobs.judge import run

    return run(
        arguments.instrument,
        arguments.readings,
        arguments.out,
        progress,
        decision=arguments.decision,
    )


def wood(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Says what wood a plate is of."""
    from graduale.jobs.wood import run
    from graduale.jobs.wood_input import Typed

    board = arguments.board and tuple(arguments.board)
    typed = Typed(
        arguments.plate,
        tuple(arguments.tones),
        arguments.mass,
        arguments.readings,
        arguments.decision,
        board,
        arguments.state,
    )
    return run(arguments.instrument, typed, arguments.out, progress)


def holes(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Plans the guide holes of a decision again."""
    from graduale.jobs.holes import run

    return run(arguments.decision, arguments.out, overrides(arguments), progress)


def sheets(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Prints the sheets of a decision again."""
    from graduale.jobs.sheets import run

    return run(arguments.decision, arguments.out, overrides(arguments), progress)


def bench(arguments: argparse.Namespace, progress: Progress) -> Result:
    """Serves the bench page until it is stopped."""
    from graduale.jobs.book import place
    from graduale.jobs.result import DONE, JobResult
    from graduale.web.serve import serve

    serve(place(arguments.book), arguments.port, partial(print, flush=True))
    return JobResult(DONE, "")


def dimensions(texts: list[str]) -> dict[str, str]:
    """['body.length=355'] -> {'body.length': '355'}. Errors: Refused when one has no '=' or name,
    or when a name comes twice."""
    pairs: dict[str, str] = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not (name and equals and value):
            raise refuse("not-key-value", "", say("cli.not_key_value", text=text))
        if name in pairs:
            raise refuse("named-twice", "", say("cli.named_twice", name=name))
        pairs[name] = value
    return pairs


def overrides(arguments: argparse.Namespace) -> dict[str, str]:
    """The options that were given, by field name, as typed."""
    given = {k.removeprefix(_OVERRIDE): v for k, v in vars(arguments).items() if v is not None}
    return {k: str(v) for k, v in given.items() if _OVERRIDE + k in vars(arguments)}
