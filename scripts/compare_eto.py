"""Compares daily reference evapotranspiration with pyet and refet; called by compare-eto.

Same equation, same inputs: no day may differ by more than 0.01 mm. Where a library reckons an
intermediate otherwise, its difference is printed beside the reason, and a second row takes that
intermediate to the common form.
"""

import math
import sys

import numpy as np
import pandas as pd
import pyet
import refet

LATITUDE, ELEVATION, WIND_HEIGHT = 33.069, 361.0, 3.0
SAME = 0.01  # mm/d

weather = pd.read_csv(sys.argv[1], parse_dates=["date"]).set_index("date")


def ours(method):
    table = pd.read_csv(f"{sys.argv[2]}/{method}.csv", parse_dates=["date"]).set_index("date")
    return table.eto_mm


def saturation(t):
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


mine = ours("penman-monteith")
day = weather.loc[mine.index]
assert len(day) == len(mine) > 6000, len(mine)
mean = (day.tmax_c + day.tmin_c) / 2
wind_2m = day.wind_m_s * 4.87 / math.log(67.8 * WIND_HEIGHT - 5.42)
high, low = saturation(day.tmax_c), saturation(day.tmin_c)
# The order of the program: vapour pressure, dew point, extremes of relative humidity.
extremes = (low * day.rhmax_pct + high * day.rhmin_pct) / 200
vapour = day.vapr_kpa.fillna(saturation(day.tdew_c)).fillna(extremes)
vapour = np.minimum(vapour, (high + low) / 2)
# Days on which nothing is missing: the rules for missing data are this program's alone.
whole = vapour.notna() & day.wind_m_s.notna() & day.srad_mj_m2.notna()
print(f"days {len(mine)}, of them without a gap {int(whole.sum())}")

rows, failed = [], []


def compare(name, theirs, same, why="", own=mine, days=whole):
    gap = (pd.Series(np.asarray(theirs), index=mine.index) - own)[days]
    rows.append((name, len(gap), gap.abs().max(), gap.mean(), "same" if same else "differs", why))
    if same and not gap.abs().max() <= SAME:
        failed.append(name)


common = dict(rs=day.srad_mj_m2, elevation=ELEVATION, lat=math.radians(LATITUDE),
              tmax=day.tmax_c, tmin=day.tmin_c, ea=vapour)
compare("pyet pm_fao56", pyet.pm_fao56(mean, wind_2m, clip_zero=True, **common), True)

daily = dict(tmin=day.tmin_c, tmax=day.tmax_c, rs=day.srad_mj_m2, elev=ELEVATION, lat=LATITUDE,
             doy=day.index.dayofyear.to_numpy(),
             input_units={"tmin": "C", "tmax": "C", "rs": "mj m-2 day-1", "uz": "m s-1",
                          "lat": "deg"})
arrays = {key: value.to_numpy() if isinstance(value, pd.Series) else value
          for key, value in daily.items()}
for name, options, same, why in [
    ("asce", {"method": "asce"}, True, ""),
    ("refet", {"method": "refet"}, False,
     "clear-sky radiation with water vapour and the sun's height (ASCE 2005, appendix D)"),
    ("refet, clear sky by elevation", {"method": "refet", "rso_type": "simple"}, True, ""),
]:
    theirs = refet.Daily(ea=vapour.to_numpy(), uz=day.wind_m_s.to_numpy(), zw=WIND_HEIGHT,
                         **options, **arrays).eto()
    compare(f"refet Daily {name}", np.maximum(theirs, 0), same, why)

warm = ours("hargreaves")
theirs = pyet.hargreaves(mean, day.tmax_c, day.tmin_c, math.radians(LATITUDE), method=0)
compare("pyet hargreaves", theirs, False,
        "latent heat falls with temperature instead of 0.408 mm per MJ", warm, day.tmax_c.notna())
latent = 2.501 - 0.002361 * mean
compare("pyet hargreaves x latent heat x 0.408", theirs * latent * 0.408, True, "", warm,
        day.tmax_c.notna())
if "et_ref_mm" in day:
    compare("the network's own column", day.et_ref_mm, True, days=whole & day.et_ref_mm.notna())

print(f"{'reckoned by':42}{'days':>6}{'largest':>10}{'mean':>9}  verdict")
for name, count, most, mean_gap, verdict, why in rows:
    print(f"{name:42}{count:6}{most:10.4f}{mean_gap:9.4f}  {verdict}{': ' + why if why else ''}")
if failed:
    sys.exit(f"differ by more than {SAME} mm/d: {', '.join(failed)}")
