"""CPU of the guard's thread while a float bounces, and with a quiet one: `python -m tests.bench.chatter`."""

import time
from random import Random

from waaler.bed.wiring import FloatPin, RelayPin, Wiring
from waaler.devices.bench import open_bench
from waaler.devices.lines import mock_lines
from waaler.guard.limits import Limits
from waaler.guard.memory import Memory
from waaler.guard.messages import Ask, Purse, Relay
from waaler.keeper.clock import Clock, long_s
from waaler.keeper.guard_thread import GuardThread

SECONDS = 60.0
FLIPS_PER_S = 400


def measure(flips_per_s: float, seconds: float = SECONDS) -> tuple[float, int, float | None]:
    """CPU seconds of the guard's thread, flips made, and how long after the first one the relay went off."""
    factory = mock_lines()
    bench = open_bench(Wiring(RelayPin(17), sump_low=FloatPin(27)), factory)
    line, off_s = factory.pin(27), []
    line.drive_low()
    limits = Limits(has_tray_float=False, start_delay_s=1.0, rest_s=0.1, confirm_s=0.3)

    def tell(at: object, action: object) -> None:
        if action == Relay(on=False):
            off_s.append(long_s())

    thread = GuardThread(bench, limits, Memory(last_stop_s=0.0), Clock(True), tell, lambda: None, lambda _: None)
    relay_off = bench.relay.off

    def off() -> None:
        off_s.append(long_s())
        relay_off()

    bench.relay.off = off  # type: ignore[method-assign]
    thread.start()
    time.sleep(1.5)
    thread.inbox.put(Ask(1, 600.0, Purse.PLAN, long_s() + 5))
    time.sleep(0.5)
    assert bench.relay.is_on
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
    thread.stop()
    thread.join()
    first_off_s = next((at_s - began_s for at_s in off_s if at_s >= began_s and at_s < now_s), None)
    bench.close()
    return used_s, flips, first_off_s


if __name__ == "__main__":
    quiet_s = measure(0)[0]
    loud_s, flips, off_s = measure(FLIPS_PER_S)
    print(f"quiet float, pump on      {100 * quiet_s / SECONDS:.2f} % of a core")
    print(
        f"{flips} flips in {SECONDS:.0f} s  {100 * loud_s / SECONDS:.2f} % of a core; relay off after {off_s:.3f} s"
    )
