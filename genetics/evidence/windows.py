"""Laws of hit counts on a window: binomial, repeated and summed, to nearly full float precision.

A window holds the part of a law that carries all but about 1e-20 of its mass. Everything is a sum
of products of positive terms, which keeps relative errors near the rounding unit; long windows are
convolved by Fourier transform, whose error is relative to the whole mass, not to each term.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import fft

from genetics.exact import WINDOW_EXPONENT

#: Combined length from which convolution by Fourier transform is the faster one (measured).
FOURIER_LENGTH: Final = 1024

Mass = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Window:
    """Chance of ``start``, ``start + 1``, ... hits; the chances sum to 1."""

    start: int
    mass: Mass


def binomial_window(*, n: int, odds: float, whole: bool = False) -> Window:
    """Binomial law of ``n`` trials with the given ``odds`` of a hit, around its mode.

    Ratios of neighbours multiplied outwards from the mode, then scaled to sum 1: no logarithm of a
    factorial, whose absolute error would grow with n. ``whole`` keeps 0 to n.
    """
    chance = odds / (1.0 + odds)
    mode = min(n, math.floor((n + 1) * chance))
    reach = n if whole else _reach(n * chance / (1.0 + odds))
    start, stop = max(0, mode - reach), min(n, mode + reach)
    upwards = np.arange(mode, stop, dtype=np.float64)
    downwards = np.arange(mode, start, -1, dtype=np.float64)
    mass = np.empty(stop - start + 1)
    mass[mode - start] = 1.0
    np.cumprod((n - upwards) / (upwards + 1.0) * odds, out=mass[mode - start + 1 :])
    mass[: mode - start] = np.cumprod(downwards / ((n - downwards + 1.0) * odds))[::-1]
    mass /= mass.sum()
    return Window(start, mass)


def _reach(variance: float) -> int:
    # Bernstein's inequality for a sum of independent 0/1 variables, solved for the distance, and
    # two more because the mode is within one of the mean.
    third = WINDOW_EXPONENT / 3.0
    return math.ceil(third + math.sqrt(third * third + 2.0 * WINDOW_EXPONENT * variance)) + 2


def repeated_window(mass: Mass, *, times: int, whole: bool = False) -> Window:
    """Law of the sum of ``times`` independent counts, each 0, 1, ... with chances ``mass``."""
    power = _trimmed(Window(0, mass / mass.sum()), whole=whole)
    result: Window | None = None
    while True:
        if times & 1:
            result = power if result is None else summed_window([result, power], whole=whole)
        times >>= 1
        if not times:
            return result if result is not None else Window(0, np.ones(1))
        power = summed_window([power, power], whole=whole)


def summed_window(windows: Sequence[Window], *, whole: bool = False) -> Window:
    """Law of the sum of independent counts; ``whole`` keeps every term and its relative error."""
    start = sum(window.start for window in windows)
    length = sum(window.mass.size - 1 for window in windows) + 1
    if whole or length < FOURIER_LENGTH:
        mass = np.ones(1)
        for window in sorted(windows, key=lambda window: window.mass.size):
            mass = np.convolve(mass, window.mass)
    else:
        size = fft.next_fast_len(length, real=True)
        spectrum = fft.rfft(windows[0].mass, size)
        for window in windows[1:]:
            spectrum *= fft.rfft(window.mass, size)
        # Rounding leaves values near -1e-18 where the law has none.
        mass = np.maximum(fft.irfft(spectrum, size)[:length], 0.0)
    return _trimmed(Window(start, mass / mass.sum()), whole=whole)


def _trimmed(window: Window, *, whole: bool) -> Window:
    floor = 0.0 if whole else math.exp(-WINDOW_EXPONENT)
    kept = np.flatnonzero(window.mass > floor)
    first, last = int(kept[0]), int(kept[-1])
    return Window(window.start + first, window.mass[first : last + 1])
