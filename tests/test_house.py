"""The house of the contributors' page: every import runs from a higher floor to a lower one."""

import ast
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "daemon" / "waaler"
FLOORS = {
    "plan": 1, "guard": 1, "bed": 1,
    "core": 2, "model": 2,
    "settings": 3, "devices": 3, "records": 3, "report": 3,
    "commission": 4, "guard_process": 4, "keeper": 4, "rehearsal": 4, "notify": 4, "page": 4,
    "cli": 5,
}  # fmt: skip
SAME_FLOOR_ALLOWED = {("report", "records")}
PURE = {room for room, floor in FLOORS.items() if floor <= 2}
PURE_MAY_IMPORT = sys.stdlib_module_names | {"waaler", "astral"}
IMPURE = {"os", "threading", "time", "socket", "sqlite3", "subprocess", "pathlib", "io", "asyncio", "random"}


def rooms() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if path.parent != PACKAGE)


def imports(path: Path) -> list[str]:
    found: list[str] = []
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found.append(node.module or "")
    return found


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0]


@pytest.mark.parametrize("path", rooms(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_downwards(path: Path) -> None:
    here = room_of(path)
    for module in imports(path):
        parts = module.split(".")
        if parts[0] != "waaler" or len(parts) < 2 or parts[1] not in FLOORS:
            continue
        there = parts[1]
        allowed = there == here or FLOORS[there] < FLOORS[here] or (here, there) in SAME_FLOOR_ALLOWED
        assert allowed, f"{here} (floor {FLOORS[here]}) imports {there} (floor {FLOORS[there]})"


@pytest.mark.parametrize(
    "path", [p for p in rooms() if room_of(p) in PURE], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_pure_rooms_import_no_clock_pin_file_or_thread(path: Path) -> None:
    roots = {module.split(".")[0] for module in imports(path)}

    assert roots <= PURE_MAY_IMPORT, roots - PURE_MAY_IMPORT
    assert not roots & IMPURE if room_of(path) != "model" else not roots & (IMPURE - {"random"})


def test_the_guard_s_process_knows_the_guard_its_lines_and_the_command_that_switches_off() -> None:
    for path in (PACKAGE / "guard_process").rglob("*.py"):
        ours = {".".join(module.split(".")[1:2]) for module in imports(path) if module.startswith("waaler.")}
        assert ours <= {"guard", "guard_process", "devices", "bed", "off"}
        assert not [m for m in imports(path) if m.startswith("waaler.bed.") and m != "waaler.bed.wiring"]


def test_the_guard_knows_no_plan() -> None:
    for path in (PACKAGE / "guard").rglob("*.py"):
        assert not [m for m in imports(path) if m.startswith("waaler.") and not m.startswith("waaler.guard")]
