"""The bands of ohms that a row of the chart tells apart."""

import numpy as np

from benchproof.network.files import read_family
from benchproof.trace.bands import bands_of

FAMILY = read_family(
    b"pins,P,R,N,D\nA-E,closed,open,open,closed\nB-E,closed,closed,open,270 ohm\n", "chart.csv"
)


def test_bands_are_cut_at_the_limits_of_the_row() -> None:
    bands = bands_of(FAMILY, ("B", "E"))
    assert bands.names == ("closed", "between", "270 ohm", "between", "open")
    ohms = np.array([0.0, 2.0, 2.01, 242.9, 243.0, 297.0, 297.1, 9999.0, 10_000.0, np.inf])
    assert bands.of(ohms).tolist() == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4]
    assert bands_of(FAMILY, ("A", "B")).row is None
