"""Simulated traffic on bermudagrass: Thoms and others 2016, Tennessee.

In 2013 silt loam lost half of its cover after about 10 events, sand after about 18; no surface
passed 200 g. Tolerance 10%, as the counts are printed with "about".
"""

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.wear import cover_left, event_rate
from drysward.site.play import hardness_line

CATALOG = load_catalog()


@pytest.mark.parametrize("surface, events", [("native", 10), ("sand", 18)])
def test_events_to_half_of_the_cover(surface, events):
    entry = CATALOG.get("play", f"wear_{surface}")
    # The moisture is not told; the middle class is taken.
    middle = entry["wear_middle_factor"]
    rate = event_rate(entry["events_to_half_cover"], middle)
    left = np.array([cover_left(rate, middle, count) for count in range(41)])
    assert np.interp(-0.5, -left, np.arange(41)) == pytest.approx(events, rel=0.1)


@pytest.mark.parametrize("surface", ["native", "sand"])
@pytest.mark.parametrize("bare", [0.0, 1.0])
def test_no_surface_passes_200_g(surface, bare, hardness):
    line = hardness_line(CATALOG.get("play", f"hardness_{surface}"))
    assert (hardness(np.linspace(0.02, 0.40, 30), line, bare) < 200.0).all()
