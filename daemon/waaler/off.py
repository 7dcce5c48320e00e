"""Switches a bed's relays off after the daemon's death: `python -I -m waaler.off FOLDER ID`.

The lines and their off levels come from `ID.off`, a small JSON file that the daemon writes before it claims them.
It imports as little as it can, since every millisecond of it the pump may be running; without arguments it takes
the folder from RUNTIME_DIRECTORY and every `*.off` file in it.
"""

import json
import os
import sys

__all__ = ["main", "switch_off"]


def switch_off(path: str) -> str | None:
    """Claims every line of the file at its off level; what went wrong, or None.

    The line keeps that level after it is given back, on kernels that keep released outputs; on others it falls
    back to the relay board's own pull.
    """
    import lgpio

    with open(path, encoding="utf-8") as file:
        lines = json.load(file)["lines"]
    problem = None
    for line in lines:
        try:
            chip = lgpio.gpiochip_open(line["chip"])
            try:
                lgpio.gpio_claim_output(chip, line["gpio"], line["off"])
            finally:
                lgpio.gpiochip_close(chip)
        except lgpio.error as error:
            problem = f"GPIO {line['gpio']}: {error}"
    return problem


def main(arguments: list[str]) -> int:
    """0 when every line is off, 1 when one could not be claimed (a daemon that lives holds it)."""
    folder = arguments[0] if arguments else os.environ.get("RUNTIME_DIRECTORY", "")
    names = [f"{arguments[1]}.off"] if len(arguments) > 1 else [n for n in _listed(folder) if n.endswith(".off")]
    problems = []
    for name in names:
        try:
            problem = switch_off(os.path.join(folder, name))
        except (OSError, ValueError, KeyError, TypeError, ImportError) as error:
            problem = f"{type(error).__name__}: {error}"
        if problem is not None:
            problems.append(f"{name}: {problem}")
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
