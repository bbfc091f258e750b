"""Everything that can go wrong for a grower, in one tree.

    SeedlingError
        PhotoError      a photo can't be read or must not be measured
        LayoutError     a flat's layout is unknown or doesn't fit the photo
        CropError       a crop is unknown or its data file is wrong
        RegisterError   the register of flats can't be read
        RecordsError    the records can't be opened, read or added to
        OutputError     a result can't be written

Each error says what is wrong, where, and what to do next.
"""

from __future__ import annotations


class SeedlingError(Exception):
    """What is wrong (`what`), in which file or flat (`where`), and what to do (`next_step`)."""

    def __init__(self, what: str, *, where: str = "", next_step: str = "") -> None:
        self.what, self.where, self.next_step = what, where, next_step
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        step = f" {self.next_step}" if self.next_step else ""
        return f"{place}{self.what}{step}"


class PhotoError(SeedlingError):
    pass


class LayoutError(SeedlingError):
    pass


class CropError(SeedlingError):
    pass


class RegisterError(SeedlingError):
    pass


class RecordsError(SeedlingError):
    pass


class OutputError(SeedlingError):
    pass
