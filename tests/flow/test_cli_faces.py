"""What the command line does with whatever a use case hands back or throws."""

import argparse
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from graduale.base.findings import Finding, Refused
from graduale.base.progress import Cancelled, Progress
from graduale.cli import commands, main, show
from graduale.cli.arguments import parser
from graduale.jobs.result import JobResult


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def _throwing(error: BaseException) -> commands.Command:
    def run(arguments: argparse.Namespace, progress: Progress) -> JobResult:
        progress(0.1, "read")
        raise error

    return run


def _handing(result: JobResult) -> commands.Command:
    return lambda arguments, progress: result


@pytest.mark.parametrize("code", [0, 3])
def test_text_goes_to_stdout_and_the_code_out(
    code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    result = JobResult(code, "Top 2.9 mm.", {"top_mm": 2.9, "name": "Ähre"})
    monkeypatch.setattr(commands, "check", _handing(result))
    assert main.main(["check", "a.toml"]) == code
    assert capsys.readouterr() == ("Top 2.9 mm.\n", "")
    assert main.main(["check", "a.toml", "--json"]) == code
    assert json.loads(capsys.readouterr().out) == {"top_mm": 2.9, "name": "Ähre"}


def test_each_finding_of_a_refusal_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    findings = [
        Finding("error", "not-a-number", "a.toml: body.length", "This is not\na number; write mm."),
        Finding("error", "unknown-key", "a.toml: body.lenght", "Did you mean body.length?"),
    ]
    monkeypatch.setattr(commands, "check", _throwing(Refused(findings)))
    assert main.main(["check", "a.toml", "--json", "--quiet"]) == 2
    seen = capsys.readouterr()
    assert seen.err.splitlines() == [
        "a.toml: body.length: This is not a number; write mm.",
        "a.toml: body.lenght: Did you mean body.length?",
    ]
    document = json.loads(seen.out)
    assert document["exit_code"] == 2
    assert document["findings"][1]["key"] == "unknown-key"


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Cancelled()])
def test_cancelling_is_said_and_is_no_fault(
    error: BaseException, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(commands, "check", _throwing(error))
    assert main.main(["check", "a.toml", "--quiet"]) == 130
    assert capsys.readouterr() == ("", "Cancelled; nothing half-written is left.\n")


def test_a_fault_of_ours_is_one_sentence_and_a_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(commands, "check", _throwing(ZeroDivisionError("a / b")))
    assert main.main(["check", "a.toml", "--quiet"]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "Traceback" not in said
    report = next((tmp_path / "graduale").iterdir())
    assert str(report) in said
    text = report.read_text()
    assert "ZeroDivisionError: a / b" in text
    assert "graduale check a.toml" in text
    assert "numpy" in text


def test_a_fault_is_told_even_where_no_report_can_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "file"))
    monkeypatch.setattr(commands, "check", _throwing(ZeroDivisionError("a / b")))
    assert main.main(["check", "a.toml", "--quiet"]) == 1
    assert capsys.readouterr().err.endswith("ZeroDivisionError: a / b.\n")


def test_too_little_memory_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(commands, "check", _throwing(MemoryError()))
    assert main.main(["check", "a.toml", "--quiet"]) == 1
    assert "memory" in capsys.readouterr().err


def test_progress_rewrites_one_line_on_a_terminal() -> None:
    screen = _Terminal()
    with show.progress_line(quiet=False, stream=screen) as progress:
        progress(0.0, "read")
        progress(0.004, "read")
        progress(0.5, "choose")
        progress(1.2, "own words")
    assert screen.getvalue() == (
        "\r\x1b[K  0 %  reading the instrument"
        "\r\x1b[K 50 %  choosing the thickness"
        "\r\x1b[K100 %  own words"
        "\r\x1b[K"
    )


def test_progress_writes_one_line_a_step_elsewhere_and_none_when_quiet() -> None:
    paper = io.StringIO()
    with show.progress_line(quiet=False, stream=paper) as progress:
        for fraction in (0.0, 0.1, 0.2):
            progress(fraction, "solve")
        progress(0.3, "choose")
    assert paper.getvalue() == "  0 %  solving the closed box\n 30 %  choosing the thickness\n"
    silence = _Terminal()
    with show.progress_line(quiet=True, stream=silence) as progress:
        progress(0.5, "solve")
    assert silence.getvalue() == ""


def test_dimensions_are_name_and_value() -> None:
    assert commands.dimensions(["body.length=14 in", " a = b=c "]) == {
        "body.length": "14 in",
        "a": "b=c",
    }
    for wrong in (["body.length"], ["=3"], ["a="], ["a=1", "a=2"]):
        with pytest.raises(Refused):
            commands.dimensions(wrong)


def test_only_the_options_that_were_given_override() -> None:
    parse = parser().parse_args
    assert commands.overrides(parse(["holes", "out"])) == {}
    typed = ["holes", "out", "--bit", "0.25 in", "--hold", "tilted", "--out", "again"]
    assert commands.overrides(parse(typed)) == {"bit_mm": "0.25 in", "hold": "tilted"}
    typed = ["sheets", "out", "--paper", "Letter", "--printed-x", "99.6"]
    assert commands.overrides(parse(typed)) == {"paper": "Letter", "printed_x_mm": "99.6"}


@pytest.mark.parametrize("argv", [[], ["carve"], ["decide"], ["decide", "a.toml"], ["holes"]])
def test_a_command_line_that_cannot_be_read_is_bad_input(
    argv: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main.main(argv)
    assert left.value.code == 2
    assert "usage: graduale" in capsys.readouterr().err


def test_the_help_names_the_commands_and_loads_no_solver() -> None:
    code = (
        "import sys; from graduale.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'shapely', 'reportlab', 'pydantic', 'PIL', 'contourpy'}\n"
        "print('loaded', *sorted(heavy & set(sys.modules)))\n"
    )
    env = {**os.environ, "COLUMNS": "80"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
    )
    assert done.stdout.splitlines()[-1] == "loaded"
    for command in ("new", "check", "decide", "judge", "holes", "sheets"):
        assert f"\n    {command} " in done.stdout


def test_the_reader_of_a_pipe_may_leave() -> None:
    code = (
        "import sys; from graduale.cli import commands, main\n"
        "from graduale.jobs.result import JobResult\n"
        "commands.check = lambda a, p: JobResult(0, 'x' * 1_000_000)\n"
        "sys.exit(main.main(['check', 'a.toml']))\n"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert run.stdout is not None
    run.stdout.read(10)
    run.stdout.close()
    assert run.stderr is not None
    said = run.stderr.read()
    assert run.wait() == 0
    assert said == b""


def test_the_version_is_the_packages() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from graduale.cli.main import entry; entry()", "--version"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.startswith("graduale 0.")


@pytest.mark.parametrize("words", [["check", ""], ["decide", "a.toml", "--out", " "]])
def test_an_empty_name_is_said_to_be_empty(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main.main(words)
    assert left.value.code == 2
    assert "the name is empty; name the file or the folder" in capsys.readouterr().err
