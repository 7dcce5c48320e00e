"""What every section of the file shares: unknown keys are refused, bounds are told in people's units."""

from typing import Any

from pydantic import AfterValidator, BaseModel, ConfigDict
from pydantic_core import PydanticCustomError

__all__ = ["Section", "between", "misfit"]


class Section(BaseModel):
    """Unknown keys are refused; nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)


def between(low: float, high: float, unit: str, factor: float = 1.0) -> Any:
    """Bounds in base units, told in the unit that people write."""

    def check(value: float | None) -> float | None:
        if value is not None and not low <= value <= high:
            what = f"{value / factor:g} {unit} is outside {low / factor:g} to {high / factor:g} {unit}".replace(
                "  ", " "
            )
            raise PydanticCustomError("fault", "{what}", {"what": what, "remedy": "write a value in that range"})
        return value

    return AfterValidator(check)


def misfit(what: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError("fault", "{what}", {"what": what, "remedy": remedy})
