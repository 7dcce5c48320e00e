"""Switches a bed's relays off after the guard's death: `python -I -m waaler.off FOLDER ID`.

The lines and their off levels come from `ID.off`, a small JSON file that the guard writes before it claims them. A
chip is found by its label, whatever number the kernel gave it at this boot. It imports as little as it can, since
every millisecond of it the pump may be running; without arguments it takes the folder from RUNTIME_DIRECTORY and
every `*.off` file in it.
"""

import json
import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import ModuleType
    from typing import Any

__all__ = ["main", "switch_off"]


def switch_off(path: str) -> tuple[list[str], list[str]]:
    """Claims every line of the file at its off level: what was done, and what went wrong, one line each.

    A line keeps that level after it is given back, on kernels that keep released outputs; on others it falls back
    to the relay board's own pull.
    """
    import lgpio

    with open(path, encoding="utf-8") as file:
        lines = json.load(file)["lines"]
    done, problems = [], []
    for line in lines:
        chip_name = line.get("label") or f"chip {line['chip']}"
        name = f"GPIO {line['gpio']} on {chip_name}"
        try:
            chip = _opened(lgpio, line)
            try:
                lgpio.gpio_claim_output(chip, line["gpio"], line["off"])
            finally:
                lgpio.gpiochip_close(chip)
        except (lgpio.error, LookupError) as error:
            problems.append(f"{name}: {error}")
        else:
            done.append(f"{name} is off")
    return done, problems


def _opened(lgpio: "ModuleType", line: "dict[str, Any]") -> int:
    """The chip of this label; of a file without one, the chip of that number. Raises LookupError."""
    label = line.get("label")
    if not label:
        return int(lgpio.gpiochip_open(line["chip"]))
    numbers = sorted(
        int(name[8:]) for name in os.listdir("/dev") if name.startswith("gpiochip") and name[8:].isdigit()
    )
    for number in sorted(numbers, key=lambda one: one != line["chip"]):
        try:
            chip = lgpio.gpiochip_open(number)
        except lgpio.error:
            continue
        if str(lgpio.gpio_get_chip_info(chip)[3]) == label:
            return int(chip)
        lgpio.gpiochip_close(chip)
    raise LookupError(f"no chip of that name among gpiochip {numbers}")


def main(arguments: list[str]) -> int:
    """0 when every line is off, 1 when one could not be claimed (a guard that lives holds it)."""
    folder = arguments[0] if arguments else os.environ.get("RUNTIME_DIRECTORY", "")
    names = [f"{arguments[1]}.off"] if len(arguments) > 1 else [n for n in _listed(folder) if n.endswith(".off")]
    problems = []
    for name in names:
        try:
            done, wrong = switch_off(os.path.join(folder, name))
        except (OSError, ValueError, KeyError, TypeError, ImportError) as error:
            done, wrong = [], [f"{type(error).__name__}: {error}"]
        problems += [f"{name}: {problem}" for problem in wrong]
        for text in done:
            print(text)
    for problem in problems:
        print(problem, file=sys.stderr)
    return 1 if problems else 0


def _listed(folder: str) -> list[str]:
    try:
        return os.listdir(folder) if folder else []
    except OSError:
        return []


if __name__ == "__main__":
    os.chdir(os.environ.get("LG_WD") or (sys.argv[1] if len(sys.argv) > 1 else "/"))
    sys.exit(main(sys.argv[1:]))
