"""What can go wrong, sorted by who can put it right.

Every error says where it is, what was found there and what would do. Doubt about a diagnosis is
not an error: it is a verdict, "cannot tell". Only ``vibecheck.cli`` turns errors into text and an
exit code.
"""


class VibecheckError(Exception):
    """Root of all errors this package raises on purpose.

    Parameters
    ----------
    found : str
        What was found.
    remedy : str
        What would do instead, as an instruction.
    where : str, optional
        File, key path, device or lever position.
    """

    exit_code = 3

    def __init__(self, found: str, remedy: str = "", where: str = "") -> None:
        self.found, self.remedy, self.where = found, remedy, where
        super().__init__(self.text)

    @property
    def text(self) -> str:
        """One readable message: where, what was found, what would do."""
        head = f"{self.where}: {self.found}" if self.where else self.found
        return f"{head}. {self.remedy}" if self.remedy else head


class GearTableError(VibecheckError):
    """The machine's table must be put right; carries every fault of the file at once."""

    def __init__(self, faults: "list[Fault]", where: str = "") -> None:
        self.faults = faults
        lines = [fault.text for fault in faults]
        count = "1 thing" if len(faults) == 1 else f"{len(faults)} things"
        super().__init__("\n  ".join([f"{count} to put right", *lines]), "", where)


class Fault:
    """One thing wrong in a gear table: key path, what was found, what would do."""

    def __init__(self, key: str, found: str, remedy: str) -> None:
        self.key, self.found, self.remedy = key, found, remedy

    @property
    def text(self) -> str:
        """One line: key path, what was found, what would do."""
        return f"{self.key}: {self.found}. {self.remedy}"


class RecordingError(VibecheckError):
    """The recording must be made again or chosen again."""


class SpeedError(VibecheckError):
    """The speed given or found does not fit; only the person at the machine can say which."""


class JobError(VibecheckError):
    """The job folder, or what was asked of it, must be put right."""


class DeviceError(VibecheckError):
    """A microphone, sensor or library for them is missing or went away."""

    exit_code = 4


class UsageError(VibecheckError):
    """The command was given something it cannot use."""

    exit_code = 2
