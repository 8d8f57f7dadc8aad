"""Values as JSON that every reader takes: what is not finite is null."""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import isfinite
from typing import Any


def strict_json(values: Mapping[str, Any]) -> str:
    """Values written out; numbers that are not finite become null, at any depth.

    >>> strict_json({"spacing_range_mm": (4.5, float("inf"))}).split()
    ['{', '"spacing_range_mm":', '[', '4.5,', 'null', ']', '}']
    """
    return json.dumps(_finite(values), indent=1, default=str, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    return None if isinstance(value, float) and not isfinite(value) else value
