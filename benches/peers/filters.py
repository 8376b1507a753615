"""Peers of the conditioning in Python, on the same kind of signal.

filterpy and statsmodels run the level-and-trend filter, value by value or over the whole signal. scipy runs over the whole signal
what the conditioning does value by value: the Hampel window of seven (the median, and the median deviation from it), and the
level-and-trend filter at its steady gains, which is a linear filter of second order. It has no units, limits, status, cause or
standard error. Ratios are to the core's conditioning in the same run of benches/all.
"""

import math
import os
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent))
import rows

TINY = os.environ.get("BENCH_SIZE") == "tiny"
COUNT = 200 if TINY else 20_000
# The whole signal at once takes as many values as the core's own bench.
MANY = 20_000 if TINY else 2_000_000
OURS = "pressure drop: window of 7"


def signal(count):
    return [1.5 + 0.5 * math.sin(index / 5000) + 0.02 * ((index * 7919) % 1000 / 1000 - 0.5) for index in range(count)]


def by_filterpy(values):
    import numpy
    from filterpy.kalman import KalmanFilter

    kalman = KalmanFilter(dim_x=2, dim_z=1)
    kalman.F = numpy.array([[1.0, 1.0], [0.0, 1.0]])
    kalman.H = numpy.array([[1.0, 0.0]])
    kalman.R *= 1e-4
    kalman.Q = numpy.array([[1e-6, 0.0], [0.0, 1e-8]])
    for value in values:
        kalman.predict()
        kalman.update(value)


def by_statsmodels(model):
    model.loglike([1e-4, 1e-6, 1e-8])


def statsmodels_model(values):
    """The model is made before, and its compiled core alone is timed."""
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    return UnobservedComponents(values, "local linear trend")


def hampel_by_scipy(values):
    import numpy
    from scipy.signal import medfilt

    middle = medfilt(values, 7)
    around = numpy.lib.stride_tricks.sliding_window_view(numpy.pad(values, 3, mode="edge"), 7)
    spread = numpy.median(numpy.abs(around - middle[:, None]), axis=1)
    return numpy.where(numpy.abs(values - middle) > 5.0 * numpy.maximum(1.4826 * spread, 0.002), middle, values)


def steady_gains():
    """Gains that the Kalman filter of level and trend comes to with the variances that filterpy is given."""
    p00, p01, p11 = 1.0, 0.0, 1.0
    gain = slope = 0.0
    for _ in range(2000):
        p00, p01, p11 = p00 + 2.0 * p01 + p11 + 1e-6, p01 + p11, p11 + 1e-8
        variance = p00 + 1e-4
        gain, slope = p00 / variance, p01 / variance
        p00, p01, p11 = (1.0 - gain) * p00, (1.0 - gain) * p01, p11 - slope * p01
    return gain, slope


def trend_by_scipy(values):
    from scipy.signal import lfilter

    gain, slope = steady_gains()
    return lfilter([gain, slope - gain], [1.0, gain + slope - 2.0, 1.0 - gain], values)


def array(values):
    import numpy

    return numpy.array(values)


# What each is called, what it is given, made of the signal before the clock runs, what is timed, and of how many values.
PEERS = (
    ("filterpy: Kalman of level and trend, value by value", array, by_filterpy, COUNT),
    ("statsmodels' compiled core: the same, whole signal at once", statsmodels_model, by_statsmodels, COUNT),
    ("scipy medfilt: Hampel window of 7, whole signal at once", array, hampel_by_scipy, MANY),
    ("scipy lfilter: level and trend, whole signal at once", array, trend_by_scipy, MANY),
    ("scipy: both, one after the other", array, lambda values: trend_by_scipy(hampel_by_scipy(values)), MANY),
)


def main():
    rows.group("Peers of the conditioning, one core")
    ours = rows.figure_of("core", OURS)
    for name, made_of, run, count in PEERS:
        try:
            values = made_of(signal(count))
            times = []
            for _ in range(1 if TINY else 5):
                begun = time.perf_counter()
                run(values)
                times.append(time.perf_counter() - begun)
        except ImportError as missing:
            rows.left_out(name, f"{missing.name} is not installed")
            continue
        rate = count / sorted(times)[len(times) // 2]
        shown = f"{rate:,.0f}".replace(",", " ")
        print(f"  {name:<58} {shown:>14} readings/s")
        ratio = rate / ours if ours else None
        rows.leave(name, shown, "readings/s", ratio, f"the core, {OURS}" if ours else "")


main()
