"""Helpers in other processes: the same answers, errors that arrive, and no one left behind."""

import math
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from graduale.base.crew import ALONE, Crew
from graduale.base.progress import Cancelled
from graduale.base.settings import settings

_MAKER = """
import os, time
from graduale.base.crew import Crew
helpers = Crew(1)
print(helpers.ask(os.getpid).result(), flush=True)
helpers.ask(time.sleep, 60.0)
time.sleep(60.0)
"""


def die_elsewhere(home: int) -> int:
    """Ends its process unless it is `home`."""
    if os.getpid() != home:
        os._exit(9)
    return home


def test_answers_come_from_another_process_and_in_any_order() -> None:
    with Crew(1) as helpers:
        asked = [helpers.ask(math.factorial, n) for n in (5, 3, 10)]
        where = helpers.ask(os.getpid).result()
        assert [p.result() for p in reversed(asked)] == [3628800, 6, 120]
    assert where != os.getpid()


def test_without_helpers_it_is_done_here_when_asked_for() -> None:
    assert ALONE.ask(os.getpid).result() == os.getpid()


def test_an_error_arrives() -> None:
    with Crew(1) as helpers:
        wrong = helpers.ask(math.sqrt, -1.0)
        with pytest.raises(ValueError, match=r"math domain error|nonnegative"):
            wrong.result()
        assert helpers.ask(math.sqrt, 4.0).result() == 2.0


def test_an_answer_that_cannot_be_sent_is_said() -> None:
    with Crew(1) as helpers:
        promise = helpers.ask(memoryview, b"x")
        with pytest.raises(RuntimeError, match="cannot be sent"):
            promise.result()


def test_what_a_dead_helper_leaves_is_done_here() -> None:
    with Crew(1) as helpers:
        first = helpers.ask(die_elsewhere, os.getpid())
        second = helpers.ask(math.factorial, 4)
        assert first.result() == os.getpid()
        assert second.result() == 24
        assert helpers.ask(os.getpid).result() == os.getpid()


def test_waiting_can_be_cancelled_and_the_helper_ends() -> None:
    def give_up() -> None:
        raise Cancelled

    with Crew(1) as helpers:
        pid = helpers.ask(os.getpid).result()
        with pytest.raises(Cancelled):
            helpers.ask(time.sleep, 60.0).result(give_up)
    assert not _runs(pid)


def test_a_helper_ends_when_its_maker_is_killed() -> None:
    maker = subprocess.Popen([sys.executable, "-c", _MAKER], stdout=subprocess.PIPE, text=True)
    assert maker.stdout is not None
    pid = int(maker.stdout.readline())
    assert _runs(pid)
    maker.send_signal(signal.SIGKILL)
    maker.wait()
    for _ in range(200):
        if not _runs(pid):
            return
        time.sleep(0.1)
    pytest.fail("the helper outlived its maker")


def test_how_many_processes() -> None:
    assert settings({"HOME": "/h", "GRADUALE_PROCESSES": "1"}).processes == 1
    assert settings({"HOME": "/h"}).processes in (1, 2)


def _runs(pid: int) -> bool:
    """Whether a process is there and no mere entry of one that ended."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{pid}/stat")
    return not status.exists() or status.read_text().rsplit(")", 1)[1].split()[0] != "Z"
