"""Where files are looked for, by users who may read and by those who may not."""

from pathlib import Path

import pytest

from waaler.settings import places
from waaler.settings.places import records_file, socket_file


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("STATE_DIRECTORY", "RUNTIME_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    return tmp_path


def pretend(monkeypatch: pytest.MonkeyPatch, here: Path) -> None:
    """The system's folders stand below `here`."""
    monkeypatch.setattr(places, "Path", lambda *parts: here.joinpath(*(str(part).lstrip("/") for part in parts)))


def test_records_not_yet_begun_are_expected_where_the_user_s_own_daemon_would_begin_them(own_folders: Path) -> None:
    assert records_file("nobody-s-bed") == own_folders / "state/waaler/nobody-s-bed/nobody-s-bed.db"


def test_the_service_manager_s_folder_comes_before_all_others(
    own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(own_folders / "given"))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(own_folders / "handed"))

    assert records_file("terrace") == own_folders / "given/terrace.db"
    assert socket_file("terrace") == own_folders / "handed/terrace.sock"


def test_the_system_s_socket_is_asked_for_by_one_who_may_enter_its_folder_and_not_write_there(
    own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(monkeypatch, own_folders)
    folder = own_folders / "run/waaler/terrace"
    folder.mkdir(parents=True, mode=0o550)
    folder.chmod(0o550)

    assert socket_file("terrace") == folder / "terrace.sock"


def test_records_in_a_folder_that_this_user_may_not_enter_are_not_taken_for_missing(
    own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(path: Path) -> bool:
        raise PermissionError(path)

    monkeypatch.setattr(Path, "exists", refused)

    assert records_file("terrace") == Path("/var/lib/waaler/terrace/terrace.db")
