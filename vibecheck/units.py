"""The only home of the number 60, and of the inch."""

SECONDS_PER_MINUTE = 60.0
MM_PER_INCH = 25.4
STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall in m/s^2 (ISO 80000-3)."""


def hz(rpm: float) -> float:
    """Turns a second from turns a minute.

    >>> hz(1800.0)
    30.0
    """
    return rpm / SECONDS_PER_MINUTE


def rpm(hz: float) -> float:
    """Turns a minute from turns a second.

    >>> rpm(30.0)
    1800.0
    """
    return hz * SECONDS_PER_MINUTE


def mm(inch: float) -> float:
    """Millimetres from inches.

    >>> mm(1.0)
    25.4
    """
    return inch * MM_PER_INCH


def inch(mm: float) -> float:
    """Inches from millimetres.

    >>> inch(25.4)
    1.0
    """
    return mm / MM_PER_INCH
