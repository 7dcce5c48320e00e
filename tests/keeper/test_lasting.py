"""A thread that raises is told of and begun again."""

from threading import Event

from waaler.keeper.lasting import LastingThread


class Twice(LastingThread):
    """Raises the first time."""

    def __init__(self) -> None:
        self.deaths: list[tuple[str, str]] = []
        super().__init__("twice", lambda name, problem: self.deaths.append((name, str(problem))))
        self.times = 0
        self.is_done = Event()

    def work(self) -> None:
        self.times += 1
        if self.times == 1:
            raise RuntimeError("bug")
        self.is_done.set()


def test_a_thread_that_raises_is_told_of_and_begun_again() -> None:
    thread = Twice()
    thread.start()

    assert thread.is_done.wait(10)
    thread.join(10)
    assert thread.times == 2
    assert thread.deaths == [("twice", "bug")]
