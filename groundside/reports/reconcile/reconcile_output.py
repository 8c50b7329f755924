"""A reconciliation as lines for people and as JSON for other programs."""

from collections.abc import Iterator
from typing import Any

from groundside.reports.reconcile.counted_charges import CountedCharges
from groundside.reports.reconcile.largest_uncertainty import largest_uncertainty, reaches
from groundside.reports.text_layout import aligned, figure_text, paragraph
from groundside.studies.charge_balance import Charge
from groundside.studies.charge_errors import Source
from groundside.studies.current_fit import OFF_MOST, Correction
from groundside.studies.reconciliation import Reconciled
from groundside.words.figures import UNKNOWN, three_figures
from groundside.words.reasons import reason_text
from groundside.words.remarks import finding_text, remark_text
from groundside.words.units import DEFAULT, Units, units_named
from onboard.contract.codec import plain
from onboard.contract.figure import Estimate, Figure, Unknown, within
from onboard.contract.reasons import Reason
from onboard.contract.remarks import Remark, RemarkCode
from onboard.efficiency.battery.round_trip import WALL_LEAST, WALL_MOST
from onboard.efficiency.statistics.shared_errors import prior_covariance

SCHEMA = 2
WIDTH = 79
FORMATS = ("<12", ">24", ">26", ">14")

SOURCES = {
    Source.METER: "meter",
    Source.RETURNED: "charge given back by the pack",
    Source.FULL: "how well 'full' repeats",
    Source.UNLOGGED: "drawn without a log",
    Source.GAPS: "gaps in the logs",
    Source.ZERO: "current zero",
    Source.VOLTAGE: "voltage",
    Source.LOSSES: "losses of the pack",
    Source.CHARGER: "losses of the charger",
}
SHOWN_LEAST_FRACTION = 0.0005

TO_COPY = "Nothing was changed. If you agree, write into the craft profile:"


def as_json(found: CountedCharges, result: Reconciled) -> dict[str, Any]:
    """Return a reconciliation in JSON's own types; see the README.md of reports."""
    correction = result.correction
    counted_ah, counted_wh = _counted(found, result)
    body: dict[str, Any] = {
        "counted_wh": counted_wh,
        "charged_wh": _read(result.charged_wh),
        "expected_charged_wh": result.expected_wh,
        "counted_ah": counted_ah,
        "charged_ah": _read(result.charged_ah),
        "expected_charged_ah": result.expected_ah,
        "current_scale": within(correction, lambda one: one.scale),
        "current_offset_a": within(correction, lambda one: one.offset_a),
        "profile_change": _change(result),
    }
    why = {key: plain(value) for key, value in body.items() if isinstance(value, Unknown)}
    return {
        "schema": SCHEMA,
        **{key: None if key in why else plain(value) for key, value in body.items()},
        "verdict": result.verdict,
        "meter": "ac" if found.conditions.at_wall else "dc",
        "charges": [
            _charge(one, list(stated.logs))
            for one, stated in zip(found.charges, found.sheet.charges, strict=True)
        ],
        "uncertainties": [
            {"source": str(source), "reach_fraction": reach}
            for source, reach in reaches(result).items()
        ],
        "remarks": [
            {**plain(one), "text": remark_text(one, DEFAULT)} for one in _remarks(found, result)
        ],
        "why": why | {"verdict": plain(result.why)},
    }


def _ratios(result: Reconciled) -> list[float]:
    """Return the ratios of returned to counted charge and energy, where known."""
    pairs = (
        (result.charged_ah, result.counted_ah.charge_ah),
        (result.charged_wh, result.counted_wh.energy_wh),
    )
    return [back / counted for back, counted in pairs if back is not None]


def _charge(charge: Charge, logs: list[Any]) -> dict[str, Any]:
    return {
        "logs": [str(log) for log in logs],
        "counted_ah": charge.counted.charge_ah,
        "counted_wh": charge.counted.energy_wh,
        "charged_ah": charge.charged_ah,
        "charged_wh": charge.charged_wh,
        "full_to_full": charge.full_to_full,
    }


def _read(value: float | None) -> float | Unknown:
    return Unknown(Reason.METER_NOT_READ) if value is None else value


def _counted(found: CountedCharges, result: Reconciled) -> tuple[Figure, Figure]:
    """Return the charge [Ah] and energy [Wh] counted, with the sensors' uncertainties."""
    covariance = prior_covariance(found.profile.sensors, found.profile.battery)
    return (
        result.counted_ah.charge_spread().figure(covariance),
        result.counted_wh.energy_spread().figure(covariance),
    )


def _change(result: Reconciled) -> str | Unknown:
    """Return the lines to add to the profile, or why there are none."""
    correction = result.correction
    if isinstance(correction, Unknown):
        return correction
    beyond = result.verdict in ("sensor_reads_low", "sensor_reads_high")
    if not beyond and result.charge == "within":
        return Unknown(Reason.NOTHING_TO_CHANGE)
    if not beyond:
        fits = result.verdict == "consistent"
        return Unknown(Reason.BACK_FITS if fits else Reason.TOO_UNCERTAIN)
    lines = [
        "[sensors]",
        f"current_scale = {correction.scale.value:.4f}",
        f"current_scale_sd = {correction.scale_sd:.4f}",
    ]
    if not isinstance(correction.offset_a, Unknown):
        lines += [
            f"current_offset_a = {correction.offset_a.value:.3f}",
            f"current_offset_sd_a = {correction.offset_sd_a:.3f}",
        ]
    return "\n".join(lines) + "\n"


def _remarks(found: CountedCharges, result: Reconciled) -> Iterator[Remark]:
    full, charges = sum(one.full_to_full for one in found.charges), len(found.charges)
    if not full:
        yield Remark(RemarkCode.FULL_UNKNOWN)
    elif full < charges:
        yield Remark(RemarkCode.SOME_FULL, full_charges=full, charges=charges)
    if found.profile.battery is None:
        yield Remark(RemarkCode.NO_PACK)
    if found.unmeasured_packs:
        yield Remark(RemarkCode.PACKS_UNMEASURED, packs=found.unmeasured_packs)
    meter_unstated = found.sheet.meter is None and result.charged_ah is None
    share = (result.charged_wh or 0.0) / result.counted_wh.energy_wh
    if meter_unstated and result.energy == "more" and WALL_LEAST <= share <= WALL_MOST:
        yield Remark(RemarkCode.MAYBE_AT_WALL)
    if any(not 1.0 / OFF_MOST < ratio < OFF_MOST for ratio in _ratios(result)):
        yield Remark(RemarkCode.NO_SENSOR)
    used = result.correction.used if isinstance(result.correction, Correction) else full or charges
    if used < full:
        yield Remark(RemarkCode.RESTS_ON, used_charges=used)
    yield from found.of_marks
    yield largest_uncertainty(result, used)


def as_lines(found: CountedCharges, result: Reconciled) -> Iterator[str]:
    """Yield the lines of a reconciliation, of at most 79 characters except for paths.

    Parameters
    ----------
    found
        The charges as counted.
    result
        The verdict.
    """
    rides = sum(len(one.logs) for one in found.sheet.charges)
    meter = "meter at the wall" if found.conditions.at_wall else "meter between charger and pack"
    yield f"{_count(rides, 'ride')} on {_count(len(found.charges), 'charge')}, {meter}"
    yield ""
    yield aligned(("", "counted", "expected back", "came back"), FORMATS, "")
    counted_ah, counted_wh = _counted(found, result)
    if not found.conditions.at_wall:
        yield _row("ampere-hours", counted_ah, result.expected_ah, result.charged_ah)
    yield _row("watt-hours", counted_wh, result.expected_wh, result.charged_wh)
    yield ""
    if len(found.charges) > 1:
        for number, one in enumerate(found.charges, 1):
            yield _one_charge(number, one)
        yield ""
    units = units_named(found.profile.units.speed)
    yield from paragraph(f"{_headline(result)}: {finding_text(result.why, units)}.", WIDTH)
    for remark in _remarks(found, result):
        yield from paragraph(remark_text(remark, units), WIDTH)
    yield from paragraph(f"{_uncertainties(result)}.", WIDTH)
    yield ""
    yield from _correction_lines(found, result, units)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _row(name: str, counted: Figure, expected: Estimate, came_back: float | None) -> str:
    back = UNKNOWN if came_back is None else three_figures(came_back)
    figures = (figure_text(one, three_figures) for one in (counted, expected))
    return aligned((name, *figures, back), FORMATS, "")


def _one_charge(number: int, charge: Charge) -> str:
    parts = [
        f"{three_figures(counted)} {unit} counted, {three_figures(back)} {unit} back"
        for counted, back, unit in (
            (charge.counted.charge_ah, charge.charged_ah, "Ah"),
            (charge.counted.energy_wh, charge.charged_wh, "Wh"),
        )
        if back is not None
    ]
    full = "" if charge.full_to_full else "; not known to be full to full"
    return f"charge {number}: {'; '.join(parts)}{full}"


def _uncertainties(result: Reconciled) -> str:
    """Return the half interval that each source makes alone, unless it rounds to zero."""
    parts = [
        f"{SOURCES[source]} {100.0 * reach:.1f} %"
        for source, reach in reaches(result).items()
        if reach >= SHOWN_LEAST_FRACTION
    ]
    return f"Uncertainty by source, +-: {', '.join(parts)}"


def _headline(result: Reconciled) -> str:
    return {
        "consistent": "Consistent",
        "sensor_reads_low": "A sensor reads low",
        "sensor_reads_high": "A sensor reads high",
        "cannot_tell": "Cannot be told",
    }[result.verdict]


def _correction_lines(found: CountedCharges, result: Reconciled, units: Units) -> Iterator[str]:
    correction = result.correction
    if isinstance(correction, Unknown):
        yield from paragraph(
            f"No correction of the current sensor: {reason_text(correction, units)}.", WIDTH
        )
        return
    now = found.profile.sensors
    yield (
        f"current_scale by these charges: {figure_text(correction.scale, '{:.4f}'.format)}; "
        f"the profile has {now.current_scale:g}"
    )
    if not isinstance(correction.offset_a, Unknown):
        yield (
            f"current_offset_a: {figure_text(correction.offset_a, '{:.3f}'.format)}; "
            f"the profile has {now.current_offset_a:g}"
        )
    change = _change(result)
    if isinstance(change, Unknown):
        yield from paragraph(f"No change is offered: {reason_text(change, units)}.", WIDTH)
        return
    yield TO_COPY
    yield ""
    for line in change.splitlines():
        yield f"    {line}"
