"""Whatever a path of the file leads to, and whatever stands in it: settings, or a rejected file with its place."""

import os
import random
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path
from types import FrameType

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.settings.test_faults import SMALLEST

from waaler.bed.evaporation import reference_mm
from waaler.bed.weather import DayWeather
from waaler.bed.weather_table import MOST_ROWS, WeatherError, weather_of_csv
from waaler.settings import SettingsError, load, load_accepted, parse
from waaler.settings.outside_file import text_of

LONGEST_S = 10
EXAMPLE = Path(__file__).parents[2] / "config" / "bed.yaml"
CROPS = "pots: [{count: 14, crop: beans}]\ncrops: [{name: beans, planted: 2026-05-01, canopy: 4 ft2, stages: [20, 30, 30, 10], kc: [1, 0.9]}]\n"
BY_DEMAND = SMALLEST + '    on_demand: {per_demand: 150 mL per pot, between: ["08:00", "18:00"]}\n' + CROPS
TABLE = "date,t_max_c,t_min_c\n2026-06-21,28,14\n2026-06-22,30,15\n"


@pytest.fixture(autouse=True)
def alarm() -> Iterator[None]:
    """A file that is waited for for ever fails the test instead of hanging it."""

    def ring(number: int, frame: FrameType | None) -> None:
        raise AssertionError("it hangs")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(LONGEST_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def pipe(path: Path) -> None:
    os.mkfifo(path)


def device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def a_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(str(path))


KINDS: dict[str, Callable[[Path], None]] = {
    "a pipe": pipe, "a device": device, "a folder": Path.mkdir, "a socket": a_socket,
}  # fmt: skip
PATH_KEYS = {
    "weather.csv": ("weather: {csv: odd}\n", "odd:1:1: cannot be read: "),
    "mqtt.password_file": ("mqtt: {host: localhost, user: a, password_file: odd}\n", "t.yaml:8:49: "),
    "mqtt.ca_file": ("mqtt: {host: m, ca_file: odd}\n", "t.yaml:8:26: "),
    "mqtt.certificate_file": ("mqtt: {host: m, certificate_file: odd}\n", "t.yaml:8:35: "),
    "mqtt.key_file": ("mqtt: {host: m, key_file: odd}\n", "t.yaml:8:27: "),
    "mail.password_file": ("mail: {host: h, from: a@b, user: a, password_file: odd}\n", "t.yaml:8:52: "),
    "mail.ca_file": ("mail: {host: h, from: a@b, ca_file: odd}\n", "t.yaml:8:37: "),
    "webhooks.url_file": ("webhooks: [{url_file: odd}]\n", "t.yaml:8:23: "),
    "push.urls_file": ("push: {urls_file: odd}\n", "t.yaml:8:19: "),
    "heartbeat.url_file": ("heartbeat: {url_file: odd}\n", "t.yaml:8:23: "),
    "metrics_file": ("metrics_file: odd\n", "t.yaml:8:15: "),
}


def refusal(file: Path) -> str:
    with pytest.raises(SettingsError) as caught:
        load(file)
    return str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
def test_a_bed_s_file_that_is_no_regular_file_is_refused_at_once(kind: str, tmp_path: Path) -> None:
    KINDS[kind](tmp_path / "t.yaml")

    assert refusal(tmp_path / "t.yaml") == (
        f"{tmp_path}/t.yaml:1:1: cannot be read: this is {kind}, not a regular file; name a file that exists and may"
        " be read"
    )


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("key", PATH_KEYS)
def test_a_path_that_leads_to_no_regular_file_is_refused_at_once_with_its_place(
    key: str, kind: str, tmp_path: Path
) -> None:
    text, place = PATH_KEYS[key]
    (tmp_path / "t.yaml").write_text(SMALLEST + text)
    KINDS[kind](tmp_path / "odd")

    told = refusal(tmp_path / "t.yaml")

    assert told.startswith(f"{tmp_path}/{place}")
    assert f"this is {kind}, not a regular file" in told


def test_every_key_that_names_a_file_is_among_those_tried() -> None:
    from waaler.settings.schema import schema

    made = schema()
    sections = {"BedFile": made, **made["$defs"]}
    files = {(name, key) for name, one in sections.items() for key in one["properties"] if key.endswith("_file")}

    tried = {(key.split(".")[0], key.split(".")[-1]) for key in PATH_KEYS}
    names = {"BedFile": "metrics_file", "WebhookSection": "webhooks"}
    assert {(names.get(s, s.removesuffix("Section").lower()), k) for s, k in files} | {("weather", "csv")} == tried


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "utf-16-be", "utf-32-be"])
def test_settings_and_tables_may_begin_with_any_encoding_mark(encoding: str, tmp_path: Path) -> None:
    mark = "\ufeff" if encoding.endswith("-be") else ""
    settings = (mark + SMALLEST + 'title: "Gew\u00e4chs\u00adhaus"\r\nweather: {csv: days.csv}\r\n').encode(
        encoding
    )
    (tmp_path / "t.yaml").write_bytes(settings)
    (tmp_path / "days.csv").write_bytes((mark + TABLE).encode(encoding))

    found = load(tmp_path / "t.yaml")

    assert found.title == "Gew\u00e4chs\u00adhaus"
    assert found.weather.on(date(2026, 6, 22)).t_max_c == 30


def test_a_file_larger_than_its_kind_is_not_read_to_the_end(tmp_path: Path) -> None:
    with (tmp_path / "t.yaml").open("wb") as file:
        file.truncate(10**12)

    assert refusal(tmp_path / "t.yaml").endswith("1:1: the file is larger than 256 kB; keep only settings in it")


def test_what_the_accepted_text_names_stands_beside_the_grower_s_file(tmp_path: Path) -> None:
    (tmp_path / "etc").mkdir()
    (tmp_path / "state").mkdir()
    file, kept = tmp_path / "etc" / "t.yaml", tmp_path / "state" / "t.accepted.yaml"
    kept.write_text(
        BY_DEMAND + "weather: {csv: days.csv}\nmqtt: {host: m, user: a, password_file: pw, ca_file: ca}\n"
    )
    (tmp_path / "etc" / "days.csv").write_text(TABLE)

    found = load_accepted(kept, file)

    assert found.weather.on(date(2026, 6, 22)).t_max_c == 30
    assert found.mqtt is not None
    assert found.mqtt.ca_file == tmp_path / "etc" / "ca"
    assert found.mqtt.password_file is not None
    assert found.mqtt.password_file.path == tmp_path / "etc" / "pw"


def test_an_accepted_text_whose_table_is_gone_waters_by_the_usual_weather(tmp_path: Path) -> None:
    kept = tmp_path / "t.accepted.yaml"
    kept.write_text(BY_DEMAND + "weather: {csv: days.csv}\n")

    kept.write_text(kept.read_text() + "mqtt: {host: localhost, user: a, password_file: pipe}\n")
    pipe(tmp_path / "pipe")
    found = load_accepted(kept, tmp_path / "t.yaml")

    assert parse(kept.read_text(), str(kept)).weather.days == found.weather.days == ()
    assert found.thirst is not None
    assert found.weather.on(date(2026, 6, 22)).t_max_c == 24
    assert "t.accepted.yaml:12:49: mqtt.password_file: " in refusal(kept)


# --- tables -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (TABLE + '2026-06-23,"28,14\n', '4:12: a quotation mark (") that does not fit; write plain numbers without quotes'),
        (TABLE + '2026-06-23,28,"' + "9" * 200_000 + "\n", '4:15: a quotation mark (") that does not fit;'),
        (TABLE + "2026-06-23,28,\0\n", "4:15: '\0' is no t_min_c"),
        (TABLE + "2026-06-23,1_0,3\n", "4:12: '1_0' is no t_max_c"),
        ("date,t_max_c,t_min_c,rh_min_percent\n2026-06-23,28,14,-5\n", "2:18: '-5' is no rh_min_percent; write a plain"
         " number of % from 0 to 100, or nothing"),
        ("date,t_max_c,t_min_c,t_max_c\n", "1:22: column t_max_c is there twice; keep one of them"),
        (TABLE + "\n" * MOST_ROWS * 2, None),
        ("date,t_max_c,t_min_c\n" + "x\n" * (MOST_ROWS + 2), "2:1: 1 values for 3 columns"),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_read_says_where(text: str, told: str | None) -> None:
    if told is None:
        assert len(weather_of_csv(text)) == 2
        return
    with pytest.raises(WeatherError) as caught:
        weather_of_csv(text)

    assert str(caught.value).startswith(told)


def test_a_quoted_number_is_a_number() -> None:
    assert weather_of_csv('"date","t_max_c","t_min_c"\n"2026-06-21","28","14"\n')[date(2026, 6, 21)].t_max_c == 28


@given(st.text(st.sampled_from("0123456789-.,\"'\n\r\0 date_maxintchrT:\u2028\x85"), max_size=300))
def test_any_text_is_a_table_or_refused_with_its_place(text: str) -> None:
    with suppress(WeatherError):
        weather_of_csv("date,t_max_c,t_min_c\n" + text)
    with suppress(WeatherError):
        weather_of_csv(text)


HOURS_OF_ANY_YEARS = r"""
import re, sys
from pathlib import Path
from waaler.settings import SettingsError, load
try:
    kept = [load(Path(sys.argv[1])) for _ in range(2)]
    print(len(kept[0].weather.days), "days")
except SettingsError as problem:
    print(problem)
print(int(re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1]) // 1024)
"""


def loaded(tmp_path: Path, hours: int) -> tuple[str, int]:
    """What a process says that loads the table twice, as at a reload; and the most memory that it took, MB."""
    (tmp_path / "t.yaml").write_text(BY_DEMAND + "weather: {csv: hours.csv}\n")
    first = date(1990, 1, 1)
    with (tmp_path / "hours.csv").open("w") as table:
        table.write("time,t_c,rh_percent,wind_m_per_s,radiation_mj_per_m2\n")
        for n in range(hours):
            table.write(
                f"{first + timedelta(n // 24)}T{n % 24:02}:00,{20 + n % 24 / 10},{40 + n % 7},1.{n % 9},0.{n % 9}\n"
            )
    signal.alarm(120)
    done = subprocess.run(
        [sys.executable, "-c", HOURS_OF_ANY_YEARS, str(tmp_path / "t.yaml")],
        capture_output=True,
        text=True,
        timeout=100,
    )
    told, peak_mb = done.stdout.strip().rsplit("\n", 1)
    return told, int(peak_mb)


def test_the_largest_table_that_is_taken_fits_twice_into_the_unit_s_memory(tmp_path: Path) -> None:
    """The daemon's unit gives it 200 MB; beside the settings it needs some 60."""
    told, peak_mb = loaded(tmp_path, MOST_ROWS // 24 * 24)

    assert told == f"{MOST_ROWS // 24} days"
    assert peak_mb < 110


def test_a_table_of_thirty_years_of_hours_is_refused_and_costs_no_memory(tmp_path: Path) -> None:
    told, peak_mb = loaded(tmp_path, 30 * 365 * 24)

    assert told.startswith(f"{tmp_path}/hours.csv:")
    assert told.endswith("more than 100,000 lines; keep the last years alone") or "larger than 8 MB" in told
    assert peak_mb < 110


# --- what nobody thought of -----------------------------------------------------------------------

DEGREES = st.floats(-60, 60)
SHARE = st.none() | st.floats(0, 100)


@given(
    DEGREES, DEGREES, SHARE, SHARE, st.none() | st.floats(0, 60), st.none() | st.floats(0, 50), st.floats(-90, 90),
    st.floats(-400, 5000), st.integers(1, 366),
)  # fmt: skip
def test_a_day_of_any_weather_at_any_latitude_has_a_reference(
    one_c: float,
    other_c: float,
    damp: float | None,
    dry: float | None,
    wind: float | None,
    sun: float | None,
    latitude_deg: float,
    elevation_m: float,
    day: int,
) -> None:
    weather = DayWeather(max(one_c, other_c), min(one_c, other_c), damp, dry, wind, sun)

    assert 0 <= reference_mm(weather, latitude_deg, elevation_m, day).mm < 200


def test_the_polar_night_needs_some_water_and_no_division() -> None:
    night = DayWeather(-5.0, -12.0, 80.0, 60.0, 3.0, 0.0)

    assert 0 <= reference_mm(night, 78.2, 10.0, 355).mm < 1


def with_pump(points: str) -> str:
    return SMALLEST + f"layout: {{pump: {{points: {points}}}}}\n"


@pytest.mark.parametrize(
    "points",
    [
        "[[0 L/h, 60 m], [100 L/h, 59.999999 m], [100.0001 L/h, 0 m]]",
        "[[0 L/h, 60 m], [0.0000001 L/h, 0.001 m], [120000 L/h, 0 m]]",
        "[[0 L/h, 60 m], [0.0001 L/h, 59 m], [0.00010001 L/h, 1 m]]",
    ],
)
def test_a_pump_of_steep_points_is_refused_with_its_place(points: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse(with_pump(points), "t.yaml")

    assert str(caught.value).startswith(
        "t.yaml:8:16: layout.pump: the pump's points make no curve of a pump (bend "
    )


@given(st.tuples(*[st.floats(1e-9, 2000)] * 2), st.tuples(*[st.floats(0, 60)] * 3))
def test_a_pump_of_any_points_is_a_pump_or_a_rejected_file(
    flows: tuple[float, float], heads: tuple[float, ...]
) -> None:
    low, middle, top = sorted(heads)
    some, much = sorted(flows)
    with suppress(SettingsError):
        parse(
            with_pump(
                f"[[0 L/min, {top:.9f} m], [{some:.9f} L/min, {middle:.9f} m], [{much:.9f} L/min, {low:.9f} m]]"
            ),
            "t",
        )


@pytest.mark.parametrize("error", [ZeroDivisionError, OverflowError, MemoryError, RecursionError, TypeError])
def test_anything_at_all_that_goes_wrong_is_a_rejected_file(
    error: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise error("deep inside")

    for place, where in (("build_layout.figures", "layout"), ("build.plan", "the file")):
        with monkeypatch.context() as patch:
            patch.setattr(f"waaler.settings.settings.{place}", fail)
            with pytest.raises(SettingsError) as caught:
                parse(SMALLEST, "t.yaml")
        assert str(caught.value) == (
            f"t.yaml:1:1: {where}: these values cannot be worked with ({error.__name__}: deep inside); undo the last"
            " change here"
        )


def test_a_file_damaged_anywhere_is_settings_or_a_rejected_file(tmp_path: Path) -> None:
    chance, whole = random.Random(16), EXAMPLE.read_bytes()
    for n in range(150):
        damaged = bytearray(whole)
        at = chance.randrange(len(damaged))
        damaged[at : at + chance.choice((0, 1, 3, 40))] = chance.randbytes(chance.choice((0, 1, 3, 40)))
        (tmp_path / "t.yaml").write_bytes(damaged[: chance.choice((at, None))] if n % 5 == 0 else damaged)
        signal.alarm(LONGEST_S)
        with suppress(SettingsError):
            load(tmp_path / "t.yaml")


def test_a_text_of_wrong_bytes_is_told_with_line_and_column(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_bytes(b"date\nab\xc3\x28\n")
    (tmp_path / "u.csv").write_bytes("\ufeffdate\nab".encode("utf-16-le") + b"\x00\xd8")

    for name, place in (("t.csv", "2:3: this is not UTF-8 text"), ("u.csv", "2:3: this is not UTF-16 text")):
        with pytest.raises(SettingsError) as caught:
            text_of(tmp_path / name)
        assert str(caught.value) == f"{tmp_path}/{name}:{place}; save the file as UTF-8 text"
