"""The command `graduale`: runs one use case, and maps what comes back to an exit code."""

import argparse
import contextlib
import sys
from collections.abc import Sequence

from graduale.base.findings import Refused
from graduale.base.progress import Cancelled
from graduale.cli import show
from graduale.cli.arguments import parser
from graduale.words.catalogue import say

DONE, OUR_FAULT, BAD_INPUT, CANCELLED = 0, 1, 2, 130


def entry() -> None:
    """The console script."""
    sys.exit(main())


def main(argv: Sequence[str] | None = None) -> int:
    """Runs the command in `argv` (default: the process's own); the exit code.

    0 done, 2 the input needs mending, 3 no safe map, 1 a fault of ours, 130 cancelled.
    """
    arguments = parser().parse_args(argv)
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(arguments)
    except Refused as refused:
        show.refusal(refused, BAD_INPUT, as_json=arguments.json)
        return BAD_INPUT
    except (KeyboardInterrupt, Cancelled):
        show.line(say("cli.cancelled"))
        return CANCELLED
    except BrokenPipeError:
        _close_stdout()
        return DONE
    except MemoryError:
        show.line(say("cli.out_of_memory"))
        return OUR_FAULT
    except Exception as error:
        _report(error, words)
        return OUR_FAULT


def _run(arguments: argparse.Namespace) -> int:
    with show.progress_line(quiet=arguments.quiet) as progress:
        result = arguments.run(arguments, progress)
    show.result(result, as_json=arguments.json)
    return int(result.exit_code)


def _report(error: Exception, words: list[str]) -> None:
    from graduale.store.report import write_report

    place = write_report(error, " ".join(["graduale", *words]))
    if place is None:
        show.line(say("cli.fault_unreported", cause=f"{type(error).__name__}: {error}"))
    else:
        show.line(say("cli.fault", report=place))


def _close_stdout() -> None:
    """Leaves no broken pipe for the interpreter to complain about when it ends."""
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.close()
