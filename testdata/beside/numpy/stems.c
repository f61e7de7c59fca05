/* The stems of stems.py in C: as many side by side as L says, for the compiler to put into
   vectors. Strict doubles. Same equations, same weather, same line in the end.

   cc -O3 -march=native -fno-math-errno -fno-trapping-math -DL=16 stems.c -lm -o stems
   ./stems STEMS HOURS */

#define _POSIX_C_SOURCE 199309L
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#ifndef L
#define L 16
#endif

enum { RINGS = 14, STEPS = 2, REPEATS = 9 }; /* of each block the best counts: others may use the machine */
static const double GROWTH = 1.15, RADIUS = 0.15, BARK = 0.006, BARK_K = 0.12, THAWED_K = 0.38, FROZEN_K = 0.5, THAWED_C = 2.3e6,
                    FROZEN_C = 1.7e6, LATENT = 7.5e7, FREEZING = -0.11, RANGE = 0.4, TAP = 0.045, PI = 3.14159265358979323846;

static double span, slopes[3], bases[3], edge[RINGS + 1], mid[RINGS], volume[RINGS], reach[RINGS], weight[RINGS];

static void grid(void) {
    double widths[RINGS], sum = 0, within = 0;
    span = LATENT + RANGE * (THAWED_C + FROZEN_C) / 2;
    slopes[0] = FROZEN_C, slopes[1] = span / RANGE, slopes[2] = THAWED_C;
    bases[0] = -span - FROZEN_C * (FREEZING - RANGE), bases[1] = -slopes[1] * FREEZING, bases[2] = -THAWED_C * FREEZING;
    for (int i = 0; i < RINGS; i++) sum += widths[i] = pow(GROWTH, i);
    edge[0] = RADIUS;
    for (int i = 0; i < RINGS; i++) within += widths[i] * RADIUS / sum, edge[i + 1] = RADIUS - within;
    edge[RINGS] = 0;
    for (int i = 0; i < RINGS; i++) {
        mid[i] = (edge[i] + edge[i + 1]) / 2;
        volume[i] = (edge[i] * edge[i] - edge[i + 1] * edge[i + 1]) / 2;
        double low = RADIUS - TAP, inner = fmax(edge[i + 1], low);
        weight[i] = fmax(edge[i] * edge[i] - inner * inner, 0) / (RADIUS * RADIUS - low * low);
    }
    for (int i = 1; i < RINGS; i++) reach[i] = edge[i] / (mid[i - 1] - mid[i]);
}

static inline double frozen(double h) {
    double ice = -h / span;
    ice = ice > 0 ? ice : 0;
    return ice < 1 ? ice : 1;
}

static inline double phase_of(double h) { return (h > -span ? 1.0 : 0.0) + (h >= 0 ? 1.0 : 0.0); }

static void step(double (*restrict h)[L], const double *restrict transfer, const double *restrict air, double seconds) {
    double k[RINGS][L], conduct[RINGS + 1][L], slope[RINGS][L], base[RINGS][L], phase[RINGS][L], upper[RINGS][L], t[RINGS][L];
    for (int i = 0; i < RINGS; i++)
        for (int l = 0; l < L; l++) {
            k[i][l] = THAWED_K + frozen(h[i][l]) * (FROZEN_K - THAWED_K);
            phase[i][l] = phase_of(h[i][l]);
        }
    for (int l = 0; l < L; l++) {
        conduct[0][l] = seconds * edge[0] / (1 / transfer[l] + BARK / BARK_K + (edge[0] - mid[0]) / k[0][l]);
        conduct[RINGS][l] = 0;
    }
    for (int i = 1; i < RINGS; i++)
        for (int l = 0; l < L; l++) conduct[i][l] = seconds * reach[i] * 2 * k[i - 1][l] * k[i][l] / (k[i - 1][l] + k[i][l]);
    for (int tries = 0; tries < 12; tries++) {
        for (int i = 0; i < RINGS; i++)
            for (int l = 0; l < L; l++) {
                double p = phase[i][l];
                slope[i][l] = p < 0.5 ? slopes[0] : p < 1.5 ? slopes[1] : slopes[2];
                base[i][l] = p < 0.5 ? bases[0] : p < 1.5 ? bases[1] : bases[2];
            }
        for (int l = 0; l < L; l++) {
            double inv = 1 / (slope[0][l] * volume[0] + conduct[0][l] + conduct[1][l]);
            upper[0][l] = conduct[1][l] * inv;
            t[0][l] = ((h[0][l] - base[0][l]) * volume[0] + conduct[0][l] * air[l]) * inv;
        }
        for (int i = 1; i < RINGS; i++)
            for (int l = 0; l < L; l++) {
                double inv = 1 / (slope[i][l] * volume[i] + conduct[i][l] + conduct[i + 1][l] - conduct[i][l] * upper[i - 1][l]);
                upper[i][l] = conduct[i + 1][l] * inv;
                t[i][l] = ((h[i][l] - base[i][l]) * volume[i] + conduct[i][l] * t[i - 1][l]) * inv;
            }
        for (int i = RINGS - 2; i >= 0; i--)
            for (int l = 0; l < L; l++) t[i][l] += upper[i][l] * t[i + 1][l];
        double moved[L] = {0}, any = 0;
        for (int i = 0; i < RINGS; i++)
            for (int l = 0; l < L; l++) {
                double move = phase_of(slope[i][l] * t[i][l] + base[i][l]) - phase[i][l];
                move = move > -1 ? move : -1;
                move = move < 1 ? move : 1;
                phase[i][l] += move;
                moved[l] += move * move;
            }
        for (int l = 0; l < L; l++) any += moved[l];
        if (any == 0) break;
    }
    double above[L];
    for (int l = 0; l < L; l++) above[l] = conduct[0][l] * (air[l] - t[0][l]);
    for (int i = 0; i < RINGS; i++)
        for (int l = 0; l < L; l++) {
            double below = i + 1 < RINGS ? conduct[i + 1][l] * (t[i][l] - t[i + 1][l]) : 0;
            h[i][l] += (above[l] - below) / volume[i];
            above[l] = below;
        }
}

int main(int argc, char **argv) {
    int stems = argc > 1 ? atoi(argv[1]) : 0, hours = argc > 2 ? atoi(argv[2]) : 0;
    int blocks = (stems + L - 1) / L;
    if (stems < 1 || hours < 1) return fprintf(stderr, "stems STEMS HOURS\n"), 2;
    double(*transfer)[L] = malloc(sizeof(double[L]) * blocks * hours), (*air)[L] = malloc(sizeof(double[L]) * blocks * hours);
    double *ice = calloc((size_t)blocks * hours * L, sizeof *ice), mean = 0;
    if (!transfer || !air || !ice) return 1;
    grid();
    for (int b = 0; b < blocks; b++)
        for (int hour = 0; hour < hours; hour++)
            for (int l = 0; l < L; l++) {
                int stem = b * L + l;
                transfer[b * hours + hour][l] = 8 + 2 * cos(stem + hour);
                air[b * hours + hour][l] = 1 + 7 * sin(2 * PI * (hour - 9) / 24) + 2 * sin(stem);
            }
    struct timespec from, to;
    double spent = 0;
    for (int b = 0; b < blocks; b++) {
      double best = INFINITY;
      for (int repeat = 0; repeat < REPEATS; repeat++) {
        clock_gettime(CLOCK_MONOTONIC, &from);
        double h[RINGS][L];
        for (int i = 0; i < RINGS; i++)
            for (int l = 0; l < L; l++) h[i][l] = slopes[1] * -0.2 + bases[1];
        for (int hour = 0; hour < hours; hour++) {
            for (int s = 0; s < STEPS; s++) step(h, transfer[b * hours + hour], air[b * hours + hour], 3600.0 / STEPS);
            double *out = ice + ((size_t)b * hours + hour) * L;
            for (int l = 0; l < L; l++) out[l] = 0;
            for (int i = 0; i < RINGS; i++)
                for (int l = 0; l < L; l++) out[l] += weight[i] * frozen(h[i][l]);
        }
        clock_gettime(CLOCK_MONOTONIC, &to);
        best = fmin(best, (to.tv_sec - from.tv_sec) * 1e9 + (to.tv_nsec - from.tv_nsec));
      }
      spent += best;
    }
    for (int stem = 0; stem < stems; stem++) mean += ice[((size_t)(stem / L) * hours + hours - 1) * L + stem % L] / stems;
    double each = spent / ((double)blocks * L * hours);
    printf("%.0f stem hours/s, %.0f ns each, mean ice %.12f\n", 1e9 / each, each, mean);
    return 0;
}
