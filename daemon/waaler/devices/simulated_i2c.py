"""A simulated I2C bus with one four-channel converter on it, register by register."""

from collections.abc import Callable

__all__ = ["SimulatedI2c"]

CONVERSION, CONFIG = 0x00, 0x01


class SimulatedI2c:
    """counts: gives a channel's counts, -32768 to 32767. is_broken: nobody answers any more."""

    def __init__(self, counts: Callable[[int], float], address: int = 0x48) -> None:
        self._counts, self._address = counts, address
        self._config = [0x05, 0x83]
        self._conversion = 0
        self.is_broken = False

    def write_i2c_block_data(self, address: int, register: int, data: list[int]) -> None:
        self._refuse(address)
        if register != CONFIG:
            return
        self._config = list(data)
        if data[0] & 0x80 and data[0] & 0x40:  # start once, single-ended
            self._conversion = max(-32_768, min(32_767, round(self._counts((data[0] >> 4) & 0x03))))

    def read_i2c_block_data(self, address: int, register: int, length: int) -> list[int]:
        self._refuse(address)
        if register == CONVERSION:
            return list(self._conversion.to_bytes(length, signed=True))
        return [self._config[0] | 0x80, *self._config[1:]]

    def _refuse(self, address: int) -> None:
        if self.is_broken or address != self._address:
            raise OSError(121, "Remote I/O error")
