"""A short crash test; the long one is `python -m tests.campaign.kill --times 200`."""

from pathlib import Path

from tests.campaign.kill import campaign


def test_after_a_few_kills_no_run_is_unaccounted_for(tmp_path: Path) -> None:
    report = campaign(times=3, seed=2, folder=tmp_path)

    assert report.kills == 3
    assert report.wrongs == []
    assert report.runs >= 1
