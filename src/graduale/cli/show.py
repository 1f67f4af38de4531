"""What the command line shows: results on stdout, everything else as single lines on stderr."""

import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Protocol, TextIO

from graduale.base.findings import Refused
from graduale.base.progress import Progress
from graduale.words.catalogue import has, say


class Result(Protocol):
    """What a use case hands back."""

    @property
    def exit_code(self) -> int: ...
    @property
    def text(self) -> str: ...
    @property
    def document(self) -> Mapping[str, Any]: ...


def line(text: str) -> None:
    """One line on stderr."""
    print(text, file=sys.stderr)


def result(outcome: Result, *, as_json: bool) -> None:
    """The text of a result, or its document as JSON."""
    if as_json:
        print(_json(outcome.document))
    elif outcome.text:
        print(outcome.text)
    sys.stdout.flush()


def refusal(refused: Refused, exit_code: int, *, as_json: bool) -> None:
    """Each finding as one line on stderr; with JSON also as a document on stdout."""
    for finding in refused.findings:
        line(" ".join(finding.line().split()))
    if as_json:
        fields = ("level", "key", "where", "sentence")
        findings = [{name: getattr(f, name) for name in fields} for f in refused.findings]
        print(_json({"exit_code": exit_code, "findings": findings}))


@contextmanager
def progress_line(*, quiet: bool, stream: TextIO | None = None) -> Iterator[Progress]:
    """Progress on stderr: one line rewritten on a terminal, elsewhere one line a step."""
    out = sys.stderr if stream is None else stream
    on_terminal = out.isatty() and not quiet
    shown = ""

    def progress(fraction: float, key: str) -> None:
        nonlocal shown
        named = _named(key)
        text = f"{100 * min(max(fraction, 0.0), 1.0):3.0f} %  {named}"
        if quiet or text == shown or (not on_terminal and shown.endswith(f"%  {named}")):
            return
        shown = text
        out.write(f"\r\x1b[K{text}" if on_terminal else f"{text}\n")
        out.flush()

    try:
        yield progress
    finally:
        if on_terminal and shown:
            out.write("\r\x1b[K")
            out.flush()


def _named(key: str) -> str:
    full = f"progress.{key}"
    return say(full) if has(full) else key


def _json(document: Mapping[str, Any]) -> str:
    return json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1)
