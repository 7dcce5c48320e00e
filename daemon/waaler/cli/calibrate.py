"""Tell a moisture probe what dry and wet are."""

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import echo, file_argument, read_settings, refuse

if TYPE_CHECKING:
    from waaler.bed.wiring import AnalogDevice
    from waaler.settings import Settings

__all__ = ["command"]

READS, PAUSE_S, TRIES = 9, 0.3, 5
UNSTEADY_SHARE = 0.02
"""Of full scale between the lowest and highest reading. Common practice, no source."""

LEAST_SPAN_SHARE = 0.05
"""Of full scale between dry and wet; a probe that shows less is broken or not in the media. Common practice, no
source."""

Read = Callable[[], float | None]


class Percent(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    name = "share"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from waaler.settings.units import SHARE, UnitError, amount

        try:
            share = amount(str(value), SHARE)
        except UnitError as problem:
            self.fail(str(problem), param, ctx)
        if not 1 <= share <= 99:
            self.fail("write a share from 1% to 99%; dry and wet are asked for anyway", param, ctx)
        return share


@click.command("calibrate")
@click.argument("probe")
@click.option("--at", "between", multiple=True, type=Percent(), help="A point between as well, such as 50%.")
@click.option("--write", is_flag=True, help="Write it into the file; all else in it, comments too, stays.")
@click.option("--simulated", is_flag=True, help="A probe that follows the questions: to see how it goes.")
@file_argument
def command(probe: str, between: tuple[float, ...], write: bool, simulated: bool, file: Path | None) -> None:
    """Read PROBE dry and at container capacity, and print the lines for the file.

    Dry is in air, clean and wiped. Wet is in the media of its pot once a soak has drained for 20 min. Points
    between are by the pot's weight: 50% is half way from its dry to its drained weight. The daemon may run
    meanwhile.

    Example: waaler calibrate pot_5 --write terrace.yaml
    """
    settings = read_settings(file)
    device = next((one for one in settings.wiring.probes if one.name == probe), None)
    if device is None:
        known = ", ".join(one.name for one in settings.wiring.probes) or "none"
        refuse(str(settings.source.fault(("sensing",), f"no probe is named '{probe}'", f"known: {known}")), 2)
    with ExitStack() as stack:
        shares = (0.0, *sorted(set(between)), 100.0)
        read_at = _simulated(device, stack) if simulated else _real(file, settings, device, stack)
        counts = {share: _ask(probe, share, read_at(share)) for share in shares}
    calibration = _judge(device, counts)
    _show(probe, counts, calibration)
    if write:
        _write(settings, probe, calibration)


def _ask(probe: str, share: float, read: Read) -> float:
    """Asks a person to put the probe there, and reads until it stands still; ends with 1 where it never does."""
    place = {0.0: "in air, clean and dry", 100.0: "in its pot, drained for 20 min after a soak"}
    where = place.get(share, f"in its pot, at {share:g} % of the drained water by weight")
    click.prompt(f"{probe} {where}: press Enter", default="", show_default=False, prompt_suffix=" ")
    for _ in range(TRIES):
        counts, spread = _steady(read)
        if counts is not None:
            echo(f"  {counts:.0f} counts, within {spread:.0f}")
            break
        echo("  no reading" if spread < 0 else f"  not steady yet: {spread:.0f} counts apart")
    else:
        refuse(f"{probe} gives no steady reading; look at its wire and its converter")
    return counts


def _steady(read: Read) -> tuple[float | None, float]:
    """The median of some reads and how far they lie apart; no median if they are not steady, -1 without reads."""
    from time import sleep

    found: list[float] = []
    for n in range(READS):
        sleep(PAUSE_S if n else 0.0)
        counts = read()
        if counts is None:
            return None, -1.0
        found.append(counts)
    spread = max(found) - min(found)
    full = 1023 if max(found) <= 1023 else 32_767
    return (None if spread > UNSTEADY_SHARE * full else median(found)), spread


def _judge(device: "AnalogDevice", counts: dict[float, float]) -> dict[str, Any]:
    """What belongs in the file; ends with 1 where the readings make no calibration."""
    from waaler.bed.scale import Scale

    full = device.source.converter.full_counts
    if abs(counts[0.0] - counts[100.0]) < LEAST_SPAN_SHARE * full:
        refuse("dry and wet hardly differ: is the probe in the media, and the right one? Nothing was changed.")
    points = [(round(value), share) for share, value in counts.items()]
    try:
        is_monotonic = Scale.of(*points).is_monotonic
    except ValueError:
        is_monotonic = False
    if not is_monotonic:
        refuse("the points do not lie in a row from dry to wet: measure again. Nothing was changed.")
    found: dict[str, Any] = {"dry": round(counts[0.0]), "wet": round(counts[100.0])}
    inner = [[round(value), f"{share:g} %"] for share, value in counts.items() if 0 < share < 100]
    return found | ({"points": inner} if inner else {})


def _show(probe: str, counts: dict[float, float], calibration: dict[str, Any]) -> None:
    from waaler.settings.edit import written

    echo(f"\n  # under sensing, probes, {probe}; {abs(counts[0.0] - counts[100.0]):.0f} counts of span:")
    echo(f"      calibration: {written(calibration)}")


def _write(settings: "Settings", probe: str, calibration: dict[str, Any]) -> None:
    """Into the file, if it is then still valid."""
    from waaler.cli.writing import write_value

    n = [one.name for one in settings.file.sensing.probes].index(probe)
    old = settings.file.sensing.probes[n].calibration
    if old is not None and old.points and "points" not in calibration:
        calibration = calibration | {"points": []}
    write_value(settings, ("sensing", "probes", n, "calibration"), calibration)


# --- where the counts come from -----------------------------------------------------------------


def _real(
    file: Path | None, settings: "Settings", device: "AnalogDevice", stack: ExitStack
) -> Callable[[float], Read]:
    """From the daemon that keeps the bed; without one from the converter itself."""
    from waaler.cli.common import daemon_socket
    from waaler.notify.asking import ask

    _, path = daemon_socket(file)

    def from_daemon() -> float | None:
        answer = ask(path, {"do": "counts", "name": device.name})
        return float(answer["counts"]) if answer.get("ok") else None

    try:
        ask(path, {"do": "status"})
    except (OSError, ValueError):
        read = _from_lines(settings, device, stack)
        return lambda _: read
    return lambda _: from_daemon


def _from_lines(settings: "Settings", device: "AnalogDevice", stack: ExitStack) -> Read:
    from waaler.devices.analog import open_channel
    from waaler.devices.lines import NoLines, pi_i2c, pi_lines

    try:
        factory = pi_lines()
        stack.callback(factory.close)
        channel = open_channel(device.source, factory, pi_i2c() if settings.wiring.needs_i2c else None)
    except NoLines as problem:
        refuse(str(problem))
    return channel.counts


def _simulated(device: "AnalogDevice", stack: ExitStack) -> Callable[[float], Read]:
    """The real channel class on a simulated converter, whose probe stands where the question wants it."""
    from random import Random

    from waaler.devices.analog import open_channel
    from waaler.devices.lines import mock_lines
    from waaler.devices.simulated import Converter
    from waaler.devices.simulated_i2c import SimulatedI2c
    from waaler.model.sensors import counts_on

    noise, share = Random(1), [0.0]
    factory = mock_lines()
    stack.callback(factory.close)

    def counts(_: int) -> float:
        return counts_on(device.source, share[0] + noise.gauss(0.0, 0.2))

    Converter(counts, factory)
    channel = open_channel(device.source, factory, SimulatedI2c(counts, device.source.address))

    def at(wanted: float) -> Read:
        def read() -> float | None:
            share[0] = wanted
            return channel.counts()

        return read

    return at
