#!/usr/bin/env python3
"""Make the golden files of this directory from a general-purpose library of steam properties.

Run once, by hand, on Debian 12 with the package python3-iapws (1.5.3-1):

    apt-get install python3-iapws
    /usr/bin/python3 testdata/beer/make_golden.py testdata/beer

water_density.csv  density of water at one atmosphere, IAPWS-95 (scientific formulation)
co2_water.csv      Henry's constant of CO2 in water, IAPWS guideline G7-04 (274.19 K and above)

The tests of detect/beer hold its formulas, which come from other papers, against these files.
"""

import sys
from pathlib import Path

from iapws import IAPWS95
from iapws._iapws import _Henry

ZERO_CELSIUS = 273.15
ATMOSPHERE_MPA = 0.101325
WATER = (0.5, 2, 4, 7, 10, 15, 15.5556, 17.5, 20, 25, 30, 35, 40)
CARBON_DIOXIDE = (2, 4, 6, 8, 10, 15, 20, 25, 30, 35, 40)


def write(path, header, rows):
    lines = [",".join(header)] + [",".join(row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")


def main(directory):
    write(
        directory / "water_density.csv",
        ("celsius", "kg_per_m3"),
        [(f"{t:g}", f"{IAPWS95(T=t + ZERO_CELSIUS, P=ATMOSPHERE_MPA).rho:.5f}") for t in WATER],
    )
    write(
        directory / "co2_water.csv",
        ("celsius", "henry_mpa"),
        [(f"{t:g}", f"{_Henry(t + ZERO_CELSIUS, 'CO2'):.4f}") for t in CARBON_DIOXIDE],
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
