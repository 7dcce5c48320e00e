"""The daemon's answer, whatever it is."""

import socket
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest

from waaler.notify.asking import NO_ANSWER, ask, ask_status


def test_a_missing_socket_is_no_answer(tmp_path: Path) -> None:
    assert ask_status(tmp_path / "terrace.sock") == NO_ANSWER


@pytest.mark.parametrize("answer", [b"", b"\n", b"{\n", b"[1]\n", b'{"ok": true}\n', b"\xff\xfe\n", b"x" * 100_000])
def test_nonsense_is_no_answer(tmp_path: Path, answer: bytes) -> None:
    path = tmp_path / "terrace.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(path))
        listener.listen()

        def serve() -> None:
            talk, _ = listener.accept()
            with talk:
                talk.recv(4096)
                with suppress(OSError):  # the asker may have had enough
                    talk.sendall(answer)

        server = threading.Thread(target=serve)
        server.start()
        assert ask_status(path) == NO_ANSWER
        server.join(timeout=10)


def test_an_answer_that_drips_ends_with_the_time_for_the_whole_of_it(tmp_path: Path) -> None:
    path, enough = tmp_path / "terrace.sock", threading.Event()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(path))
        listener.listen()

        def drip() -> None:
            talk, _ = listener.accept()
            with talk, suppress(OSError):
                while not enough.wait(0.02):
                    talk.sendall(b" ")

        server = threading.Thread(target=drip)
        server.start()
        began_s = time.monotonic()
        with pytest.raises(TimeoutError):
            ask(path, {"do": "status"}, 0.3)
        took_s = time.monotonic() - began_s
        enough.set()
        server.join(timeout=10)
    assert took_s < 5.0
