"""Exact lengths, written as the trade writes them.

Inside, a length is a Fraction of an inch and nothing is rounded. Writing stays exact as long as the trade has a mark
for it (down to 1/64 in); anything finer, and millimetres that don't come out even, carry ``≈``.
"""

from __future__ import annotations

from fractions import Fraction
from math import floor

FINEST = 64
MILLIMETRES = Fraction(254, 10)


def written(inches: Fraction) -> str:
    """A length in inches, in halves to sixty-fourths; ``≈`` where it lies between two sixty-fourths.

    >>> written(Fraction(13, 16)), written(Fraction(7, 4)), written(Fraction(84)), written(Fraction(0))
    ('13/16"', '1 3/4"', '84"', '0"')
    >>> written(Fraction(-3, 8)), written(Fraction(100, 3))
    ('-3/8"', '≈ 33 21/64"')
    """
    return f'{_mark(inches)}{_mixed(inches)}"'


def feet_and_inches(inches: Fraction) -> str:
    r"""A length in feet and inches, marked ``≈`` like `written`.

    >>> feet_and_inches(Fraction(84)), feet_and_inches(Fraction(645, 16)), feet_and_inches(Fraction(1, 2))
    ('7\'-0"', '3\'-4 5/16"', '0\'-0 1/2"')
    """
    sign = "-" if inches < 0 else ""
    feet, rest = divmod(abs(_nearest(inches, Fraction(1, FINEST))), 12)
    whole = "0 " if 0 < rest < 1 else ""
    return f"{_mark(inches)}{sign}{feet}'-{whole}{_fraction(rest)}\""


def opening_size(width: Fraction, height: Fraction) -> str:
    r"""Width by height, width first.

    >>> opening_size(Fraction(36), Fraction(84))
    '3\'-0" x 7\'-0"'
    """
    return f"{feet_and_inches(width)} x {feet_and_inches(height)}"


def decimal(inches: Fraction) -> str:
    """A thickness of metal, in thousandths of an inch as sheet is sold; ``≈`` where it lies between two.

    >>> decimal(Fraction("0.134")), decimal(Fraction(1, 3))
    ('0.134"', '≈ 0.333"')
    """
    thousandths = _nearest(inches, Fraction(1, 1000))
    mark = "" if thousandths == inches else "≈ "
    return f'{mark}{float(thousandths):.3f}"'


def millimetres(inches: Fraction, step: Fraction = Fraction(1)) -> str:
    """A length in millimetres, to the nearest step (a half step goes up); ``≈`` wherever rounding changed it.

    >>> millimetres(Fraction(10)), millimetres(Fraction(13, 16)), millimetres(Fraction(13, 16), Fraction(1, 2))
    ('254 mm', '≈ 21 mm', '≈ 20.5 mm')
    """
    exact = inches * MILLIMETRES
    rounded = _nearest(exact, step)
    mark = "" if rounded == exact else "≈ "
    return f"{mark}{plain(rounded)} mm"


def millimetre_size(width: Fraction, height: Fraction) -> str:
    """Width by height in millimetres.

    >>> millimetre_size(Fraction(36), Fraction(84))
    '≈ 914 mm x ≈ 2134 mm'
    """
    return f"{millimetres(width)} x {millimetres(height)}"


def plain(value: Fraction) -> str:
    """A bare number: as a decimal where it ends, else as a mixed fraction.

    >>> plain(Fraction(105)), plain(Fraction(13, 2)), plain(Fraction(22, 7))
    ('105', '6.5', '3 1/7')
    """
    if value.denominator == 1:
        return str(value)
    ends = value.denominator
    for prime in (2, 5):
        while ends % prime == 0:
            ends //= prime
    return f"{float(value):.12g}" if ends == 1 else _fraction(value)


def _mark(inches: Fraction) -> str:
    return "" if FINEST % inches.denominator == 0 else "≈ "


def _mixed(inches: Fraction) -> str:
    return _fraction(_nearest(inches, Fraction(1, FINEST)))


def _fraction(value: Fraction) -> str:
    sign = "-" if value < 0 else ""
    whole, part = divmod(abs(value), 1)
    if not part:
        return f"{sign}{whole}"
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def _nearest(value: Fraction, step: Fraction) -> Fraction:
    return floor(value / step + Fraction(1, 2)) * step
