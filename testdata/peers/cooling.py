"""Second opinion on the cooling of a sealed drum, by scipy.

Reads one JSON object: biot numbers, Fourier numbers and beds of char. Writes the
roots of z J1(z) = biot J0(z) and x tan(x) = biot, the product solution, and for
each bed the hours until its core is at the asked temperatures, by the method of
lines and scipy's own integrator with conductivity and film at the local
temperature.
"""
import json
import sys

import numpy as np
from scipy.constants import Stefan_Boltzmann
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros


def cylinder_roots(biot, n):
    low = np.concatenate(([0.0], jn_zeros(1, n - 1)))
    return [brentq(lambda z: z * j1(z) - biot * j0(z), a, b, xtol=1e-14, rtol=1e-14)
            for a, b in zip(low, jn_zeros(0, n))]


def slab_roots(biot, n):
    return [brentq(lambda x: x * np.sin(x) - biot * np.cos(x), m * np.pi, (m + .5) * np.pi, xtol=1e-14, rtol=1e-14)
            for m in range(n)]


def product(biot, top, aspect, fo, n=60):
    z, x = np.array(cylinder_roots(biot, n)), np.array(slab_roots(top, n))
    radial = 2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2) * np.exp(-z ** 2 * fo)
    axial = 4 * np.sin(x) / (2 * x + np.sin(2 * x)) * np.exp(-x ** 2 * fo * aspect)
    return {"axis": radial.sum() * axial.sum(),
            "mean": (radial * 2 * j1(z) / z).sum() * (axial * np.sin(x) / x).sum(),
            "flux": (radial * z * j1(z)).sum() * axial.sum()}


def hours(bed, n=14):
    dr, dz, air = bed["radius"] / n, bed["depth"] / n, bed["air"]
    edge = np.arange(n + 1) * dr
    area = edge[1:] ** 2 - edge[:-1] ** 2

    def k(t):
        return bed["still"] + 4 * bed["exchange"] * Stefan_Boltzmann * bed["piece"] * (t + 273.15) ** 3

    def film(s):
        w, a = s + 273.15, air + 273.15
        return (bed["convection"] * np.cbrt(np.maximum(s - air, 0))
                + bed["emissivity"] * Stefan_Boltzmann * (w * w + a * a) * (w + a))

    def outside(cell, half, share):
        s = (cell + 3 * air) / 4
        for _ in range(40):
            g, h = k((cell + s) / 2) / half, share * film(s)
            s = .5 * s + .5 * (g * cell + h * air) / (g + h)
        return share * film(s) * (s - air)

    def rate(_, flat):
        t = flat.reshape(n, n)  # row z, column r
        heat = np.zeros_like(t)
        q = k((t[:, 1:] + t[:, :-1]) / 2) * (t[:, 1:] - t[:, :-1]) / dr * 2 * edge[1:-1] * dz
        heat[:, :-1] += q
        heat[:, 1:] -= q
        heat[:, -1] -= outside(t[:, -1], dr / 2, 1) * 2 * edge[-1] * dz
        q = k((t[1:] + t[:-1]) / 2) * (t[1:] - t[:-1]) / dz * area
        heat[:-1] += q
        heat[1:] -= q
        heat[-1] -= outside(t[-1], dz / 2, bed["lid"]) * area
        return (heat / (bed["store"] * area * dz)).ravel()

    events = []
    for celsius in bed["celsius"]:
        events.append(lambda _, flat, celsius=celsius: flat[0] - celsius)
    events[-1].terminal = True
    run = solve_ivp(rate, (0, 60 * 3600), np.full(n * n, bed["start"]), method="LSODA",
                    lband=n, uband=n, rtol=1e-5, atol=1e-2, events=events)
    return [float(e[0]) / 3600 for e in run.t_events]


asked = json.load(sys.stdin)
json.dump({
    "cylinder": [cylinder_roots(b, asked["terms"]) for b in asked["biot"]],
    "slab": [slab_roots(b, asked["terms"]) for b in asked["biot"]],
    "product": [product(b, b / 2, asked["aspect"], f) for b in asked["biot"] for f in asked["fourier"]],
    "hours": [hours(b) for b in asked["beds"]],
}, sys.stdout)
