"""The same equations as the hourly chain, tuned NumPy, for comparison in one run.

Sun (low-precision almanac form), Perez 1990, Martin and Ruiz 2001, Faiman 2008, power from gamma and a curve through
low-light points, voltage from one diode by a fixed number of Newton steps, cable, inverter, month sums. Sun, sky and
plane are shared by all options, as in the program.

Usage: python benches/numpy_chain.py WEATHER.csv|.epw [REPEATS]
Prints microseconds: reading the file, the chain from arrays for three options, and file to result. With 0 repeats it
prints the energy and ends, for the time of the whole process (benches/process.py).
"""

import sys
import time

import numpy as np

PEREZ = np.array([
    [-0.0083117, 0.5877285, -0.0620636, -0.0596012, 0.0721249, -0.0220216],
    [0.1299457, 0.6825954, -0.1513752, -0.0189325, 0.0659650, -0.0288748],
    [0.3296958, 0.4868735, -0.2210958, 0.0554140, -0.0639588, -0.0260542],
    [0.5682053, 0.1874525, -0.2951290, 0.1088631, -0.1519229, -0.0139754],
    [0.8730280, -0.3920403, -0.3616149, 0.2255647, -0.4620442, 0.0012448],
    [1.1326077, -1.2367284, -0.4118494, 0.2877813, -0.8230357, 0.0558651],
    [1.0601591, -1.5999137, -0.3589221, 0.2642124, -1.1272340, 0.1310694],
    [0.6777470, -0.3272588, -0.2504286, 0.1561313, -1.3765031, 0.2506212],
])
EDGES = np.array([1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2])
COS85 = np.cos(np.radians(85.0))


def read(path):
    """Columns ghi, dni, dhi, t_amb, wind and day numbers of an EPW year."""
    import pandas as pd

    frame = pd.read_csv(path, skiprows=8, header=None, usecols=[0, 1, 2, 3, 6, 13, 14, 15, 21], engine="c")
    with open(path, encoding="utf-8") as file:
        head = file.readline().split(",")
    lat, lon, zone = float(head[6]), float(head[7]), float(head[8])
    dates = pd.to_datetime({"year": frame[0], "month": frame[1], "day": frame[2]})
    days = (dates - pd.Timestamp("2000-01-01")).dt.days.to_numpy(dtype=float)
    return lat, lon, zone, days, frame[1].to_numpy(), frame[3].to_numpy(dtype=float), *(
        frame[c].to_numpy(dtype=float) for c in (13, 14, 15, 6, 21))


def site(lat, lon, zone, days, month, hour, ghi, dni, dhi, t_amb, wind):
    """Daylight columns: sun vector and Perez factors."""
    n = days + (hour - 0.5 - zone) / 24.0 - 0.5
    g = np.radians(357.528 + 0.9856003 * n)
    lam = np.radians(280.460 + 0.9856474 * n) + np.radians(1.915) * np.sin(g) + np.radians(0.020) * np.sin(2 * g)
    eps = np.radians(23.439 - 4e-7 * n)
    sd = np.sin(eps) * np.sin(lam)
    cd = np.sqrt(1.0 - sd * sd)
    ra = np.arctan2(np.cos(eps) * np.sin(lam), np.cos(lam))
    ha = np.radians(280.46062 + 360.98564737 * n + lon) - ra
    sl, cl = np.sin(np.radians(lat)), np.cos(np.radians(lat))
    up = sl * sd + cl * cd * np.cos(ha)
    day = np.flatnonzero((up > 0.0) | (ghi > 0.0))
    up, ha, sd, cd, g = up[day], ha[day], sd[day], cd[day], g[day]
    east = -cd * np.sin(ha)
    north = cl * sd - sl * cd * np.cos(ha)
    e0n = 1361.1 * (1.0 + 0.0334 * np.cos(g))
    ghi, dni, dhi, t_amb, wind, month = ghi[day], dni[day], dhi[day], t_amb[day], wind[day], month[day]
    z = np.arccos(np.clip(up, -1.0, 1.0))
    mass = 1.0 / (np.maximum(up, 0.0) + 0.50572 * (96.07995 - np.minimum(np.degrees(z), 90.0)) ** -1.6364)
    k = 1.041 * z ** 3
    d = np.maximum(dhi, 1e-9)
    eps_ = ((d + dni) / d + k) / (1.0 + k)
    delta = dhi * mass / e0n
    c = PEREZ[np.searchsorted(EDGES, eps_, side="right")]
    f1 = np.maximum(0.0, c[:, 0] + c[:, 1] * delta + c[:, 2] * z)
    f2 = c[:, 3] + c[:, 4] * delta + c[:, 5] * z
    circum = dhi * f1 / np.maximum(up, COS85)
    up0 = np.maximum(up, 0.0)
    normal = dni + circum
    even = dhi - circum * up0
    return east, north, up, normal, even, dhi * f2, ghi, t_amb, wind, month


def plane(s, tilt, azimuth, albedo, a_r):
    east, north, up, normal, even, band, ghi, t_amb, wind, month = s
    b, a = np.radians(tilt), np.radians(azimuth)
    cos = np.maximum(0.0, np.sin(b) * (np.sin(a) * east + np.cos(a) * north) + np.cos(b) * up)
    beam = normal * cos
    sky = np.maximum(0.0, even * (1 + np.cos(b)) / 2 + band * np.sin(b))
    ground = ghi * albedo * (1 - np.cos(b)) / 2
    iam = (1 - np.exp(-cos / a_r)) / (1 - np.exp(-1 / a_r))
    c1, c2 = 4 / (3 * np.pi), a_r / 2 - 0.154
    fs = np.sin(b) + (np.pi - b - np.sin(b)) / (1 + np.cos(b))
    fg = np.sin(b) + (b - np.sin(b)) / (1 - np.cos(b))
    ks, kg = (1 - np.exp(-(c1 * f + c2 * f * f) / a_r) for f in (fs, fg))
    g = 0.98 * (beam * iam + sky * ks + ground * kg)
    t = t_amb + g / (25.0 + 6.84 * wind * 0.2 ** 0.2)
    return g, t


def option(g, t, month, gamma, low, p0, a_stc, r_s, i_l, i_0):
    ln = np.log(np.maximum(g, 1.0) / 1000.0)
    eta = 1.0 + low[0] * ln + low[1] * ln * ln
    p = p0 * g / 1000.0 * eta * (1.0 + gamma * (t - 25.0))
    # One diode, V_d at maximum power by fixed Newton steps on d(VI)/dV_d = 0 without shunt.
    a = a_stc * (t + 273.15) / 298.15
    i_ph = np.maximum(i_l * g / 1000.0, 1e-6)
    i_s = i_0 * np.exp(0.11 * (t - 25.0))
    x = np.log(i_ph / i_s)
    x = x - np.log1p(x)
    for _ in range(2):
        e = i_s * np.exp(x)
        i = i_ph - e
        f = i * a - (a * x - 2.0 * r_s * i) * e
        df = -a * e - (a + 2.0 * r_s * e) * e - (a * x - 2.0 * r_s * i) * e
        x = x - f / df
    v = a * x - r_s * (i_ph - i_s * np.exp(x))
    i = p / np.maximum(v, 1e-3)
    dc = p - 0.0085 * i * i
    load = dc / 330.0
    ac = np.minimum(np.maximum(dc - 330.0 * (0.003 + 0.008 * load + 0.012 * load * load), 0.0), 330.0)
    return np.bincount(month, ac, 13)[1:]


OPTIONS = [
    (-0.0035, (0.018, -0.004), 410.0, 1.60, 0.22, 13.95, 1.2e-9),
    (-0.0029, (0.010, -0.003), 445.0, 1.45, 0.17, 16.10, 6.0e-10),
    (-0.0030, (0.012, -0.003), 435.0, 1.62, 0.20, 14.10, 6.0e-10),
]


def chain(columns):
    """Energy of one module by month, Wh, of each option."""
    s = site(*columns)
    g, t = plane(s, 12.0, 180.0, 0.2, 0.16)
    return [option(g, t, s[-1], *o) for o in OPTIONS]


def median_us(f, repeats):
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        f()
        times.append(time.perf_counter() - begin)
    return 1e6 * sorted(times)[len(times) // 2]


if __name__ == "__main__":
    path = sys.argv[1]
    repeats = int(sys.argv[2]) if len(sys.argv) > 2 else 50
    columns = read(path)
    year = [float(m.sum()) / 1000 * 1.0 for m in chain(columns)]
    print("kWh per module:", " ".join(f"{y:.1f}" for y in year))
    if repeats == 0:
        sys.exit()
    print(f"read_us {median_us(lambda: read(path), max(5, repeats // 5)):.0f}")
    print(f"chain_us {median_us(lambda: chain(columns), repeats):.0f}")
    print(f"file_us {median_us(lambda: chain(read(path)), max(5, repeats // 5)):.0f}")
