"""Helpers: functions of this program run in other processes, so that a second core works too.

A helper is this Python with one thread of linear algebra. It reads pickled tasks from its standard
input and ends when that closes, also when its maker is killed. What it cannot do (it could not be
started, it died) is done by whoever asked. Answers are the same with helpers or without.
"""

import contextlib
import os
import pickle
import queue
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from typing import IO, Any, Generic, TypeVar

from graduale.base.settings import settings

T = TypeVar("T")
_TICK_S = 0.1
_END_S = 5.0
_HEAD = struct.Struct("<Q")
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class Promise(Generic[T]):
    """The answer to a task, now or later."""

    def __init__(self, function: Callable[..., T], args: tuple[Any, ...]) -> None:
        self._task = function, args
        self._here = threading.Event()
        self._answer: tuple[bool, Any] | None = None

    def result(self, waiting: Callable[[], None] | None = None) -> T:
        """The answer; `waiting` is called while it is not there and may raise to give up.

        Errors: what the function raised.
        """
        while not self._here.wait(_TICK_S):
            if waiting is not None:
                waiting()
        if self._answer is None:  # nobody did it
            function, args = self._task
            self._answer = True, function(*args)
        done, value = self._answer
        if isinstance(value, BaseException) and not done:
            raise value
        answer: T = value
        return answer

    def keep(self, answer: tuple[bool, Any] | None) -> None:
        """Takes (True, value), (False, error), or None: to be done by whoever asks."""
        self._answer = answer
        self._here.set()


class Crew:
    """So many helpers (0 is none), started at once, ended on leaving the block."""

    def __init__(self, helpers: int) -> None:
        self._helpers = [h for h in (_Helper.start() for _ in range(helpers)) if h is not None]

    def __enter__(self) -> "Crew":
        return self

    def __exit__(self, *_: object) -> None:
        for helper in self._helpers:
            helper.end()
        self._helpers = []

    def ask(self, function: Callable[..., T], *args: Any) -> Promise[T]:
        """A function of a module with plain arguments; done by the helper with the least to do, or
        here when the answer is asked for."""
        promise: Promise[T] = Promise(function, args)
        helper = min(self._helpers, key=lambda h: h.busy, default=None)
        if helper is None or not helper.take(promise, (function, args)):
            promise.keep(None)
        return promise


ALONE = Crew(0)


def crew() -> Crew:
    """As many helpers as this computer's settings allow beside ourselves."""
    return Crew(settings().processes - 1)


class _Helper:
    """One process, and the thread that listens to it."""

    def __init__(self, process: "subprocess.Popen[bytes]") -> None:
        self._process = process
        self._lock = threading.Lock()
        self._asked: list[Promise[Any]] = []
        self._alive = True
        threading.Thread(target=self._listen, daemon=True).start()

    @staticmethod
    def start() -> "_Helper | None":
        """A new helper; None when the system will not have it."""
        environment = os.environ | dict.fromkeys(_THREADS, "1")
        environment["PYTHONPATH"] = os.pathsep.join(p for p in sys.path if p)
        try:
            process = subprocess.Popen(
                [sys.executable, "-P", "-m", "graduale.base.crew"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=environment,
                start_new_session=True,  # Ctrl-C comes to us alone; we end our helpers
            )
        except OSError:
            return None
        return _Helper(process)

    @property
    def busy(self) -> int:
        """Tasks taken and not answered."""
        return len(self._asked)

    def take(self, promise: Promise[Any], task: tuple[Any, ...]) -> bool:
        """Hands a task over; False when the helper is gone."""
        assert self._process.stdin is not None
        with self._lock:
            if not self._alive:
                return False
            self._asked.append(promise)
        with contextlib.suppress(OSError):  # it died: `_listen` hears of it
            _write(self._process.stdin, task)
        return True

    def end(self) -> None:
        """Ends the process, whatever it does."""
        self._process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_END_S)
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):
                if pipe is not None:
                    pipe.close()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with contextlib.suppress(EOFError, OSError, ValueError, pickle.UnpicklingError):
            while True:
                answer = _read(self._process.stdout)
                with self._lock:
                    promise = self._asked.pop(0)
                promise.keep(answer)
        with self._lock:
            self._alive = False
            left, self._asked = self._asked, []
        for promise in left:
            promise.keep(None)


def _write(pipe: IO[bytes], what: Any) -> None:
    content = pickle.dumps(what, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(_HEAD.pack(len(content)) + content)
    pipe.flush()


def _read(pipe: IO[bytes]) -> Any:
    """The next message. Errors: EOFError."""
    head = pipe.read(_HEAD.size)
    if len(head) < _HEAD.size:
        raise EOFError
    (size,) = _HEAD.unpack(head)
    content = pipe.read(size)
    if len(content) < size:
        raise EOFError
    return pickle.loads(content)  # from our own child or maker only


def _serve() -> None:
    """A helper's life: tasks from standard input, answers to what was standard output."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # nothing that is printed gets between the answers
    tasks: queue.SimpleQueue[Any] = queue.SimpleQueue()
    threading.Thread(target=_hear, args=(tasks,), daemon=True).start()
    while True:
        function, args = tasks.get()
        try:
            answer = True, function(*args)
        except Exception as error:
            answer = False, error
        try:
            _write(answers, answer)
        except (pickle.PicklingError, TypeError, AttributeError) as error:
            _write(answers, (False, RuntimeError(f"an answer cannot be sent: {error}")))


def _hear(tasks: "queue.SimpleQueue[Any]") -> None:
    with contextlib.suppress(EOFError, OSError):
        while True:
            tasks.put(_read(sys.stdin.buffer))
    os._exit(0)  # the maker is gone or has no more use for us


if __name__ == "__main__":
    _serve()
