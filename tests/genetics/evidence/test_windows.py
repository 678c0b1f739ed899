"""Windows of laws: Fourier transform against direct convolution, binomial against fractions."""

from fractions import Fraction
from math import comb

import numpy as np
import pytest

from genetics.evidence.windows import (
    FOURIER_LENGTH,
    binomial_window,
    repeated_window,
    summed_window,
)


@pytest.mark.parametrize(("n", "chance"), [(1, 0.5), (30, 0.0625), (400, 0.75), (400, 0.01)])
def test_binomial_window__agrees_with_fractions(n, chance):
    window = binomial_window(n=n, odds=chance / (1 - chance))
    hit = Fraction(chance)
    exact = [float(comb(n, j) * hit**j * (1 - hit) ** (n - j)) for j in range(n + 1)]
    kept = slice(window.start, window.start + window.mass.size)
    np.testing.assert_allclose(window.mass, exact[kept], rtol=1e-13)
    assert sum(exact) - sum(exact[kept]) < 1e-15


@pytest.mark.parametrize("n", [20_000, 1_000_000])
def test_summed_window__by_fourier_transform_agrees_with_direct_convolution(n):
    parts = [binomial_window(n=n, odds=odds) for odds in (1.0, 1 / 3, 1 / 15)]
    fast, direct = summed_window(parts), summed_window(parts, whole=True)
    assert fast.mass.size >= FOURIER_LENGTH
    shared = direct.mass[fast.start - direct.start :][: fast.mass.size]
    # Errors of the transform are relative to the top of the law, not to each term.
    np.testing.assert_allclose(fast.mass, shared, rtol=1e-13, atol=1e-13 * shared.max())
    assert fast.mass.sum() == pytest.approx(1.0, abs=1e-14)


def test_repeated_window__is_the_law_of_the_sum():
    law = np.array([0.5, 0.25, 0.0, 0.25])
    direct = np.ones(1)
    for times in range(1, 12):
        direct = np.convolve(direct, law)
        window = repeated_window(law, times=times)
        np.testing.assert_allclose(window.mass, direct[window.start :], rtol=1e-13)
