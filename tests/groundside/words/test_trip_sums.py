"""The sums of a trip in words."""

from groundside.words.trip_sums import trip_summary_lines
from groundside.words.units import CHOICES
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import snapshot
from tests.made_snapshot import around, changed

KMH = CHOICES["km/h"]


def test_the_summary_of_a_trip() -> None:
    trip = changed(
        snapshot().trip,
        energy_wh=around(93.0, 0.02),
        distance_m=around(1930.0, 0.01),
        mean_speed_mps=Unknown(Reason.HARDLY_MOVED),
    )
    lines = trip_summary_lines(trip, KMH)
    by_name = {line[:26].rstrip(): line[26:].strip() for line in lines}
    assert by_name["energy"] == "93.0 Wh (91.1 to 94.9)"
    assert by_name["distance"] == "1.93 km (1.91 to 1.95)"
    assert by_name["time"] == "00:07:11"
    assert by_name["mean speed"] == "unknown (hardly moved yet)"
    assert by_name["consumption"] == "48.2 Wh/km (45.8 to 50.6)"
    assert by_name["top speed"] == "10.4 km/h"
    assert by_name["distance bridged over gaps"] == "1 %"
    nautical = trip_summary_lines(trip, CHOICES["kn"])
    assert nautical[2].endswith("1.04 NM (1.03 to 1.05)")
