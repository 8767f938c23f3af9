"""A cable between a page and a program, on which nothing may be heard for a while."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

PIECE = 65536


@dataclass
class Cable:
    """
    Passes on what comes to a port of its own, until it is cut.

    What was open then stays open and silent for good, as for a laptop that slept: nobody is told.
    """

    to_port: int
    listening: socket.socket = field(default_factory=lambda: socket.create_server(("127.0.0.1", 0)))
    _open: list[socket.socket] = field(default_factory=list)
    _silent: set[socket.socket] = field(default_factory=set)
    _whole: threading.Event = field(default_factory=threading.Event)
    _ended: bool = False

    @property
    def port(self) -> int:
        """The port to which the page connects."""
        return int(self.listening.getsockname()[1])

    def cut(self) -> None:
        """Let nothing through any more."""
        self._whole.clear()
        self._silent.update(self._open)

    def mend(self) -> None:
        """Let through what is opened from now on."""
        self._whole.set()

    def accept(self) -> None:
        """Take connections, until the end."""
        while not self._ended:
            with suppress(OSError):
                page, _ = self.listening.accept()
                self._open.append(page)
                _start(self._joined, page)

    def end(self) -> None:
        """Close everything."""
        self._ended = True
        self._whole.set()
        for one in (self.listening, *self._open):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def _joined(self, page: socket.socket) -> None:
        """Join a page to the program, once the cable is whole."""
        self._whole.wait()
        try:
            program = socket.create_connection(("127.0.0.1", self.to_port))
        except OSError:
            page.close()
            return
        self._open.append(program)
        _start(self._pass_on, page, program)
        self._pass_on(program, page)

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        """Pass on what one side sends, and that it ended."""
        with suppress(OSError):
            while data := source.recv(PIECE):
                if source not in self._silent:
                    sink.sendall(data)
        if source not in self._silent:
            with suppress(OSError):
                sink.shutdown(socket.SHUT_RDWR)


def _start(act: Callable[..., None], *given: socket.socket) -> None:
    threading.Thread(target=act, args=given, daemon=True).start()


@contextmanager
def cable(to_port: int) -> Iterator[Cable]:
    """A whole cable, until the block ends."""
    found = Cable(to_port)
    found.mend()
    accepting = threading.Thread(target=found.accept, daemon=True)
    accepting.start()
    try:
        yield found
    finally:
        found.end()
        accepting.join()
