"""A short crash test; the long one is `python -m tests.campaign.kill --times 40`."""

from pathlib import Path

from tests.campaign.kill import campaign, kill_both, kill_the_guard, kill_the_keeper


def test_after_a_few_kills_no_run_is_unaccounted_for(tmp_path: Path) -> None:
    report = campaign(times=3, seed=2, folder=tmp_path, blows=(kill_the_guard, kill_the_keeper, kill_both))

    assert report.blows.total() == 3
    assert report.wrongs == []
    assert report.runs >= 3
