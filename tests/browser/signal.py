"""A cable between the browser and the site that a test can pull: no signal, for every request."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

CHUNK_BYTES = 65_536


class Cable:
    """Carries bytes between a port of its own and the site's, as long as it is plugged in.

    ``loses_answers``: what is asked arrives, and its answer never does.
    """

    loses_answers = False

    def __init__(self, host: str, port: int) -> None:
        self.site = (host, port)
        self.lines: list[socket.socket] = []
        self.hand = threading.Lock()
        self.listener = self._listen(0)
        self.port: int = self.listener.getsockname()[1]
        self.url = f"http://{host}:{self.port}"

    def pull(self) -> None:
        """Cut every line, and take no new one."""
        with self.hand:
            for line in [self.listener, *self.lines]:
                with suppress(OSError):
                    line.shutdown(socket.SHUT_RDWR)
                line.close()
            self.lines.clear()

    def plug_in(self) -> None:
        self.listener = self._listen(self.port)

    def _listen(self, port: int) -> socket.socket:
        listener = socket.create_server((self.site[0], port), reuse_port=True)
        threading.Thread(target=self._take, args=[listener], daemon=True).start()
        return listener

    def _take(self, listener: socket.socket) -> None:
        while True:
            try:
                near, _ = listener.accept()
                far = socket.create_connection(self.site)
            except OSError:
                return
            with self.hand:
                if listener.fileno() < 0:  # the cable was pulled while this line was taken
                    near.close()
                    far.close()
                    return
                self.lines += [near, far]
            for one, other in ((near, far), (far, near)):
                threading.Thread(target=self._carry, args=[one, other, far], daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, far: socket.socket) -> None:
        with suppress(OSError):
            while chunk := one.recv(CHUNK_BYTES):
                if one is far and self.loses_answers:
                    break
                other.sendall(chunk)
        for line in (one, other):
            with suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)


@contextmanager
def plugged_in(host: str, port: int) -> Iterator[Cable]:
    cable = Cable(host, port)
    try:
        yield cable
    finally:
        cable.pull()
