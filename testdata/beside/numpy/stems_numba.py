"""The stems of stems.py compiled by numba: one stem after the other, ring by ring. Same
equations, same weather, same line in the end.

    python3 stems_numba.py STEMS HOURS
"""

import sys
import time

import numba
import numpy as np

import stems as plain

RINGS, STEPS, SPAN = plain.RINGS, plain.STEPS, plain.SPAN
EDGE0, MID0, VOLUME, REACH, WEIGHT = plain.EDGE[0], plain.MID[0], plain.VOLUME, plain.REACH, plain.WEIGHT
SLOPES, BASES = plain.SLOPES, plain.BASES
THAWED_K, FROZEN_K, BARK_R = plain.THAWED_K, plain.FROZEN_K, plain.BARK / plain.BARK_K
LANES = 16
REPEATS = 9  # of a few stems the best counts: others may use the machine


@numba.njit(error_model="numpy")
def step(h, transfer, sol_air, seconds, k, conduct, slope, base, upper, t):
    for i in range(RINGS):
        for l in range(LANES):
            k[i, l] = THAWED_K + min(max(-h[i, l] / SPAN, 0.0), 1.0) * (FROZEN_K - THAWED_K)
            x = h[i, l]
            slope[i, l] = SLOPES[0] if x <= -SPAN else (SLOPES[1] if x < 0 else SLOPES[2])
            base[i, l] = BASES[0] if x <= -SPAN else (BASES[1] if x < 0 else BASES[2])
    for l in range(LANES):
        conduct[0, l] = seconds * EDGE0 / (1 / transfer[l] + BARK_R + (EDGE0 - MID0) / k[0, l])
        conduct[RINGS, l] = 0.0
    for i in range(1, RINGS):
        for l in range(LANES):
            conduct[i, l] = seconds * REACH[i - 1] * 2 * k[i - 1, l] * k[i, l] / (k[i - 1, l] + k[i, l])
    for _ in range(12):
        for l in range(LANES):
            inv = 1 / (slope[0, l] * VOLUME[0] + conduct[0, l] + conduct[1, l])
            upper[0, l] = conduct[1, l] * inv
            t[0, l] = ((h[0, l] - base[0, l]) * VOLUME[0] + conduct[0, l] * sol_air[l]) * inv
        for i in range(1, RINGS):
            for l in range(LANES):
                inv = 1 / (slope[i, l] * VOLUME[i] + conduct[i, l] + conduct[i + 1, l] - conduct[i, l] * upper[i - 1, l])
                upper[i, l] = conduct[i + 1, l] * inv
                t[i, l] = ((h[i, l] - base[i, l]) * VOLUME[i] + conduct[i, l] * t[i - 1, l]) * inv
        for i in range(RINGS - 2, -1, -1):
            for l in range(LANES):
                t[i, l] += upper[i, l] * t[i + 1, l]
        moved = 0
        for i in range(RINGS):
            for l in range(LANES):
                x = slope[i, l] * t[i, l] + base[i, l]
                now = 0 if slope[i, l] == SLOPES[0] else (1 if slope[i, l] == SLOPES[1] else 2)
                then = 0 if x <= -SPAN else (1 if x < 0 else 2)
                move = min(max(then - now, -1), 1)
                moved |= move
                now += move
                slope[i, l] = SLOPES[0] if now == 0 else (SLOPES[1] if now == 1 else SLOPES[2])
                base[i, l] = BASES[0] if now == 0 else (BASES[1] if now == 1 else BASES[2])
        if moved == 0:
            break
    for l in range(LANES):
        above = conduct[0, l] * (sol_air[l] - t[0, l])
        for i in range(RINGS - 1):
            below = conduct[i + 1, l] * (t[i, l] - t[i + 1, l])
            h[i, l] += (above - below) / VOLUME[i]
            above = below
        h[RINGS - 1, l] += above / VOLUME[RINGS - 1]


@numba.njit(error_model="numpy")
def follow(transfer, sol_air, out):
    hours, stems = transfer.shape
    k, slope, base, upper, t = (np.empty((RINGS, LANES)), np.empty((RINGS, LANES)), np.empty((RINGS, LANES)),
                                np.empty((RINGS, LANES)), np.empty((RINGS, LANES)))
    h, conduct = np.empty((RINGS, LANES)), np.empty((RINGS + 1, LANES))
    for first in range(0, stems, LANES):
        h[:] = SLOPES[1] * -0.2 + BASES[1]
        for hour in range(hours):
            for _ in range(STEPS):
                step(h, transfer[hour, first:], sol_air[hour, first:], 3600.0 / STEPS, k, conduct, slope, base, upper, t)
            for l in range(LANES):
                ice = 0.0
                for i in range(RINGS):
                    ice += WEIGHT[i] * min(max(-h[i, l] / SPAN, 0.0), 1.0)
                out[hour, first + l] = ice


if __name__ == "__main__":
    stems, hours = int(sys.argv[1]), int(sys.argv[2])
    whole = (stems + LANES - 1) // LANES * LANES
    driven = [plain.weather(np.arange(whole, dtype=float), hour) for hour in range(hours)]
    transfer, sol_air = (np.array([d[i] for d in driven]) for i in range(2))
    out = np.empty((hours, whole))
    follow(transfer[:, :LANES], sol_air[:, :LANES], out[:, :LANES])  # compiles
    spent = 0.0
    for first in range(0, whole, 4 * LANES):
        some, best = slice(first, min(first + 4 * LANES, whole)), np.inf
        for _ in range(REPEATS):
            begun = time.perf_counter()
            follow(transfer[:, some], sol_air[:, some], out[:, some])
            best = min(best, time.perf_counter() - begun)
        spent += best
    rate = whole * hours / spent
    print(f"{rate:.0f} stem hours/s, {1e9 / rate:.0f} ns each, mean ice {out[-1, :stems].mean():.12f}")
