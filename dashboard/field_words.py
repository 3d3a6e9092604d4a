"""What the fields of job file and bench sheet are called, with an example and a word of help."""

from __future__ import annotations

_LABELS = {
    "serial_number": "Serial number",
    "at_lift": "Duration taken at a lift of",
    "at": "... of the valve or the tappet",
    "lift_table": "Lift table, instead of all this",
    "scale_air": "Scale made for air of",
    "calibrated_at": "Scale set at",
    "lash": "Lash",
    "price": "Price of this stage alone",
    "planned": "Planned: a quotation",
    "sheets": "Its bench sheets",
    "job": "Another job's folder",
    "redline": "Redline",
    "typed.lift": "Lifts",
    "typed.lift_unit": "Lifts in",
    "typed.intake": "Intake flow at each lift",
    "typed.exhaust": "Exhaust flow at each lift",
    "typed.flow_unit": "Flows in",
    "typed.test_pressure": "Stated at",
    "typed.air": "Stated in air of",
    "typed.uncertainty": "Standard uncertainty",
    "typed.bench": "Or measured on the bench",
}
_HEAD_EXAMPLES = {
    "date": "2026-03-14",
    "time": "14:30",
    "test pressure": "28 inH2O",
    "barometer": "984 hPa",
    "air temperature": "21.5 degC",
    "humidity": "46 %",
    "meter temperature": "23 degC",
    "intake range": "120 L/s",
    "exhaust range": "90 L/s",
    "bore": "86 mm",
    "intake entry": "clay radius",
    "exhaust exit": "bare",
    "valves open": "1",
    "test valve": "the head's own",
    "spark plug": "fitted",
    "bench": "bench A",
}
_EXAMPLES = {
    "title": "Hillclimb four",
    "currency": "EUR",
    "reference_pressure": "28 inH2O",
    "kind": "four-stroke spark ignition",
    "aspiration": "natural",
    "fuel": "petrol",
    "cylinders": "4",
    "bore": "86 mm",
    "stroke": "86 mm",
    "rod_length": "143 mm",
    "compression_ratio": "11.8",
    "redline": "8200 rpm",
    "gasket_volume": "6.2 cc",
    "deck_volume": "0.8 cc",
    "dish_volume": "-3 cc",
    "chamber_plan_area": "52 cm2",
    "valve_diameter": "33.5 mm",
    "valves_per_cylinder": "2",
    "stem_diameter": "5.5 mm",
    "throat_diameter": "29 mm",
    "seat_angle": "45 deg",
    "seat_width": "1.2 mm",
    "lift": "11.2 mm",
    "duration": "252 deg",
    "at_lift": "1 mm",
    "rocker_ratio": "1.0",
    "lash": "0.2 mm",
    "centreline": "106 deg",
    "lift_table": "cam-intake.csv",
    "calibrated_at": "28 inH2O",
    "plate_diameter": "40 mm",
    "pipe_diameter": "80 mm, or plenum",
    "repeatability": "0.5 %",
    "lift_setting": "0.02 mm",
    "calibration": "1.5 %",
    "test_pressure_reading": "0.05 inH2O",
    "barometer_reading": "1 hPa",
    "temperature_reading": "0.5 delta_degC",
    "humidity_reading": "5 %",
    "price": "420",
    "chamber_volume": "46.8 cc",
    "port_volume": "180 cc",
    "smallest_section": "640 mm2",
    "sheets": "../references/one.csv",
    "job": "../other-job",
    "typed.lift": "1 2 3 4 5 6 7 8",
    "typed.lift_unit": "mm",
    "typed.intake": "25.1 50.3 72 91 105 - 122 126",
    "typed.exhaust": "20 38.5 55 68 79 86 91 94",
    "typed.flow_unit": "L/s",
    "typed.test_pressure": "28 inH2O",
    "typed.uncertainty": "2 %",
}
FIELD_HELP = {
    "reference_pressure": "Every flow is stated at this pressure. Default: 28 inH2O.",
    "standard_air": "Default: ISO 2533, that is 15 °C, 1013.25 hPa, dry.",
    "pressure_rule": "How a flow at another test pressure is brought to the reference. Default: square root.",
    "kind": "Default: four-stroke spark ignition. Power is worked out for no other.",
    "aspiration": "Default: natural. Power is worked out for no other.",
    "repeatability": "Standard uncertainty of one re-set-up; used where no repeats were taken.",
    "calibrated_at": "Default: each reading's own test pressure, with a note.",
    "planned": "A planned stage has a price and no sheets yet.",
    "lift": "At the valve, or at the tappet with a rocker ratio.",
    "centreline": "After top dead centre for the intake, before it for the exhaust.",
    "port_volume": "Kept with the job for the next time. No figure is worked out from it.",
    "smallest_section": "Kept with the job for the next time. No figure is worked out from it.",
    "compression_ratio": "With the chamber of the first stage.",
}
TYPED_INTRO = (
    "Figures from a card or a print-out: lifts, and a flow for each of them, with spaces between; "
    "- where one is not known. They count as corrected already, at the pressure stated here."
)
INTROS = {
    "Job": "Nothing here is needed for a curve. Quantities are typed with their unit.",
    "Engine and cams": (
        "The cams say over which lifts a gain counts; the engine is needed for power and compression only. "
        "The curves do not wait for either."
    ),
    "Stages and prices": "The order here is the order of work. Chamber volumes are for compression.",
    "Valves": "For flow coefficients. What a stage changed is stated at that stage, and holds from there on.",
    "Bench": "Without a word here the bench shows volume flow, with usual uncertainties that are named.",
    "Target": "A casting to reach: another job's stage, bench sheets of it, or figures typed below.",
}


def field_label(key: str) -> str:
    """Return the label of a field of the job file."""
    return _LABELS.get(key, key.replace("_", " ").capitalize())


def example(key: str) -> str | None:
    """Return what one may type into a field of the job file."""
    return f"e.g. {_EXAMPLES[key]}" if key in _EXAMPLES else None


def head_example(key: str) -> str | None:
    """Return what one may type into a field of a bench sheet's head."""
    return f"e.g. {_HEAD_EXAMPLES[key]}" if key in _HEAD_EXAMPLES else None
