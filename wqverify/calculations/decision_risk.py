"""How often a check passes what is out, and fails what is in: from the history and the uncertainty."""

from __future__ import annotations

import math
from statistics import NormalDist

from wqverify.errors import ChooseAnother

_NORMAL = NormalDist()


def false_accept(history: float, tur: float, acceptance: float = 1.0) -> float:
    """Return the share of all checks that pass although the true error is outside the tolerance.

    Equation: errors normal about 0 with a standard deviation such that ``history`` of them lie within -+T;
    readings with u = T/(2 TUR); P(|e| > T and |e + r| <= A), A = ``acceptance`` x T. History between 0 and 1,
    TUR and acceptance above 0. Returns a share of 1. Raises ChooseAnother outside. Source: JCGM 106:2012,
    9.3 and 9.5 (global risk); TUR = tolerance span/(2 U95) with U95 = 2 u as in ANSI/NCSL Z540.3.

    >>> round(100 * false_accept(0.95, 4), 2)
    0.86
    """
    return _risk(history, tur, acceptance)[0]


def false_reject(history: float, tur: float, acceptance: float = 1.0) -> float:
    """Return the share of all checks that fail although the true error is inside the tolerance.

    Equation: as ``false_accept``, P(|e| <= T and |e + r| > A). History between 0 and 1, TUR and acceptance
    above 0. Returns a share of 1. Raises ChooseAnother outside. Source: as ``false_accept``.

    >>> round(100 * false_reject(0.95, 4), 2)
    1.55
    """
    return _risk(history, tur, acceptance)[1]


def guard_band_method_6(tur: float) -> float:
    """Return the acceptance limit, as a share of the tolerance, that keeps false accepts to about 2 %.

    Equation: A/T = 1 - M/TUR, M = 1.04 - exp(0.38 ln TUR - 0.54), no less than 0; whatever the history was.
    TUR above 0. Returns a share, 1 from TUR 4.6 on; 0 where nothing could be accepted. Raises ChooseAnother
    outside. Source: "method 6" of the Z540.3 handbook as published open code has it (worst case 1.91 to
    1.97 % for TUR 1 to 4.6, computed).

    >>> round(guard_band_method_6(2), 5), round(guard_band_method_6(1.5), 5)
    (0.85918, 0.75988)
    """
    _insist(0.5, tur, 1.0)
    factor = max(0.0, 1.04 - math.exp(0.38 * math.log(tur) - 0.54))
    return max(0.0, 1 - factor / tur)


def _risk(history: float, tur: float, acceptance: float) -> tuple[float, float]:
    """Return (false accept, false reject), with T as the unit."""
    _insist(history, tur, acceptance)
    from scipy.integrate import quad

    errors = NormalDist(0.0, 1 / _NORMAL.inv_cdf((1 + history) / 2))
    u = 1 / (2 * tur)

    def accepted(e: float) -> float:
        return _NORMAL.cdf((acceptance - e) / u) - _NORMAL.cdf((-acceptance - e) / u)

    far = max(1.0, acceptance) + 12 * u
    accept = 2 * quad(lambda e: errors.pdf(e) * accepted(e), 1, far, epsabs=1e-12)[0]
    reject = (
        2
        * quad(
            lambda e: errors.pdf(e) * (1 - accepted(e)), 0, 1, epsabs=1e-12, points=[min(acceptance, 1.0)]
        )[0]
    )
    return float(accept), float(reject)


def _insist(history: float, tur: float, acceptance: float) -> None:
    if not (0 < history < 1 and tur > 0 and acceptance > 0):
        raise ChooseAnother(
            f"History {history}, TUR {tur} and acceptance {acceptance} give no risk; the history lies "
            f"between 0 and 1, the others above 0.",
            found=f"{history}, {tur}, {acceptance}",
        )
