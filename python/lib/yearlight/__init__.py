"""Hourly photovoltaic energy yield: competing module choices at one site, and at many.

The engine is that of the program ``yearlight``; results are the same to the last digit.

>>> import yearlight
>>> result = yearlight.weigh("configs/merrowby-school.toml")   # doctest: +SKIP
>>> result.months.to_polars()                                  # doctest: +SKIP

Units stand in the names of columns: ``e_ac_kwh`` in kWh, ``y_f_h`` in h (kWh per kW), ``h_i_kwh_m2`` in kWh/m2,
``p_stc_kw`` in kW, angles ``_deg`` in degrees (azimuth clockwise from north); a share without unit (``pr``) is 0 to 1,
``_pct`` is percent.
"""

from ._core import version as __version__
from ._errors import Error, InputError
from ._fleet import Fleet, fleet
from ._table import Table
from ._weigh import Result, weigh

__all__ = ["Error", "Fleet", "InputError", "Result", "Table", "__version__", "fleet", "weigh"]
