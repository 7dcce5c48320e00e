"""Where files are looked for, by users who may read and by those who may not."""

import os
import re
from pathlib import Path

import pytest

from waaler.settings import places
from waaler.settings.places import FolderError, bed_id, records_file, runtime_folder, socket_file, state_folder


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


# --- folders that everybody may make --------------------------------------------------------------


@pytest.fixture
def shared(own_folders: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the folder of last resort would stand, in a /tmp of our own."""
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    (own_folders / "tmp").mkdir()
    pretend(monkeypatch, own_folders)
    return own_folders / "tmp" / f"waaler-{os.getuid()}"


def test_the_folder_of_last_resort_is_ours_alone(shared: Path) -> None:
    folder = runtime_folder("terrace")

    assert folder == shared / "waaler" / "terrace"
    assert runtime_folder("terrace") == folder
    for part in (shared, shared / "waaler", folder):
        assert part.stat().st_mode & 0o027 == 0


def test_a_stranger_s_folder_is_not_trusted(shared: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (shared / "waaler" / "terrace").mkdir(parents=True, mode=0o700)
    owner = os.getuid()
    strange = shared.with_name("waaler-12345")
    shared.rename(strange)
    monkeypatch.setattr("waaler.settings.places.os.getuid", lambda: 12345)

    for ask in (runtime_folder, socket_file):
        with pytest.raises(FolderError) as refusal:
            ask("terrace")
        assert str(refusal.value) == (
            f"{strange} belongs to another user (number {owner}); remove it, or set RUNTIME_DIRECTORY to a folder of"
            " yours"
        )


@pytest.mark.parametrize("part", ["", "waaler", "waaler/terrace"])
@pytest.mark.parametrize("mode", [0o777, 0o770, 0o1777])
def test_a_folder_that_others_may_change_is_not_trusted(shared: Path, part: str, mode: int) -> None:
    runtime_folder("terrace")
    (shared / part).chmod(mode)

    with pytest.raises(FolderError, match="may be changed by others"):
        runtime_folder("terrace")


@pytest.mark.parametrize("part", ["", "waaler", "waaler/terrace"])
def test_a_link_in_the_place_of_such_a_folder_is_not_followed(shared: Path, part: str, own_folders: Path) -> None:
    runtime_folder("terrace")
    real = shared / part
    real.rename(own_folders / "elsewhere")
    real.symlink_to(own_folders / "elsewhere")

    with pytest.raises(FolderError, match="is no folder"):
        runtime_folder("terrace")


def test_a_user_s_own_state_may_stand_behind_a_link_and_not_be_everybody_s(own_folders: Path) -> None:
    (own_folders / "disk").mkdir()
    (own_folders / "state").mkdir()
    (own_folders / "state" / "waaler").symlink_to(own_folders / "disk")
    assert state_folder("terrace") == own_folders / "state" / "waaler" / "terrace"
    (own_folders / "disk").chmod(0o777)
    with pytest.raises(FolderError, match="may be changed by others"):
        state_folder("terrace")


def test_a_file_of_any_name_gives_an_id_that_leaves_no_folder(tmp_path: Path) -> None:
    for name in ("...yaml", "TERRACE two.yaml", "x" * 60 + ".yaml", "a\n.yaml"):
        (tmp_path / name).write_bytes(b"\xff")
        assert re.fullmatch(r"[a-z0-9-]{1,31}", bed_id(tmp_path / name))
