"""Loops that are compiled on first use, and kept for the next process where there is room."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(**settings: Any) -> Callable[[Loop], Loop]:
    """Have a function compiled by numba when it is first called."""

    # What was compiled lies beside the package, or in the user's cache. Where neither can be
    # written, numba refuses to keep anything: each process then compiles for itself, which is
    # slower and nothing else.
    def decorated(function: Loop) -> Loop:
        try:
            return cast("Loop", numba.njit(cache=True, **settings)(function))
        except RuntimeError as error:
            if "no locator available" not in str(error):
                raise
            return cast("Loop", numba.njit(**settings)(function))

    return decorated
