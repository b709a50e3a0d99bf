"""Whether data read from a file has the shape that its readers need."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def holds(data: Any, shape: Any) -> bool:
    """Whether data has a shape.

    Parameters
    ----------
    data : object
        As :func:`json.loads` gives it.
    shape : object
        A mapping: data is one, with at least these keys, each of its shape. A list of one shape: data is a list, every
        element of that shape. A tuple: any of its shapes will do. A type, or None: data is one of it. A bool is no
        number.

    >>> holds({"u": 1.5, "more": 0}, {"u": (float, int, None)}), holds([1, "x"], [int])
    (True, False)
    """
    if isinstance(shape, tuple):
        return any(holds(data, one) for one in shape)
    if isinstance(shape, Mapping):
        return isinstance(data, Mapping) and all(key in data and holds(data[key], s) for key, s in shape.items())
    if isinstance(shape, list):
        return isinstance(data, list) and all(holds(one, shape[0]) for one in data)
    if shape is None:
        return data is None
    return isinstance(data, shape) and (shape is bool or not isinstance(data, bool))
