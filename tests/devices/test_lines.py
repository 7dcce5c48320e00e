"""What the kernel does with a dead program's lines."""

from pathlib import Path

import pytest

from waaler.devices.lines import keeps_released_levels


@pytest.mark.parametrize(("said", "keeps"), [("Y\n", True), ("N\n", False), (None, False)])
def test_a_kernel_that_keeps_released_levels_is_known_by_its_parameter(
    tmp_path: Path, said: str | None, keeps: bool
) -> None:
    folder = tmp_path / "pinctrl_bcm2835" / "parameters"
    folder.mkdir(parents=True)
    if said is not None:
        (folder / "persist_gpio_outputs").write_text(said)

    assert keeps_released_levels(tmp_path) is keeps
