"""The journal on disk: nobody waits for it, and what it holds is one of the lines that were put."""

from pathlib import Path

import pytest
from tests.keeper.process import until

from waaler.guard_process.journal_file import MOST_BYTES, JournalWriter, read_journal


def written(path: Path, *lines: bytes, is_aside: bool = False) -> JournalWriter:
    writer = JournalWriter(path, is_aside)
    writer.start()
    for line in lines:
        writer.put(line)
        until(lambda line=line: (read_journal(path) or b"").endswith(line), "the line on disk")  # type: ignore[misc]
    writer.end(5.0)
    assert not writer.is_alive()
    return writer


def test_a_file_that_cannot_be_read_is_told_from_one_that_is_not_there(tmp_path: Path) -> None:
    assert read_journal(tmp_path / "none") == b""
    assert read_journal(tmp_path) is None


def test_a_wait_ends_when_a_kill_could_lose_the_line_no_more_and_in_time_where_the_disk_is_gone(
    tmp_path: Path,
) -> None:
    writer = JournalWriter(tmp_path / "t.guard")
    writer.start()
    writer.put(b"one\n")
    writer.wait(30.0)
    assert read_journal(tmp_path / "t.guard") == b"one\n"

    lost = JournalWriter(tmp_path / "none" / "t.guard")
    lost.start()
    lost.put(b"one\n")
    lost.wait(0.01)
    assert read_journal(tmp_path / "none" / "t.guard") == b""
    writer.end(5.0)
    lost.end(5.0)


def test_lines_are_appended_and_a_start_begins_the_file_anew(tmp_path: Path) -> None:
    path = tmp_path / "t.guard"
    path.write_bytes(b"old\ntorn")
    written(path, b"one\n", b"two\n")

    assert path.read_bytes() == b"one\ntwo\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_has_grown_long_is_begun_anew(tmp_path: Path) -> None:
    path = tmp_path / "t.guard"
    long = b"x" * MOST_BYTES + b"\n"
    written(path, b"one\n", long, b"two\n")

    assert path.read_bytes() == b"two\n"


@pytest.mark.parametrize("how", ["deleted", "overwritten", "folder deleted"])
def test_a_file_that_is_lost_while_nothing_happens_is_written_anew(tmp_path: Path, how: str) -> None:
    path = tmp_path / "folder" / "t.guard"
    path.parent.mkdir()
    writer = JournalWriter(path, look_every_s=0.05)
    writer.start()
    writer.put(b"one\n")
    until(lambda: read_journal(path) == b"one\n", "the line on disk")
    if how == "overwritten":
        path.write_bytes(b"something else")
    else:
        path.unlink()
    if how == "folder deleted":
        path.parent.rmdir()
        until(lambda: writer.problem, "the disk's refusal")
        path.parent.mkdir()

    until(lambda: read_journal(path) == b"one\n", "the line again")
    writer.end(5.0)


def test_a_folder_that_was_away_takes_the_next_line_when_it_is_back(tmp_path: Path) -> None:
    path = tmp_path / "folder" / "t.guard"
    path.parent.mkdir()
    writer = JournalWriter(path)
    writer.start()
    writer.put(b"one\n")
    until(lambda: read_journal(path) == b"one\n", "the line on disk")
    path.unlink()
    path.parent.rmdir()
    writer.put(b"two\n")
    until(lambda: writer.problem, "the disk's refusal")
    path.parent.mkdir()

    until(lambda: read_journal(path) == b"two\n", "the line when the folder is back")
    writer.end(5.0)


def test_another_beds_journal_is_moved_aside(tmp_path: Path) -> None:
    path = tmp_path / "t.guard"
    path.write_bytes(b"another bed's\n")
    written(path, b"one\n", is_aside=True)

    assert (tmp_path / "t.guard.aside").read_bytes() == b"another bed's\n"
    assert path.read_bytes() == b"one\n"


def test_s10_a_disk_that_takes_nothing_is_said_and_the_newest_line_is_written_when_it_does(tmp_path: Path) -> None:
    folder = tmp_path / "away"
    writer = JournalWriter(folder / "t.guard")
    writer.start()
    writer.put(b"one\n")
    until(lambda: writer.problem, "the problem")
    folder.mkdir()
    writer.put(b"two\n")
    until(lambda: (folder / "t.guard").exists(), "the file")
    writer.end(5.0)

    assert (folder / "t.guard").read_bytes() == b"two\n"
    assert writer.problem == ""


def test_an_end_waits_no_longer_than_it_was_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = JournalWriter(tmp_path / "none" / "t.guard")
    writer.start()
    writer.put(b"one\n")
    until(lambda: writer.problem, "the problem")
    writer.end(1.0)

    assert not writer.is_alive()
