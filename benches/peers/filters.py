"""Peers of the conditioning: the level-and-trend filter of filterpy and of statsmodels, on the same kind of signal."""

import math
import os
import time

COUNT = 200 if os.environ.get("BENCH_SIZE") == "tiny" else 20_000
SIGNAL = [1.5 + 0.5 * math.sin(index / 5000) + 0.02 * ((index * 7919) % 1000 / 1000 - 0.5) for index in range(COUNT)]


def by_filterpy():
    import numpy
    from filterpy.kalman import KalmanFilter

    kalman = KalmanFilter(dim_x=2, dim_z=1)
    kalman.F = numpy.array([[1.0, 1.0], [0.0, 1.0]])
    kalman.H = numpy.array([[1.0, 0.0]])
    kalman.R *= 1e-4
    kalman.Q = numpy.array([[1e-6, 0.0], [0.0, 1e-8]])
    for value in SIGNAL:
        kalman.predict()
        kalman.update(value)


def by_statsmodels():
    import numpy
    from statsmodels.tsa.statespace.structural import UnobservedComponents

    model = UnobservedComponents(numpy.array(SIGNAL), "local linear trend")
    model.filter([1e-4, 1e-6, 1e-8])


print("\nPeers of the conditioning, one core")
for name, run in (("filterpy", by_filterpy), ("statsmodels", by_statsmodels)):
    try:
        times = []
        for _ in range(1 if COUNT < 1000 else 5):
            begun = time.perf_counter()
            run()
            times.append(time.perf_counter() - begun)
        print(f"  {name:<58} {COUNT / sorted(times)[len(times) // 2]:>14,.0f} readings/s")
    except ImportError:
        print(f"  {name:<58}              – not installed")
