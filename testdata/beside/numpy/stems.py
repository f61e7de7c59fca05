"""The stems of package trunk, vectorised with NumPy: many stems side by side,
ring by ring, for as many hours as a forecast has. Prints how many stem hours a
second it does, and the mean ice at the end, to hold against the Go test.

    python3 stems.py STEMS HOURS [PROCESSES]
"""

import sys
import time
from multiprocessing import Pool

import numpy as np

RINGS, GROWTH, STEPS = 14, 1.15, 2
RADIUS, BARK, BARK_K = 0.15, 0.006, 0.12
THAWED_K, FROZEN_K = 0.38, 0.5
THAWED_C, FROZEN_C, LATENT = 2.3e6, 1.7e6, 7.5e7
FREEZING, RANGE = -0.11, 0.4
TAP = 0.045
SPAN = LATENT + RANGE * (THAWED_C + FROZEN_C) / 2
SLOPES = np.array([FROZEN_C, SPAN / RANGE, THAWED_C])
BASES = np.array([-SPAN - FROZEN_C * (FREEZING - RANGE), -SLOPES[1] * FREEZING, -THAWED_C * FREEZING])


def grid():
    widths = GROWTH ** np.arange(RINGS)
    widths *= RADIUS / widths.sum()
    edge = RADIUS - np.concatenate([[0], np.cumsum(widths)])
    edge[-1] = 0
    mid = (edge[:-1] + edge[1:]) / 2
    volume = (edge[:-1] ** 2 - edge[1:] ** 2) / 2
    reach = edge[1:-1] / (mid[:-1] - mid[1:])
    floor = RADIUS - TAP
    inner = np.maximum(edge[1:], floor)
    weight = np.maximum(edge[:-1] ** 2 - inner**2, 0) / (RADIUS**2 - floor**2)
    return edge, mid, volume, reach, weight


EDGE, MID, VOLUME, REACH, WEIGHT = grid()


def phase_of(h):
    return (h > -SPAN).astype(np.int8) + (h >= 0)


def step(h, transfer, sol_air, seconds):
    """One implicit step of all stems; h is rings by stems and is changed."""
    ice = np.clip(-h / SPAN, 0, 1)
    k = THAWED_K + ice * (FROZEN_K - THAWED_K)
    conduct = np.zeros((RINGS + 1, h.shape[1]))
    conduct[0] = EDGE[0] / (1 / transfer + BARK / BARK_K + (EDGE[0] - MID[0]) / k[0])
    conduct[1:-1] = REACH[:, None] * 2 * k[:-1] * k[1:] / (k[:-1] + k[1:])
    conduct *= seconds
    phase = phase_of(h)
    t, upper = np.empty_like(h), np.empty_like(h)
    for _ in range(12):
        diag = SLOPES[phase] * VOLUME[:, None] + conduct[:-1] + conduct[1:]
        rhs = (h - BASES[phase]) * VOLUME[:, None]
        rhs[0] += conduct[0] * sol_air
        inv = 1 / diag[0]
        upper[0], t[0] = conduct[1] * inv, rhs[0] * inv
        for i in range(1, RINGS):
            inv = 1 / (diag[i] - conduct[i] * upper[i - 1])
            upper[i] = conduct[i + 1] * inv
            t[i] = (rhs[i] + conduct[i] * t[i - 1]) * inv
        for i in range(RINGS - 2, -1, -1):
            t[i] += upper[i] * t[i + 1]
        move = np.clip(phase_of(SLOPES[phase] * t + BASES[phase]) - phase, -1, 1)
        if not move.any():
            break
        phase += move
    flow = np.zeros((RINGS + 1, h.shape[1]))
    flow[0] = conduct[0] * (sol_air - t[0])
    flow[1:-1] = conduct[1:-1] * (t[:-1] - t[1:])
    h += (flow[:-1] - flow[1:]) / VOLUME[:, None]


def weather(stem, hour):
    """What drives a stem: the same waves as in the Go test."""
    air = 1 + 7 * np.sin(2 * np.pi * (hour - 9) / 24) + 2 * np.sin(stem)
    return 8 + 2 * np.cos(stem + hour), air


def run(args):
    stems, hours = args
    stem = np.arange(stems, dtype=float)
    h = np.full((RINGS, stems), SLOPES[1] * -0.2 + BASES[1])
    out = np.empty((hours, stems))
    driven = [weather(stem, hour) for hour in range(hours)]
    begun = time.perf_counter()
    for hour, (transfer, sol_air) in enumerate(driven):
        for _ in range(STEPS):
            step(h, transfer, sol_air, 3600 / STEPS)
        out[hour] = WEIGHT @ np.clip(-h / SPAN, 0, 1)
    return time.perf_counter() - begun, out[-1].mean()


if __name__ == "__main__":
    stems, hours = int(sys.argv[1]), int(sys.argv[2])
    processes = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    with Pool(processes) as pool:
        results = pool.map(run, [(stems, hours)] * processes)
    slowest = max(seconds for seconds, _ in results)
    print(f"{stems * hours * processes / slowest:.0f} stem hours/s, {1e9 * slowest / stems / hours / processes:.0f} ns each, mean ice {results[0][1]:.12f}")
