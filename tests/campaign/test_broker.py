"""The short form of the minutes between a notifier and a broker that comes and goes."""

from pathlib import Path

import pytest
from tests.campaign.broker import GENTLE, play


@pytest.mark.parametrize("seed", [1])
def test_every_message_arrives_in_order_and_none_is_invented(tmp_path: Path, seed: int) -> None:
    campaign, wrong = play(tmp_path, 12.0, seed, GENTLE)

    assert wrong == [], campaign.counts
    assert campaign.raised > 3
    assert sum(campaign.counts.values()) >= 2


@pytest.mark.long
@pytest.mark.parametrize("seed", [2, 3])
def test_the_same_for_two_minutes(tmp_path: Path, seed: int) -> None:
    campaign, wrong = play(tmp_path, 120.0, seed)

    assert wrong == [], campaign.counts
