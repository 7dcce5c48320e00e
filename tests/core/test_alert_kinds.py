"""Every alert has one name, by which it is told and known again after a restart."""

import pytest

from waaler.core.alert import FOUND, AlertKind, kind_of
from waaler.core.texts import FIXED

OWNED = {AlertKind.NOT_READ, AlertKind.NOT_VALID, AlertKind.OUTSIDE, AlertKind.PART_FAILED, AlertKind.NOT_TOLD}


@pytest.mark.parametrize("kind", list(AlertKind))
def test_an_alert_is_known_again_by_its_name(kind: AlertKind) -> None:
    subject = "pot-3" if kind in OWNED or kind is AlertKind.OF_ANOTHER_VERSION else ""

    assert kind_of(kind.of(subject)) == (kind, subject)


@pytest.mark.parametrize(
    ("name", "kind", "subject"),
    [
        ("sump-low-not-read", AlertKind.NOT_READ, "sump-low"),
        ("sump-low", AlertKind.SUMP_LOW, ""),
        ("not-valid-pot-3", AlertKind.NOT_VALID, "pot-3"),
        ("ec-outside", AlertKind.OUTSIDE, "ec"),
        ("input-not-read", AlertKind.NOT_READ, "input"),
        ("card-worn", AlertKind.OF_ANOTHER_VERSION, "card-worn"),
    ],
)
def test_names_of_alerts(name: str, kind: AlertKind, subject: str) -> None:
    assert kind_of(name) == (kind, subject)


def test_a_name_is_fit_for_a_topic_whatever_its_owner_is_called() -> None:
    assert AlertKind.NOT_VALID.of("Pot_3 left") == "not-valid-pot-3-left"
    assert AlertKind.SUMP_LOW.of("anything") == "sump-low"


def test_what_is_read_off_the_state_is_nothing_that_the_shell_finds() -> None:
    assert not set(FIXED) & FOUND - {AlertKind.HISTORY_NOT_KEPT}
