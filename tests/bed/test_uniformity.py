"""Uniformity against published worked examples. Source: tests/reference/uniformity.yaml."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from waaler.bed.uniformity import (
    christiansen_percent,
    low_quarter_percent,
    statistical_percent,
)  # fmt: skip

TABLE = yaml.safe_load((Path(__file__).parents[1] / "reference" / "uniformity.yaml").read_text())


def volumes(case: dict[str, Any]) -> list[float]:
    return next(value for key, value in case.items() if key.startswith("data"))


@pytest.mark.parametrize("data", [[], [5.0], [0.0, 0.0]])
def test_no_figure_without_two_outlets_and_some_water(data: list[float]) -> None:
    for figure in (christiansen_percent, low_quarter_percent, statistical_percent):
        with pytest.raises(ValueError, match="two outlets or more and some water"):
            figure(data)


@pytest.mark.parametrize("case", TABLE["data_sets"], ids=lambda case: case["id"])
def test_figures_of_the_worked_examples(case: dict[str, Any]) -> None:
    data, computed = volumes(case), case["computed"]

    assert christiansen_percent(data) == pytest.approx(computed["CU_pct"], abs=0.01)
    assert low_quarter_percent(data) == pytest.approx(computed["DUlq_pct"], abs=0.01)
    assert statistical_percent(data) == pytest.approx(computed["statistical_uniformity_pct"], abs=0.01)


@pytest.mark.parametrize(
    "case", [c for c in TABLE["data_sets"] if "DUlq_pct" in c.get("published", {})], ids=lambda c: c["id"]
)
def test_the_printed_low_quarter_figures(case: dict[str, Any]) -> None:
    assert low_quarter_percent(volumes(case)) == pytest.approx(case["published"]["DUlq_pct"], abs=0.01)
