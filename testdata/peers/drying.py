"""Second opinion on the drying of a briquette: the same physics as an ordinary differential equation, written apart from
the Go code and integrated by SciPy. Reads JSON {"body", "gamma", "moisture", "hours"} from standard input and writes
{"surface": [...], "moisture": [...]}: the surface temperature at the start of each hour and the moisture at its end."""

import json
import math
import sys

from scipy.integrate import solve_ivp
from scipy.optimize import brentq

LATENT, STEFAN_BOLTZMANN = 2.45e6, 5.670374e-8


def saturation(t):
    return 0.6108 * math.exp(17.27 * t / (t + 237.3))


def equilibrium(t, rh):
    a = 0.72 * min(max(rh, 0.02), 0.95)
    gab = 0.035 * 12 * a / ((1 - a) * (1 - a + 12 * a))
    return gab * math.exp(-0.006 * (min(max(t, 0), 70) - 25))


class Air:
    """One hour of weather as the rack meets it."""

    def __init__(self, body, gamma, hour):
        self.body, self.hour = body, hour
        sun = hour["shelter"] == "sun"
        wind = max(0.3, 0.6 * hour["wind"]) if sun else 0.1
        convection = max(4, 0.683 * (wind * body["flow"] / 1.6e-5) ** 0.466 * 0.026 / body["flow"])
        if not sun:
            convection *= 0.04
        self.loss = convection + (5.5 if sun else 3.3)
        self.transfer = convection / (gamma * LATENT)
        self.sun, self.rewet = sun, 0.5 if sun else 0.1
        self.heat = 0.0
        if sun:
            sky = 0.34 - 0.14 * math.sqrt(max(hour["vapour"], 0.05))
            cloud = max(0.2, min(1, 1.35 * hour["clear"] - 0.35))
            self.heat = 0.9 * 0.33 * hour["sun"] - 0.35 * STEFAN_BOLTZMANN * (hour["air"] + 273.15) ** 4 * sky * cloud

    def evaporation(self, t, x):
        es = saturation(t)
        held = equilibrium(t, min(0.95, self.hour["vapour"] / es))
        rate = self.body["rate"] * math.exp(34e3 / 8.314 * (1 / 298.15 - 1 / (t + 273.15)))
        rate *= self.rewet if x < held else 1 + 2 * max(0, min(1, (x - 0.25) / 0.2))
        inside = self.body["mass"] * rate * (x - held) / self.body["exposed"]
        surface = self.transfer * (es - self.hour["vapour"])
        out = min(inside, max(surface, 0)) if inside >= 0 else inside
        return min(out, surface) if self.sun and surface < 0 else out

    def surface(self, x):
        air = self.hour["air"]

        def left_over(t):
            return self.heat - self.loss * (t - air) - LATENT * self.evaporation(t, x)

        return brentq(left_over, air - 20, air + 50, xtol=1e-11)

    def slope(self, _, x):
        return [-self.evaporation(self.surface(x[0]), x[0]) * self.body["exposed"] / self.body["mass"]]


def main():
    job = json.load(sys.stdin)
    x, out = job["moisture"], {"surface": [], "moisture": []}
    for hour in job["hours"]:
        air = Air(job["body"], job["gamma"], hour)
        out["surface"].append(air.surface(x))
        x = solve_ivp(air.slope, (0, 3600), [x], rtol=1e-7, atol=1e-9, max_step=600).y[0][-1]
        out["moisture"].append(x)
    json.dump(out, sys.stdout)


main()
