"""The farm's wifi as a relay in front of the server: cut, nothing passes and nothing connects, whatever a browser believes."""

from __future__ import annotations

import contextlib
import socket
import threading


class Wifi:
    """Relays connections from a port of its own to the server's, until it is cut."""

    def __init__(self, server_port: int) -> None:
        self._to = server_port
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._serve()

    def cut(self) -> None:
        """Stop listening and drop every connection."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        with self._lock:
            for end in self._open:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)

    def restore(self) -> None:
        """Listen again on the same port."""
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._serve()

    def _serve(self) -> None:
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def _accept(self, listener: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                phone, _ = listener.accept()
                threading.Thread(target=self._relay, args=(phone,), daemon=True).start()

    def _relay(self, phone: socket.socket) -> None:
        try:
            server = socket.create_connection(("127.0.0.1", self._to), timeout=5)
        except OSError:
            phone.close()
            return
        server.settimeout(None)
        with self._lock:
            self._open |= {phone, server}
        back = threading.Thread(target=self._copy, args=(server, phone), daemon=True)
        back.start()
        self._copy(phone, server)
        back.join()
        with self._lock:
            self._open -= {phone, server}
        phone.close()
        server.close()

    @staticmethod
    def _copy(source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                target.sendall(data)
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
