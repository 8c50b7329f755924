"""How much was charged, in the three ways in which a rider knows it."""

from typing import Literal

AmountKind = Literal["charged_wh", "charged_ah", "left_fraction"]
Amount = tuple[AmountKind, float]
"""Energy [Wh] or charge [Ah] that went into the pack, measured between charger and pack; or how
full the pack is now, all of it, the reserve too."""
