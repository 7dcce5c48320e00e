"""CPU of the guard's loop while a float bounces, and with a quiet one: `python -m tests.bench.chatter`."""

import threading
import time
from random import Random

from waaler.bed.wiring import FloatPin, PumpPins, RelayPin
from waaler.devices.clock import Clock, long_s
from waaler.devices.lines import mock_lines
from waaler.devices.pump_lines import open_pump_lines
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import Ask, Ended, Purse
from waaler.guard.state import begin
from waaler.guard_process.pump import Pump

SECONDS = 60.0
FLIPS_PER_S = 400


def measure(flips_per_s: float, seconds: float = SECONDS) -> tuple[float, int, float | None]:
    """CPU seconds of the guard's loop, flips made, and how long after the first one the relay went off."""
    factory = mock_lines()
    lines = open_pump_lines(PumpPins(RelayPin(17), sump_low=FloatPin(27)), factory)
    line, off_s = factory.pin(27), []
    line.drive_low()
    limits = Limits(has_tray_float=False, start_delay_s=1.0, rest_s=0.1, confirm_s=0.3)
    state = begin(limits, Memory(last_stop_s=0.0), long_s())
    pump = Pump(
        lines, state, Clock(True), lambda _, said: off_s.append(long_s()) if isinstance(said, Ended) else None
    )
    end = threading.Event()

    def loop() -> None:
        while not end.wait(max(0.0, pump.due_s - long_s())):
            pump.look()

    thread = threading.Thread(target=loop)
    thread.start()
    time.sleep(1.5)
    pump.tell(Ask(1, 600.0, Purse.PLAN, long_s() + 5))
    time.sleep(0.5)
    assert lines.relay.is_on
    clock = time.pthread_getcpuclockid(thread.ident or 0)
    before_s, began_s, flips, noise = time.clock_gettime(clock), long_s(), 0, Random(1)
    while (now_s := long_s()) < began_s + seconds:
        if flips_per_s:
            flips += 1
            line.drive_high() if flips % 2 else line.drive_low()
            time.sleep(noise.uniform(0.5, 1.5) / flips_per_s)
        else:
            time.sleep(0.1)
    used_s = time.clock_gettime(clock) - before_s
    end.set()
    thread.join()
    first_off_s = next((at_s - began_s for at_s in off_s if at_s >= began_s and at_s < now_s), None)
    pump.close()
    return used_s, flips, first_off_s


if __name__ == "__main__":
    quiet_s = measure(0)[0]
    loud_s, flips, off_s = measure(FLIPS_PER_S)
    print(f"quiet float, pump on      {100 * quiet_s / SECONDS:.2f} % of a core")
    print(
        f"{flips} flips in {SECONDS:.0f} s  {100 * loud_s / SECONDS:.2f} % of a core; relay off after {off_s:.3f} s"
    )
