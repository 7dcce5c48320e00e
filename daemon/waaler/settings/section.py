"""What every section of the file shares: unknown keys are refused, bounds are told in people's units."""

from dataclasses import dataclass
from typing import Any

from pydantic import AfterValidator, BaseModel, ConfigDict
from pydantic_core import PydanticCustomError

__all__ = ["Bounds", "Section", "between", "misfit"]


class Section(BaseModel):
    """Unknown keys are refused; nothing changes after reading."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True, defer_build=True
    )


@dataclass(frozen=True, slots=True)
class Bounds:
    """low, high: in base units; `factor` of them make the unit that people write."""

    low: float
    high: float
    unit: str
    factor: float

    @property
    def told(self) -> str:
        return f"{self.low / self.factor:g} to {self.high / self.factor:g} {self.unit}".rstrip()

    def written(self, value: float) -> str:
        return f"{value / self.factor:g} {self.unit}".rstrip()


def between(low: float, high: float, unit: str, factor: float = 1.0) -> Any:
    """Bounds in base units, told in the unit that people write."""
    bounds = Bounds(low, high, unit, factor)

    def check(value: float | None) -> float | None:
        if value is not None and not low <= value <= high:
            what = f"{bounds.written(value)} is outside {bounds.told}"
            raise PydanticCustomError("fault", "{what}", {"what": what, "remedy": "write a value in that range"})
        return value

    check.bounds = bounds  # type: ignore[attr-defined]
    return AfterValidator(check)


def misfit(what: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError("fault", "{what}", {"what": what, "remedy": remedy})
