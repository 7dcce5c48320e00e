"""`waaler alert`: the ways to people, tried and looked at."""

import json
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.cli.test_history import BED
from tests.notify.mosquitto import Mosquitto
from tests.notify.servers import MailServer, WebServer, free_port

from waaler.cli.main import main


@pytest.fixture
def bed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    return tmp_path / "terrace.yaml"


def test_a_test_goes_through_each_channel_and_each_failure_is_told(bed: Path) -> None:
    with closing(MailServer()) as mail, closing(WebServer()) as web:
        bed.write_text(
            f"""{BED}
contacts: [{{name: Ann, mail: ann@example.org}}]
mqtt: {{host: 127.0.0.1, port: {free_port()}}}
mail: {{host: 127.0.0.1, port: {mail.port}, security: none, from: bed@example.org}}
webhooks: [{{name: good, url: "{web.url}"}}, {{name: away, url: "http://127.0.0.1:{free_port()}/s3cret"}}]
"""
        )
        done = CliRunner().invoke(main, ["alert", "--test", str(bed)])

        assert done.exit_code == 1
        assert done.output.splitlines() == [
            "  mqtt: FAILED: [Errno 111] Connection refused",
            "  mail: delivered",
            "  webhook good: delivered",
            "  webhook away: FAILED: no answer: [Errno 111] Connection refused",
        ]
        assert "nothing is wrong" in mail.got.get(timeout=10)[1]["Subject"]
        assert json.loads(web.got.get(timeout=10)[2])["what"] == "test"


def test_the_broker_takes_a_test_beside_the_notifier(bed: Path, tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path)
    bed.write_text(f"{BED}mqtt: {{host: 127.0.0.1, port: {broker.port}}}\n")

    done = CliRunner().invoke(main, ["alert", "--test", str(bed)])
    broker.kill()

    assert (done.exit_code, done.output) == (0, "  mqtt: delivered\n")


def test_what_waits_and_what_was_refused_is_told(bed: Path) -> None:
    from tests.cli.test_history import write_run

    from waaler.notify.deliveries import Deliveries
    from waaler.records.reader import Reader

    bed.write_text(f"{BED}mqtt: {{host: 127.0.0.1}}\nwebhooks: [{{url: 'http://127.0.0.1:1/'}}]\n")
    for n in range(3):
        write_run(bed, n)
    with (
        Reader(bed.parent / "terrace.db") as reader,
        closing(Deliveries(bed.parent / "terrace.notify.db", "mqtt")) as d,
    ):
        d.told(reader.name, 2)
        d.park(reader.name, 1, "Not authorized")

    done = CliRunner().invoke(main, ["alert", str(bed)])

    assert done.output.splitlines() == [
        "  mqtt: 1 waiting",
        "    refused: message 1: Not authorized",
        "  webhook webhook: 3 waiting",
    ]


def test_a_file_that_names_nobody_says_what_to_add(bed: Path) -> None:
    bed.write_text(BED)

    done = CliRunner().invoke(main, ["alert", "--test", str(bed)])

    assert done.exit_code == 1
    assert "add `mqtt:`, `mail:` or `webhooks:`" in done.output
