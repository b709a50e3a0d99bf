"""The curves of a shot in its ``shot.json``: written short, read back and checked."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.columns import CURVE_COLUMNS, Column
from tracker.report.files import OutputError
from tracker.results import PathCurves

Array = NDArray[np.float64]

LEAST_PLACES = 2


def curves_data(found: PathCurves | None) -> dict[str, Any] | None:
    """Curves as plain data with units and definitions; one digit more for the uncertainty than for the number."""
    if found is None:
        return None
    numbers = {c.name: _one(c, getattr(found, c.name), getattr(found, c.u_name)) for c in CURVE_COLUMNS}
    return {"distance_ft": found.distance_ft.tolist(), **numbers}


def _one(column: Column, values: Array, u: Array) -> dict[str, Any]:
    return {
        "unit": column.unit,
        "definition": column.definition,
        "value": (values.round(column.decimals) + 0.0).tolist(),
        "u": u.round(column.decimals + 1).tolist(),
    }


def read_curves(file: Path) -> PathCurves | None:
    """Curves of a shot's file; None where it has none, such as one of an older layout.

    Raises
    ------
    OutputError
        If the file is not a shot's, or its curves are not as they are written.
    """
    try:
        found = json.loads(file.read_text(encoding="utf-8")).get("curves")
        return None if found is None else _curves(found)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        what = f"no {error} in its curves" if isinstance(error, KeyError) else error
        msg = f"{file.parent.name}/{file.name}: cannot be read as a shot ({what}); measure that clip again with --redo"
        raise OutputError(msg) from error


def _curves(found: Mapping[str, Any]) -> PathCurves:
    feet = np.array(found["distance_ft"], dtype=np.float64)
    if feet.ndim != 1 or len(feet) < LEAST_PLACES or not np.isfinite(feet).all() or not (np.diff(feet) > 0).all():
        msg = f"curves need at least {LEAST_PLACES} ascending distances"
        raise ValueError(msg)
    numbers: dict[str, Array] = {}
    for column in CURVE_COLUMNS:
        one = found[column.name]
        numbers[column.name] = _checked(one["value"], f"{column.name} value", len(feet))
        u = numbers[column.u_name] = _checked(one["u"], f"{column.name} u", len(feet))
        if (u < 0).any():
            msg = f"{column.name} u is negative"
            raise ValueError(msg)
    return PathCurves(distance_ft=feet, **numbers)


def _checked(values: Any, name: str, count: int) -> Array:
    array = np.array(values, dtype=np.float64)
    if array.shape != (count,) or not np.isfinite(array).all():
        msg = f"curves: {name} has {array.size} entries for {count} distances, or not all are numbers"
        raise ValueError(msg)
    return array
