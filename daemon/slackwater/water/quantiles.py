"""Quantiles of the normal, Student's and the range distribution.

Floor 1. One subject: quantiles. Laws here: closed forms and printed tables only; a
probability of 0 or 1 has no quantile and is refused.
Source: Wichura 1988, Applied Statistics 37:477, algorithm AS 241 (normal); Abramowitz
and Stegun 1964, Handbook of Mathematical Functions, 26.7.3 and 26.7.4 (Student, whole
degrees of freedom); Tippett 1925, Biometrika 17:364, and Harter 1960, Annals of
Mathematical Statistics 31:1122 (range of normal values; figures computed again).
"""

from collections.abc import Sequence
from math import atan, cos, erfc, log, pi, sin, sqrt

from slackwater.water.ranges import finite, refused

# Expected range of 2, 3, … 30 standard normal values.
RANGE_MEANS = (
    *(1.12838, 1.69257, 2.05875, 2.32593, 2.53441, 2.70436, 2.84720, 2.97003, 3.07751),
    *(3.17287, 3.25846, 3.33598, 3.40676, 3.47183, 3.53198, 3.58788, 3.64006, 3.68896),
    *(3.73495, 3.77834, 3.81938, 3.85832, 3.89535, 3.93063, 3.96432, 3.99654, 4.02741),
    *(4.05704, 4.08552),
)
# What 1 percent of such ranges exceed.
RANGE_LIMITS_99 = (
    *(3.6428, 4.1203, 4.4028, 4.6028, 4.7570, 4.8822, 4.9872, 5.0775, 5.1566, 5.2270),
    *(5.2902, 5.3476, 5.4001, 5.4485, 5.4933, 5.5350, 5.5740, 5.6107, 5.6452, 5.6778),
    *(5.7088, 5.7382, 5.7661, 5.7928, 5.8184, 5.8429, 5.8663, 5.8889, 5.9106),
)
_FEWEST = 2

_CENTRE = (
    (
        *(3.3871328727963666080, 1.3314166789178437745e2, 1.9715909503065514427e3),
        *(1.3731693765509461125e4, 4.5921953931549871457e4, 6.7265770927008700853e4),
        *(3.3430575583588128105e4, 2.5090809287301226727e3),
    ),
    (
        *(1.0, 4.2313330701600911252e1, 6.8718700749205790830e2),
        *(5.3941960214247511077e3, 2.1213794301586595867e4, 3.9307895800092710610e4),
        *(2.8729085735721942674e4, 5.2264952788528545610e3),
    ),
)
_MIDDLE = (
    (
        *(1.42343711074968357734, 4.63033784615654529590, 5.76949722146069140550),
        *(3.64784832476320460504, 1.27045825245236838258, 2.41780725177450611770e-1),
        *(2.27238449892691845833e-2, 7.74545014278341407640e-4),
    ),
    (
        *(1.0, 2.05319162663775882187, 1.67638483018380384940),
        *(6.89767334985100004550e-1, 1.48103976427480074590e-1),
        *(1.51986665636164571966e-2, 5.47593808499534494600e-4),
        1.05075007164441684324e-9,
    ),
)
_TAIL = (
    (
        *(6.65790464350110377720, 5.46378491116411436990, 1.78482653991729133580),
        *(2.96560571828504891230e-1, 2.65321895265761230930e-2),
        *(1.24266094738807843860e-3, 2.71155556874348757815e-5),
        2.01033439929228813265e-7,
    ),
    (
        *(1.0, 5.99832206555887937690e-1, 1.36929880922735805310e-1),
        *(1.48753612908506148525e-2, 7.86869131145613259100e-4),
        *(1.84631831751005468180e-5, 1.42151175831644588870e-7),
        2.04426310338993978564e-15,
    ),
)

# Where AS 241 changes from one of its fractions to the next.
_CENTRE_WIDTH = 0.425
_CENTRE_SHIFT = 0.180625
_MIDDLE_SHIFT = 1.6
_TAIL_DEPTH = 5.0
_HALF = 0.5

# Halving a bracket so often leaves nothing of a double.
_HALVINGS = 200


def normal_probability(z: float) -> float:
    """The share of standard normal values below z.

    Raises: OutOfRangeError for a z that is not finite.
    """
    return erfc(-finite("z", z) / sqrt(2)) / 2


def normal_quantile_wichura1988(probability: float) -> float:
    """The z below which that share of standard normal values lies.

    Range: probability above 0 and below 1. Raises: OutOfRangeError outside it.
    Source: AS 241, routine PPND16, relative error about 1e-16.
    """
    _check_probability(probability)
    from_centre = probability - _HALF
    if abs(from_centre) <= _CENTRE_WIDTH:
        return from_centre * _ratio(_CENTRE, _CENTRE_SHIFT - from_centre * from_centre)
    depth = sqrt(-log(min(probability, 1 - probability)))
    if depth <= _TAIL_DEPTH:
        size = _ratio(_MIDDLE, depth - _MIDDLE_SHIFT)
    else:
        size = _ratio(_TAIL, depth - _TAIL_DEPTH)
    return size if from_centre > 0 else -size


def student_probability_abramowitz1964(t: float, degrees: int) -> float:
    """The share of Student's t values below t.

    Range: 1 degree of freedom or more. Raises: OutOfRangeError outside it.
    Source: Abramowitz and Stegun, 26.7.3 (odd) and 26.7.4 (even).
    """
    _check_degrees(degrees)
    angle = atan(finite("t", t) / sqrt(degrees))
    squared = cos(angle) ** 2
    if degrees % 2:
        series = sin(angle) * cos(angle) * _terms(degrees // 2, squared, first_odd=True)
        return _HALF + (angle + series) / pi
    return _HALF + sin(angle) * _terms(degrees // 2, squared, first_odd=False) / 2


def student_quantile(probability: float, degrees: int) -> float:
    """The t below which that share of Student's t values lies.

    Range: probability above 0 and below 1, 1 degree of freedom or more.
    Raises: OutOfRangeError outside it.
    Source: `student_probability_abramowitz1964`, inverted by halving.
    """
    _check_probability(probability)
    _check_degrees(degrees)
    if probability < _HALF:
        return -student_quantile(1 - probability, degrees)
    low, high = 0.0, 1.0
    while student_probability_abramowitz1964(high, degrees) < probability:
        low, high = high, high * 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if student_probability_abramowitz1964(middle, degrees) < probability:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def range_mean_tippett1925(count: int) -> float:
    """How far apart the outermost of so many standard normal values lie on average.

    Range: 2 to 30 values. Raises: OutOfRangeError outside it.
    """
    return _looked_up(RANGE_MEANS, count)


def range_limit_harter1960(count: int) -> float:
    """What the range of so many standard normal values exceeds once in a hundred.

    Range: 2 to 30 values. Raises: OutOfRangeError outside it.
    """
    return _looked_up(RANGE_LIMITS_99, count)


def _looked_up(table: Sequence[float], count: int) -> float:
    if _FEWEST <= count < _FEWEST + len(table):
        return table[count - _FEWEST]
    raise refused(
        what=f"the values are {count}",
        expected=f"{_FEWEST} to {_FEWEST + len(table) - 1}",
        advice="Take a shorter or longer stretch.",
    )


def _ratio(series: tuple[tuple[float, ...], tuple[float, ...]], number: float) -> float:
    above, below = (_series(factors, number) for factors in series)
    return above / below


def _series(factors: tuple[float, ...], number: float) -> float:
    total = 0.0
    for factor in reversed(factors):
        total = total * number + factor
    return total


def _terms(count: int, squared: float, *, first_odd: bool) -> float:
    """The sum 1 + 2/3 c + 2*4/3*5 c² … (odd), 1 + 1/2 c + 1*3/2*4 c² … (even)."""
    total, term = 0.0, 1.0
    for place in range(count):
        total += term
        step = 2 * place + (2 if first_odd else 1)
        term *= squared * step / (step + 1)
    return total


def _check_probability(probability: float) -> None:
    if not 0 < probability < 1:
        raise refused(
            what=f"the probability is {probability:g}", expected="above 0 and below 1"
        )


def _check_degrees(degrees: int) -> None:
    if degrees < 1:
        raise refused(
            what=f"the degrees of freedom are {degrees}",
            expected="1 or more",
            advice="Take more tests.",
        )
