"""Runs the bench page on this computer until it is stopped."""

import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from graduale.base.findings import refuse
from graduale.jobs.bench import Workshop
from graduale.web.app import app_of
from graduale.words.catalogue import say

HOST = "127.0.0.1"


def serve(book: Path, port: int, tell: Callable[[str], None]) -> None:
    """Serves the book at `book` on the loopback address; returns when stopped. `tell` is given the
    address once it answers.

    Errors: Refused when the port is in use or the book cannot be opened.
    """
    listening = _listening(port)
    workshop = Workshop(book)
    try:
        address = f"http://{HOST}:{listening.getsockname()[1]}/"
        tell(say("bench.where", address=address))
        config = uvicorn.Config(
            app_of(workshop),
            log_level="warning",
            access_log=False,
            server_header=False,
            lifespan="off",
            timeout_graceful_shutdown=2,
        )
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        workshop.close()
        listening.close()


def _listening(port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((HOST, port))
    except (OSError, OverflowError):
        made.close()
        raise refuse("port-taken", "--port", say("bench.port_taken", port=str(port))) from None
    made.listen(64)
    return made
